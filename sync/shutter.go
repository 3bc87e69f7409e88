package sync

import (
	"math"
	"math/big"
	"strconv"
	"strings"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// ShutterAngle says for how much of a frame the shutter is open, as the opening
// of a disc that turns once a frame: more than 0° and at most 360°. It is exact:
// 172.8° at 24 frames a second is 1/50 s.
type ShutterAngle struct{ turn ratio }

// NewShutterAngle returns the angle of num/den degrees. A den below 1, and an angle
// outside 0° to 360°, 0° excluded, are errors.
func NewShutterAngle(num, den int64) (ShutterAngle, error) {
	if den <= 0 {
		return ShutterAngle{}, newChecker().Refuse("shutter angle", strconv.FormatInt(num, 10)+"/"+strconv.FormatInt(den, 10)+"°", "the denominator must be more than 0")
	}
	return shutterAngle(big.NewRat(num, den))
}

func shutterAngle(degrees *big.Rat) (ShutterAngle, error) {
	turn, ok := ratioOf(new(big.Rat).Quo(degrees, big.NewRat(360, 1)))
	if !ok || turn.num <= 0 || turn.num > turn.den {
		return ShutterAngle{}, newChecker().Refuse("shutter angle", degreesText(degrees), "must be more than 0° and at most 360°, in numbers that fit int64")
	}
	return ShutterAngle{turn}, nil
}

// ParseShutterAngle reads degrees as a decimal ("172.8", taken as exactly that)
// or as a fraction ("864/5"), with or without a degree sign. Any other text is an
// error.
func ParseShutterAngle(s string) (ShutterAngle, error) {
	if n, rest, ok := scan(s); ok && (rest == "" || rest == "°") {
		if turn, ok := n.times(ratio{1, 360}, false); ok && turn.num > 0 && turn.num <= turn.den {
			return ShutterAngle{turn}, nil
		}
	}
	// A text of more digits, or one that is refused.
	text := strings.TrimSuffix(s, "°")
	var degrees *big.Rat
	// The longest that String writes has 42 digits.
	ok := len(text) <= 43 && strings.Trim(text, "0123456789./") == "" && strings.Trim(text, "./") == text
	if ok {
		degrees, ok = new(big.Rat).SetString(text)
	}
	if !ok {
		return ShutterAngle{}, newChecker().Refuse("shutter angle", strconv.Quote(s), `must be a decimal like "172.8" or a fraction like "864/5"`)
	}
	return shutterAngle(degrees)
}

// String gives text like "172.8°", or "86400/1001°" if no decimal of nine digits
// after the point is exact.
func (a ShutterAngle) String() string {
	if a.turn.den == 0 {
		return "no angle"
	}
	return string(a.append(make([]byte, 0, 48)))
}

func (a ShutterAngle) append(b []byte) []byte {
	d, ok := a.turn.times(ratio{360, 1})
	if !ok {
		return append(b, degreesText(new(big.Rat).Mul(a.turn.rat(), big.NewRat(360, 1)))...)
	}
	if 1_000_000_000%d.den != 0 {
		return append(d.append(b), "°"...)
	}
	b = strconv.AppendInt(b, d.num/d.den, 10)
	if d.den > 1 {
		b = append(b, '.')
	}
	for rest := d.num % d.den; rest != 0; rest %= d.den {
		rest *= 10
		b = append(b, byte('0'+rest/d.den))
	}
	return append(b, "°"...)
}

// MarshalText gives the text of String. The zero ShutterAngle is an error.
func (a ShutterAngle) MarshalText() ([]byte, error) {
	if a.turn.den == 0 {
		return nil, unset("shutter angle")
	}
	return a.append(make([]byte, 0, 48)), nil
}

// UnmarshalText reads the forms of ParseShutterAngle.
func (a *ShutterAngle) UnmarshalText(text []byte) error {
	return readText(a, text, ParseShutterAngle)
}

func degreesText(degrees *big.Rat) string {
	if n, exact := degrees.FloatPrec(); exact && n <= 9 {
		return degrees.FloatString(n) + "°"
	}
	return degrees.RatString() + "°"
}

// Rounded is the nearest angle with so many decimals of a degree, as a camera's
// menu takes it: 172800/1001° is 172.6° with one decimal. Halfway between two, it
// is the wider one. Decimals outside 0 to 9, and an angle that would become 0°, are
// errors.
//
// A clean angle may not be clean any more: see banding.Prediction.WorstDepth.
func (a ShutterAngle) Rounded(decimals int) (ShutterAngle, error) {
	c := newChecker()
	valid.Set(c, "shutter angle", a)
	c.Int("decimals", decimals, "", 0, 9)
	if !c.OK() {
		return ShutterAngle{}, c.Err()
	}
	steps := int64(1) // in a degree
	for range decimals {
		steps *= 10
	}
	// At most 360 · steps, and so it fits.
	n, _ := mulDiv(a.turn.num, 360*uint64(steps), uint64(a.turn.den), 1, Nearest)
	if n == 0 {
		half := big.NewRat(1, 2*steps)
		return ShutterAngle{}, newChecker().Refuse("shutter angle", a.String(), "must be at least %s°, or have more decimals than %d", half.FloatString(decimals+1), decimals)
	}
	return NewShutterAngle(n, steps)
}

// Angle is the angle in floating point, with an error of at most two ulp.
func (a ShutterAngle) Angle() unit.Angle {
	if a.turn.den == 0 {
		return 0
	}
	return unit.Angle(2 * math.Pi * a.turn.float())
}

// Exposure is the time that the shutter is open at a frame rate, angle/360° / rate.
func (a ShutterAngle) Exposure(r Rate) (Seconds, error) {
	c := newChecker()
	valid.Set(c, "shutter angle", a)
	valid.Set(c, "rate", r)
	if !c.OK() {
		return Seconds{}, c.Err()
	}
	t, ok := a.turn.times(ratio{r.den, r.num})
	if !ok {
		return Seconds{}, newChecker().Refuse("shutter", a.String()+" at "+r.String(), "the exposure must fit a fraction of int64")
	}
	return secondsOf(t), nil
}

// ShutterAngleOf is the angle of an exposure at a frame rate, 360° · exposure ·
// rate. It is the inverse of ShutterAngle.Exposure. An exposure outside 0 s to
// 1/rate, 0 s excluded, is an error.
func ShutterAngleOf(exposure Seconds, r Rate) (ShutterAngle, error) {
	if r.den == 0 {
		return ShutterAngle{}, unset("rate")
	}
	turn, ok := exposure.ratio().times(r.ratio)
	if !ok || turn.num <= 0 || turn.num > turn.den {
		return ShutterAngle{}, newChecker().Refuse("exposure", exposure.String()+" at "+r.String(), "must be more than 0 s and at most the period of the frame, in numbers that fit int64")
	}
	return ShutterAngle{turn}, nil
}

// ShutterPhase says where the exposure of a frame lies relative to the frame's
// time, n/rate. Both are in use, so the zero value is refused.
type ShutterPhase uint8

const (
	Leading ShutterPhase = iota + 1 // the exposure begins at the frame's time
	Centred                         // the middle of the exposure is at the frame's time
)

var shutterPhases = enum.New[ShutterPhase](ErrInvalid, []string{Leading: "leading", Centred: "centred"})

// String gives "leading" or "centred".
func (p ShutterPhase) String() string { return shutterPhases.Name(p) }

// MarshalText gives the name. An unknown ShutterPhase is an error.
func (p ShutterPhase) MarshalText() ([]byte, error) { return shutterPhases.Marshal(p) }

// UnmarshalText reads a name.
func (p *ShutterPhase) UnmarshalText(text []byte) error { return shutterPhases.Unmarshal(p, text) }

// Interval returns the times at which the shutter opens and closes for frame n, if
// the time of frame 0 is 0 s. With a rolling shutter they are those of row 0.
//
//	Leading  n/rate to n/rate + exposure
//	Centred  n/rate − exposure/2 to n/rate + exposure/2
func (a ShutterAngle) Interval(r Rate, n int64, phase ShutterPhase) (opens, closes Seconds, err error) {
	c := newChecker()
	shutterPhases.Check(c, "shutter phase", phase)
	if !c.OK() {
		return Seconds{}, Seconds{}, c.Err()
	}
	exposure, err := a.Exposure(r)
	if err != nil {
		return Seconds{}, Seconds{}, err
	}
	begin, err := r.Time(n)
	if err != nil {
		return Seconds{}, Seconds{}, err
	}
	from, e := begin.ratio().rat(), exposure.ratio().rat()
	if phase == Centred {
		from.Sub(from, new(big.Rat).Quo(e, big.NewRat(2, 1)))
	}
	o, ok1 := ratioOf(from)
	cl, ok2 := ratioOf(from.Add(from, e))
	if !ok1 || !ok2 {
		return Seconds{}, Seconds{}, newChecker().Refuse("frame", strconv.FormatInt(n, 10), "its exposure must fit fractions of int64")
	}
	return secondsOf(o), secondsOf(cl), nil
}
