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

// Shot is a delivered frame: a level rectilinear view with square pixels. Where it
// looks is given with it.
type Shot struct {
	Width, Height int        // px, 1 to 16777216 a side
	Across        unit.Angle // horizontal field of view, more than 0 and less than 180°
}

func (s Shot) check(v *valid.Checker) {
	v.Int("shot width", s.Width, "px", 1, valid.MaxSide)
	v.Int("shot height", s.Height, "px", 1, valid.MaxSide)
	v.Angle("horizontal field of view", s.Across, valid.FieldsOfView)
}

func (s Shot) valid() bool {
	v := valid.New("rig", ErrInvalid)
	s.check(v)
	return v.OK()
}

// Verdict says whether the plate has enough pixels for a shot. It describes the
// worst point of the frame.
type Verdict struct {
	// OK is true if the shot is allowed. Limit is then NoLimit; else it is Unseen or
	// TooFewPixels.
	OK    bool
	Limit Limit
	// Factor is the number of source pixels per delivered pixel, along either side,
	// at the worst point. It is at least 1 where OK, and 0 where Unseen. Where it is
	// less than 1, a shot of Factor times the Width and Height has enough pixels.
	Factor float64
	// Camera is the index of the camera that has the most pixels at the worst point.
	// It is −1 where Unseen.
	Camera int
	// Dir is the direction of the worst point, of length 1 in the stage frame.
	Dir r3.Vec
	// X and Y are its position in the delivered frame, in px.
	X, Y float64
}

// Judge judges a shot that looks in a direction. It takes 65 × 65 evenly spaced
// points of the frame, edges and corners included. At each it takes the camera with
// the most source pixels per delivered pixel:
//
//	Factor = D cos²α / F    F = (Width/2) / tan(Across/2)
//
// D is the camera's density in px/rad, the Least of projection.Density. α is the
// angle from the centre of the frame. The shot is OK if Factor is at least
// 1 − 2e-6 at every point; PushInFrame leaves 1 − 1e-6. What is unseen between the
// points is not noticed.
//
// dir is in the stage frame, of any length. A dir that is zero or not finite and a
// Shot outside its ranges are errors. Of the zero Rig every shot is Unseen.
func (r Rig) Judge(dir r3.Vec, shot Shot) (Verdict, error) {
	v := valid.New("rig", ErrInvalid)
	checkDirection(v, "direction", dir)
	shot.check(v)
	if err := v.Err(); err != nil {
		return Verdict{}, err
	}
	q := newFrame(r, dir, shot.Width, shot.Height)
	f := shot.focal()
	return q.verdict(q.allowed(f, 0, math.Inf(1)), f), nil
}

// verdict is the Verdict of the frame of focal length f. least is the focal length that
// its worst point allows.
func (q *frame) verdict(least, f float64) Verdict {
	p := r3.Vec{X: q.worst[0], Y: q.worst[1], Z: -f}
	v := Verdict{
		OK:     least >= f*(1-shotSlack),
		Factor: least / f,
		Camera: q.camera,
		Dir:    sphere.Unit(q.axes.ToStage(p)),
		X:      q.width/2 + p.X,
		Y:      q.height/2 - p.Y,
	}
	switch {
	case least == 0:
		v.Limit = Unseen
	case !v.OK:
		v.Limit = TooFewPixels
	}
	return v
}

// Allows reports whether a shot can look in a direction. It is the OK of Judge, and
// false where Judge returns an error.
//
// Most frames take microseconds, since parts of the frame that a bound shows to be
// fine enough are skipped. For a user's Model the bound assumes that the slope falls
// by at most 1e-4 below its values at samples 0.09° apart.
func (r Rig) Allows(dir r3.Vec, shot Shot) bool {
	if _, ok := geom.Handy(dir); !ok || !shot.valid() {
		return false
	}
	return newFrame(r, dir, shot.Width, shot.Height).allows(shot)
}

// shotSlack is twice the tolerance of PushInFrame.
const shotSlack = 2e-6

func (s Shot) focal() float64 { return float64(s.Width) / 2 / geom.Tan(float64(s.Across)/2) }

// allows is Allows for this frame.
func (q *frame) allows(s Shot) bool {
	f := s.focal()
	least := f * (1 - shotSlack)
	return q.allowed(f, least, least) >= least
}

