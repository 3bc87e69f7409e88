package wall

import (
	"math"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// View is a Wall as it is seen from an eye point, made by Wall.View. It maps
// raster positions of the wall to directions and back. It is a target for package
// projection/warp. Its methods do not allocate. The zero View sees nothing.
type View struct {
	s        *surface
	eye      r3.Vec // in the wall's own frame
	segments []seen
	hides    bool // one panel may hide another
}

// Sight says whether an eye, or a camera, sees a raster position of the wall, and
// if not, why not.
type Sight uint8

const (
	Seen           Sight = iota // it is seen
	OutsideRaster               // the position is not on the wall
	FromBehind                  // the eye is behind the panel, or in its plane
	Hidden                      // another panel is in the way
	OutsidePicture              // the camera does not see it; only View.ImageGrid
	Uneven                      // the picture jumps there, or shows no pitch; only View.ImageGrid
)

var sights = enum.New[Sight](ErrInvalid, []string{
	Seen: "seen", OutsideRaster: "outside the raster", FromBehind: "seen from behind",
	Hidden: "hidden by a panel", OutsidePicture: "outside the picture", Uneven: "uneven in the picture",
})

// String gives a name like "seen from behind".
func (s Sight) String() string { return sights.Name(s) }

// MarshalText gives the name. An unknown Sight is an error.
func (s Sight) MarshalText() ([]byte, error) { return sights.Marshal(s) }

// UnmarshalText reads a name. Any other text is an error and leaves s unchanged.
func (s *Sight) UnmarshalText(text []byte) error { return sights.Unmarshal(s, text) }

// seen is a segment as it is seen from the eye, in the stage frame.
type seen struct {
	corner   r3.Vec // from the eye to its upper left corner
	x, y     r3.Vec // one pixel to the right and one down, metres
	distance float64
}

// View is the wall as it is seen from an eye point in metres in the stage
// frame. An eye that is not in front of the lit side of any panel is an error.
func (w Wall) View(eye r3.Vec) (View, error) {
	c := valid.New("wall", ErrInvalid)
	checkPoint(c, "eye", eye)
	if w.s == nil {
		c.Fault("wall", "zero value", "must come from New")
	}
	if !c.OK() {
		return View{}, c.Err()
	}
	s := w.s
	v := View{s: s, eye: s.axes.FromStage(r3.Sub(eye, s.origin)), segments: make([]seen, s.segments())}
	front, nearest := 0, math.Inf(-1)
	for i := range v.segments {
		corner := r3.Sub(s.local(i, float64(i)*s.segmentX, 0), v.eye)
		v.segments[i] = seen{
			corner:   s.axes.ToStage(corner),
			x:        r3.Scale(s.pitchX, s.axes.ToStage(s.along(i))),
			y:        r3.Scale(-s.pitchY, s.axes.Up),
			distance: -r3.Dot(corner, s.normal(i)),
		}
		if v.segments[i].distance > 0 {
			front++
		}
		nearest = math.Max(nearest, v.segments[i].distance)
	}
	if front == 0 {
		return View{}, c.Refuse("eye", vector(eye)+" m", "must be in front of the lit side of a panel, but is %s behind the nearest plane of one", quantity.Length(unit.Length(-nearest)))
	}
	// Faces of a convex body that face the eye hide none of each other; a
	// hollow wall can hide a part of itself from an eye outside it.
	v.hides = s.radius > 0 && front < len(v.segments)
	return v, nil
}

// Size is the size of the wall's raster in pixels.
func (v View) Size() (width, height int) { return Wall{v.s}.Size() }

// Breaks lists the raster positions where the surface bends, as Wall.Breaks does.
func (v View) Breaks() (xs, ys []float64) { return Wall{v.s}.Breaks() }

// Project is the raster position that the eye sees in a direction of the stage
// frame. ok is false if it sees no lit panel there.
func (v View) Project(dir r3.Vec) (x, y float64, ok bool) {
	if v.s == nil {
		return 0, 0, false
	}
	return v.s.cast(v.eye, v.s.axes.FromStage(dir))
}

// Unproject is the unit vector from the eye to a raster position, in the stage
// frame. ok is false if the eye does not see the position; Sight says why.
func (v View) Unproject(x, y float64) (dir r3.Vec, ok bool) {
	dir, why := v.look(x, y)
	return dir, why == Seen
}

// Sight says whether the eye sees a raster position: Seen, OutsideRaster,
// FromBehind or Hidden.
func (v View) Sight(x, y float64) Sight {
	_, why := v.look(x, y)
	return why
}

// look is the unit vector to a raster position, or the reason why there is none.
func (v View) look(x, y float64) (dir r3.Vec, why Sight) {
	if !v.s.has(x, y) {
		return r3.Vec{}, OutsideRaster
	}
	i := v.s.segment(x)
	g := &v.segments[i]
	if !(g.distance > 0) {
		return r3.Vec{}, FromBehind
	}
	d := g.at(x-float64(i)*v.s.segmentX, y)
	k := 1 / math.Sqrt(d.X*d.X+d.Y*d.Y+d.Z*d.Z)
	d = r3.Vec{X: d.X * k, Y: d.Y * k, Z: d.Z * k}
	// A panel that hides another shows its back to the eye: a ray leaves the
	// circle of a hollow wall only once, and that is where it meets the lit side.
	if v.hides {
		if _, _, ok := v.Project(d); !ok {
			return r3.Vec{}, Hidden
		}
	}
	return d, Seen
}

// PixelDensity is a number of wall pixels per degree, along the raster's x and y.
type PixelDensity struct{ X, Y float64 }

// PixelDensity is the number of wall pixels per degree that the eye sees at a
// raster position, foreshortening included. With r from the eye to the position,
// and e from one pixel to the next along x or y:
//
//	density = (π/180) |r|² / |r × e|
//
// ok is false if the eye does not see the position; Sight says why.
func (v View) PixelDensity(x, y float64) (d PixelDensity, ok bool) {
	if _, why := v.look(x, y); why != Seen {
		return PixelDensity{}, false
	}
	i := v.s.segment(x)
	return v.segments[i].density(x-float64(i)*v.s.segmentX, y), true
}

// PixelDensityRange is the least and the greatest PixelDensity along each axis,
// over all panels that face the eye, hidden ones included. It is exact: it
// compares all positions where the density can have an extreme. ok is false for
// the zero View.
func (v View) PixelDensityRange() (least, greatest PixelDensity, ok bool) {
	// On a panel the extremes are at its edges, at the foot of the perpendicular
	// from the eye, or where the pixel is as far from that foot along its own axis
	// as from the eye across it.
	least = PixelDensity{math.Inf(1), math.Inf(1)}
	for i := range v.segments {
		g := &v.segments[i]
		if !(g.distance > 0) {
			continue
		}
		ok = true
		px, py := v.s.pitchX, v.s.pitchY
		w, h := v.s.segmentX, v.s.height
		// The foot of the perpendicular, in pixels from the corner.
		footX := -r3.Dot(g.corner, g.x) / (px * px)
		footY := -r3.Dot(g.corner, g.y) / (py * py)
		xs := []float64{0, w, footX}
		ys := []float64{0, h, footY}
		if a := nearest(footX, w) * px; math.Abs(a) > g.distance {
			b := math.Sqrt(a*a-g.distance*g.distance) / py
			ys = append(ys, footY-b, footY+b)
		}
		if b := nearest(footY, h) * py; math.Abs(b) > g.distance {
			a := math.Sqrt(b*b-g.distance*g.distance) / px
			xs = append(xs, footX-a, footX+a)
		}
		for _, x := range xs {
			for _, y := range ys {
				d := g.density(math.Max(0, math.Min(w, x)), math.Max(0, math.Min(h, y)))
				least.X, greatest.X = math.Min(least.X, d.X), math.Max(greatest.X, d.X)
				least.Y, greatest.Y = math.Min(least.Y, d.Y), math.Max(greatest.Y, d.Y)
			}
		}
	}
	if !ok {
		return PixelDensity{}, PixelDensity{}, false
	}
	return least, greatest, true
}

// nearest is the way from a foot to the nearest point of the span 0 … side.
func nearest(foot, side float64) float64 {
	return math.Max(0, math.Min(side, foot)) - foot
}

// at is the way from the eye to a position x, y pixels from the corner.
func (g *seen) at(x, y float64) r3.Vec {
	return r3.Vec{
		X: g.corner.X + x*g.x.X + y*g.y.X,
		Y: g.corner.Y + x*g.x.Y + y*g.y.Y,
		Z: g.corner.Z + x*g.x.Z + y*g.y.Z,
	}
}

func (g *seen) density(x, y float64) PixelDensity {
	r := g.at(x, y)
	per := float64(Degree) * r3.Norm2(r)
	return PixelDensity{X: per / r3.Norm(r3.Cross(r, g.x)), Y: per / r3.Norm(r3.Cross(r, g.y))}
}
