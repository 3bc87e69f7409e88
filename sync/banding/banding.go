package banding

import (
	"math"
	"strconv"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	timing "example.com/platewright/sync"
	"gonum.org/v1/gonum/unit"
)

// BandingSpec describes a pulsed light and the camera that records it.
type BandingSpec struct {
	Camera  timing.Rate `json:",omitzero"` // frames per second
	Refresh timing.Rate `json:",omitzero"` // periods of the light per second

	// DutyCycle is the fraction of a period that the light is on, or with Multiplex
	// the fraction of a scan group's slot: more than 0 and at most 1.
	DutyCycle float64

	// Multiplex is the number of scan groups of the wall, which are lit one after
	// another within a period: 0 to 1024. Wall row k belongs to group k mod Multiplex
	// (common practice). 0 and 1 mean that the whole light pulses at once.
	Multiplex int

	// WallRowsPerCameraRow is the number of wall rows from one camera row to the
	// next: the camera's row pitch, projected onto the wall, over the wall's pixel
	// pitch. It is negative if the groups are lit against the direction in which the
	// camera reads its rows. It is used with Multiplex above 1 only, and must then be
	// more than −Multiplex and less than Multiplex, and not 0.
	//
	// A camera row may see all groups: if it spans Multiplex wall rows, if the wall is
	// out of focus, or if the camera lies on its side. Describe such a wall as a light
	// without groups and with Multiplex times the refresh rate.
	WallRowsPerCameraRow float64

	Exposure unit.Time // of each row: 1 µs to the camera's period
	RowTime  unit.Time // from one row to the next, and 0 s for a global shutter
	Rows     int       // in a frame; Rows · RowTime is at most the camera's period

	// Phase is the time at which row 0 opens, in periods after the light, or its group
	// 0, goes on.
	Phase float64
}

// Banding predicts how a camera that exposes its rows one after another records a
// pulsed light.
//
// The light is either fully on or off, and switches in no time. Light is given as
// a fraction of the light while it is on.
//
// With Multiplex, the wall fills the frame, each camera row sees the wall row at
// its centre, and row 0 begins at the upper edge of a wall row of group 0. For a
// camera row that averages several wall rows, Extremes and Depth are bounds. Spacing
// holds if it spans at most a quarter of Multiplex; above that, the bands of a light
// without groups and with Multiplex times the refresh rate may be stronger.
//
// The zero Banding records nothing: its methods give 0 and ok false.
type Banding struct {
	duty    float64 // fraction of a period that a group is on
	whole   float64 // whole periods in an exposure
	part    float64 // and the rest, 0 ≤ part < 1
	perRow  float64 // periods from row to row
	groups  float64 // scan groups, 1 without Multiplex
	walls   float64 // wall rows per camera row, 0 without Multiplex
	phase   float64 // 0 ≤ phase ≤ 1
	advance float64 // periods from frame to frame less whole ones, −½ < advance ≤ ½
	rate    float64 // frames per second
	rows    int
}

