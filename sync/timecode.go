package sync

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"example.com/platewright/internal/valid"
)

// TimecodeSpec says how frames are counted in labels.
type TimecodeSpec struct {
	// Rate is one of the whole rates 24, 25, 30, 48, 50, 60, 72, 96, 100 and
	// 120, or 1000/1001 of one that is not a multiple of 25.
	Rate Rate

	// Drop leaves out labels, never frames, so that labels keep up with the
	// clock: the first 2, 4 or 8 numbers of each minute except each tenth. It
	// is defined for 30000/1001, 60000/1001 and 120000/1001 only.
	Drop bool
}

// Timecode numbers frames with labels of hours, minutes, seconds and frames.
//
// A frame is an index, an int64 that counts from 0 and may be negative; a
// label is only its name. Time between two frames is Rate.Time of the
// difference of their indices, never the difference of the labels: with drop,
// labels jump where time does not, and without it at a rate of 1000/1001 a
// labelled hour is 3.6 s longer than an hour.
//
// Labels are signed, and hours run on past 23; below zero they mirror those
// above. For labels of a clock that starts again each day, take the index
// through Wrap first.
//
// The zero value counts nothing: its methods give zeros and errors. A Timecode
// is immutable; == compares.
type Timecode struct {
	nominal uint64 // frames a labelled second
	drop    uint64 // numbers left out each minute but the tenth
}

// Label is a frame's name, the fields of "01:02:03:04".
type Label struct {
	Negative bool
	Hours    int64 // 0 and up; no upper end at 23
	Minutes  int   // 0 to 59
	Seconds  int   // 0 to 59
	Frames   int   // 0 to one less than the labelled second counts
}

var nominals = []int64{24, 25, 30, 48, 50, 60, 72, 96, 100, 120}

// NewTimecode checks the spec.
func NewTimecode(spec TimecodeSpec) (Timecode, error) {
	c := valid.New("sync", ErrInvalid)
	// Whole rates are their own nominal count; the others lie 0.1 % below it.
	nominal, den := spec.Rate.Ratio()
	whole := den == 1
	if den == 1001 {
		nominal /= 1000
	}
	known := slices.Contains(nominals, nominal) && (whole || den == 1001 && nominal*1000 == spec.Rate.num && nominal%25 != 0)
	if !known {
		c.Fault("rate", spec.Rate.String(), "must be 24, 25, 30, 48, 50, 60, 72, 96, 100 or 120, or 1000/1001 of one that is not a multiple of 25")
	}
	tc := Timecode{nominal: uint64(nominal)}
	if spec.Drop {
		if whole || nominal%30 != 0 {
			c.Fault("drop", "true at "+spec.Rate.String(), "must be false except at 30000/1001, 60000/1001 and 120000/1001")
		}
		tc.drop = tc.nominal / 15 // 2 at 30, 4 at 60, 8 at 120
	}
	if !c.OK() {
		return Timecode{}, c.Err()
	}
	return tc, nil
}

// MarshalText writes the count of a labelled second, and whether numbers are
// dropped: "24" at 24 and at 24000/1001, "30 drop" at 30000/1001 with drop. The
// zero value is an error.
func (tc Timecode) MarshalText() ([]byte, error) {
	if tc.nominal == 0 {
		return nil, fault("timecode", "without a rate", "must come from NewTimecode")
	}
	text := strconv.FormatUint(tc.nominal, 10)
	if tc.drop != 0 {
		text += dropped
	}
	return []byte(text), nil
}

const dropped = " drop"

// UnmarshalText reads what MarshalText writes.
func (tc *Timecode) UnmarshalText(text []byte) error { return readText(tc, text, parseTimecode) }

func parseTimecode(s string) (Timecode, error) {
	count, drop := strings.CutSuffix(s, dropped)
	spec := TimecodeSpec{Drop: drop}
	for _, n := range nominals {
		if count == strconv.FormatInt(n, 10) {
			spec.Rate = Rate{ratio{n, 1}}
			if drop {
				spec.Rate = Rate{reduced(n*1000, 1001)}
			}
		}
	}
	tc, err := NewTimecode(spec)
	if err != nil {
		return Timecode{}, fault("timecode", strconv.Quote(s), `must be a count like "24", or "30 drop", "60 drop" or "120 drop"`)
	}
	return tc, nil
}

