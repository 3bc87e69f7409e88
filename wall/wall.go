package wall

import (
	"errors"
	"fmt"
	"math"

	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("wall: invalid value")

// Degree is one degree of arc.
const Degree unit.Angle = math.Pi / 180

// edge is how far outside its outline, in pixels, a ray still counts as meeting
// the wall: without it, rounding would lose half of the rays aimed at an edge.
const edge = 1e-6

// Spec describes a wall of equal panels in columns and rows.
//
// With Radius 0 the wall is flat. Otherwise its columns stand along an arc: each
// panel is flat, and its left and right edges lie on a circle of that radius
// around an axis that is upright in the wall's own frame. Neighbours share an
// edge, so the surface has no gaps. A positive Radius makes the lit side hollow;
// a negative one makes it bulge towards the viewer. The radius must be at least a
// panel's width, and the arc at most one full turn.
//
// Position is the place of the raster position (width/2, height/2), the middle of
// the lit surface. With an odd number of columns that is the middle of a panel,
// with an even number it lies on a joint.
//
// Heading, Elevation and Roll are those of a camera that looks squarely at the
// middle. With all three 0 the wall faces +Z, and a camera with no rotation sees
// it upright. A heading of 90° puts the wall on the +X side of a set; an
// elevation of 90° makes it a ceiling. Headings and rolls are within ±360°,
// elevations within ±90°.
type Spec struct {
	PanelWidth, PanelHeight    unit.Length // of the lit face of one panel, up to 100 m
	PanelPixelsX, PanelPixelsY int         // pixels across and down one panel
	Columns, Rows              int         // panels across and down: up to 2^20 panels and 2^24 px a side

	Radius unit.Length // of the arc, up to 100 km; 0 for a flat wall

	Position                 r3.Vec // metres in the stage frame
	Heading, Elevation, Roll unit.Angle
}

// Wall is a surface of pixels in the stage frame, made by New. The zero Wall has
// no pixels, and its methods have no answers. Compare Specs, not Walls: two Walls
// made from one Spec are not ==.
//
// Methods that take a raster position accept 0 ≤ x ≤ width, 0 ≤ y ≤ height. A
// position on the joint of two panels belongs to the right or lower one.
type Wall struct{ s *surface }

// Rectangle is a flat rectangle in the stage frame, given by three corners in
// metres as the viewer of its lit side sees them. It converts to the Window of
// package projection/offaxis, which gives the frustum from an eye through it.
type Rectangle struct{ LowerLeft, LowerRight, UpperLeft r3.Vec }

// Wall is a flat wall of one panel, whose lit face is the rectangle: a panel of a stage
// as it was planned or surveyed. Its sides are 1 nm to 100 m long, at right angles within
// 1e-6 rad; other rectangles are errors, and numbers of pixels as for New.
func (r Rectangle) Wall(pixelsX, pixelsY int) (Wall, error) {
	c := valid.New("wall", ErrInvalid)
	for _, corner := range []struct {
		name string
		at   r3.Vec
	}{{"lower left", r.LowerLeft}, {"lower right", r.LowerRight}, {"upper left", r.UpperLeft}} {
		checkPoint(c, corner.name, corner.at)
	}
	right, up := r3.Sub(r.LowerRight, r.LowerLeft), r3.Sub(r.UpperLeft, r.LowerLeft)
	width, height := unit.Length(r3.Norm(right)), unit.Length(r3.Norm(up))
	sides := valid.Closed(1*unit.Nano*unit.Metre, maxPanelSide)
	c.Length("width", width, sides)
	c.Length("height", height, sides)
	if !c.OK() {
		return Wall{}, c.Err()
	}
	right = r3.Scale(1/float64(width), right)
	lean := r3.Dot(right, up) / float64(height)
	if math.Abs(lean) > 1e-6 {
		return Wall{}, c.Refuse("rectangle", fmt.Sprintf("%.4g° between its sides", math.Acos(lean)*180/math.Pi), "must have right angles within 1e-6 rad")
	}
	up = r3.Unit(r3.Sub(up, r3.Scale(r3.Dot(right, up), right)))
	heading, elevation, roll := orient.Axes{Right: right, Up: up, Back: r3.Cross(right, up)}.Angles()
	return New(Spec{
		PanelWidth: width, PanelHeight: height, PanelPixelsX: pixelsX, PanelPixelsY: pixelsY, Columns: 1, Rows: 1,
		Position: r3.Scale(0.5, r3.Add(r.LowerRight, r.UpperLeft)),
		Heading:  heading, Elevation: elevation, Roll: roll,
	})
}

// surface is the geometry behind a Wall, in a frame of its own: origin at
// Position, x to the viewer's right, y up, z towards the viewer. In plan (x, z)
// it is a chain of straight segments.
type surface struct {
	axes           orient.Axes
	origin         r3.Vec
	panelX, panelY int // pixels of a panel
	columns, rows  int
	width, height  float64 // pixels
	pitchX, pitchY float64 // metres
	segmentX       float64 // pixels across a segment: a panel of an arc, or a whole flat wall
	joints         []plan  // ends of the segments, from left to right
	radius         float64 // 0 if flat
	step           float64 // turn from one joint to the next, sign of the radius
	axis           float64 // z of the centre of the arc
}

type plan struct{ x, z float64 }

// The largest sides and radius of a Spec.
const (
	maxPanels                 = 1 << 20
	maxPanelSide  unit.Length = 100
	maxRadius     unit.Length = 1e5
	turnTolerance             = 1e-9 // a drum of n panels may miss a full turn by rounding
)

// New makes a Wall from a Spec.
func New(spec Spec) (Wall, error) {
	c := valid.New("wall", ErrInvalid)
	sides := valid.Above(0, maxPanelSide)
	c.Length("panel width", spec.PanelWidth, sides)
	c.Length("panel height", spec.PanelHeight, sides)
	checkSide := func(pixels, panels string, perPanel, count int) {
		c.Int(pixels, perPanel, "px", 1, valid.MaxSide)
		c.Int(panels, count, "", 1, maxPanels)
		if perPanel > 0 && perPanel <= valid.MaxSide && count > 0 && count <= maxPanels && perPanel > valid.MaxSide/count {
			c.Int(pixels, perPanel, "px", 1, valid.MaxSide/count)
		}
	}
	checkSide("panel pixels x", "columns", spec.PanelPixelsX, spec.Columns)
	checkSide("panel pixels y", "rows", spec.PanelPixelsY, spec.Rows)
	counted := spec.Columns > 0 && spec.Columns <= maxPanels
	if counted && spec.Rows > 0 && spec.Rows <= maxPanels {
		c.Int("rows", spec.Rows, "", 1, maxPanels/spec.Columns)
	}
	checkPoint(c, "position", spec.Position)
	c.Angle("heading", spec.Heading, valid.Turns)
	c.Angle("elevation", spec.Elevation, valid.Closed(-90*Degree, 90*Degree))
	c.Angle("roll", spec.Roll, valid.Turns)
	panel, radius := float64(spec.PanelWidth), float64(spec.Radius)
	var step float64
	if radius != 0 {
		radii := valid.Above(0, maxRadius)
		wide := sides.Contains(panel)
		if wide {
			radii = valid.Closed(spec.PanelWidth, maxRadius)
		}
		const field = "radius, without its sign,"
		if size := unit.Length(math.Abs(radius)); wide && size < spec.PanelWidth {
			c.Fault(field, quantity.Length(size), "must be at least a panel's width, %s", quantity.Length(spec.PanelWidth))
		} else {
			c.Length(field, size, radii)
		}
		if wide && counted && radii.Contains(math.Abs(radius)) {
			step = 2 * math.Asin(panel/(2*radius))
			c.Angle("turn of the arc", unit.Angle(math.Abs(step)*float64(spec.Columns)), valid.Closed[unit.Angle](0, 2*math.Pi*(1+turnTolerance)))
		}
	}
	if err := c.Err(); err != nil {
		return Wall{}, err
	}

	s := &surface{
		axes:   orient.FromAngles(spec.Heading, spec.Elevation, spec.Roll),
		origin: spec.Position,
		panelX: spec.PanelPixelsX, panelY: spec.PanelPixelsY,
		columns: spec.Columns, rows: spec.Rows,
		width:  float64(spec.PanelPixelsX * spec.Columns),
		height: float64(spec.PanelPixelsY * spec.Rows),
		pitchX: panel / float64(spec.PanelPixelsX),
		pitchY: float64(spec.PanelHeight) / float64(spec.PanelPixelsY),
		radius: radius,
		step:   step,
	}
	if radius == 0 {
		half := panel * float64(spec.Columns) / 2
		s.joints = []plan{{x: -half}, {x: half}}
		s.segmentX = s.width
	} else {
		s.joints = make([]plan, spec.Columns+1)
		for k := range s.joints {
			x, z := s.onArc(float64(k))
			s.joints[k] = plan{x, z}
		}
		// Bring the middle of the chain to the origin: half a panel's
		// sagitta where that is the middle of a panel.
		middle := 0.0
		if spec.Columns%2 == 1 {
			_, middle = s.onArc(float64(spec.Columns+1) / 2)
		}
		for k := range s.joints {
			s.joints[k].z -= middle
		}
		s.axis = radius - middle
		s.segmentX = float64(spec.PanelPixelsX)
	}
	return Wall{s}, nil
}

// onArc is the plan position of joint k, with the arc touching z = 0.
func (s *surface) onArc(k float64) (x, z float64) {
	phi := (k - float64(s.columns)/2) * s.step
	h := math.Sin(phi / 2)
	return s.radius * math.Sin(phi), 2 * s.radius * h * h
}

// Size is the size of the wall's raster in pixels.
func (w Wall) Size() (width, height int) {
	if w.s == nil {
		return 0, 0
	}
	return w.s.panelX * w.s.columns, w.s.panelY * w.s.rows
}

// Pitch is the distance between the centres of neighbouring pixels, along a row
// and along a column:
//
//	pitch = size of a panel / its pixels
func (w Wall) Pitch() (x, y unit.Length) {
	if w.s == nil {
		return 0, 0
	}
	return unit.Length(w.s.pitchX), unit.Length(w.s.pitchY)
}

// Panel is the column and row, counted from 0 at the top left, of the panel at a
// raster position. ok is false outside the raster.
func (w Wall) Panel(x, y float64) (column, row int, ok bool) {
	if !w.s.has(x, y) {
		return 0, 0, false
	}
	return min(int(x)/w.s.panelX, w.s.columns-1), min(int(y)/w.s.panelY, w.s.rows-1), true
}

// Point is the place of a raster position, in metres in the stage frame. ok is
// false outside the raster.
func (w Wall) Point(x, y float64) (p r3.Vec, ok bool) {
	if !w.s.has(x, y) {
		return r3.Vec{}, false
	}
	return w.s.point(w.s.segment(x), x, y), true
}

// Normal is the unit vector perpendicular to the panel at a raster position, on
// its lit side, in the stage frame. ok is false outside the raster.
func (w Wall) Normal(x, y float64) (n r3.Vec, ok bool) {
	if !w.s.has(x, y) {
		return r3.Vec{}, false
	}
	return w.s.axes.ToStage(w.s.normal(w.s.segment(x))), true
}

// Pixel is the raster position that a ray meets first. The ray starts at origin,
// in metres, and runs along direction, both in the stage frame. ok is false if
// the ray meets no panel, meets the back of a panel first or runs along it, or if
// an argument is not finite or the direction is zero.
//
// The cost does not depend on the number of panels. No ray slips through a
// joint. A ray that passes the outline by less than a millionth of a pixel counts
// as meeting it.
func (w Wall) Pixel(origin, direction r3.Vec) (x, y float64, ok bool) {
	if w.s == nil {
		return 0, 0, false
	}
	return w.s.cast(w.s.axes.FromStage(r3.Sub(origin, w.s.origin)), w.s.axes.FromStage(direction))
}

// Distance is the shortest distance from a point, in metres in the stage frame, to
// the surface of the wall: of the nearest place on any panel, lit side or back. It
// is 0 on the surface. The time grows with the number of columns of an arc.
//
// A coordinate of the point outside ±1000 km and a zero Wall are errors.
func (w Wall) Distance(point r3.Vec) (unit.Length, error) {
	c := valid.New("wall", ErrInvalid)
	checkPoint(c, "point", point)
	if w.s == nil {
		c.Fault("wall", "zero value", "must come from New")
	}
	if !c.OK() {
		return 0, c.Err()
	}
	s := w.s
	p := s.axes.FromStage(r3.Sub(point, s.origin))
	inPlan := math.Inf(1)
	for i := range s.segments() {
		a, b := s.joints[i], s.joints[i+1]
		dx, dz := b.x-a.x, b.z-a.z
		t := ((p.X-a.x)*dx + (p.Z-a.z)*dz) / (dx*dx + dz*dz) // foot of the perpendicular, along the segment
		t = max(0, min(1, t))
		inPlan = min(inPlan, math.Hypot(a.x+t*dx-p.X, a.z+t*dz-p.Z))
	}
	beyond := max(0, math.Abs(p.Y)-s.height/2*s.pitchY) // above the top or below the bottom
	return unit.Length(math.Hypot(inPlan, beyond)), nil
}

// Breaks lists, in ascending order, the raster positions inside the raster where
// the surface bends. A flat wall has none; an arc has one at each joint of two
// columns. The surface is smooth between neighbouring breaks, so a map that
// interpolates over the raster must not interpolate across them.
func (w Wall) Breaks() (xs, ys []float64) {
	if w.s == nil {
		return nil, nil
	}
	for k := 1; k < len(w.s.joints)-1; k++ {
		xs = append(xs, float64(k)*w.s.segmentX)
	}
	return xs, nil
}

// Rectangle is the flat part of the wall from the raster position (x0, y0) to
// (x1, y1). Panel (c, r) of p × q pixels reaches from (c p, r q) to ((c+1) p,
// (r+1) q). ok is false unless x0 < x1 and y0 < y1 lie in the raster with no
// break between them.
func (w Wall) Rectangle(x0, y0, x1, y1 float64) (r Rectangle, ok bool) {
	s := w.s
	if !s.has(x0, y0) || !s.has(x1, y1) || !(x0 < x1 && y0 < y1) {
		return Rectangle{}, false
	}
	i := s.segment(x0)
	if x1 > float64(i+1)*s.segmentX {
		return Rectangle{}, false
	}
	return Rectangle{LowerLeft: s.point(i, x0, y1), LowerRight: s.point(i, x1, y1), UpperLeft: s.point(i, x0, y0)}, true
}

// has reports whether a raster position lies on the wall; never on a nil one.
func (s *surface) has(x, y float64) bool {
	return s != nil && x >= 0 && x <= s.width && y >= 0 && y <= s.height
}

func (s *surface) segments() int { return len(s.joints) - 1 }

func (s *surface) segment(x float64) int {
	return min(int(x/s.segmentX), s.segments()-1)
}

// local is a raster position on segment i in the wall's own frame.
func (s *surface) local(i int, x, y float64) r3.Vec {
	a, b := s.joints[i], s.joints[i+1]
	t := (x - float64(i)*s.segmentX) / s.segmentX
	return r3.Vec{X: a.x + t*(b.x-a.x), Y: (s.height/2 - y) * s.pitchY, Z: a.z + t*(b.z-a.z)}
}

// along is the unit vector to the right on segment i, in the wall's own frame.
func (s *surface) along(i int) r3.Vec {
	a, b := s.joints[i], s.joints[i+1]
	return r3.Unit(r3.Vec{X: b.x - a.x, Z: b.z - a.z})
}

// normal is the unit vector on the lit side of segment i, in the wall's own frame.
func (s *surface) normal(i int) r3.Vec {
	e := s.along(i)
	return r3.Vec{X: -e.Z, Z: e.X}
}

// point is a raster position on segment i in the stage frame.
func (s *surface) point(i int, x, y float64) r3.Vec {
	return r3.Add(s.origin, s.axes.ToStage(s.local(i, x, y)))
}

// cast follows a ray, given in the wall's own frame, to the surface.
//
// In plan the surface is part of a convex outline, so the ray's line crosses it
// twice at most. On an arc the line leaves the circle through the very stretch
// that the crossed segment cuts off, which tells the segment from an angle; the
// neighbours are tried too, because that angle is rounded.
func (s *surface) cast(o, d r3.Vec) (x, y float64, ok bool) {
	scale := largest(d)
	if !(scale > 0 && scale <= math.MaxFloat64) {
		return 0, 0, false
	}
	d = r3.Vec{X: d.X / scale, Y: d.Y / scale, Z: d.Z / scale}
	first := hit{t: math.Inf(1)}
	if s.radius == 0 {
		s.meet(0, o, d, &first)
	} else {
		// The circle is axis + radius (sin φ, −cos φ).
		cos := (d.Z*o.X - d.X*(o.Z-s.axis)) / (s.radius * math.Hypot(d.X, d.Z))
		if !(math.Abs(cos) <= 1+1e-6) { // edge lies a little outside the circle
			return 0, 0, false
		}
		middle := math.Atan2(d.Z, d.X)
		spread := math.Acos(math.Max(-1, math.Min(1, cos)))
		for _, phi := range [2]float64{middle - spread, middle + spread} {
			if phi > math.Pi {
				phi -= 2 * math.Pi
			} else if phi < -math.Pi {
				phi += 2 * math.Pi
			}
			k := int(math.Floor(phi/s.step + float64(s.columns)/2))
			for i := max(k-1, 0); i <= min(k+1, s.columns-1); i++ {
				s.meet(i, o, d, &first)
			}
		}
	}
	if !first.lit {
		return 0, 0, false
	}
	return first.x, first.y, true
}

// hit is where a ray meets the surface.
type hit struct {
	t, x, y float64
	lit     bool // from the lit side
}

// meet replaces h by the place where a ray meets segment i, if that comes first.
func (s *surface) meet(i int, o, d r3.Vec, h *hit) {
	ax, az := s.joints[i].x-o.X, s.joints[i].z-o.Z
	bx, bz := s.joints[i+1].x-o.X, s.joints[i+1].z-o.Z
	// On which side of the ray the ends lie. Both segments at a joint get the
	// same bits (the conversions keep compilers from fusing), so that no ray
	// passes between them.
	a := float64(d.X*az) - float64(d.Z*ax)
	b := float64(d.X*bz) - float64(d.Z*bx)
	lit := b > a
	u := a / (a - b)
	if (a >= 0) == (b >= 0) {
		// Beside it; but an outline may be missed by rounding only.
		if margin := edge / s.segmentX; !lit || u < -margin || u > 1+margin {
			return
		}
		u = math.Max(0, math.Min(1, u))
	}
	t := ((ax+u*(bx-ax))*d.X + (az+u*(bz-az))*d.Z) / (d.X*d.X + d.Z*d.Z)
	y := s.height/2 - (o.Y+t*d.Y)/s.pitchY
	if t > 0 && t < h.t && y >= -edge && y <= s.height+edge {
		*h = hit{t: t, x: (float64(i) + u) * s.segmentX, y: math.Max(0, math.Min(s.height, y)), lit: lit}
	}
}

// largest is the size of the largest component, NaN if one is NaN.
func largest(v r3.Vec) float64 { return max(math.Abs(v.X), math.Abs(v.Y), math.Abs(v.Z)) }

// checkPoint checks a position in metres in the stage frame.
func checkPoint(c *valid.Checker, field string, p r3.Vec) {
	for i, v := range [3]float64{p.X, p.Y, p.Z} {
		c.Length(field+" "+"xyz"[i:i+1], unit.Length(v), valid.Coordinates)
	}
}

func vector(v r3.Vec) string { return fmt.Sprintf("(%g, %g, %g)", v.X, v.Y, v.Z) }
