package sync

import (
	"math"
	"time"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// OffsetSpec describes a picture that comes at the wrong moment, of a world
// that a moving camera passes.
type OffsetSpec struct {
	// Offset is how late the picture is: the world has moved on by as much.
	// At most a minute either way.
	Offset unit.Time

	// Speed is that of the vehicle past the object, in m/s: 0 to 1000.
	Speed unit.Velocity

	// Distance is that of the camera from the object: more than 0 m.
	Distance unit.Length

	// Ahead is how far before the beam the object lies: 0 abeam, square to
	// the course; 90° dead ahead; −90° astern.
	Ahead unit.Angle

	// PixelsPerDegree is that of the picture, in the direction of the object.
	PixelsPerDegree float64
}

// Offset is what an offset in time does to the picture of one object. The zero
// value does nothing. An Offset is immutable.
type Offset struct {
	path   unit.Length
	angle  unit.Angle
	pixels float64
}

// NewOffset checks the spec. The object stands still and the course is
// straight; what the picture shows of it follows by elementary geometry.
func NewOffset(spec OffsetSpec) (Offset, error) {
	c := valid.New("sync", ErrInvalid)
	c.Time("offset", spec.Offset, valid.Closed[unit.Time](-60, 60))
	c.Number("speed", float64(spec.Speed), "m/s", valid.Closed(0.0, 1000.0))
	c.Length("distance", spec.Distance, valid.Above[unit.Length](0, 1e9))
	c.Angle("ahead", spec.Ahead, valid.Closed(-90*Degree, 90*Degree))
	c.Number("pixels per degree", spec.PixelsPerDegree, "px/°", valid.Above(0.0, 1e6))
	if !c.OK() {
		return Offset{}, c.Err()
	}
	path := float64(spec.Speed) * float64(spec.Offset)
	sin, cos := math.Sincos(float64(spec.Ahead))
	if spec.Ahead == 90*Degree || spec.Ahead == -90*Degree {
		cos = 0
	}
	if path*sin >= float64(spec.Distance) && cos == 0 {
		c.Fault("distance", quantity.Length(spec.Distance), "must be more than the %s that the camera goes towards the object meanwhile", quantity.Length(unit.Length(path)))
		return Offset{}, c.Err()
	}
	angle := math.Atan2(0+path*cos, float64(spec.Distance)-path*sin) // 0+: no −0
	return Offset{
		path:   unit.Length(path),
		angle:  unit.Angle(angle),
		pixels: angle / float64(Degree) * spec.PixelsPerDegree,
	}, nil
}

// Displacement gives the way that the camera goes meanwhile.
//
//	speed · offset
func (o Offset) Displacement() unit.Length { return o.path }

// Angle gives how far the object's direction turns meanwhile, towards the
// stern: how far from its place the late picture shows it, towards the bow.
//
//	atan2(s cos α, D − s sin α)
//
// s is the displacement, D the distance, α Ahead. Square to the course it is
// atan(s/D); dead ahead and astern it is 0. Negative for an early picture.
func (o Offset) Angle() unit.Angle { return o.angle }

// Pixels gives the same in pixels.
//
//	angle · pixels per degree
func (o Offset) Pixels() float64 { return o.pixels }

// FreeRunFrames gives how many frames a clock that runs free gains in a time
// on one that is right: negative where it loses.
//
//	ppm · 10⁻⁶ · elapsed · rate
//
// ppm is the error of its rate in parts per million, at most 100000 either
// way; for two clocks that both run free, the difference of theirs.
//
// Source: elementary arithmetic.
func FreeRunFrames(r Rate, ppm float64, elapsed unit.Time) (float64, error) {
	c := freeRun(r, ppm)
	c.Time("elapsed time", elapsed, valid.Closed[unit.Time](0, 1e10))
	if !c.OK() {
		return 0, c.Err()
	}
	return ppm * 1e-6 * float64(elapsed) * float64(r.Frequency()), nil
}

// FreeRunSlip gives the time in which a clock that runs free comes to be one
// whole frame off.
//
//	10⁶ / (|ppm| · rate)
//
// ppm is that of FreeRunFrames, and must not be 0: such a clock never slips.
//
// Source: elementary arithmetic.
func FreeRunSlip(r Rate, ppm float64) (unit.Time, error) {
	c := freeRun(r, ppm)
	if math.Abs(ppm) < 1e-9 {
		c.Fault("clock error", quantity.Number(ppm, "ppm"), "must be at least 1e-09 ppm either way to slip")
	}
	if !c.OK() {
		return 0, c.Err()
	}
	return unit.Time(1e6 / (math.Abs(ppm) * float64(r.Frequency()))), nil
}

func freeRun(r Rate, ppm float64) *valid.Checker {
	c := valid.New("sync", ErrInvalid)
	if r.den == 0 {
		c.Fault("rate", r.String(), "must be set")
	}
	c.Number("clock error", ppm, "ppm", valid.Closed(-1e5, 1e5))
	return c
}

// Alignment places a time among the frames of a signal that is aligned to the
// epoch.
type Alignment struct {
	Frame int64   // the number of the frame that is on, 0 from the epoch
	Phase Seconds // since it began: 0 s up to less than a period
	Next  Seconds // when the next one begins, always later than the time
}

// Align places a time in the frames of a signal that had one begin at the
// epoch, exactly. All signals so aligned agree everywhere without a cable from
// one to the other.
//
//	Frame = ⌊t · rate⌋,  Phase = t − Frame/rate,  Next = (Frame + 1)/rate
//
// t counts from the epoch of the Precision Time Protocol, 1970-01-01T00:00:00
// TAI (see PTPTime). At a time when a frame begins, Phase is 0 s and Next is a
// whole period away. Times that do not fit two int64 are errors.
//
// Floating point cannot do this: at the times of our day a float64 of seconds
// steps by 240 ns.
//
// Source: SMPTE ST 2059-1:2015, section 7.2, table 2, as quoted at
// broadcastengineering.info, topic 6668; the standard itself was not read.
func (r Rate) Align(t Seconds) (Alignment, error) {
	n, err := r.Frame(t, Floor)
	if err != nil {
		return Alignment{}, err
	}
	begin, err := r.Time(n)
	if err != nil {
		return Alignment{}, err
	}
	period := r.Period().ratio().rat()
	next, ok1 := ratioOf(period.Add(period, begin.ratio().rat()))
	phase := t.ratio().rat()
	rest, ok2 := ratioOf(phase.Sub(phase, begin.ratio().rat()))
	if !ok1 || !ok2 {
		return Alignment{}, fault("time", t.String(), "its place among frames at %s must fit fractions of int64", r)
	}
	return Alignment{n, secondsOf(rest), secondsOf(next)}, nil
}

// taiMinusUTC is what TAI is ahead of UTC since 2017-01-01, in seconds.
const taiMinusUTC = 37

// PTPTime gives the time of the Precision Time Protocol, the seconds of TAI
// since 1970-01-01T00:00:00 TAI, at a time of the ordinary clock, to the
// nanosecond.
//
//	seconds of UTC since 1970, leap seconds not counted, + 37
//
// The 37 s hold since 2017-01-01; earlier times are errors, and so are those
// after 2261 that an int64 of nanoseconds cannot count. The next leap second
// cannot be known in advance: later times then come out a second too small.
// Within a leap second the ordinary clock is ambiguous.
//
// Source: International Earth Rotation and Reference Systems Service (IERS),
// Bulletin C 52, from memory.
func PTPTime(t time.Time) (Seconds, error) {
	first := time.Date(2017, time.January, 1, 0, 0, 0, 0, time.UTC)
	last := time.Unix(math.MaxInt64/1_000_000_000-taiMinusUTC-1, 0).UTC()
	if t.Before(first) || t.After(last) {
		return Seconds{}, fault("time", t.UTC().Format(time.RFC3339), "must be from %s to %s", first.Format(time.RFC3339), last.Format(time.RFC3339))
	}
	return NewSeconds((t.Unix()+taiMinusUTC)*1e9+int64(t.Nanosecond()), 1e9)
}
