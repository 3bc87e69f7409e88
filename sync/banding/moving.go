package banding

import (
	"fmt"
	"math"
	"strconv"

	"example.com/platewright/internal/valid"
	timing "example.com/platewright/sync"
)

// Moving is the result of MeasureMoving. AmplitudeError is the half-width of an interval
// that holds the truth in at least 19 of 20 takes.
type Moving struct {
	// Amplitude is that of the sine with the band's spacing, over the mean light of a
	// row: the depth of the bands of a light that varies as a sine. Without bands it is
	// about as large as AmplitudeError.
	Amplitude, AmplitudeError float64

	// Brightest is a row of the first frame that is in the middle of a bright band: 0 to
	// the spacing.
	Brightest float64

	Cycle  int // the number of frames in which the bands come round
	Cycles int // the number of times they do
}

const (
	mostCycle   = 64   // frames in which bands come round
	leastCycles = 4    // the fewest whose scatter says something
	offCycle    = 0.02 // periods by which a cycle may miss
)

// MeasureMoving estimates the bands of a light of known rate in successive frames of any
// scene, from the mean of each row of each frame, top to bottom, in linear light. The band
// is one of Prediction.Bands; its Spacing and Drift are used.
//
//	row y of frame n = scene(y) · (1 + aₙ + bₙ y + A cos(2π (y − Drift n/rate)/Spacing − φ))
//
// The bands move over the scene and come round after some frames. Their mean over these
// frames is the scene, also where a frame holds less than one band. What stands still is
// no band, and neither is what does not move with it. The scene may change slowly. Where
// only a part of the light varies, A is about the mean over the rows.
//
// The uncertainty is by how cycles differ from each other, with Student's distribution.
//
// Rows that are not alike in number, fewer than 32 of them, and fewer than four cycles are
// an error. So are bands that stand still, or that do not come round in 64 frames, and
// rows that are not positive.
//
// Method: least squares with a known frequency (a lock-in), one cycle after another.
func MeasureMoving(frames [][]float64, band Band, rate timing.Rate) (Moving, error) {
	c := newChecker()
	c.Number("spacing", band.Spacing, "rows", valid.Closed(2.0, 1e6))
	c.Number("drift", band.Drift, "rows/s", valid.Closed(-1e9, 1e9))
	if rate == (timing.Rate{}) {
		c.Unset("rate")
	}
	if len(frames) == 0 {
		c.Fault("frames", "0", "must be four cycles at least")
	}
	if !c.OK() {
		return Moving{}, c.Err()
	}
	rows := len(frames[0])
	if rows < minRows {
		return Moving{}, c.Refuse("rows", strconv.Itoa(rows), "must be at least %d", minRows)
	}
	for n, f := range frames {
		if len(f) != rows {
			return Moving{}, c.Refuse(fmt.Sprintf("frame %d", n), fmt.Sprintf("%d rows", len(f)), "must be %d rows, as the first", rows)
		}
		for y, v := range f {
			if !(v > 0 && v <= math.MaxFloat32) {
				return Moving{}, c.Refuse(fmt.Sprintf("frame %d, row %d", n, y), strconv.FormatFloat(v, 'g', 6, 64), "must be more than 0")
			}
		}
	}
	perFrame := band.Drift / float64(rate.Frequency()) / band.Spacing // periods
	cycle := 0
	for k := 2; k <= mostCycle; k++ {
		if away := perFrame * float64(k); math.Abs(away-math.Round(away)) <= offCycle && math.Abs(perFrame-math.Round(perFrame)) > offCycle {
			cycle = k
			break
		}
	}
	if cycle == 0 {
		return Moving{}, c.Refuse("drift", strconv.FormatFloat(band.Drift, 'g', 6, 64)+" rows/s", "must bring the bands round in 2 to %d frames", mostCycle)
	}
	cycles := len(frames) / cycle
	if cycles < leastCycles {
		return Moving{}, c.Refuse("frames", strconv.Itoa(len(frames)), "must be %d cycles of %d frames at least", leastCycles, cycle)
	}
	scenes := make([][]float64, cycles) // means of cycles
	for k := range scenes {
		scenes[k] = make([]float64, rows)
		for _, f := range frames[k*cycle : (k+1)*cycle] {
			for y, v := range f {
				scenes[k][y] += v / float64(cycle)
			}
		}
	}
	var sums [2]float64
	each := make([][2]float64, cycles)
	for k := range each {
		before, after := max(0, k-1), min(cycles-1, k+1)
		change := make([]float64, rows) // from frame to frame
		for y := range change {
			change[y] = (scenes[after][y] - scenes[before][y]) / float64((after-before)*cycle)
		}
		part, ok := demodulate(frames[k*cycle:(k+1)*cycle], scenes[k], change, float64(k*cycle), band.Spacing, perFrame)
		if !ok {
			return Moving{}, c.Refuse("rows", strconv.Itoa(rows), "must tell bands %.4g rows apart from a slope of light", band.Spacing)
		}
		each[k] = part
		for i, v := range part {
			sums[i] += v / float64(cycles)
		}
	}
	var variance float64 // of the mean, of both components together
	for _, part := range each {
		for i, v := range part {
			variance += (v - sums[i]) * (v - sums[i]) / float64(cycles-1) / float64(cycles)
		}
	}
	// Half of it lies along the amplitude. With Student's distribution, by the expansion of
	// Cornish and Fisher, one and a half of the error hold what three normal deviations do.
	freedom := 2 * float64(cycles-1)
	const z = 3
	student := z + (z*z*z+z)/(4*freedom) + (5*math.Pow(z, 5)+16*z*z*z+3*z)/(96*freedom*freedom)
	phase := math.Atan2(sums[1], sums[0]) / (2 * math.Pi)
	return Moving{
		Amplitude: math.Hypot(sums[0], sums[1]), AmplitudeError: student / 1.5 * math.Sqrt(variance/2),
		Brightest: (phase - math.Floor(phase)) * band.Spacing, Cycle: cycle, Cycles: cycles,
	}, nil
}

