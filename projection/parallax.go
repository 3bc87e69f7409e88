package projection

import (
	"math"

	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/singular"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Parallax is by how much two cameras disagree about where a thing is: in plates
// joined as if all were far away, it stands in two places so far apart. No turning
// of pictures removes it.
type Parallax struct {
	Angle unit.Angle // between the directions in which the two see the thing
	// Pixels is Angle in pixels of the camera that samples finer there, along the way
	// across its raster in which it is finest: at the greatest singular value of the
	// Jacobians of the two. In no direction do they disagree by more.
	Pixels float64
}

// Parallax is that of cameras i and j for a thing in a direction, at a distance,
// both from the point midway between the two cameras' positions, which stand for
// their entrance pupils. For h half the distance between the two, D that of the
// thing, and ψ the angle between its direction and the line through the two,
//
//	tan Angle = 2hD sin ψ / (D² − h²)
//
// with Angle within 0 and 180°; far away it is 2h sin ψ / D. dir is of any length,
// distance more than 0 and, for a thing that has none, +Inf. ok is false where
// not both cameras see dir, where they stand more than 2000 km apart, and for wrong
// inputs. An occluder hides what is before it as well.
//
// Source: the angle of two vectors, atan2(|u × v|, u · v), for the ways from the
// thing to the cameras.
func (a Array) Parallax(i, j int, dir r3.Vec, distance unit.Length) (p Parallax, ok bool) {
	s, ok := a.sight(i, j, dir)
	if !ok || !(distance > 0) {
		return Parallax{}, false
	}
	return s.parallax(float64(distance)), true
}

// sight is what the parallax of two cameras in a direction depends on.
type sight struct {
	half    float64 // of the distance between the cameras, m
	sin     float64 // of the angle between the direction and the line through them
	density float64 // px/rad
}

func (a Array) sight(i, j int, dir r3.Vec) (s sight, ok bool) {
	if i == j || min(i, j) < 0 || max(i, j) >= len(a.regions) {
		return sight{}, false
	}
	for _, k := range [2]int{i, j} {
		g := &a.regions[k]
		if margin, _ := g.look(dir); !(margin >= -edgeSlack) {
			return sight{}, false
		}
		v, n, _ := g.c.local(dir)
		p, _ := g.c.polar(v, n)
		most, _ := singular.Values(p.xr, p.xt, p.yr, p.yt)
		s.density = max(s.density, most)
	}
	line := r3.Sub(a.regions[j].c.position, a.regions[i].c.position)
	length := r3.Norm(line)
	s.half = length / 2
	if length > 0 {
		s.sin = min(1, r3.Norm(r3.Cross(r3.Scale(1/length, line), directionOf(dir))))
	}
	return s, s.half <= remotest
}

func (s sight) parallax(distance float64) Parallax {
	q := s.half / distance
	angle := math.Atan2(2*q*s.sin, (1-q)*(1+q))
	if math.IsInf(q, 1) {
		angle = math.Pi
	}
	return Parallax{unit.Angle(angle), angle * s.density}
}

// nearest is the distance from which on the parallax is at most angle, from 0
// exclusive to π: the positive root of D² − 2hD sin ψ/tan angle − h².
func (s sight) nearest(angle float64) float64 {
	sin, cos := math.Sincos(angle)
	b := s.sin * cos
	root := math.Hypot(b, sin)
	if b < 0 {
		return s.half * sin / (root - b)
	}
	return s.half * (b + root) / sin
}

// SeamParallax is the greatest Angle and the greatest Pixels, be they in different
// directions, along a seam at a distance from the point midway between its
// cameras: of those in all directions from s.From to s.To at its elevation, to
// 1e-4 of themselves; where parts of the range are hidden, of the others. For a
// seam at one heading, let both be that. ok is false where not both cameras see
// any of it, and for wrong inputs, as in Parallax.
func (a Array) SeamParallax(s Seam, distance unit.Length) (worst Parallax, ok bool) {
	if !(distance > 0) {
		return Parallax{}, false
	}
	ok = a.along(s, func(here sight) {
		p := here.parallax(float64(distance))
		worst.Angle = max(worst.Angle, p.Angle)
		worst.Pixels = max(worst.Pixels, p.Pixels)
	})
	return worst, ok
}

// ClearDistance is the nearest distance from the point midway between the cameras
// of a seam from which on SeamParallax stays within a limit: of Angle, Pixels or
// both; one that is 0 is no limit. Of one direction it is, with the symbols of
// Parallax and L the tighter limit as an angle,
//
//	D = h (sin ψ / tan L + √(sin²ψ / tan²L + 1))
//
// It is 0 for two cameras at one point and for a limit that nothing exceeds. ok is
// false as in SeamParallax, and where no limit is given or one is negative, not
// finite or so small that the distance overflows.
func (a Array) ClearDistance(s Seam, limit Parallax) (distance unit.Length, ok bool) {
	if !(limit.Angle >= 0 && limit.Pixels >= 0 && limit.Angle < math.MaxFloat64 && limit.Pixels < math.MaxFloat64) || limit == (Parallax{}) {
		return 0, false
	}
	ok = a.along(s, func(here sight) {
		angle := math.Pi // at the very middle
		if limit.Angle > 0 {
			angle = min(angle, float64(limit.Angle))
		}
		if limit.Pixels > 0 {
			angle = min(angle, limit.Pixels/here.density)
		}
		if here.half > 0 && angle < math.Pi {
			distance = max(distance, unit.Length(here.nearest(angle)))
		}
	})
	if !ok || !(distance <= math.MaxFloat64) {
		return 0, false
	}
	return distance, true
}

// parallaxStep, rad, is how far apart the directions of a seam are in which its
// parallax is taken. The sine in it is off its greatest by less than an eighth of
// the square.
const parallaxStep = 0.5 * math.Pi / 180

// along calls do for the directions of a seam that both cameras see, and reports
// whether there is one.
func (a Array) along(s Seam, do func(sight)) (any bool) {
	if !(s.Elevation >= -math.Pi/2 && s.Elevation <= math.Pi/2 && s.To-s.From >= 0 && s.To-s.From <= 2*math.Pi && math.Abs(float64(s.From)) <= 4*math.Pi) {
		return false
	}
	n := math.Ceil(float64(s.To-s.From) / parallaxStep)
	for k := 0.0; k <= n; k++ {
		h := s.From
		if k > 0 {
			h += (s.To - s.From) * unit.Angle(k/n)
		}
		dir := r3.Scale(-1, orient.FromAngles(h, s.Elevation, 0).Back)
		if here, ok := a.sight(s.A, s.B, dir); ok {
			do(here)
			any = true
		}
	}
	return any
}
