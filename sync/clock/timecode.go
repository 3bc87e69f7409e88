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
	tc := Timecode{nominal: uint64(nominal)}
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

// tenMinutes is the number of frames in ten labelled minutes.
func (tc Timecode) tenMinutes() uint64 { return 600*tc.nominal - 9*tc.drop }

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
	day := int64(144 * tc.tenMinutes())
	return (n%day + day) % day
}

// label numbers frame n.
//
// With F frames in a labelled second, D labels skipped in a minute, and
// P = 600 F − 9 D frames in ten minutes, frame n has the number
//
//	n + 9 D q + D ⌊(r − D) / (60 F − D)⌋,  q = ⌊n/P⌋,  r = n − P q ≥ D
//
// The last term is 0 if r < D. Source: SMPTE ST 12-1, as coded in FFmpeg,
// libavutil/timecode.c. D = 8 at 120000/1001 continues its rule.
func (tc Timecode) label(n int64) label {
	m := whole.Magnitude(n)
	if tc.drop != 0 {
		p := tc.tenMinutes()
		q, r := m/p, m%p
		m += 9 * tc.drop * q
		if r >= tc.drop {
			m += tc.drop * ((r - tc.drop) / (60*tc.nominal - tc.drop))
		}
	}
	s := m / tc.nominal
	return label{n < 0, s / 3600, s / 60 % 60, s % 60, m % tc.nominal}
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
	if tc.nominal == 0 {
		return ""
	}
	l := tc.label(n)
	b := make([]byte, 0, 16)
	if l.negative {
		b = append(b, '-')
	}
	b = appendDigits(b, l.hours, 2)
	b = append(b, ':')
	b = appendDigits(b, l.minutes, 2)
	b = append(b, ':')
	b = appendDigits(b, l.seconds, 2)
	b = append(b, tc.separator())
	b = appendDigits(b, l.frame, tc.digits())
	return string(b)
}

func appendDigits(b []byte, v uint64, width int) []byte {
	for limit := uint64(10); width > 1; width-- {
		if v < limit {
			b = append(b, '0')
		}
		limit *= 10
	}
	return strconv.AppendUint(b, v, 10)
}

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
	if tc.nominal == 0 {
		return 0, fault("timecode", "without a rate", "must come from NewTimecode")
	}
	text, negative := strings.CutPrefix(s, "-")
	hours, rest, _ := strings.Cut(text, ":")
	if len(hours) < 2 || len(rest) != 6+tc.digits() {
		return 0, fault("label", strconv.Quote(s), "must be like %s", tc.Format(0))
	}
	if sep := rest[5]; sep != tc.separator() {
		return 0, fault("label", strconv.Quote(s), "must have %q before the frames, not %q: drop is %v", tc.separator(), sep, tc.drop != 0)
	}
	l := label{negative: negative}
	for _, part := range []struct {
		text  string
		value *uint64
	}{{hours, &l.hours}, {rest[:2], &l.minutes}, {rest[3:5], &l.seconds}, {rest[6:], &l.frame}} {
		v, err := strconv.ParseUint(part.text, 10, 63)
		if err != nil {
			return 0, fault("label", strconv.Quote(s), "must be like %s", tc.Format(0))
		}
		*part.value = v
	}
	n, err := tc.frame(l, s)
	if err == nil && tc.Format(n) != s {
		return 0, fault("label", strconv.Quote(s), "must be written %s", tc.Format(n))
	}
	return n, err
}

// frame is the inverse of label. s is the label as text.
func (tc Timecode) frame(l label, s string) (int64, error) {
	c := newChecker()
	c.Int("minutes", int(l.minutes), "", 0, 59)
	c.Int("seconds", int(l.seconds), "", 0, 59)
	c.Int("frames", int(l.frame), "", 0, int(tc.nominal)-1)
	if l.hours >= math.MaxUint64/3600/tc.nominal {
		c.Fault("hours", strconv.FormatUint(l.hours, 10), "must be fewer: the index must fit int64")
	}
	if l.frame < tc.drop && l.seconds == 0 && l.minutes%10 != 0 {
		c.Fault("label", s, "names no frame: with drop, a minute not divisible by ten begins at frame number %d", tc.drop)
	}
	if !c.OK() {
		return 0, c.Err()
	}
	minutes := l.hours*60 + l.minutes
	m := (minutes*60+l.seconds)*tc.nominal + l.frame - tc.drop*(minutes-minutes/10)
	n, ok := whole.Signed(l.negative, m)
	if !ok {
		return 0, fault("label", s, "the index must fit int64")
	}
	return n, nil
}
