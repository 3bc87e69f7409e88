package rig

import (
	"math"
	"slices"

	"example.com/platewright/internal/sphere"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r3"
)

// Coverage is the solid angle that a rig sees.
type Coverage struct {
	// AtLeast[k−1] is the solid angle, in sr, that k or more cameras see. k is 1 to
	// the number of cameras.
	AtLeast []float64
	// Error is an upper bound of the error of each element, in sr.
	Error float64
	OK    bool // Error is within the tolerance
}

// SolidAngle is a solid angle that was found to a tolerance.
type SolidAngle struct {
	Value float64 // sr
	Error float64 // an upper bound of the error of Value, sr
	OK    bool    // Error is within the tolerance
}

// checkTolerance reports a rig without cameras and a tolerance that is not positive.
func (r Rig) checkTolerance(v *valid.Checker, tolerance float64) {
	v.Int("number of cameras", len(r.regions), "", 1, maxCameras)
	v.Number("tolerance", tolerance, "sr", valid.Above(0, 4*math.Pi))
}

// Coverage measures the solid angle that the rig sees, to a tolerance in sr. A
// tolerance of 1e-5 is one part in a million of the sphere and suits most questions:
// eight cameras take about 0.4 s of one core. Time grows with the length of the edges
// of the pictures and with the root of 1/tolerance.
//
// OK is false if the limit of about 4 million triangles or rounding stopped the
// refinement: then the result is the best that was reached, and Error is still valid.
// A smaller tolerance never gives a larger Error. A tolerance that is not more than 0
// and at most 4π sr is an error, and so is the zero Rig.
//
// The sphere is divided into triangles, and these again. Division ends where a triangle
// is known to lie inside or outside the picture of each camera, or where the edges of
// pictures that pass through it are almost great circles. Such a triangle is cut along
// these circles. Error is the area of the strips between the edges and the great
// circles, and of the triangles given up. The package comment says what the bound
// assumes of a user's Model or Distortion.
//
// Source: A. van Oosterom and J. Strackee, The Solid Angle of a Plane Triangle, IEEE
// Trans. Biomed. Eng. BME-30 (1983), 125.
func (r Rig) Coverage(tolerance float64) (Coverage, error) {
	v := valid.New("rig", ErrInvalid)
	r.checkTolerance(v, tolerance)
	if err := v.Err(); err != nil {
		return Coverage{}, err
	}
	return r.coverage(tolerance), nil
}

func (r Rig) coverage(tolerance float64) Coverage {
	w := r.walk(tolerance, func(e float64) *walker {
		return &walker{regions: r.regions, finest: e, coarsest: math.Inf(1), most: 1 << 22}
	})
	c := Coverage{AtLeast: make([]float64, len(r.regions)), Error: w.err, OK: w.err <= tolerance}
	sum := 0.0
	for k := len(r.regions); k >= 1; k-- {
		sum += w.area[k]
		c.AtLeast[k-1] = sum
	}
	return c
}

// walk divides the sphere, again and again, until the tolerance is met or cannot be. Each
// walk allows a cut a quarter of the error that the walk before allowed. That takes
// twice the triangles and leaves about a quarter of the bound. The sequence of walks is
// the same for every tolerance and the best one counts, so a smaller tolerance never
// gives a larger bound.
func (r Rig) walk(tolerance float64, start func(e float64) *walker) *walker {
	var best *walker
	for e := coarsestCut; e >= 2*rounding; e /= 4 {
		w := start(e)
		w.sphere()
		if best == nil || w.err < best.err {
			best = w
		}
		if best.err <= tolerance || w.nodes >= w.most {
			break
		}
	}
	return best
}

// coarsestCut, rad, is the largest error of a cut in the first walk.
const coarsestCut = 1e-4

// maxDepth is how often a triangle is divided. The smallest are 2e-8 rad wide.
const maxDepth = 26

// walker adds up the solid angle by the number of cameras that see it.
type walker struct {
	regions  []region
	finest   float64 // largest error of a cut, rad
	coarsest float64 // largest triangle that may hold a cut, rad
	most     int     // triangles after which to give up
	keep     bool    // keep tree and pieces, and ask only for what is not seen
	tree     []node
	pieces   []piece
	area     [maxCameras + 1]float64
	err      float64
	nodes    int
	open     [maxDepth + 2][]limits
	bodies   []limits // of the triangle being cut
	failed   []bool   // of each of them, whether a cut has left the polygon out
	cuts     []cut
	arena    []r3.Vec
}

// limits are the limits of one body that may run through a triangle. A body is a camera
// without its occluders, or a shadow in front of it. In a list the camera comes first and
// its shadows follow. The camera stays in the list as long as one of its shadows does,
// even if its own open is 0.
type limits struct {
	camera, shadow int // shadow is −1 for the camera's own
	open           uint8
}

