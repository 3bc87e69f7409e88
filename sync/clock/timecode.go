package clock

import (
	"math"
	"strconv"
	"strings"

	timing "example.com/platewright/sync"
	"example.com/platewright/sync/internal/whole"
)

// TimecodeSpec says how timecode counts frames.
type TimecodeSpec struct {
	// Rate is 24, 25, 30, 48, 50, 60, 72, 96, 100 or 120, or 1000/1001 of one
	// that is not a multiple of 25.
	Rate timing.Rate `json:",omitzero"`

	// Drop skips labels, never frames, so that labels keep up with the clock: the
	// first 2, 4 or 8 labels of each minute, except of each tenth minute. Drop is
	// defined for 30000/1001, 60000/1001 and 120000/1001 only.
	Drop bool
}

// Timecode names frames by labels like "01:02:03:04": hours, minutes, seconds,
// frames.
//
// Labels do not measure time: with drop they jump, and without drop a labelled hour
// at a rate of 1000/1001 lasts 3.6 s more than an hour. Compute the time between two
// frames from their indices, with Rate.Time. Hours run on past 23, and labels of
// negative frames mirror those of positive ones. Source: SMPTE ST 12-1.
type Timecode struct {
	rate    timing.Rate
	nominal uint64 // frames in a labelled second
	drop    uint64 // labels skipped in each minute but the tenth
}

// label holds the numbers of a label.
type label struct {
	negative                       bool
	hours, minutes, seconds, frame uint64
}

// NewTimecode checks the spec.
func NewTimecode(spec TimecodeSpec) (Timecode, error) {
	c := newChecker()
	nominal, known := spec.Rate.Nominal()
	if !known {
		c.Fault("rate", spec.Rate.String(), "must be 24, 25, 30, 48, 50, 60, 72, 96, 100 or 120, or 1000/1001 of one that is not a multiple of 25")
	}
	tc := Timecode{rate: spec.Rate, nominal: uint64(nominal)}
	if spec.Drop {
		if _, den := spec.Rate.Ratio(); den == 1 || nominal%30 != 0 {
			c.Fault("drop", "true at "+spec.Rate.String(), "must be false except at 30000/1001, 60000/1001 and 120000/1001")
		}
		tc.drop = tc.nominal / 15 // 2 at 30, 4 at 60, 8 at 120
	}
	if !c.OK() {
		return Timecode{}, c.Err()
	}
	return tc, nil
}

// check is an error if the timecode does not come from NewTimecode.
func (tc Timecode) check() error {
	if tc.nominal == 0 {
		return newChecker().Refuse("timecode", "without a rate", "must come from NewTimecode")
	}
	return nil
}

// tenMinutes is the number of frames in ten labelled minutes.
func (tc Timecode) tenMinutes() uint64 { return 600*tc.nominal - 9*tc.drop }

// day is the number of frames in 24 labelled hours.
func (tc Timecode) day() int64 { return int64(144 * tc.tenMinutes()) }

// Wrap returns the index of frame n within a day of 24 labelled hours, for a clock
// that starts again each day: frame −1 becomes the last frame of the day.
//
//	n mod (86400 F − 1296 D)
//
// F is the number of frames in a labelled second, and D is the number of labels
// that drop skips in a minute.
func (tc Timecode) Wrap(n int64) int64 {
	if tc.nominal == 0 {
		return 0
	}
	return whole.Mod(n, tc.day())
}

// number is the number of labels, those that drop skips included, before frame m.
//
// With F frames in a labelled second, D labels skipped in a minute, and
// P = 600 F − 9 D frames in ten minutes, frame m has the number
//
//	m + 9 D q + D ⌊(r − D) / (60 F − D)⌋,  q = ⌊m/P⌋,  r = m − P q ≥ D
//
// The last term is 0 if r < D. Source: SMPTE ST 12-1, as coded in FFmpeg,
// libavutil/timecode.c. D = 8 at 120000/1001 continues its rule.
func (tc Timecode) number(m uint64) uint64 {
	if tc.drop == 0 {
		return m
	}
	p := tc.tenMinutes()
	q, r := m/p, m%p
	m += 9 * tc.drop * q
	if r >= tc.drop {
		m += tc.drop * ((r - tc.drop) / (60*tc.nominal - tc.drop))
	}
	return m
}