// frame is a level view that is compared with the plate.
type frame struct {
	regions       []region
	axes          orient.Axes
	width, height float64 // px

	focal  float64             // px
	floor  float64             // stop when least falls below this
	least  float64             // the smallest focal length allowed at the points so far
	worst  [2]float64          // the point with that focal length, px from the centre
	camera int                 // the camera that is best there, or −1
	at     [maxCameras]float64 // the focal length that each camera allows at the last point
	cuts   [8]cut
}

func newFrame(r Rig, dir r3.Vec, width, height int) *frame {
	back := r3.Scale(-1, geom.Direction(dir))
	heading, elevation, _ := orient.Axes{Back: back, Right: r3.Vec{X: 1}}.Angles()
	return &frame{regions: r.regions, axes: orient.FromAngles(heading, elevation, 0), width: float64(width), height: float64(height)}
}

// frameDepth is how often each quarter of a frame is divided.
const frameDepth = 5

// allowed is the smallest focal length, in px, that a point of the frame allows, or
// start if that is smaller. focal is the focal length of the frame itself. The search
// stops at the first result below floor.
func (q *frame) allowed(focal, floor, start float64) float64 {
	q.focal, q.floor, q.least = focal, floor, start
	w, h := q.width/2, q.height/2
	if q.look(0, 0) && q.visit(0, 0, w, h, 0) && q.visit(0, 0, -w, h, 0) && q.visit(0, 0, w, -h, 0) {
		q.visit(0, 0, -w, -h, 0)
	}
	return q.least
}

// look evaluates a point of the frame, in px from its centre, with the camera that
// allows the greatest focal length there. It returns false if the search can stop.
func (q *frame) look(x, y float64) bool {
	best, camera := 0.0, -1
	dir := q.axes.ToStage(r3.Vec{X: x, Y: y, Z: -q.focal})
	scale := q.falloff(x, y) / float64(projection.Degree)
	for i := range q.regions {
		q.at[i] = 0
		if margin, d := q.regions[i].look(dir); margin >= -edgeSlack {
			q.at[i] = d * scale
			if q.at[i] > best {
				best, camera = q.at[i], i
			}
		}
	}
	if best < q.least {
		q.least, q.worst, q.camera = best, [2]float64{x, y}, camera
	}
	return q.least > 0 && q.least >= q.floor
}

// falloff is cos²α at a point of the frame.
func (q *frame) falloff(x, y float64) float64 {
	f := q.focal * q.focal
	return f / (f + x*x + y*y)
}

// visit evaluates the part of the frame between (x0, y0) and (x1, y1), where the second
// corner is farther from the centre. It looks at that corner, and then at the quarters
// of the part, unless a bound shows that none of it allows less than q.least. The parts
// beside the middle column and the middle row evaluate the points on these too. It
// returns false if the search can stop.
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

// The depth of the triangles with which Allowed begins, up to 2.2° a side, and of the
// smallest, 0.03°.
const (
	shotGrain = 6
	shotDepth = 12
)

// Allowed gives the solid angle of the directions in which a shot can look, as Allows
// says, to a tolerance in sr. A tolerance of 0.05 takes about a second. Time grows as
// 1/tolerance.
//
// The sphere is divided into triangles of 1.4 to 2.2° a side. Those whose corners
// differ, and those that touch one of them, are divided again, down to 0.03°. Half of
// the last of them is counted, and half makes the Error, which assumes that no region or
// gap of the allowed directions is narrower than 2.6°. OK is false if the smallest
// triangles are not enough.
//
// A Shot outside its ranges is an error, and so is what Coverage refuses.
func (r Rig) Allowed(shot Shot, tolerance float64) (SolidAngle, error) {
	v := valid.New("rig", ErrInvalid)
	r.checkTolerance(v, tolerance)
	shot.check(v)
	if err := v.Err(); err != nil {
		return SolidAngle{}, err
	}
	var s SolidAngle
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
		s.Error = mixed / 2
		s.OK = s.Error <= tolerance
		last := s.OK || depth == shotDepth
		divide := active[:0]
		for _, t := range active {
			x, y, z := allows(t[0]), allows(t[1]), allows(t[2])
			switch {
			case !last && (edge[t[0]] || edge[t[1]] || edge[t[2]]):
				divide = append(divide, t)
			case x != y || x != z:
				s.Value += sphere.Triangle(t[0], t[1], t[2]) / 2
			case x:
				s.Value += sphere.Triangle(t[0], t[1], t[2])
			}
		}
		if last {
			return s, nil
		}
		active = divide
	}
}