// node is a triangle of the tree; it has four children from child on, or none
// where child is 0.
type node struct {
	child int
	err   float64
}

// piece is a part of a triangle that no camera sees.
type piece struct {
	node   int
	area   float64
	corner []r3.Vec
}

// octants are the eight triangles to begin with: corners counted anticlockwise
// seen from outside.
var octants = func() (t [8][3]r3.Vec) {
	for i := range t {
		x, y, z := float64(1-i&1*2), float64(1-i&2), float64(1-i&4/2)
		t[i] = [3]r3.Vec{{X: x}, {Y: y}, {Z: z}}
		if x*y*z < 0 {
			t[i][1], t[i][2] = t[i][2], t[i][1]
		}
	}
	return t
}()

func (w *walker) sphere() {
	var all []limits
	for i := range w.regions {
		all = append(all, limits{i, -1, w.regions[i].limits})
		for j := range w.regions[i].shadows {
			all = append(all, limits{i, j, w.regions[i].shadows[j].limits()})
		}
	}
	for i := range w.open {
		w.open[i] = make([]limits, 0, len(all))
	}
	w.open[0] = append(w.open[0], all...)
	if w.keep {
		w.tree = make([]node, len(octants))
	}
	for i, t := range octants {
		w.visit(t, 0, i, 0)
	}
	// Summing rounds.
	w.err += 4 * math.Pi * 1e-15 * math.Sqrt(float64(w.nodes))
}

// visit adds up a triangle at a depth. whole cameras see all of it; those of
// w.open[depth] may see a part.
func (w *walker) visit(t [3]r3.Vec, depth, at, whole int) {
	w.nodes++
	p := sphere.Unit(r3.Add(r3.Add(t[0], t[1]), t[2]))
	chord := math.Sqrt(max(r3.Norm2(r3.Sub(t[0], p)), r3.Norm2(r3.Sub(t[1], p)), r3.Norm2(r3.Sub(t[2], p))))
	rho := chord * (1 + chord*chord/20) // at least the angle, for chords up to 1

	w.cuts = w.cuts[:0]
	below := w.open[depth+1][:0]
	rough := rho > w.coarsest
	for rest := w.open[depth]; len(rest) > 0; {
		n := 1
		for n < len(rest) && rest[n].camera == rest[0].camera {
			n++
		}
		var r bool
		was := len(below)
		below, r = w.judge(p, rho, rest[:n], below)
		if len(below) == was+1 && below[was].open == 0 {
			whole++
			below = below[:was]
		}
		rough = rough || r
		rest = rest[n:]
	}
	w.open[depth+1] = below
	if len(below) == 0 || (w.keep && whole > 0) {
		w.arena = append(w.arena[:0], t[0], t[1], t[2])
		w.add(at, whole, w.arena)
		return
	}
	for _, c := range w.cuts {
		rough = rough || c.e > w.finest
	}
	if !rough {
		strip := 0.0
		for _, c := range w.cuts {
			strip += c.strip(&t)
		}
		strip = min(strip*(1+2*rho*rho), sphere.Triangle(t[0], t[1], t[2]))
		w.err += strip
		if w.keep {
			w.tree[at].err = strip
		}
		w.arena = append(w.arena[:0], t[0], t[1], t[2])
		w.bodies = below
		w.failed = slices.Grow(w.failed[:0], len(below))[:len(below)]
		clear(w.failed)
		w.split(w.arena, 0, at, whole)
		return
	}
	// A triangle narrower than the error allowed a cut is as good as a strip. So
	// the division ends at a point that is rough at every scale, like the one
	// opposite to the axis, which a lens may image as a circle.
	if rho <= w.finest || depth == maxDepth || w.nodes >= w.most {
		area := sphere.Triangle(t[0], t[1], t[2])
		w.err += area
		w.area[whole] += area
		return
	}
	ab, bc, ca := sphere.Unit(r3.Add(t[0], t[1])), sphere.Unit(r3.Add(t[1], t[2])), sphere.Unit(r3.Add(t[2], t[0]))
	child := 0
	if w.keep {
		child = len(w.tree)
		w.tree = append(w.tree, node{}, node{}, node{}, node{})
		w.tree[at].child = child
	}
	w.visit([3]r3.Vec{t[0], ab, ca}, depth+1, child, whole)
	w.visit([3]r3.Vec{ab, t[1], bc}, depth+1, child+1, whole)
	w.visit([3]r3.Vec{ca, bc, t[2]}, depth+1, child+2, whole)
	w.visit([3]r3.Vec{bc, ca, ab}, depth+1, child+3, whole)
}