// Nominal gives the number of frames of a labelled second: 24 at 24000/1001.
func (tc Timecode) Nominal() int { return int(tc.nominal) }

// Day gives the number of frames that 24 labelled hours name.
//
//	86400 F − 1296 D
//
// F is the nominal count, D the numbers left out a minute.
func (tc Timecode) Day() int64 { return int64(144 * tc.tenMinutes()) }

// tenMinutes is the number of frames in ten labelled minutes.
func (tc Timecode) tenMinutes() uint64 { return 600*tc.nominal - 9*tc.drop }

// Wrap takes an index into the day that begins at 0: 0 ≤ Wrap(n) < Day().
// Frame −1 becomes the last frame of the day.
func (tc Timecode) Wrap(n int64) int64 {
	day := tc.Day()
	if day == 0 {
		return 0
	}
	return (n%day + day) % day
}

// Label gives the name of frame n.
//
// With drop, F frames a labelled second, D numbers left out a minute, and
// P = 600 F − 9 D frames in ten minutes, frame n bears the number
//
//	n + 9 D q + D ⌊(r − D) / (60 F − D)⌋,  q = ⌊n/P⌋,  r = n − P q ≥ D
//
// (the last term is 0 where r < D).
//
// Source: SMPTE ST 12-1, as coded in FFmpeg, libavutil/timecode.c; D = 8 at
// 120000/1001 continues its rule.
func (tc Timecode) Label(n int64) Label {
	if tc.nominal == 0 {
		return Label{}
	}
	m := magnitude(n)
	if tc.drop != 0 {
		p := tc.tenMinutes()
		q, r := m/p, m%p
		m += 9 * tc.drop * q
		if r >= tc.drop {
			m += tc.drop * ((r - tc.drop) / (60*tc.nominal - tc.drop))
		}
	}
	s := m / tc.nominal
	return Label{
		Negative: n < 0,
		Hours:    int64(s / 3600),
		Minutes:  int(s / 60 % 60),
		Seconds:  int(s % 60),
		Frames:   int(m % tc.nominal),
	}
}

