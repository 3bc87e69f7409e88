package projection

import (
	"math"

	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/root"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Seam is a range of headings, at one elevation, over which two cameras of an
// array both see.
type Seam struct {
	A, B      int // cameras, A < B
	Elevation unit.Angle
	// From and To are the ends of the range; To is greater, and beyond 180°
	// where the range leads across the stage's back. A range all around is from
	// −180° to 180°.
	From, To unit.Angle
	// Middle is where the margins of the two are equal, so that a blend weighs
	// both the same: the nearest such heading to the middle of the range. Where
	// one camera has the greater margin throughout, it is the middle itself.
	Middle unit.Angle
	// Shared is the solid angle that both see, over all elevations, in sr, and
	// SharedError bounds its error: at most 1e-3 sr, unless the work of Coverage has
	// been cut short. They are the same for all seams of a pair.
	Shared, SharedError float64
}

const (
	seamSteps  = 3600 // headings tried, all around
	seamShared = 1e-3 // sr
)

// Seams are the overlaps of every two cameras at an elevation in the stage
// frame, by A, then B, then From; from elevation to elevation their Middle traces
// the line at which two plates join. Overlaps narrower than 0.1° of heading may be
// missed, and so may gaps that an occluder leaves; the ends are those of the
// margins, to rounding. The length of an overlap on the sphere is its range of
// headings times the cosine of the elevation. For an elevation beyond ±90° or NaN
// there are none.
func (a Array) Seams(elevation unit.Angle) []Seam {
	if !(elevation >= -math.Pi/2 && elevation <= math.Pi/2) {
		return nil
	}
	heading := func(i int) float64 { return 2*math.Pi*float64(i)/seamSteps - math.Pi }
	at := func(h float64) r3.Vec {
		return r3.Scale(-1, orient.FromAngles(unit.Angle(h), elevation, 0).Back)
	}
	// Margins at all headings, once for each camera.
	margins := make([][]float64, len(a.regions))
	for i := range margins {
		margins[i] = make([]float64, seamSteps+1)
		for j := range margins[i] {
			margins[i][j], _ = a.regions[i].look(at(heading(j)))
		}
	}
	var seams []Seam
	for i := range a.regions {
		for j := i + 1; j < len(a.regions); j++ {
			both := func(k int) bool { return min(margins[i][k%seamSteps], margins[j][k%seamSteps]) >= 0 }
			inside := func(h float64) bool {
				d := at(h)
				x, _ := a.regions[i].look(d)
				y, _ := a.regions[j].look(d)
				return min(x, y) >= 0
			}
			difference := func(h float64) float64 { // without occluders, which break it
				d := at(h)
				x, _ := a.regions[i].c.look(d)
				y, _ := a.regions[j].c.look(d)
				return x - y
			}
			var shared Coverage
			add := func(from, to float64) {
				if shared.AtLeast == nil {
					// Where it is not within the tolerance its bound holds all the same.
					shared, _ = Array{[]region{a.regions[i], a.regions[j]}}.Coverage(seamShared)
				}
				seams = append(seams, Seam{A: i, B: j, Elevation: elevation, From: unit.Angle(from), To: unit.Angle(to),
					Middle: unit.Angle(middle(difference, from, to)), Shared: shared.AtLeast[1], SharedError: shared.Error})
			}
			start := 0 // the first heading from which to look is one outside
			for start < seamSteps && both(start) {
				start++
			}
			if start == seamSteps {
				add(-math.Pi, math.Pi)
				continue
			}
			for k := start; k < start+seamSteps; k++ {
				if both(k) || !both(k+1) {
					continue
				}
				end := k + 1
				for both(end + 1) {
					end++
				}
				from := boundary(inside, heading(k), heading(k+1))
				to := boundary(inside, heading(end+1), heading(end))
				add(from, to)
				k = end
			}
		}
	}
	return seams
}

// boundary is the heading nearest to out that is still inside, by halving.
func boundary(inside func(float64) bool, out, in float64) float64 {
	for range 50 {
		m := (out + in) / 2
		if inside(m) {
			in = m
		} else {
			out = m
		}
	}
	return in
}

// middle is the zero of a difference of margins nearest to the middle of a
// range, or the middle where there is none.
func middle(difference func(float64) float64, from, to float64) float64 {
	const steps = 64
	mid := (from + to) / 2
	best, found := mid, false
	last, dLast := from, difference(from)
	for i := 1; i <= steps; i++ {
		h := from + (to-from)*float64(i)/steps
		d := difference(h)
		if (d < 0) != (dLast < 0) {
			if x, ok := root.Find(difference, last, h); ok && (!found || math.Abs(x-mid) < math.Abs(best-mid)) {
				best, found = x, true
			}
		}
		last, dLast = h, d
	}
	return best
}