// NewBanding checks the spec.
func NewBanding(spec BandingSpec) (Banding, error) {
	c := newChecker()
	setRate(c, "camera rate", spec.Camera)
	setRate(c, "refresh rate", spec.Refresh)
	c.Number("duty cycle", spec.DutyCycle, "", valid.Above(0.0, 1.0))
	c.Int("multiplex", spec.Multiplex, "", 0, 1024)
	c.Number("wall rows per camera row", spec.WallRowsPerCameraRow, "", valid.Finite())
	if m := float64(spec.Multiplex); m > 1 && (spec.WallRowsPerCameraRow == 0 || math.Abs(spec.WallRowsPerCameraRow) >= m) {
		c.Fault("wall rows per camera row", quantity.Number(spec.WallRowsPerCameraRow, ""), "must be set with multiplex %d: not 0, and more than -%[1]d and less than %[1]d", spec.Multiplex)
	}
	c.Int("rows", spec.Rows, "", 1, valid.MaxSide)
	c.Number("phase", spec.Phase, "periods", valid.Finite())
	// The exposure of a whole frame may be too long by a rounding. Without a rate,
	// any exposure fits.
	period := unit.Time(math.Inf(1))
	if spec.Camera != (timing.Rate{}) {
		period = spec.Camera.Period().Time() * (1 + 1e-12)
	}
	c.Time("exposure", spec.Exposure, valid.Closed(1e-6, period))
	// A row that is short enough by itself may come too often.
	c.Time("row time", spec.RowTime, valid.Closed(0, period))
	most := period / unit.Time(max(1, spec.Rows))
	if spec.RowTime > most && spec.RowTime <= period && spec.Rows <= valid.MaxSide {
		c.Fault("rows", strconv.Itoa(spec.Rows)+" of "+quantity.Time(spec.RowTime), "must fit in the camera's period, %s: at most %d rows, or a row time of at most %s",
			quantity.Time(spec.Camera.Period().Time()), int(period/spec.RowTime), quantity.Time(most))
	}
	if !c.OK() {
		return Banding{}, c.Err()
	}
	refresh := float64(spec.Refresh.Frequency())
	groups := float64(max(1, spec.Multiplex))
	b := Banding{
		duty:   spec.DutyCycle / groups,
		groups: groups,
		perRow: float64(spec.RowTime) * refresh,
		phase:  fraction(spec.Phase),
		rate:   float64(spec.Camera.Frequency()),
		rows:   spec.Rows,
	}
	if groups > 1 {
		b.walls = spec.WallRowsPerCameraRow
	}
	b.whole, b.part = math.Modf(periods(float64(spec.Exposure) * refresh))
	// Exact rates tell a camera that is locked from one that nearly is.
	num, den := spec.Refresh.Per(spec.Camera)
	b.advance = float64(num%den) / float64(den)
	if b.advance > 0.5 {
		b.advance--
	}
	return b, nil
}

// periods takes an exposure times a rate, and gives a whole number if it is whole
// but for rounding: of 2 ulp in the exposure, ½ in the rate and ½ in the product.
func periods(x float64) float64 {
	if n := math.Round(x); math.Abs(x-n) <= x*0x1p-50 {
		return n
	}
	return x
}

// fraction is x − ⌊x⌋. Rounding makes it 1 for x just below 0.
func fraction(x float64) float64 { return x - math.Floor(x) }

// lit is the time that the light is on from 0 to x, in periods, for 0 ≤ x ≤ 2.
func (b Banding) lit(x float64) float64 {
	n := math.Floor(x)
	return float64(n*b.duty) + math.Min(x-n, b.duty)
}

// Row is the mean light on a row over its exposure. ok is false if row is
// outside 0 to Rows − 1.
//
//	(L(x + w) − L(x)) / w,  L(x) = ⌊x⌋ d + min(x − ⌊x⌋, d)
//	x = phase + row · row time · refresh − (j mod m)/m,  j = ⌊s (row + ½)⌋
//
// w is the exposure in periods, m is Multiplex, d is DutyCycle/m, and s is
// WallRowsPerCameraRow. The row sees wall row j, whose group goes on (j mod m)/m of a
// period after group 0. The error is at most 2⁻⁵⁰ (1 + w + p)/w, and p is the number
// of periods since row 0 opened.
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

// Extremes returns the least and the most light that a row can get, over all
// phases. A frame that holds a whole band reaches both.
//
//	min = (k d + max(0, f − (1 − d))) / (k + f)
//	max = (k d + min(f, d)) / (k + f)
//
// k + f is the exposure in periods, with k whole and 0 ≤ f < 1. d is
// DutyCycle/Multiplex. If the exposure is a whole number of periods but for
// rounding, f is exactly 0.
func (b Banding) Extremes() (min, max float64) {
	if b.rows == 0 {
		return 0, 0
	}
	w := b.whole + b.part
	least, most := math.Max(0, b.part-(1-b.duty)), math.Min(b.part, b.duty)
	min = (float64(b.whole*b.duty) + least) / w
	max = (float64(b.whole*b.duty) + most) / w
	return min, max
}