// label numbers frame n.
func (tc Timecode) label(n int64) label {
	m := tc.number(whole.Magnitude(n))
	s := m / tc.nominal
	return label{n < 0, s / 3600, s / 60 % 60, s % 60, m - s*tc.nominal}
}

// separator stands before the frame number.
func (tc Timecode) separator() byte {
	if tc.drop != 0 {
		return ';'
	}
	return ':'
}

// digits is the width of the frame number.
func (tc Timecode) digits() int {
	if tc.nominal >= 100 {
		return 3
	}
	return 2
}

// Format returns the label of frame n, like "01:02:03:04" without drop and
// "01:02:03;04" with it. Hours have two digits or more. Frame numbers have two
// digits, and three at 100 and more frames a second. A negative label begins with
// "-". The zero Timecode gives "".
func (tc Timecode) Format(n int64) string {
	var room [24]byte
	return string(tc.AppendFormat(room[:0], n))
}

// AppendFormat appends the label of frame n to b and returns the longer slice. It
// does not allocate if b has room for the label, 11 bytes on a common day.
func (tc Timecode) AppendFormat(b []byte, n int64) []byte {
	if tc.nominal == 0 {
		return b
	}
	l := tc.label(n)
	if l.negative {
		b = append(b, '-')
	}
	if l.hours > 99 {
		b = strconv.AppendUint(b, l.hours, 10)
	} else {
		b = append(b, tens(l.hours), ones(l.hours))
	}
	rest := [10]byte{':', tens(l.minutes), ones(l.minutes), ':', tens(l.seconds), ones(l.seconds), tc.separator()}
	frame, at := l.frame, 7
	if tc.nominal >= 100 {
		rest[at] = '0' + byte(frame/100)
		frame %= 100
		at++
	}
	rest[at], rest[at+1] = tens(frame), ones(frame)
	return append(b, rest[:at+2]...)
}

// tens and ones are the digits of a number below 100.
func tens(v uint64) byte { return '0' + byte(v/10) }
func ones(v uint64) byte { return '0' + byte(v%10) }

// Parse returns the index of the frame that a label names. It is the inverse of
// Format, and accepts exactly what Format writes. A label that drop skips is an
// error, and is not moved to the next one.
//
//	(3600 h + 60 m + s) F + f − D (M − ⌊M/10⌋),  M = 60 h + m
//
// F and D are those of Wrap.
//
// The separator before the frames must be ';' with drop and ':' without, so that a
// mistyped one is an error and does not move a scene by 3.6 s an hour.
func (tc Timecode) Parse(s string) (int64, error) {
	if l, ok := tc.read(s); ok {
		return tc.frame(l, s)
	}
	return 0, tc.misspelt(s)
}

// read takes a label apart. ok is false unless Format could have written it, but for
// numbers that are too large.
func (tc Timecode) read(s string) (l label, ok bool) {
	if tc.nominal == 0 {
		return label{}, false
	}
	if s != "" && s[0] == '-' {
		l.negative = true
		s = s[1:]
	}
	colon := len(s) - 7 - tc.digits() // of "01:02:03:04", the first
	if colon < 2 || s[colon] != ':' || s[colon+3] != ':' || s[colon+6] != tc.separator() || colon > 2 && s[0] == '0' {
		return label{}, false
	}
	hours, frame := s[:colon], s[colon+7:]
	minutes, seconds := pair(s[colon+1], s[colon+2]), pair(s[colon+4], s[colon+5])
	l.minutes, l.seconds = uint64(minutes), uint64(seconds)
	ok = len(hours) <= 19 // which fit uint64
	for i := range len(hours) {
		d := hours[i] - '0'
		l.hours = l.hours*10 + uint64(d)
		ok = ok && d <= 9
	}
	last := pair(frame[len(frame)-2], frame[len(frame)-1])
	l.frame = uint64(last)
	if len(frame) == 3 {
		d := frame[0] - '0'
		l.frame += 100 * uint64(d)
		ok = ok && d <= 9
	}
	minusZero := l == label{negative: true}
	return l, ok && max(minutes, seconds, last) <= 99 && !minusZero
}

