package sync

import "example.com/platewright/sync/internal/whole"

// number is what scan reads: above/below.
type number struct {
	above, below uint64
	form         byte // '/' of a fraction, '.' of a decimal, or 0
	long         bool // one of the two does not fit
}

// scan reads digits, a decimal or a fraction at the start of a text, and gives what
// follows. ok is false if there is none of these, or if a fraction is over 0.
func scan(s string) (n number, rest string, ok bool) {
	n.below = 1
	end := n.digits(s, &n.above)
	if end == 0 {
		return n, s, false
	}
	s = s[end:]
	if s == "" || s[0] != '/' && s[0] != '.' {
		return n, s, true
	}
	n.form, s = s[0], s[1:]
	if n.form == '/' {
		n.below = 0
		end = n.digits(s, &n.below)
		return n, s[end:], n.below > 0
	}
	end = n.digits(s, &n.above)
	for range min(end, 20) {
		n.scale(&n.below, 0)
	}
	return n, s[end:], end > 0
}

// digits appends the digits at the start of s to v, and gives their number.
func (n *number) digits(s string, v *uint64) (end int) {
	for ; end < len(s) && '0' <= s[end] && s[end] <= '9'; end++ {
		n.scale(v, uint64(s[end]-'0'))
	}
	return end
}

// scale makes v 10·v + digit.
func (n *number) scale(v *uint64, digit uint64) {
	const most = 1<<63 - 1
	if *v > most/10 {
		n.long = true
		return
	}
	*v = *v*10 + digit // below 2⁶⁴
}

// times is ±above/below · y in lowest terms. ok is false if that does not fit.
func (n number) times(y ratio, negative bool) (ratio, bool) {
	above, ok1 := whole.Signed(negative, n.above)
	below, ok2 := whole.Signed(false, n.below)
	if n.long || !ok1 || !ok2 {
		return ratio{}, false
	}
	num, ok1 := product(above, y.num)
	den, ok2 := product(below, y.den)
	if ok1 && ok2 {
		return reduced(num, den), true // at once, for speed
	}
	return reduced(above, below).times(y)
}
