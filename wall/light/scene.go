package light

import (
	"errors"
	"fmt"
	"math"

	"example.com/platewright/internal/valid"
	"example.com/platewright/wall"
	"gonum.org/v1/gonum/spatial/r3"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("light: invalid value")

// RGB is light by the wall's three primaries: what its red, its green and its blue
// each contribute to a luminance in cd/m² or to an illuminance in lx.
type RGB [3]float64

// Sum is the total luminance or illuminance, red + green + blue.
func (c RGB) Sum() float64 { return c[0] + c[1] + c[2] }

// Picture is a frame of linear pixels in the wall's primaries.
type Picture struct {
	Width, Height int // pixels

	// Pixels holds red, green and blue of each pixel, row by row from the top left.
	// 1 is full drive. Values outside 0 to 1 are clipped, as a wall clips them.
	Pixels []float32
}

// Panel is a flat rectangle that shines, reflects, or both. It may be one LED
// panel, a whole flat wall, or a floor.
type Panel struct {
	Rectangle wall.Rectangle // the lit side; the back is black

	// Peak is the luminance of each primary at full drive, in cd/m², along the
	// normal. Primaries.Peaks computes it. Zero is a surface that does not shine.
	Peak RGB

	// Picture is what the panel shows. Nil is full drive everywhere. The panel shows
	// the pixels from (X, Y) on, Width × Height of them. If all four are 0 it shows
	// the whole picture.
	Picture             *Picture
	X, Y, Width, Height int

	Emission    *Emission // luminance by angle; nil is Lambert's law
	Reflectance float64   // of diffuse reflection, 0 to 0.95; only Scene.Mutual uses it
}

// Panels are the flat parts of a wall, each with the part of the picture that it
// shows. The fields other than the rectangle and the region are those of like. Its
// picture must be as large as the wall's raster, or nil.
func Panels(w wall.Wall, like Panel) []Panel {
	width, height := w.Size()
	xs, _ := w.Breaks()
	var panels []Panel
	x0 := 0.0
	for _, x1 := range append(xs, float64(width)) {
		r, ok := w.Rectangle(x0, 0, x1, float64(height))
		if !ok {
			return nil
		}
		p := like
		p.Rectangle = r
		if p.Picture != nil {
			p.X, p.Y, p.Width, p.Height = int(x0), 0, int(x1-x0), height
		}
		panels = append(panels, p)
		x0 = x1
	}
	return panels
}

// Spec describes the surfaces of a stage and what stands between them.
type Spec struct {
	Panels []Panel // 1 to 10,000

	// Blockers are flat opaque polygons of 3 corners or more, in metres. They may be
	// concave, but must not cross themselves. Panels do not block light unless their
	// outlines are here or Clear knows them.
	Blockers [][]r3.Vec

	// Clear reports whether nothing stands between two points, in metres. A surface
	// that holds one of the points does not count. It must be safe for concurrent
	// use. Nil is always clear. It is left out of JSON.
	Clear func(a, b r3.Vec) bool `json:"-"`

	// Tolerance is the error to aim for, as a fraction of an illuminance: 1e-6 to
	// 0.5. Zero means 0.01.
	Tolerance float64
}

// Scene is a stage of lit surfaces, made by New. It is immutable and safe for
// concurrent use. The zero Scene has no panels, and its methods have no answers.
type Scene struct {
	panels    []panel
	blockers  []polygon
	clear     func(a, b r3.Vec) bool
	tolerance float64
}

// panel is a Panel ready for use. In its own frame x points right, y down, as in
// the picture, and z towards the viewer; the origin is the upper left corner.
type panel struct {
	corner, right, down, normal r3.Vec // unit vectors
	columns, rows               float64
	pitchX, pitchY              float64 // metres a pixel
	peak                        float64 // cd/m²
	nodes                       []node
	emission                    *Emission
	reflectance                 float64
}

// New makes a Scene from a Spec. It reads the pictures once and keeps sums over
// some 2^17 blocks of all that the panels show: up to 2^17 pixels are kept whole,
// of 6000 × 2000 a block has up to 92.
func New(spec Spec) (*Scene, error) {
	c := valid.New("light", ErrInvalid)
	s := &Scene{clear: spec.Clear, tolerance: spec.Tolerance}
	if s.tolerance == 0 {
		s.tolerance = 0.01
	}
	c.Number("tolerance", s.tolerance, "", valid.Closed(1e-6, 0.5))
	c.Int("number of panels", len(spec.Panels), "", 1, 10000)
	if !c.OK() {
		return nil, c.Err()
	}
	for i, p := range spec.Panels {
		s.panels = append(s.panels, newPanel(c, fmt.Sprintf("panel %d", i), p))
	}
	for i, corners := range spec.Blockers {
		s.blockers = append(s.blockers, newPolygon(c, fmt.Sprintf("blocker %d", i), corners))
	}
	if !c.OK() {
		return nil, c.Err()
	}
	pixels := 0
	for _, p := range s.panels {
		pixels += int(p.columns * p.rows)
	}
	for i, p := range spec.Panels {
		if !s.panels[i].shows(p, (pixels-1)/mostLeaves+1) {
			c.Fault(fmt.Sprintf("panel %d, picture", i), "NaN", "must hold numbers")
		}
	}
	if !c.OK() {
		return nil, c.Err()
	}
	return s, nil
}

// frame is the panel of a rectangle, without its light. ok is false if the
// rectangle is none.
func frame(r wall.Rectangle) (p panel, ok bool) {
	for _, v := range []r3.Vec{r.LowerLeft, r.LowerRight, r.UpperLeft} {
		if !near(v) {
			return panel{}, false
		}
	}
	right, down := r3.Sub(r.LowerRight, r.LowerLeft), r3.Sub(r.LowerLeft, r.UpperLeft)
	p.pitchX, p.pitchY = r3.Norm(right), r3.Norm(down)
	if !(min(p.pitchX, p.pitchY) > 1e-9) {
		return panel{}, false
	}
	p.corner, p.columns, p.rows = r.UpperLeft, 1, 1
	p.right, p.down = r3.Scale(1/p.pitchX, right), r3.Scale(1/p.pitchY, down)
	p.normal = r3.Cross(p.down, p.right)
	if !(math.Abs(r3.Dot(p.right, p.down)) < 1e-6) {
		return panel{}, false
	}
	return p, true
}

// near reports whether a position is within the limits of the stage.
func near(v r3.Vec) bool {
	at := valid.Coordinates
	return at.Contains(v.X) && at.Contains(v.Y) && at.Contains(v.Z)
}

func newPanel(c *valid.Checker, name string, p Panel) panel {
	q, ok := frame(p.Rectangle)
	if !ok {
		c.Fault(name+", rectangle", fmt.Sprint(p.Rectangle), "must have sides over 1 nm at right angles, within ±1000 km")
	}
	for i, field := range []string{"red", "green", "blue"} {
		c.Number(name+", peak of "+field, p.Peak[i], "cd/m²", valid.Closed(0, valid.Luminances.Max))
	}
	c.Number(name+", reflectance", p.Reflectance, "", valid.Closed(0, 0.95))
	q.peak, q.emission, q.reflectance = p.Peak.Sum(), p.Emission, p.Reflectance
	if p.Emission != nil && len(p.Emission.angles) == 0 {
		c.Fault(name+", emission", "zero value", "must come from NewEmission")
	}
	if p.Picture == nil {
		return q
	}
	c.Int(name+", picture width", p.Picture.Width, "px", 1, valid.MaxSide)
	c.Int(name+", picture height", p.Picture.Height, "px", 1, valid.MaxSide)
	if !c.OK() {
		return q
	}
	if want := 3 * int64(p.Picture.Width) * int64(p.Picture.Height); int64(len(p.Picture.Pixels)) != want {
		c.Fault(name+", picture", fmt.Sprintf("%d values", len(p.Picture.Pixels)), "must have three a pixel, %d", want)
		return q
	}
	x, y, w, h := p.region()
	c.Int(name+", x", x, "px", 0, p.Picture.Width-1)
	c.Int(name+", y", y, "px", 0, p.Picture.Height-1)
	if !c.OK() {
		return q
	}
	c.Int(name+", width", w, "px", 1, p.Picture.Width-x)
	c.Int(name+", height", h, "px", 1, p.Picture.Height-y)
	q.columns, q.rows = float64(w), float64(h)
	q.pitchX, q.pitchY = q.pitchX/q.columns, q.pitchY/q.rows
	return q
}

// region is the part of the picture that the panel shows.
func (p Panel) region() (x, y, width, height int) {
	if p.X == 0 && p.Y == 0 && p.Width == 0 && p.Height == 0 {
		return 0, 0, p.Picture.Width, p.Picture.Height
	}
	return p.X, p.Y, p.Width, p.Height
}

// local brings a vector into the panel's own frame.
func (p *panel) local(v r3.Vec) r3.Vec {
	return r3.Vec{X: r3.Dot(v, p.right), Y: r3.Dot(v, p.down), Z: r3.Dot(v, p.normal)}
}

// above brings a point into the panel's own frame. Its z is 0 if it is within
// rounding of the plane of the panel.
func (p *panel) above(point r3.Vec) r3.Vec {
	q := p.local(r3.Sub(point, p.corner))
	if math.Abs(q.Z) <= 0x1p-48*max(largest(p.corner), largest(point), p.pitchX*p.columns, p.pitchY*p.rows) {
		q.Z = 0
	}
	return q
}

// at is the place of a position in pixels.
func (p *panel) at(x, y float64) r3.Vec {
	return r3.Add(p.corner, r3.Add(r3.Scale(x*p.pitchX, p.right), r3.Scale(y*p.pitchY, p.down)))
}

// largest is the size of the largest component.
func largest(v r3.Vec) float64 { return max(math.Abs(v.X), math.Abs(v.Y), math.Abs(v.Z)) }

// direction is the unit vector along v. ok is false if v is zero or not finite.
func direction(v r3.Vec) (n r3.Vec, ok bool) {
	scale := largest(v)
	if !(scale > 0 && scale <= math.MaxFloat64) {
		return r3.Vec{}, false
	}
	return r3.Unit(r3.Vec{X: v.X / scale, Y: v.Y / scale, Z: v.Z / scale}), true
}

// polygon is a flat blocker.
type polygon struct {
	corners []r3.Vec
	normal  r3.Vec
	centre  r3.Vec // of a sphere that holds it
	radius  float64
}

func newPolygon(c *valid.Checker, name string, corners []r3.Vec) polygon {
	c.Int(name+", number of corners", len(corners), "", 3, 1000)
	for _, v := range corners {
		if !near(v) {
			c.Fault(name+", corner", fmt.Sprint(v), "must be within ±1000 km")
		}
	}
	if !c.OK() {
		return polygon{}
	}
	// Twice the area as a vector: the sum over triangles from the first corner.
	var normal r3.Vec
	for i := 2; i < len(corners); i++ {
		normal = r3.Add(normal, r3.Cross(r3.Sub(corners[i-1], corners[0]), r3.Sub(corners[i], corners[0])))
	}
	n, ok := direction(normal)
	if !ok {
		c.Fault(name, "area 0", "must have an area")
	}
	for _, v := range corners {
		if off := r3.Dot(n, r3.Sub(v, corners[0])); !(math.Abs(off) <= 1e-3*(1+r3.Norm(r3.Sub(v, corners[0])))) {
			c.Fault(name, fmt.Sprintf("a corner %.3g m off its plane", off), "must be flat to 1 mm")
		}
	}
	g := polygon{corners: append([]r3.Vec(nil), corners...), normal: n}
	for _, v := range corners {
		g.centre = r3.Add(g.centre, r3.Scale(1/float64(len(corners)), v))
	}
	for _, v := range corners {
		g.radius = max(g.radius, r3.Norm(r3.Sub(v, g.centre)))
	}
	return g
}

// cuts reports whether the open segment between two points meets the polygon.
func (g polygon) cuts(from, to r3.Vec) bool {
	a, b := r3.Dot(g.normal, r3.Sub(from, g.corners[0])), r3.Dot(g.normal, r3.Sub(to, g.corners[0]))
	if a*b >= 0 {
		return false
	}
	t := a / (a - b)
	if t < 1e-9 || t > 1-1e-9 {
		return false // one of the points lies on the polygon
	}
	hit := r3.Add(from, r3.Scale(t, r3.Sub(to, from)))
	// Seen along its largest axis: is the number of sides to one hand odd?
	flat := func(v r3.Vec) (x, y float64) { return v.X, v.Y }
	switch largest(g.normal) {
	case math.Abs(g.normal.X):
		flat = func(v r3.Vec) (x, y float64) { return v.Y, v.Z }
	case math.Abs(g.normal.Y):
		flat = func(v r3.Vec) (x, y float64) { return v.Z, v.X }
	}
	x, y := flat(hit)
	inside := false
	for i, v := range g.corners {
		x0, y0 := flat(v)
		x1, y1 := flat(g.corners[(i+1)%len(g.corners)])
		if (y0 > y) != (y1 > y) && x < x0+(y-y0)/(y1-y0)*(x1-x0) {
			inside = !inside
		}
	}
	return inside
}

// blind reports whether a blocker stands between two points.
func (s *Scene) blind(from, to r3.Vec) bool {
	for _, g := range s.blockers {
		if g.cuts(from, to) {
			return true
		}
	}
	return s.clear != nil && !s.clear(from, to)
}
