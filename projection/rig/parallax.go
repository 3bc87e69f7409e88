package rig

import (
	"fmt"
	"math"

	"example.com/platewright/internal/root"
	"example.com/platewright/internal/singular"
	"example.com/platewright/internal/sphere"
	"example.com/platewright/internal/valid"
	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Parallax is the displacement of a near thing between two cameras. In plates that are
// joined as if everything were far away, the thing appears in two places. Rotating the
// pictures does not remove it.
type Parallax struct {
	// Angle is the angle between the directions in which the two cameras see the thing.
	Angle unit.Angle
	// Pixels is the distance between the two places on the raster of one of the
	// cameras, whichever is greater. One camera sees the thing in the direction u, the
	// other in v, and each plate shows it there. On the raster of a camera this is
	//
	//	|Project(u) − Project(v)|
	//
	// A camera that does not image both u and v counts with its part of Bound.
	Pixels float64
	// Bound is an upper bound of Pixels: Angle times the greatest density, in px/rad, of
	// either camera in any direction on its raster, on the arc from u to v. The density
	// is evaluated at nine places of the arc.
	Bound float64
}

// Parallax gives the parallax between cameras i and j of a thing. Its direction and
// distance are from the point midway between the positions of the two cameras, which are
// those of their entrance pupils. With h half the distance between the cameras, D that
// of the thing, and ψ the angle between its direction and the line through the cameras,
//
//	tan Angle = 2hD sin ψ / (D² − h²)
//
// with Angle within 0 and 180°; far away it is 2h sin ψ / D. dir has any length. A
// distance of +Inf stands for a thing at infinity. ok is false if not both cameras see
// dir, if they stand more than 2000 km apart, if i and j are not two cameras of the rig,
// if distance is not positive, and if dir is zero or not finite. Occluders hide the thing
// whether it is in front of them or behind.
//
// Source: the angle between two vectors, atan2(|u × v|, u · v), of the ways from the
// thing to the cameras.
func (r Rig) Parallax(i, j int, dir r3.Vec, distance unit.Length) (p Parallax, ok bool) {
	s, ok := r.sight(i, j, dir)
	if !ok || !(distance > 0) {
		return Parallax{}, false
	}
	for _, c := range s.cameras {
		if margin, _ := c.look(s.dir); !(margin >= -edgeSlack) || c.hidden(s.dir) {
			return Parallax{}, false
		}
	}
	return s.parallax(float64(distance)), true
}

// sight is two cameras and a direction in which they see a thing.
type sight struct {
	cameras [2]*region
	dir     r3.Vec  // from the middle between the two, of length 1
	line    r3.Vec  // from the first to the second, of length 1, or zero
	half    float64 // of the distance between the two, m
}

func (r Rig) sight(i, j int, dir r3.Vec) (s sight, ok bool) {
	if _, ok := geom.Handy(dir); !ok || i == j || min(i, j) < 0 || max(i, j) >= len(r.regions) {
		return sight{}, false
	}
	s.cameras = [2]*region{&r.regions[i], &r.regions[j]}
	s.dir = dir
	if n := r3.Norm2(dir); !(math.Abs(n-1) < 1e-14) { // at a rim the last digit counts
		s.dir = geom.Direction(dir)
	}
	line := r3.Sub(r.regions[j].c.position, r.regions[i].c.position)
	s.half = r3.Norm(line) / 2
	if s.half > 0 {
		s.line = r3.Scale(0.5/s.half, line)
	}
	return s, s.half <= remotest
}

// angle is the angle, at the thing, between the lines to the two cameras.
func (s sight) angle(distance float64) float64 {
	q := s.half / distance
	if math.IsInf(q, 1) {
		return math.Pi
	}
	sin := min(1, sphere.Norm(r3.Cross(s.line, s.dir)))
	return math.Atan2(2*q*sin, (1-q)*(1+q))
}

// ways are the directions in which the two cameras see a thing. They are zero where
// it is at a camera.
func (s sight) ways(distance float64) [2]r3.Vec {
	// In units of the longer of the two lengths, so that none is lost.
	scale := 1 / max(distance, s.half)
	to := r3.Scale(distance*scale, s.dir)
	if math.IsInf(distance, 1) {
		scale, to = 0, s.dir
	}
	off := r3.Scale(s.half*scale, s.line)
	return [2]r3.Vec{r3.Add(to, off), r3.Sub(to, off)}
}

func (s sight) parallax(distance float64) Parallax {
	p := Parallax{Angle: unit.Angle(s.angle(distance))}
	if p.Angle == 0 {
		return p
	}
	ways := s.ways(distance)
	for _, g := range s.cameras {
		bound := float64(p.Angle) * g.c.finest(ways, s.dir)
		pixels, ok := g.c.apart(ways)
		if !ok {
			pixels = bound
		}
		p.Pixels, p.Bound = max(p.Pixels, pixels), max(p.Bound, bound)
	}
	p.Bound = max(p.Bound, p.Pixels) // by roundings
	return p
}

// pixels is the Pixels of parallax, without its other fields.
func (s sight) pixels(distance float64) float64 {
	pixels, ok := 0.0, true
	ways := s.ways(distance)
	for _, g := range s.cameras {
		d, imaged := g.c.apart(ways)
		pixels, ok = max(pixels, d), ok && imaged
	}
	if !ok {
		return s.parallax(distance).Pixels
	}
	return pixels
}

// apart is how far apart two directions are on the raster, in px.
func (c *view) apart(ways [2]r3.Vec) (pixels float64, ok bool) {
	x0, y0, ok0 := c.Project(ways[0])
	x1, y1, ok1 := c.Project(ways[1])
	return math.Hypot(x1-x0, y1-y0), ok0 && ok1
}

// finest is the greatest density, in px/rad, at nine places of the arc between two
// directions. Places that the lens does not image are left out. If none is imaged, it is
// the density at dir.
func (c *view) finest(ways [2]r3.Vec, dir r3.Vec) float64 {
	most := 0.0
	take := func(d r3.Vec) {
		if j, ok := c.Jacobian(d); ok {
			density, _ := singular.Values(j.XRight, j.XUp, j.YRight, j.YUp)
			most = max(most, density)
		}
	}
	u, v := geom.Direction(ways[0]), geom.Direction(ways[1])
	for k := 0.0; k <= 8; k++ {
		take(r3.Add(r3.Scale(8-k, u), r3.Scale(k, v)))
	}
	if most == 0 {
		take(dir)
	}
	return most
}

// SeamParallax gives the greatest parallax, by its Pixels, at the points of a seam, and
// the direction where it is. The thing is at a distance from the point midway between
// the cameras of the seam. The parallax between the points that Seams gives is greater by
// at most 1e-3 of it. s may also be made by the caller: A, B and the Dir of the Points
// count, and both cameras are taken to see those directions.
//
// ok is false for the inputs that Parallax refuses, for a seam without points, and if the
// lens of a camera does not image a point.
func (r Rig) SeamParallax(s Seam, distance unit.Length) (worst Parallax, where r3.Vec, ok bool) {
	if !(distance > 0) || len(s.Points) == 0 {
		return Parallax{}, r3.Vec{}, false
	}
	for i, point := range s.Points {
		here, ok := r.sight(s.A, s.B, point.Dir)
		if !ok || !here.imaged() {
			return Parallax{}, r3.Vec{}, false
		}
		if p := here.parallax(float64(distance)); i == 0 || p.Pixels > worst.Pixels {
			worst, where = p, here.dir
		}
	}
	return worst, where, true
}

func (s sight) imaged() bool {
	for _, g := range s.cameras {
		if _, _, ok := g.c.Project(s.dir); !ok {
			return false
		}
	}
	return true
}

// Clearance is the nearest distance from which on two plates join within a limit.
type Clearance struct {
	// Distance is measured from the point midway between the two cameras of the seam.
	// It is 0 where nothing exceeds the limit, as for two cameras at one point, and
	// where Limit is not NoLimit.
	Distance unit.Length
	// Limit is NoLimit where there is such a distance. It is Unseen where the lens of
	// Camera does not image the seam at Dir, and OutOfRange where no distance is far
	// enough at Dir.
	Limit Limit
	// Camera is the index of the camera that does not image the seam where Limit is
	// Unseen, and −1 otherwise.
	Camera int
	// Dir is the direction of the seam that sets the distance, of length 1 in the stage
	// frame. It is zero where nothing exceeds the limit.
	Dir r3.Vec
}

// ClearDistance gives the nearest distance from which on the Pixels of SeamParallax
// stay within a limit, in px. Root finding on the displacement itself, not on its
// Bound, gives it with a relative error of 1e-9. Raster positions are rounded by some
// 1e-12 px, so that the Pixels may exceed a limit by as much. The search comes in from
// far away in steps of 5 % of the distance, and does not notice an excess within a
// single step.
//
// A limit that is not finite or is below 1e-6 px, where the rounding of raster
// positions counts, is an error. So are a seam without points, a point whose direction
// is zero or not finite, cameras that are not two of the rig, and cameras that stand
// more than 2000 km apart.
func (r Rig) ClearDistance(s Seam, pixels float64) (Clearance, error) {
	v := valid.New("rig", ErrInvalid)
	v.Number("limit", pixels, "px", valid.Closed(1e-6, math.MaxFloat64))
	if len(s.Points) == 0 {
		v.Fault("seam", "without points", "must have one at least")
	}
	for i, p := range s.Points {
		checkDirection(v, fmt.Sprintf("direction of point %d", i), p.Dir)
	}
	if r.checkCameras(v, "seam", s.A, s.B) {
		if _, ok := r.sight(s.A, s.B, r3.Vec{Z: -1}); !ok {
			v.Fault("seam", fmt.Sprintf("of cameras %d and %d", s.A, s.B), "must be of cameras at most 2000 km apart")
		}
	}
	if err := v.Err(); err != nil {
		return Clearance{}, err
	}
	c := Clearance{Camera: -1}
	for _, point := range s.Points {
		here, _ := r.sight(s.A, s.B, point.Dir)
		for i, g := range here.cameras {
			if _, _, ok := g.c.Project(here.dir); !ok {
				return Clearance{Limit: Unseen, Camera: [2]int{s.A, s.B}[i], Dir: here.dir}, nil
			}
		}
		d := here.clear(pixels, float64(c.Distance))
		if !(d <= math.MaxFloat64) {
			return Clearance{Limit: OutOfRange, Camera: -1, Dir: here.dir}, nil
		}
		if d > float64(c.Distance) {
			c.Distance, c.Dir = unit.Length(d), here.dir
		}
	}
	return c, nil
}

// clear is the nearest distance from which on the pixels stay within the limit, or
// 0 where it is less than floor.
func (s sight) clear(limit, floor float64) float64 {
	if s.half == 0 {
		return 0
	}
	// Far away the bound is 2h sin ψ/D times the density at dir; within 4h the limit
	// may be exceeded by much more.
	density := 0.0
	for _, g := range s.cameras {
		density = max(density, g.c.finest([2]r3.Vec{s.dir, s.dir}, s.dir))
	}
	far := 2*s.half*density/limit + 4*s.half
	for far <= math.MaxFloat64 && !(s.pixels(far) <= limit) {
		far *= 2
	}
	if !(far <= math.MaxFloat64) {
		return math.Inf(1)
	}
	least := max(floor, s.half*1e-3)
	for near := far; near >= least; far = near {
		near = far * 0.95
		if s.pixels(near) > limit {
			x, ok := root.Find(func(d float64) float64 { return s.pixels(d) - limit }, near, far)
			if !ok {
				return far
			}
			return x
		}
	}
	return 0
}