// Depth is the contrast (max − min)/(max + min) of the bands over all phases. At a
// clean shutter it is exactly 0, and it is 1 if the dark bands get no light. It holds
// for the one grey that the wall shows with this DutyCycle. Darker greys have equal
// or deeper bands, up to WorstDepth.
func (b Banding) Depth() float64 {
	min, max := b.Extremes()
	if max == 0 {
		return 0
	}
	return (max - min) / (max + min)
}

// WorstDepth is the limit of Depth for the darkest greys, that is for a
// DutyCycle towards 0. No grey has deeper bands.
//
//	1 / (2k + 1), and 0 if the exposure is a whole number of periods
//
// k is the number of whole periods in the exposure.
func (b Banding) WorstDepth() float64 {
	if b.part == 0 {
		return 0
	}
	return 1 / (2*b.whole + 1)
}

// fewest is the fraction of a band in the frame that counts as none: it changes
// the light by no more than rounding does.
const fewest = 1e-6

// alias is the number of periods from row to row as it shows in the rows, which
// cannot tell whole periods: −½ ≤ alias ≤ ½. It is 0 if the frame holds no bands.
//
// A camera row opens perRow periods after the one above it, and sees a group that
// goes on walls/groups of a period after the group that the other sees.
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

// Spacing is the number of rows from one band to the next. ok is false if the
// frame holds less than a millionth of a band, as under a global shutter without
// Multiplex.
//
//	1 / |a|,  a = row time · refresh − s/m, less the nearest whole number
//
// s is WallRowsPerCameraRow and m is Multiplex; without Multiplex s/m is 0. If Depth is
// 0, the bands are not visible.
//
// With Multiplex this is the spacing of the strongest bands. Weaker bands cross
// them, because wall rows are steps: the first with a + s in place of a, and at
// most 1/(m − 1) of the strength. Pulses much shorter than a slot, in an exposure
// near a whole number of periods, give harmonics of nearly the same strength.
func (b Banding) Spacing() (rows float64, ok bool) {
	a := math.Abs(b.alias())
	if a == 0 {
		return 0, false
	}
	return 1 / a, true
}

// Bands is the number of bands in a frame, Rows/Spacing. It is 0 if there is no
// Spacing.
func (b Banding) Bands() float64 { return float64(b.rows) * math.Abs(b.alias()) }

// Drift is the speed of the bands in rows per second, positive towards higher
// rows. ok is false if there is no Spacing.
//
//	−c · camera rate / a
//
// a is that of Spacing, with its sign. c is the number of periods from frame to
// frame, less the nearest whole number: −½ < c ≤ ½. Drift is exactly 0 if the
// refresh rate is a whole multiple of the camera rate. With c near ½ the bands jump
// by half their spacing, and may be seen to go either way.
func (b Banding) Drift() (rowsPerSecond float64, ok bool) {
	a := b.alias()
	if a == 0 {
		return 0, false
	}
	return 0 - b.advance*b.rate/a, true
}

// Cycle is the time in which the bands go through all phases once. Under a
// global shutter it is the time in which the brightness of the frames does. ok is
// false if nothing moves: the refresh rate is a whole multiple of the camera rate.
//
//	1 / |c · camera rate|
//
// c is that of Drift, so that a cycle lasts at least two frames. With c near ½,
// bright and dark swap from frame to frame, which is seen as flicker at half the
// camera rate.
func (b Banding) Cycle() (t unit.Time, ok bool) {
	if b.advance == 0 {
		return 0, false
	}
	return unit.Time(1 / math.Abs(b.advance*b.rate)), true
}
