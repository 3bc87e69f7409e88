package sync

import (
	"math"
	"math/big"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/unit"
)

// ShutterAngle is the part of a frame that a shutter is open, as the angle of
// a disc that turns once a frame: more than 0°, at most 360°. It is exact, and
// == compares: 172.8° at 24 frames a second is 1/50 s, not nearly so. The zero
// value is no angle: its methods give zeros or errors.
type ShutterAngle struct{ turn ratio }

// NewShutterAngle gives the angle of num/den degrees.
func NewShutterAngle(num, den int64) (ShutterAngle, error) {
	if den <= 0 {
		return ShutterAngle{}, fault("shutter angle", strconv.FormatInt(num, 10)+"/"+strconv.FormatInt(den, 10)+"°", "the lower number must be more than 0")
	}
	return shutterAngle(big.NewRat(num, den))
}

func shutterAngle(degrees *big.Rat) (ShutterAngle, error) {
	turn, ok := ratioOf(new(big.Rat).Quo(degrees, big.NewRat(360, 1)))
	if !ok || turn.num <= 0 || turn.num > turn.den {
		return ShutterAngle{}, fault("shutter angle", degreesText(degrees), "must be more than 0° and at most 360°, in numbers that fit int64")
	}
	return ShutterAngle{turn}, nil
}

// ParseShutterAngle reads degrees as a decimal ("172.8", taken as exactly
// that) or a fraction ("864/5"), with or without a degree sign.
func ParseShutterAngle(s string) (ShutterAngle, error) {
	text := strings.TrimSuffix(s, "°")
	var degrees *big.Rat
	// The longest that String writes has 42 digits.
	ok := len(text) <= 43 && strings.Trim(text, "0123456789./") == "" && strings.Trim(text, "./") == text
	if ok {
		degrees, ok = new(big.Rat).SetString(text)
	}
	if !ok {
		return ShutterAngle{}, fault("shutter angle", strconv.Quote(s), `must be a decimal like "172.8" or a fraction like "864/5"`)
	}
	return shutterAngle(degrees)
}

// String is like "172.8°", or "86400/1001°" where a decimal would not be exact.
func (a ShutterAngle) String() string {
	if a.turn.den == 0 {
		return "no angle"
	}
	return degreesText(new(big.Rat).Mul(a.turn.rat(), big.NewRat(360, 1)))
}

// MarshalText writes the angle as String does, exactly; no angle is an error.
func (a ShutterAngle) MarshalText() ([]byte, error) {
	if a.turn.den == 0 {
		return nil, fault("shutter angle", a.String(), "must be set")
	}
	return []byte(a.String()), nil
}

// UnmarshalText reads what ParseShutterAngle reads.
func (a *ShutterAngle) UnmarshalText(text []byte) error {
	return readText(a, text, ParseShutterAngle)
}

func degreesText(degrees *big.Rat) string {
	if n, exact := degrees.FloatPrec(); exact && n <= 9 {
		return degrees.FloatString(n) + "°"
	}
	return degrees.RatString() + "°"
}

// Angle gives the angle as a floating-point number, within three ulp.
func (a ShutterAngle) Angle() unit.Angle {
	if a.turn.den == 0 {
		return 0
	}
	return unit.Angle(2 * math.Pi * a.turn.float())
}

// Exposure gives the time that the shutter is open at a frame rate, exactly.
//
//	(angle / 360°) / rate
//
// A zero value, and a time that does not fit two int64, are errors.
func (a ShutterAngle) Exposure(r Rate) (Seconds, error) {
	if a.turn.den == 0 || r.den == 0 {
		return Seconds{}, fault("shutter", a.String()+" at "+r.String(), "the angle and the rate must be set")
	}
	t, ok := a.turn.times(ratio{r.den, r.num})
	if !ok {
		return Seconds{}, fault("shutter", a.String()+" at "+r.String(), "the exposure must fit a fraction of int64")
	}
	return secondsOf(t), nil
}

// ShutterAngleOf gives the angle of an exposure at a frame rate, exactly: it
// undoes ShutterAngle.Exposure. An exposure that is not positive, or longer
// than the frame, and no rate are errors.
//
//	360° · exposure · rate
func ShutterAngleOf(exposure Seconds, r Rate) (ShutterAngle, error) {
	if r.den == 0 {
		return ShutterAngle{}, fault("rate", r.String(), "must be set")
	}
	turn, ok := exposure.ratio().times(r.ratio)
	if !ok || turn.num <= 0 || turn.num > turn.den {
		return ShutterAngle{}, fault("exposure", exposure.String()+" at "+r.String(), "must be more than 0 s and at most the period of the frame, in numbers that fit int64")
	}
	return ShutterAngle{turn}, nil
}

// ShutterPhase says how an exposure lies to the time of its frame. Its zero
// value says nothing and is refused, since both ways are in use.
type ShutterPhase int

// Leading opens the shutter at the time of the frame; Centred has that time at
// the middle of the exposure.
const (
	Leading ShutterPhase = iota + 1
	Centred
)

// Interval gives the times at which the shutter opens and closes for frame n,
// when the time of frame 0 is 0, exactly. They belong to the frame as a whole:
// under a rolling shutter, to its first row.
//
//	Leading  n/rate, n/rate + e
//	Centred  n/rate − e/2, n/rate + e/2
//
// e is the exposure. Errors are those of Exposure and Rate.Time, and a phase
// that is neither.
func (a ShutterAngle) Interval(r Rate, n int64, phase ShutterPhase) (opens, closes Seconds, err error) {
	exposure, err := a.Exposure(r)
	if err != nil {
		return Seconds{}, Seconds{}, err
	}
	begin, err := r.Time(n)
	if err != nil {
		return Seconds{}, Seconds{}, err
	}
	from, to := begin.ratio().rat(), begin.ratio().rat()
	switch e := exposure.ratio().rat(); phase {
	case Leading:
		to.Add(to, e)
	case Centred:
		e.Mul(e, big.NewRat(1, 2))
		from.Sub(from, e)
		to.Add(to, e)
	default:
		return Seconds{}, Seconds{}, fault("phase", strconv.Itoa(int(phase)), "must be Leading or Centred")
	}
	o, ok1 := ratioOf(from)
	c, ok2 := ratioOf(to)
	if !ok1 || !ok2 {
		return Seconds{}, Seconds{}, fault("frame", strconv.FormatInt(n, 10), "its exposure must fit fractions of int64")
	}
	return secondsOf(o), secondsOf(c), nil
}
