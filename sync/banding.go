package sync

import (
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// BandingSpec describes a pulsed light and the camera that looks at it.
type BandingSpec struct {
	Camera  Rate // frames a second
	Refresh Rate // periods of the light a second

	// Duty is the part of its turn that a light is on: more than 0, at most 1.
	Duty float64

	// Multiplex is the number of groups of scan lines that are lit in turn
	// within a period, so that each is on for Duty/Multiplex of it. 0 and 1
	// are a light without turns; at most 1024.
	Multiplex int

	Exposure unit.Time // of each row: at least 1 µs, at most the camera's period
	RowTime  unit.Time // from row to row: 0 s for a global shutter
	Rows     int       // of the frame; Rows times RowTime is at most the camera's period

	// Phase is how far into a period of the light row 0 opens, in periods: 0
	// where it opens as the light goes on. A group lit as number g of m in
	// turn has a phase smaller by g/m than the first.
	Phase float64
}

// Banding predicts how a light that goes on and off evenly is recorded by a
// camera that exposes its rows one after another, from one frame's row 0 on.
//
// Light is in parts of what the light gives while it is on. One camera row is
// taken to see one group of the light: where a blurred wall mixes all groups,
// it flashes Multiplex times as often, with the full Duty. The light is on
// fully or off, its edges take no time, and the eye is not modelled.
//
// The zero value records nothing: its methods give zeros and ok false. A
// Banding is immutable.
type Banding struct {
	duty    float64 // part of a period that a group is on
	whole   float64 // whole periods in an exposure
	part    float64 // and the rest, 0 ≤ part < 1
	perRow  float64 // periods from row to row
	phase   float64 // 0 ≤ phase < 1
	advance float64 // periods from frame to frame beyond whole ones, −½ < advance ≤ ½
	rate    float64 // frames a second
	rows    int
}

// NewBanding checks the spec.
func NewBanding(spec BandingSpec) (Banding, error) {
	c := valid.New("sync", ErrInvalid)
	if spec.Camera.den == 0 {
		c.Fault("camera rate", spec.Camera.String(), "must be set")
	}
	if spec.Refresh.den == 0 {
		c.Fault("refresh rate", spec.Refresh.String(), "must be set")
	}
	c.Number("duty", spec.Duty, "", valid.Above(0.0, 1.0))
	c.Int("multiplex", spec.Multiplex, "", 0, 1024)
	c.Int("rows", spec.Rows, "", 1, 1<<24)
	c.Number("phase", spec.Phase, "periods", valid.Finite())
	// An exposure that is the whole frame, computed in floating point, may
	// come out a hair longer. Of no rate, a frame lasts as long as it likes.
	period := unit.Time(math.Inf(1))
	if spec.Camera.den != 0 {
		period = spec.Camera.Period().Time() * (1 + 1e-12)
	}
	c.Time("exposure", spec.Exposure, valid.Closed(1e-6, period))
	c.Time("row time", spec.RowTime, valid.Closed(0, period/unit.Time(max(1, spec.Rows))))
	if !c.OK() {
		return Banding{}, c.Err()
	}
	refresh := float64(spec.Refresh.Frequency())
	b := Banding{
		duty:   spec.Duty / float64(max(1, spec.Multiplex)),
		perRow: float64(spec.RowTime) * refresh,
		phase:  fraction(spec.Phase),
		rate:   float64(spec.Camera.Frequency()),
		rows:   spec.Rows,
	}
	b.whole, b.part = math.Modf(float64(spec.Exposure) * refresh)
	// Exact rates tell a camera that is locked from one that nearly is.
	per := spec.Refresh.over(spec.Camera)
	b.advance = ratio{per.num % per.den, per.den}.float()
	if b.advance > 0.5 {
		b.advance--
	}
	return b, nil
}

// fraction is x − ⌊x⌋, below 1 also where rounding would make it 1.
func fraction(x float64) float64 {
	if x -= math.Floor(x); x < 1 {
		return x
	}
	return 0
}

// lit is the time that the light is on from 0 to x, in periods, for 0 ≤ x ≤ 2.
func (b Banding) lit(x float64) float64 {
	n := math.Floor(x)
	return float64(n*b.duty) + math.Min(x-n, b.duty)
}

// Row gives the mean light on a row over its exposure.
//
//	(L(x + w) − L(x)) / w,  L(x) = ⌊x⌋ d + min(x − ⌊x⌋, d)
//
// x is the phase at which the row opens, phase + row · row time · refresh; w
// is the exposure in periods; d is Duty/Multiplex. The error is at most
// 2⁻⁵⁰ (1 + w + p)/w, p the periods since row 0 opened. Outside rows
// 0 … Rows − 1 ok is false.
func (b Banding) Row(row int) (light float64, ok bool) {
	if row < 0 || row >= b.rows {
		return 0, false
	}
	x := fraction(b.phase + fraction(float64(row)*b.perRow))
	light = (float64(b.whole*b.duty) + b.lit(x+b.part) - b.lit(x)) / (b.whole + b.part)
	return math.Min(light, 1), true
}

// Extremes gives the least and the most light that a row can get, over all
// phases. The rows of one frame reach both where it holds a whole band.
//
//	min = (k d + max(0, f − (1 − d))) / (k + f)
//	max = (k d + min(f, d)) / (k + f)
//
// k + f is the exposure in periods, k whole and 0 ≤ f < 1; d is
// Duty/Multiplex. The two are equal where f is 0.
func (b Banding) Extremes() (min, max float64) {
	if b.rows == 0 {
		return 0, 0
	}
	w := b.whole + b.part
	min = (float64(b.whole*b.duty) + math.Max(0, b.part-(1-b.duty))) / w
	max = (float64(b.whole*b.duty) + math.Min(b.part, b.duty)) / w
	return min, max
}

// Depth gives the contrast of the bands over all phases, from 0 for none to 1
// where the dark ones get no light.
//
//	(max − min) / (max + min)
func (b Banding) Depth() float64 {
	min, max := b.Extremes()
	if max == 0 {
		return 0
	}
	return (max - min) / (max + min)
}

// Stops gives the contrast of the bands over all phases in stops: +Inf where
// the dark ones get no light.
//
//	log₂(max / min)
func (b Banding) Stops() float64 {
	min, max := b.Extremes()
	if max == 0 {
		return 0
	}
	return math.Log2(max / min)
}

// alias is the periods from row to row as the rows show them, which cannot
// tell whole periods apart: −½ ≤ alias ≤ ½.
func (b Banding) alias() float64 { return b.perRow - math.Round(b.perRow) }

// Spacing gives the rows from one band to the next.
//
//	1 / |row time · refresh|
//
// Whole periods within a row time do not show and are left out of the product.
// Where nothing is left, as under a global shutter, there are no bands and ok
// is false. Where Depth is 0, nobody sees them.
func (b Banding) Spacing() (rows float64, ok bool) {
	a := math.Abs(b.alias())
	if a == 0 {
		return 0, false
	}
	return 1 / a, true
}

// Bands gives the number of bands in a frame.
//
//	Rows / Spacing = rows · row time · refresh
//
// It is 0 where there is no Spacing.
func (b Banding) Bands() float64 { return float64(b.rows) * math.Abs(b.alias()) }

// Drift gives how fast the bands move, in rows a second, positive towards
// higher rows.
//
//	−a · camera rate / (row time · refresh)
//
// a is the number of periods from frame to frame without the whole ones, in
// −½ < a ≤ ½: bands that jump by half their spacing look to go either way. It
// is exactly 0 where the refresh is a whole multiple of the camera rate. Where
// there is no Spacing, ok is false.
func (b Banding) Drift() (rowsPerSecond float64, ok bool) {
	a := b.alias()
	if a == 0 {
		return 0, false
	}
	return 0 - b.advance*b.rate/a, true
}

// Cycle gives the time after which the bands, or the brightness of frames
// under a global shutter, have gone through all phases once.
//
//	1 / |a · camera rate|
//
// a is that of Drift, so that the cycle is two frames at least. Where the
// refresh is a whole multiple of the camera rate nothing moves, and ok is
// false.
func (b Banding) Cycle() (t unit.Time, ok bool) {
	if b.advance == 0 {
		return 0, false
	}
	return unit.Time(1 / math.Abs(b.advance*b.rate)), true
}

// Ripple gives what an exposure leaves of the modulation of a light that
// varies as a sine about its mean, like 1 + m cos(2π f t).
//
//	m |sinc(f t)|,  sinc x = sin(πx) / (πx)
//
// modulation is m, from 0 to 1; the result is the same measure, the contrast
// (max − min)/(max + min) over all phases. It is 0 where the exposure t is a
// whole number of periods, and m where it is 0 s.
func Ripple(modulation float64, flash unit.Frequency, exposure unit.Time) (float64, error) {
	c := valid.New("sync", ErrInvalid)
	c.Number("modulation", modulation, "", valid.Closed(0.0, 1.0))
	c.Frequency("flash rate", flash, valid.Closed[unit.Frequency](0, 1e9))
	c.Time("exposure", exposure, valid.Closed[unit.Time](0, 1e6))
	if !c.OK() {
		return 0, c.Err()
	}
	x := float64(flash) * float64(exposure)
	if x == 0 {
		return modulation, nil
	}
	// sin(πx) by the distance to the nearest whole number keeps its zeros.
	return modulation * math.Abs(math.Sin(math.Pi*(x-math.Round(x)))) / (math.Pi * x), nil
}
