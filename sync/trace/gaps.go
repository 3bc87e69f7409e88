package trace

import (
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/gonum/mat"
)

// Gap is a place in a take where frames are missing.
type Gap struct {
	Frame   int // the first frame after the gap, from 0
	Missing int // how many frames

	// Significance is how far the step to Frame exceeds that of the frames around it, in
	// standard deviations of those. It is above 5.
	Significance float64
}

// Gaps is the result of FindGaps.
type Gaps struct {
	Found []Gap // in the order of their frames

	// Judged is the number of frames before which a missing frame would have shown, and
	// Unclear that of all others but frame 0.
	Judged, Unclear int
}

const (
	gapReach = 6    // frames on either side that say how the picture moves
	gapLeast = 4    // of them, on either side, that must be known and steady
	gapSteps = 8    // a step over its unevenness, from which on one missing frame shows
	gapFloor = 0.02 // px, of unevenness
	gapOff   = 0.35 // of a step, by which a gap may differ from a whole number of them
)

// FindGaps finds where frames are missing without labels that say so, from how the
// picture moves: shifts are those of ShiftMeter.Add, one a frame from frame 0 on. Where
// a picture moves steadily, it moves so many steps over a gap:
//
//	shift = (1 + missing) · step
//
// The step is read off a parabola through the shifts of up to 6 frames on either side.
// How far those lie from it is the unevenness. A frame is judged if its step is 8 times
// as long or more. All other frames are unclear: the picture stands, starts, stops or
// shakes there, or it jumped by no whole number of steps. So are the first and the last
// 4 frames of a take.
//
// A frame that was shown twice in place of the next one is no gap, since the take stays
// as long: Watcher.Report finds the repeat. A picture that moved farther in a gap than a
// ShiftMeter looks leaves a frame that is unclear.
//
// Shifts outside 16 to 2²⁴, and known ones that are not finite or beyond ±10⁶ px, are
// errors. So is a take in which no frame can be judged.
func FindGaps(shifts []Shift) (Gaps, error) {
	c := newChecker()
	c.Int("shifts", len(shifts), "", 16, mostFrames)
	known := checkShifts(c, shifts)
	if !c.OK() {
		return Gaps{}, c.Err()
	}
	var out Gaps
	for n := 1; n < len(shifts); n++ {
		steps, significance := steps(shifts, n)
		switch {
		case steps == 0:
			out.Unclear++
			continue
		case steps > 1:
			out.Found = append(out.Found, Gap{n, steps - 1, significance})
		}
		out.Judged++
	}
	if out.Judged == 0 {
		c.Fault("shifts", strconv.Itoa(known)+" of "+strconv.Itoa(len(shifts))+" known", "must be those of a picture that moves steadily somewhere: it stands, or moves too unevenly for one missing frame to show")
		return Gaps{}, c.Err()
	}
	return out, nil
}

// steps is by how many steps the picture moved to frame n, and how significantly that is
// more than one. It is 0 if the shifts do not tell.
func steps(shifts []Shift, n int) (whole int, significance float64) {
	if !shifts[n].Known {
		return 0, 0
	}
	var near []int
	var x, y []float64
	for i := max(1, n-gapReach); i < min(len(shifts), n+gapReach+1); i++ {
		if i != n && shifts[i].Known {
			near, x, y = append(near, i), append(x, shifts[i].X), append(y, shifts[i].Y)
		}
	}
	if len(near) < 2*gapLeast {
		return 0, 0
	}
	// Other gaps nearby are left out: what is nearer to two steps than to one.
	middle := vector{median(x), median(y)}
	kept := near[:0]
	before, after := 0, 0
	for _, i := range near {
		if middle.along(shifts[i]) > 1.5 {
			continue
		}
		kept = append(kept, i)
		if i < n {
			before++
		} else {
			after++
		}
	}
	if before < gapLeast || after < gapLeast {
		return 0, 0
	}
	step, uneven := parabola(shifts, kept, n)
	length := math.Hypot(step.x, step.y)
	if !(length >= gapSteps*uneven) {
		return 0, 0
	}
	s := shifts[n]
	whole = int(math.Round(step.along(s)))
	if off := math.Hypot(s.X-float64(whole)*step.x, s.Y-float64(whole)*step.y); whole < 1 || off > gapOff*length {
		return 0, 0
	}
	return whole, (step.along(s) - 1) * length / uneven
}

func median(v []float64) float64 {
	slices.Sort(v)
	return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
}

type vector struct{ x, y float64 }

// along is a shift over a vector, along that vector.
func (v vector) along(s Shift) float64 { return (v.x*s.X + v.y*s.Y) / (v.x*v.x + v.y*v.y) }

// parabola fits one to the shifts of some frames. It gives its value at frame n, and the
// standard deviation of a shift from it along one axis.
func parabola(shifts []Shift, frames []int, n int) (at vector, uneven float64) {
	const terms = 3
	normal := mat.NewSymDense(terms, nil)
	right := mat.NewDense(terms, 2, nil)
	powers := func(i int) [terms]float64 {
		u := float64(i-n) / gapReach
		return [terms]float64{1, u, u * u}
	}
	for _, i := range frames {
		p := powers(i)
		for j, v := range p {
			right.Set(j, 0, right.At(j, 0)+v*shifts[i].X)
			right.Set(j, 1, right.At(j, 1)+v*shifts[i].Y)
			for k := j; k < terms; k++ {
				normal.SetSym(j, k, normal.At(j, k)+v*p[k])
			}
		}
	}
	var factor mat.Cholesky
	var fit mat.Dense
	if !factor.Factorize(normal) || factor.SolveTo(&fit, right) != nil {
		return vector{}, math.Inf(1)
	}
	var squares float64
	for _, i := range frames {
		dx, dy := -shifts[i].X, -shifts[i].Y
		for j, v := range powers(i) {
			dx += v * fit.At(j, 0)
			dy += v * fit.At(j, 1)
		}
		squares += dx*dx + dy*dy
	}
	free := 2 * float64(len(frames)-terms)
	return vector{fit.At(0, 0), fit.At(0, 1)}, math.Max(gapFloor, math.Sqrt(squares/free))
}
