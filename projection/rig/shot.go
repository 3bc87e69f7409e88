package rig

import (
	"math"

	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/sphere"
	"example.com/platewright/internal/valid"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Shot is a level rectilinear frame with square pixels, as it is to be delivered,
// wherever it looks.
type Shot struct {
	Width, Height int        // px, 1 to 16777216 a side
	Across        unit.Angle // horizontal field of view, more than 0 and less than 180°
}

func (s Shot) valid() bool {
	return min(s.Width, s.Height) >= 1 && max(s.Width, s.Height) <= valid.MaxSide && valid.FieldsOfView.Contains(float64(s.Across))
}

// Verdict is whether a shot may look in a direction and, by the worst point of its
// frame, why not.
type Verdict struct {
	OK bool
	// Unseen is whether there is a point of the frame that no camera sees, or only
	// with a density of 0. Factor is then 0.
	Unseen bool
	// Factor is how many source pixels there are per delivered pixel, along either
	// side, at the worst point: 1 or more where OK. Where it is less, a shot of
	// Factor times the Width and Height is the finest that this point allows.
	Factor float64
	// Dir is the direction of the worst point, of length 1 in the stage frame, or of
	// a point that is unseen; (X, Y) is that point in px of the delivered frame, from
	// the outer corner of its top-left pixel.
	Dir  r3.Vec
	X, Y float64
}

// Judge looks at all of the frame of a shot in a direction, corners included. At
// each point it takes the camera that has the most source pixels per delivered one,
//
//	Factor = D cos²α / F    F = (Width/2) / geom.Tan(Across/2)
//
// for D the camera's density there, Density's Least in px/rad, and α the angle from
// the centre of the frame. The shot is OK where every point is seen with a Factor
// of at least 1 − 2e-6, twice what PushInFrame leaves. The points are the 65 × 65 of
// PushInFrame: what is unseen between them is not noticed.
//
// dir is in the stage frame, of any length. ok is false where it is zero or not
// finite, and for a Shot outside its ranges. The zero Rig sees nothing.
func (r Rig) Judge(dir r3.Vec, shot Shot) (v Verdict, ok bool) {
	if _, ok := geom.Handy(dir); !ok || !shot.valid() {
		return Verdict{}, false
	}
	q := newFrame(r, dir, shot.Width, shot.Height)
	f := shot.focal()
	least := q.allowed(f, 0, math.Inf(1))
	p := r3.Vec{X: q.worst[0], Y: q.worst[1], Z: -f}
	return Verdict{
		OK:     least >= f*(1-shotSlack),
		Unseen: least == 0,
		Factor: least / f,
		Dir:    sphere.Unit(q.axes.ToStage(p)),
		X:      q.width/2 + p.X,
		Y:      q.height/2 - p.Y,
	}, true
}

// Allows reports whether a shot can look in a direction: the OK of Judge, in less
// time. It is false where Judge has no verdict.
//
// Most frames take microseconds: parts of which a bound already shows that they
// are seen finely enough are not looked at point by point. For a Model of the
// caller's own that bound comes from samples, as in Coverage, and assumes that the
// slope falls below those at 0.09° by at most 1e-4 of it.
func (r Rig) Allows(dir r3.Vec, shot Shot) bool {
	if _, ok := geom.Handy(dir); !ok || !shot.valid() {
		return false
	}
	return newFrame(r, dir, shot.Width, shot.Height).allows(shot)
}

// shotSlack is twice what PushInFrame leaves.
const shotSlack = 2e-6

func (s Shot) focal() float64 { return float64(s.Width) / 2 / geom.Tan(float64(s.Across)/2) }

// allows is Allows of the frame of a shot.
func (q *frame) allows(s Shot) bool {
	f := s.focal()
	least := f * (1 - shotSlack)
	return q.allowed(f, least, least) >= least
}

// frame is a level view held against a plate.
type frame struct {
	regions       []region
	axes          orient.Axes
	width, height float64 // px

	focal float64             // px
	floor float64             // to give up below
	least float64             // least of the focal lengths that the points looked at allow
	worst [2]float64          // the point that allows the least, px from the centre
	at    [maxCameras]float64 // what each camera allows the point last looked at
	cuts  [8]cut
}

func newFrame(r Rig, dir r3.Vec, width, height int) *frame {
	back := r3.Scale(-1, geom.Direction(dir))
	heading, elevation, _ := orient.Axes{Back: back, Right: r3.Vec{X: 1}}.Angles()
	return &frame{regions: r.regions, axes: orient.FromAngles(heading, elevation, 0), width: float64(width), height: float64(height)}
}

// frameDepth is how often a quarter of a frame is divided.
const frameDepth = 5

// allowed is the least of start and of the focal lengths, in px, that the points of
// the frame allow, it having one itself; below floor it is not the least, but below.
func (q *frame) allowed(focal, floor, start float64) float64 {
	q.focal, q.floor, q.least = focal, floor, start
	w, h := q.width/2, q.height/2
	if q.look(0, 0) && q.visit(0, 0, w, h, 0) && q.visit(0, 0, -w, h, 0) && q.visit(0, 0, w, -h, 0) {
		q.visit(0, 0, -w, -h, 0)
	}
	return q.least
}

// look takes in a point of the frame, in px from its centre, which allows what the
// camera does that allows most. It is false below the floor and where none sees it.
func (q *frame) look(x, y float64) bool {
	best := 0.0
	dir := q.axes.ToStage(r3.Vec{X: x, Y: y, Z: -q.focal})
	scale := q.falloff(x, y) / float64(projection.Degree)
	for i := range q.regions {
		q.at[i] = 0
		if margin, d := q.regions[i].look(dir); margin >= -edgeSlack {
			q.at[i] = d * scale
			best = max(best, q.at[i])
		}
	}
	if best < q.least {
		q.least, q.worst = best, [2]float64{x, y}
	}
	return q.least > 0 && q.least >= q.floor
}

// falloff is cos²α at a point of the frame.
func (q *frame) falloff(x, y float64) float64 {
	f := q.focal * q.focal
	return f / (f + x*x + y*y)
}

// visit takes in the part of the frame between (x0, y0) and (x1, y1), the second
// the farther from the centre: that corner and, unless a bound shows that none of
// it allows less than what is known, its quarters. The parts to the right of the
// middle column and above the middle row take in those as well. It reports whether
// to go on.
func (q *frame) visit(x0, y0, x1, y1 float64, depth int) bool {
	if x0 == 0 && x1 > 0 && !q.look(0, y1) || y0 == 0 && y1 > 0 && !q.look(x1, 0) || !q.look(x1, y1) {
		return false
	}
	if depth == frameDepth {
		return true
	}
	at := func(x, y float64) r3.Vec { return sphere.Unit(q.axes.ToStage(r3.Vec{X: x, Y: y, Z: -q.focal})) }
	x, y := (x0+x1)/2, (y0+y1)/2
	// A cap that holds the corners holds all between them.
	p, rho := at(x, y), 0.0
	for _, v := range [4]r3.Vec{at(x0, y0), at(x0, y1), at(x1, y0), at(x1, y1)} {
		rho = max(rho, sphere.Angle(p, v))
	}
	if rho < math.Pi/2 {
		enough, scale := q.least*(1-1e-9), q.falloff(x1, y1)
		for i := range q.regions {
			if q.at[i] >= enough && q.regions[i].density(p, rho, q.cuts[:0])*scale >= enough {
				return true
			}
		}
	}
	return q.visit(x, y, x1, y1, depth+1) && q.visit(x0, y, x, y1, depth+1) && q.visit(x, y0, x1, y, depth+1) && q.visit(x0, y0, x, y, depth+1)
}

// The depth of the triangles with which Allowed begins, 1.4° a side, and of the
// smallest, 0.02°.
const (
	shotGrain = 6
	shotDepth = 12
)

// Allowed is the solid angle, in sr, of the directions that a shot can look in, as
// Allows says, and a bound of its error; ok reports whether that is within the
// tolerance, in sr: 0.05 takes a second or so, and a half of it twice the time.
//
// The sphere is divided into triangles of 1.4°, and those again of which two
// corners differ, or that touch such a one, down to 0.02°. Of the last of them half
// is counted, and half makes the bound, which therefore holds as far as no region,
// gap or bay of the allowed directions slips through between the corners of
// triangles of 1.4°. For a Shot outside its ranges, for the zero Rig, and for a
// tolerance that is not positive, ok is false.
func (r Rig) Allowed(shot Shot, tolerance float64) (solidAngle, bound float64, ok bool) {
	if len(r.regions) == 0 || !shot.valid() || !(tolerance > 0) {
		return 0, 0, false
	}
	known := map[r3.Vec]bool{}
	allows := func(p r3.Vec) bool {
		is, ok := known[p]
		if !ok {
			is = r.Allows(p, shot)
			known[p] = is
		}
		return is
	}
	active := octants[:]
	for depth := 1; ; depth++ {
		next := make([][3]r3.Vec, 0, 4*len(active))
		for _, t := range active {
			// A sum does not depend on its order, so a corner is the same from
			// either side.
			ab, bc, ca := sphere.Unit(r3.Add(t[0], t[1])), sphere.Unit(r3.Add(t[1], t[2])), sphere.Unit(r3.Add(t[2], t[0]))
			next = append(next, [3]r3.Vec{t[0], ab, ca}, [3]r3.Vec{ab, t[1], bc}, [3]r3.Vec{ca, bc, t[2]}, [3]r3.Vec{bc, ca, ab})
		}
		active = next
		if depth < shotGrain {
			continue
		}
		mixed := 0.0
		edge := map[r3.Vec]bool{} // corners of what is mixed
		for _, t := range active {
			if x := allows(t[0]); x != allows(t[1]) || x != allows(t[2]) {
				mixed += sphere.Triangle(t[0], t[1], t[2])
				edge[t[0]], edge[t[1]], edge[t[2]] = true, true, true
			}
		}
		bound = mixed / 2
		last := bound <= tolerance || depth == shotDepth
		divide := active[:0]
		for _, t := range active {
			x, y, z := allows(t[0]), allows(t[1]), allows(t[2])
			switch {
			case !last && (edge[t[0]] || edge[t[1]] || edge[t[2]]):
				divide = append(divide, t)
			case x != y || x != z:
				solidAngle += sphere.Triangle(t[0], t[1], t[2]) / 2
			case x:
				solidAngle += sphere.Triangle(t[0], t[1], t[2])
			}
		}
		if last {
			return solidAngle, bound, bound <= tolerance
		}
		active = divide
	}
}