// judge appends to below the limits of one camera and its shadows that may run through
// a cap. It appends nothing if the camera sees nothing of the cap, and one entry with
// open 0 if it sees all.
func (w *walker) judge(p r3.Vec, rho float64, of, below []limits) (_ []limits, rough bool) {
	g := &w.regions[of[0].camera]
	camera, cuts := len(below), len(w.cuts)
	for _, l := range of {
		var in, r bool
		last := len(w.cuts)
		mark := cut{body: len(below), of: camera}
		if l.shadow < 0 {
			in, l.open, r, w.cuts = g.judge(p, rho, l.open, mark, w.cuts)
		} else {
			in, l.open, r, w.cuts = g.shadows[l.shadow].judge(p, rho, l.open, mark, w.cuts)
			if !in { // out of this shadow
				w.cuts = w.cuts[:last]
				continue
			}
			in = l.open != 0
		}
		if !in {
			w.cuts = w.cuts[:cuts]
			return below[:camera], false
		}
		below = append(below, l)
		rough = rough || r
	}
	return below, rough
}

// add counts a polygon of a triangle of the tree as seen by a number of cameras.
func (w *walker) add(at, seen int, polygon []r3.Vec) {
	area := 0.0
	for i := 2; i < len(polygon); i++ {
		area += sphere.Triangle(polygon[0], polygon[i-1], polygon[i])
	}
	w.area[seen] += area
	if w.keep && seen == 0 {
		w.pieces = append(w.pieces, piece{at, area, slices.Clone(polygon)})
	}
}

// split divides a polygon by the cuts from the i-th on and adds up the pieces;
// whole is how many cameras see all of the triangle.
func (w *walker) split(polygon []r3.Vec, i, at, whole int) {
	for i < len(w.cuts) && (w.failed[w.cuts[i].body] || w.failed[w.cuts[i].of]) {
		i++
	}
	if i == len(w.cuts) {
		w.add(at, whole+w.seeing(), polygon)
		return
	}
	c := w.cuts[i]
	least, most := math.Inf(1), math.Inf(-1)
	for _, v := range polygon {
		d := r3.Dot(c.n, v)
		least, most = min(least, d), max(most, d)
	}
	// A polygon that only rounding puts on the other side is not cut. Otherwise each of
	// several cuts that coincide would double the slivers.
	base := len(w.arena)
	if most > rounding/2 || least >= -rounding/2 {
		inside := polygon
		if least < -rounding/2 {
			w.arena = sphere.Clip(w.arena, polygon, c.n)
			inside = w.arena[base:]
		}
		w.split(inside, i+1, at, whole)
	}
	if least < -rounding/2 {
		outside := polygon
		if most > rounding/2 {
			w.arena = sphere.Clip(w.arena[:base], polygon, r3.Scale(-1, c.n))
			outside = w.arena[base:]
		}
		w.failed[c.body] = true
		w.split(outside, i+1, at, whole)
		w.failed[c.body] = false
	}
	w.arena = w.arena[:base]
}

// seeing counts the cameras that see a piece: the piece is inside the camera's own
// limits and outside all of its shadows.
func (w *walker) seeing() (n int) {
	for i := 0; i < len(w.bodies); {
		sees := !w.failed[i]
		for i++; i < len(w.bodies) && w.bodies[i].shadow >= 0; i++ {
			sees = sees && w.failed[i]
		}
		if sees {
			n++
		}
	}
	return n
}

// strip bounds the area, in the plane, of the part of a triangle within e of a line: it
// is at most 2e times the longest chord parallel to the line there. Chords grow linearly
// from either outer corner to the middle one, where they are longest.
func (c *cut) strip(t *[3]r3.Vec) float64 {
	low, mid, high := t[0], t[1], t[2]
	dl, dm, dh := r3.Dot(c.n, low), r3.Dot(c.n, mid), r3.Dot(c.n, high)
	if dl > dm {
		low, mid, dl, dm = mid, low, dm, dl
	}
	if dm > dh {
		mid, high, dm, dh = high, mid, dh, dm
	}
	if dl > dm {
		low, mid, dl, dm = mid, low, dm, dl
	}
	if dl >= dh {
		return 0 // a triangle without width
	}
	f := (dm - dl) / (dh - dl)
	chord := sphere.Norm(r3.Sub(mid, r3.Add(r3.Scale(1-f, low), r3.Scale(f, high))))
	switch at := max(-c.e, min(dm, c.e)); {
	case at < dm:
		chord *= max(0, (at-dl)/(dm-dl))
	case at > dm:
		chord *= max(0, (dh-at)/(dh-dm))
	}
	return 2 * c.e * chord
}
