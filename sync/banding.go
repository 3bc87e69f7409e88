package sync

import (
	"math"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// BandingSpec describes a pulsed light and the camera that looks at it.
type BandingSpec struct {
	Camera  Rate // frames a second
	Refresh Rate // periods of the light a second

	// Duty is the duty cycle of the light, within one multiplex slot if it has
	// any: more than 0, at most 1.
	Duty float64

	// Multiplex is the number of scan groups that are lit in turn within a
	// period, each for Duty/Multiplex of it. Wall row k belongs to group
	// k mod Multiplex (common practice). 0 and 1 mean a light that is lit as a
	// whole; at most 1024.
	Multiplex int

	// WallRowsPerRow is the number of wall rows that the picture passes from
	// one camera row to the next: the camera's row pitch, projected onto the
	// wall, over the wall's pixel pitch. It is positive where the scan groups
	// are lit in the direction in which the camera reads its rows, negative
	// where one of the two is turned over.
	//
	// It is required where Multiplex is above 1: not 0, and less than
	// Multiplex either way. A camera row may see all groups at once: it spans
	// Multiplex wall rows, the wall is out of focus, or the camera lies on its
	// side. It then sees a light without turns, with a refresh that is
	// Multiplex times as high: describe that light instead. Without turns the
	// field is not used.
	WallRowsPerRow float64

	Exposure unit.Time // of each row: at least 1 µs, at most the camera's period
	RowTime  unit.Time // from row to row: 0 s for a global shutter
	Rows     int       // of the frame; Rows times RowTime is at most the camera's period

	// Phase is how far into a period of the light row 0 opens, in periods: 0
	// where it opens as the light, or group 0 of it, goes on.
	Phase float64
}

// Banding predicts how a light that goes on and off evenly is recorded by a
// camera that exposes its rows one after another, from one frame's row 0 on.
//
// Light is given as a fraction of what the light gives while it is on. The
// light is fully on or fully off, its edges take no time, and the eye is not
// modelled.
//
// With Multiplex, the wall fills the frame, and each camera row sees one wall
// row, the one at its centre; row 0 begins at the upper edge of a wall row of
// group 0. A camera row that averages several wall rows gets shallower bands,
// so that Extremes and Depth are then bounds. Their spacing is the same while
// it spans at most a quarter of Multiplex; above that the bands of a light
// without turns, of Multiplex times the refresh, may be the stronger ones.
//
// The zero value records nothing: its methods give zeros and ok false. A
// Banding is immutable.
type Banding struct {
	duty    float64 // fraction of a period that a group is on
	whole   float64 // whole periods in an exposure
	part    float64 // and the rest, 0 ≤ part < 1
	perRow  float64 // periods from row to row
	groups  float64 // scan groups, 1 without turns
	walls   float64 // wall rows a camera row, 0 without turns
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
	c.Number("wall rows per row", spec.WallRowsPerRow, "", valid.Finite())
	if m := float64(spec.Multiplex); m > 1 && (spec.WallRowsPerRow == 0 || math.Abs(spec.WallRowsPerRow) >= m) {
		c.Fault("wall rows per row", quantity.Number(spec.WallRowsPerRow, ""), "must be set with multiplex %d: not 0, and more than -%[1]d and less than %[1]d", spec.Multiplex)
	}
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
	groups := float64(max(1, spec.Multiplex))
	b := Banding{
		duty:   spec.Duty / groups,
		groups: groups,
		perRow: float64(spec.RowTime) * refresh,
		phase:  fraction(spec.Phase),
		rate:   float64(spec.Camera.Frequency()),
		rows:   spec.Rows,
	}
	if groups > 1 {
		b.walls = spec.WallRowsPerRow
	}
	b.whole, b.part = math.Modf(periods(float64(spec.Exposure) * refresh))
	// Exact rates tell a camera that is locked from one that nearly is.
	per := spec.Refresh.over(spec.Camera)
	b.advance = ratio{per.num % per.den, per.den}.float()
	if b.advance > 0.5 {
		b.advance--
	}
	return b, nil
}

// periods is an exposure times a rate, without the rounding that keeps whole
// periods from being whole: 2 ulp of the exposure, ½ of the rate, ½ of the
// product.
func periods(x float64) float64 {
	if n := math.Round(x); math.Abs(x-n) <= x*0x1p-50 {
		return n
	}
	return x
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
//	x = phase + row · row time · refresh − (j mod m)/m,  j = ⌊s (row + ½)⌋
//
// w is the exposure in periods, d is Duty/m, m is Multiplex and s is
// WallRowsPerRow: the row sees wall row j, whose group goes on (j mod m)/m of a
// period after group 0. The error is at most 2⁻⁵⁰ (1 + w + p)/w, p the periods
// since row 0 opened. Outside rows 0 … Rows − 1 ok is false.
func (b Banding) Row(row int) (light float64, ok bool) {
	if row < 0 || row >= b.rows {
		return 0, false
	}
	x := b.phase + fraction(float64(row)*b.perRow)
	x -= fraction(math.Floor(b.walls*(float64(row)+0.5)) / b.groups)
	x = fraction(x)
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
// Duty/Multiplex. The two are equal where f is 0, and f is exactly 0 for an
// exposure that is a whole number of periods but for rounding.
func (b Banding) Extremes() (min, max float64) {
	if b.rows == 0 {
		return 0, 0
	}
	w := b.whole + b.part
	least, most := math.Max(0, b.part-(1-b.duty)), math.Min(b.part, b.duty)
	if b.duty == 1 {
		least = most // 1 − d rounds, 1 does not
	}
	min = (float64(b.whole*b.duty) + least) / w
	max = (float64(b.whole*b.duty) + most) / w
	return min, max
}

// Depth gives the contrast of the bands over all phases, from 0 for none to 1
// where the dark ones get no light. At a clean shutter it is exactly 0.
//
//	(max − min) / (max + min)
//
// It holds for one grey, the one that is shown with this Duty. It never grows
// with Duty, so that the shortest pulse of the wall gives the deepest bands;
// WorstDepth is their limit.
func (b Banding) Depth() float64 {
	min, max := b.Extremes()
	if max == 0 {
		return 0
	}
	return (max - min) / (max + min)
}

// WorstDepth gives the largest Depth over all greys, that is over all duties.
//
//	1 / (2k + 1), 0 where the exposure is a whole number of periods
//
// k is the number of whole periods in the exposure. A pulse shorter than the
// rest of the exposure, and than what this rest lacks of a period, falls k
// times into some rows and k + 1 times into others: d/(2kd + d). Longer pulses
// give less.
func (b Banding) WorstDepth() float64 {
	if b.part == 0 {
		return 0
	}
	return 1 / (2*b.whole + 1)
}

// Stops gives the contrast of the bands over all phases in stops. Where the
// dark bands get no light there is no such number, and ok is false.
//
//	log₂(max / min)
func (b Banding) Stops() (stops float64, ok bool) {
	min, max := b.Extremes()
	if min == 0 {
		return 0, false
	}
	return math.Log2(max / min), true
}

// fewest is the fraction of a band over the whole frame that is taken for
// none: such a band changes the light by no more than rounding does.
const fewest = 1e-6

// alias is the periods from row to row as the rows show them, which cannot
// tell whole periods apart: −½ ≤ alias ≤ ½. It is 0 where the frame holds no
// bands.
//
// A camera row opens perRow periods after the one above it, and sees a group
// that goes on walls/groups of a period after the group that the other sees.
func (b Banding) alias() float64 {
	if b.rows == 0 {
		return 0
	}
	a := b.perRow - b.walls/b.groups
	a -= math.Round(a)
	if math.Abs(a)*float64(b.rows) < fewest {
		return 0
	}
	return a
}

// Spacing gives the rows from one band to the next.
//
//	1 / |a|,  a = row time · refresh − s/m
//
// s is WallRowsPerRow, m is Multiplex; without turns s/m is 0. Whole periods do
// not show: a is less the nearest whole number. Where the frame holds less than
// a millionth of a band, as under a global shutter without turns, ok is false.
// Where Depth is 0, nobody sees the bands.
//
// With Multiplex this is the spacing of the strongest bands. Since wall rows
// are steps, weaker ones of other spacings cross them, at a + s first, 1/(m−1)
// as strong at most. With Multiplex 2 these are as strong. Pulses much shorter
// than a slot, in an exposure near a whole number of periods, give harmonics
// that are nearly as strong.
func (b Banding) Spacing() (rows float64, ok bool) {
	a := math.Abs(b.alias())
	if a == 0 {
		return 0, false
	}
	return 1 / a, true
}

// Bands gives the number of bands in a frame.
//
//	Rows / Spacing
//
// It is 0 where there is no Spacing.
func (b Banding) Bands() float64 { return float64(b.rows) * math.Abs(b.alias()) }

// Drift gives how fast the bands move, in rows a second, positive towards
// higher rows.
//
//	−c · camera rate / a
//
// a is that of Spacing, with its sign. c is the number of periods from frame
// to frame without the whole ones, in −½ < c ≤ ½: bands that jump by half their
// spacing may be taken to go either way. Drift is exactly 0 where the refresh
// is a whole multiple of the camera rate. Where there is no Spacing, ok is
// false.
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
//	1 / |c · camera rate|
//
// c is that of Drift, so that the cycle is two frames at least. Where the
// refresh is a whole multiple of the camera rate nothing moves, and ok is
// false.
//
// With c near ½ either way, a cycle of about two frames is not what people
// see. Bright and dark change places from frame to frame, which flickers at
// half the camera rate, and the sign of c, which is that of Drift, may be taken
// either way. Every second frame nearly repeats; these move on by 1 − 2|c| of
// a period and need 2/((1 − 2|c|) · camera rate) to go through all phases.
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
	x := periods(float64(flash) * float64(exposure))
	if x == 0 {
		return modulation, nil
	}
	// sin(πx) by the distance to the nearest whole number keeps its zeros.
	return modulation * math.Abs(math.Sin(math.Pi*(x-math.Round(x)))) / (math.Pi * x), nil
}