// pair is the number that two digits write, and more than 99 if one is no digit.
func pair(tens, ones byte) uint {
	t, o := uint(tens-'0'), uint(ones-'0')
	if t > 9 || o > 9 {
		return 100
	}
	return 10*t + o
}

// misspelt is the error for a label that read does not take.
func (tc Timecode) misspelt(s string) error {
	if err := tc.check(); err != nil {
		return err
	}
	text := strings.TrimPrefix(s, "-")
	hours, rest, _ := strings.Cut(text, ":")
	if len(hours) >= 2 && len(rest) == 6+tc.digits() {
		if sep := rest[5]; sep != tc.separator() {
			return newChecker().Refuse("label", strconv.Quote(s), "must have %q before the frames, not %q: drop is %v", tc.separator(), sep, tc.drop != 0)
		}
	}
	return newChecker().Refuse("label", strconv.Quote(s), "must be like %s, with no further zero or sign before it", tc.Format(0))
}

// frame is the inverse of label. s is the label as text.
func (tc Timecode) frame(l label, s string) (int64, error) {
	const most = 59
	skipped := l.frame < tc.drop && l.seconds == 0 && l.minutes%10 != 0
	tooLong := l.hours >= math.MaxUint64/3600/tc.nominal
	if l.minutes > most || l.seconds > most || l.frame >= tc.nominal || tooLong || skipped {
		c := newChecker()
		c.Int("minutes", int(l.minutes), "", 0, most)
		c.Int("seconds", int(l.seconds), "", 0, most)
		c.Int("frames", int(l.frame), "", 0, int(tc.nominal)-1)
		if tooLong {
			c.Fault("hours", strconv.FormatUint(l.hours, 10), "must be fewer: the index must fit int64")
		}
		if skipped {
			c.Fault("label", s, "names no frame: with drop, a minute not divisible by ten begins at frame number %d", tc.drop)
		}
		return 0, c.Err()
	}
	minutes := l.hours*60 + l.minutes
	m := (minutes*60+l.seconds)*tc.nominal + l.frame
	if tc.drop != 0 {
		m -= tc.drop * (minutes - minutes/10)
	}
	n, ok := whole.Signed(l.negative, m)
	if !ok {
		return 0, newChecker().Refuse("label", s, "the index must fit int64")
	}
	return n, nil
}

// LabelError is how far labels are ahead of the clock where frame n begins, if both
// began at frame 0. It is the time that the label reads minus the time that has
// passed, exactly. It is negative where labels are behind.
//
//	N/F − n/rate
//
// N counts labels up to frame n, those that drop skips included, and F is the number
// of frames in a labelled second. For the error after a time, ask Rate.Frame for the
// frame.
func (tc Timecode) LabelError(n int64) (timing.Seconds, error) {
	if err := tc.check(); err != nil {
		return timing.Seconds{}, err
	}
	passed, err := exact(tc.rate.Time(n))
	if err != nil {
		return timing.Seconds{}, err
	}
	read, err := tc.reads(n)
	if err != nil {
		return timing.Seconds{}, err
	}
	return exact(read.Sub(passed))
}

// reads is the time that the label of frame n reads.
func (tc Timecode) reads(n int64) (timing.Seconds, error) {
	number, ok := whole.Signed(n < 0, tc.number(whole.Magnitude(n)))
	if !ok {
		return timing.Seconds{}, newChecker().Refuse("frame", strconv.FormatInt(n, 10), "the time that its label reads must fit a fraction of int64")
	}
	return exact(timing.NewSeconds(number, int64(tc.nominal)))
}
