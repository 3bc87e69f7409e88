package sync

import (
	"cmp"
	"math/big"
	"math/bits"
	"strconv"

	"example.com/platewright/sync/internal/whole"
)

// ratio is a fraction in lowest terms with a positive denominator.
type ratio struct{ num, den int64 }

// reduced is num/den in lowest terms. den must be positive.
func reduced(num, den int64) ratio {
	g := gcd(whole.Magnitude(num), uint64(den))
	return ratio{num / int64(g), den / int64(g)}
}

// times is x·y. ok is false if that does not fit.
func (x ratio) times(y ratio) (ratio, bool) {
	// Cancelled crosswise, the products are in lowest terms.
	g := int64(gcd(whole.Magnitude(x.num), uint64(y.den)))
	h := int64(gcd(whole.Magnitude(y.num), uint64(x.den)))
	num, ok1 := product(x.num/g, y.num/h)
	den, ok2 := product(x.den/h, y.den/g)
	return ratio{num, den}, ok1 && ok2
}

// sum is x + sign·y, where sign is 1 or −1. ok is false if that does not fit.
func (x ratio) sum(y ratio, sign int64) (ratio, bool) {
	g := int64(gcd(uint64(x.den), uint64(y.den)))
	a, ok1 := product(x.num, y.den/g)
	b, ok2 := product(y.num, sign*(x.den/g))
	den, ok3 := product(x.den, y.den/g)
	num := a + b
	if ok1 && ok2 && ok3 && (a < 0) == (num < b) {
		return reduced(num, den), true
	}
	// In lowest terms it may fit all the same.
	r := new(big.Rat).Mul(y.rat(), big.NewRat(sign, 1))
	return ratioOf(r.Add(x.rat(), r))
}

// compare is −1, 0 or +1 as x is less than y, equal, or greater.
func (x ratio) compare(y ratio) int {
	if s := cmp.Compare(sign(x.num), sign(y.num)); s != 0 || x.num == 0 {
		return s
	}
	ahi, alo := bits.Mul64(whole.Magnitude(x.num), uint64(y.den))
	bhi, blo := bits.Mul64(whole.Magnitude(y.num), uint64(x.den))
	s := cmp.Compare(ahi, bhi)
	if s == 0 {
		s = cmp.Compare(alo, blo)
	}
	return s * sign(x.num)
}

func sign(a int64) int { return cmp.Compare(a, 0) }

func (x ratio) rat() *big.Rat { return big.NewRat(x.num, x.den) }

// ratioOf is r as a ratio. ok is false if that does not fit.
func ratioOf(r *big.Rat) (ratio, bool) {
	return ratio{r.Num().Int64(), r.Denom().Int64()}, r.Num().IsInt64() && r.Denom().IsInt64()
}

// append adds text like "24000/1001" or "25".
func (x ratio) append(b []byte) []byte {
	b = strconv.AppendInt(b, x.num, 10)
	if x.den != 1 {
		b = strconv.AppendInt(append(b, '/'), x.den, 10)
	}
	return b
}

// float is the nearest float64.
func (x ratio) float() float64 {
	const exact = 1 << 53 // whole numbers up to here are float64
	if whole.Magnitude(x.num) <= exact && x.den <= exact {
		return float64(x.num) / float64(x.den)
	}
	f, _ := x.rat().Float64()
	return f
}

// gcd is the greatest common divisor. One of the two must not be zero. It halves, which
// is faster than dividing.
func gcd(a, b uint64) uint64 {
	if a == 0 || b == 0 {
		return a | b
	}
	shift := bits.TrailingZeros64(a | b)
	a >>= bits.TrailingZeros64(a)
	for b != 0 {
		b >>= bits.TrailingZeros64(b)
		a, b = min(a, b), max(a, b)-min(a, b) // odd less odd is even
	}
	return a << shift
}

func product(a, b int64) (int64, bool) {
	hi, lo := bits.Mul64(whole.Magnitude(a), whole.Magnitude(b))
	v, ok := whole.Signed((a < 0) != (b < 0), lo)
	return v, ok && hi == 0
}

// mulDiv is a·b / (c·d), rounded to a whole number, with intermediates of 128
// bits. b is below 2⁶³, c and d are positive. ok is false if the result does not
// fit.
//
// Dividing by c and then by d, rounding the same way each time, equals dividing
// by c·d and rounding once, both upwards and downwards.
func mulDiv(a int64, b, c, d uint64, r Rounding) (int64, bool) {
	negative := a < 0
	up := (r == Ceil) != negative // of the magnitude
	if r == Nearest {
		b *= 2 // ⌊x + ½⌋ = ⌊(⌊2x⌋ + 1) / 2⌋
		up = negative
	}
	hi, lo := bits.Mul64(whole.Magnitude(a), b)
	hi, lo = div(hi, lo, c, up)
	hi, lo = div(hi, lo, d, up)
	if r == Nearest {
		if !negative {
			var carry uint64
			lo, carry = bits.Add64(lo, 1, 0)
			hi += carry
		}
		hi, lo = hi>>1, hi<<63|lo>>1
	}
	v, ok := whole.Signed(negative, lo)
	return v, ok && hi == 0
}

func div(hi, lo, c uint64, up bool) (uint64, uint64) {
	qhi, rem := hi/c, hi%c
	qlo, rem := bits.Div64(rem, lo, c)
	if up && rem != 0 {
		var carry uint64
		qlo, carry = bits.Add64(qlo, 1, 0)
		qhi += carry
	}
	return qhi, qlo
}