// demodulate fits cosine and sine of the bands to the frames of one cycle, over its mean
// and what that changes from frame to frame. Each frame has a level and a slope of its own.
func demodulate(frames [][]float64, scene, change []float64, first, spacing, perFrame float64) (parts [2]float64, ok bool) {
	rows := len(frames[0])
	middle := float64(len(frames)-1) / 2
	var cc, cs, ss, cr, sr float64
	for n, f := range frames {
		// Cosine, sine and rest are made free of level and slope.
		var w, wx, wxx float64
		var level, slope [3]float64
		terms := func(y int) [3]float64 {
			sin, cos := math.Sincos(2 * math.Pi * (float64(y)/spacing - perFrame*(first+float64(n))))
			return [3]float64{cos, sin, f[y]/max(scene[y]/4, scene[y]+change[y]*(float64(n)-middle)) - 1}
		}
		for y := range rows {
			x := (float64(y)+0.5)/float64(rows) - 0.5
			w, wx, wxx = w+1, wx+x, wxx+x*x
			for i, v := range terms(y) {
				level[i], slope[i] = level[i]+v, slope[i]+x*v
			}
		}
		det := w*wxx - wx*wx
		for i := range level {
			level[i], slope[i] = (level[i]*wxx-slope[i]*wx)/det, (slope[i]*w-level[i]*wx)/det
		}
		for y := range rows {
			x := (float64(y)+0.5)/float64(rows) - 0.5
			t := terms(y)
			for i := range t {
				t[i] -= level[i] + slope[i]*x
			}
			cc, cs, ss = cc+t[0]*t[0], cs+t[0]*t[1], ss+t[1]*t[1]
			cr, sr = cr+t[0]*t[2], sr+t[1]*t[2]
		}
	}
	total := float64(rows * len(frames))
	det := cc*ss - cs*cs
	if !(det > 1e-6*total*total) {
		return parts, false
	}
	return [2]float64{(cr*ss - sr*cs) / det, (sr*cc - cr*cs) / det}, true
}