// Frame gives the index of the frame that a label names: it undoes Label.
//
//	(3600 h + 60 m + s) F + f − D (M − ⌊M/10⌋),  M = 60 h + m
//
// A field out of its range, a label that drop leaves out, and an index that
// does not fit int64 are errors.
//
// Source: SMPTE ST 12-1, as coded in FFmpeg, libavutil/timecode.c.
func (tc Timecode) Frame(l Label) (int64, error) {
	if tc.nominal == 0 {
		return 0, fault("timecode", "without a rate", "must come from NewTimecode")
	}
	c := valid.New("sync", ErrInvalid)
	c.Int("minutes", l.Minutes, "", 0, 59)
	c.Int("seconds", l.Seconds, "", 0, 59)
	c.Int("frames", l.Frames, "", 0, int(tc.nominal)-1)
	if l.Hours < 0 || uint64(l.Hours) >= math.MaxUint64/3600/tc.nominal {
		c.Fault("hours", strconv.FormatInt(l.Hours, 10), "must not be negative, and the index must fit int64")
	}
	if uint64(l.Frames) < tc.drop && l.Seconds == 0 && l.Minutes%10 != 0 {
		c.Fault("label", tc.text(l), "names no frame: with drop, a minute not divisible by ten begins at frame number %d", tc.drop)
	}
	if !c.OK() {
		return 0, c.Err()
	}
	minutes := uint64(l.Hours)*60 + uint64(l.Minutes)
	m := (minutes*60+uint64(l.Seconds))*tc.nominal + uint64(l.Frames) - tc.drop*(minutes-minutes/10)
	n, ok := signed(l.Negative, m)
	if !ok {
		return 0, fault("label", tc.text(l), "the index must fit int64")
	}
	return n, nil
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

// Format writes the label of frame n, like "01:02:03:04" without drop and
// "01:02:03;04" with it. Frame numbers have two digits, from a nominal 100 a
// second up three; hours have two or more; a negative label begins with "-".
func (tc Timecode) Format(n int64) string {
	if tc.nominal == 0 {
		return ""
	}
	return tc.text(tc.Label(n))
}

func (tc Timecode) text(l Label) string {
	b := make([]byte, 0, 16)
	if l.Negative {
		b = append(b, '-')
	}
	b = appendDigits(b, l.Hours, 2)
	b = append(b, ':')
	b = appendDigits(b, int64(l.Minutes), 2)
	b = append(b, ':')
	b = appendDigits(b, int64(l.Seconds), 2)
	b = append(b, tc.separator())
	b = appendDigits(b, int64(l.Frames), tc.digits())
	return string(b)
}

func appendDigits(b []byte, v int64, width int) []byte {
	for limit := int64(10); width > 1; width-- {
		if v < limit {
			b = append(b, '0')
		}
		limit *= 10
	}
	return strconv.AppendInt(b, v, 10)
}

// Parse reads a label as Format writes it and gives the index of its frame.
// Every other text is an error, "-00:00:00:00" and "001:00:00:00" included.
//
// The separator must say what the Timecode says: ';' before the frames with
// drop, ':' without. Some readers take either, and '.' as well, and decide on
// drop by what they find; then one mistyped character moves a scene by 3.6 s an
// hour and nobody is told. The width of the frame number must be that of the
// rate, since at 100 and 120 a number of two digits is as likely a count of
// groups of frames (see SuperFrame). A label that drop leaves out is an error,
// not rounded up.
func (tc Timecode) Parse(s string) (int64, error) {
	if tc.nominal == 0 {
		return 0, fault("timecode", "without a rate", "must come from NewTimecode")
	}
	text, negative := strings.CutPrefix(s, "-")
	hours, rest, _ := strings.Cut(text, ":")
	if len(hours) < 2 || len(rest) != 6+tc.digits() || rest[2] != ':' {
		return 0, fault("label", strconv.Quote(s), "must be like %s", tc.Format(0))
	}
	if sep := rest[5]; sep != tc.separator() {
		return 0, fault("label", strconv.Quote(s), "must have %q before the frames, not %q: drop is %v", tc.separator(), sep, tc.drop != 0)
	}
	h, err1 := strconv.ParseUint(hours, 10, 63)
	m, err2 := strconv.ParseUint(rest[:2], 10, 8)
	sec, err3 := strconv.ParseUint(rest[3:5], 10, 8)
	f, err4 := strconv.ParseUint(rest[6:], 10, 16)
	if err1 != nil || err2 != nil || err3 != nil || err4 != nil {
		return 0, fault("label", strconv.Quote(s), "must be like %s", tc.Format(0))
	}
	n, err := tc.Frame(Label{negative, int64(h), int(m), int(sec), int(f)})
	if err == nil && tc.Format(n) != s {
		return 0, fault("label", strconv.Quote(s), "must be written %s", tc.Format(n))
	}
	return n, err
}

// group is the number of frames that share one number in a count of at most 30.
func (tc Timecode) group() int { return (int(tc.nominal) + 29) / 30 }

// SuperFrame gives the label of frame n as carriers with room for at most 30
// frame numbers write it: above 30 frames a second, 2, 3 or 4 frames share one
// number, and sub, from 0, says which of them it is. Up to 30 it is Label, and
// sub is 0.
//
//	number ⌊f/g⌋, sub f mod g,  g = ⌈F/30⌉
//
// Carriers of pairs hold sub in one bit, which is another at 50 than at 60.
//
// Source: SMPTE ST 12-1:2014, section 12.1, as coded in FFmpeg,
// libavutil/timecode.c, for pairs; groups of 3 and 4 continue it.
func (tc Timecode) SuperFrame(n int64) (l Label, sub int) {
	if tc.nominal == 0 {
		return Label{}, 0
	}
	l = tc.Label(n)
	sub = l.Frames % tc.group()
	l.Frames /= tc.group()
	return l, sub
}

// FromSuperFrame gives the index of a frame from what SuperFrame gives.
func (tc Timecode) FromSuperFrame(l Label, sub int) (int64, error) {
	g := max(1, tc.group())
	c := valid.New("sync", ErrInvalid)
	c.Int("sub-frame", sub, "", 0, g-1)
	c.Int("frames", l.Frames, "", 0, max(1, int(tc.nominal)/g)-1)
	if !c.OK() {
		return 0, c.Err()
	}
	l.Frames = l.Frames*g + sub
	return tc.Frame(l)
}
