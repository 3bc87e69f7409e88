package wall

import (
	"errors"
	"math"

	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("wall: invalid value")

// edge is how far outside its outline, in pixels, a ray still counts as meeting
// the wall: without it, rounding would lose half of the rays aimed at an edge.
const edge = 1e-6

// Spec describes a wall of equal panels in columns and rows.
//
// A flat wall has Radius 0. Otherwise the columns stand along an arc: each
// panel is flat, its left and right edges lie on a circle of that radius about
// an upright axis (upright in the wall's own frame), and neighbours share an
// edge, so the surface has no gaps. A positive Radius curves towards the viewer
// (the lit side is hollow), a negative one away. The size of the radius is at
// least a panel's width, and the arc goes round at most once.
//
// Position is where the raster position (width/2, height/2) lies: the middle of
// the lit surface, which for an odd number of columns is the middle of a panel
// and for an even number a point of the joint between two.
//
// Heading, Elevation and Roll are those of a camera that looks squarely at that
// middle: with all three 0 the wall faces +Z and a camera with no rotation sees
// it upright. A heading of 90° puts the picture on the +X side of a set, and an
// elevation of 90° makes a ceiling.
type Spec struct {
	PanelWidth, PanelHeight    unit.Length // of the lit face of one panel, up to 100 m
	PanelPixelsX, PanelPixelsY int         // pixels across and down one panel
	Columns, Rows              int         // panels across and down, at most 2^20 of them and 2^24 px a side

	Radius unit.Length // 0 for a flat wall, otherwise up to 100 km

	Position                 r3.Vec // metres in the stage frame, up to 1000 km from its origin along each axis
	Heading, Elevation, Roll unit.Angle
}

// Wall is a checked Spec: a surface of pixels in the stage frame. It is
// immutable and safe for concurrent use. The zero value has no pixels, and
// every question to it has no answer.
//
// Raster positions have their origin at the outer corner of the top-left pixel
// as the viewer sees it, x to the right and y down, both in pixels; the raster
// covers 0 ≤ x ≤ width, 0 ≤ y ≤ height. A position on the joint of two panels
// belongs to the right or lower one.
type Wall struct{ s *surface }

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

// New checks a Spec.
func New(spec Spec) (Wall, error) {
	const maxSide, maxPanels = 1 << 24, 1 << 20
	c := valid.New("wall", ErrInvalid)
	sides := valid.Above[unit.Length](0, 100)
	c.Length("panel width", spec.PanelWidth, sides)
	c.Length("panel height", spec.PanelHeight, sides)
	checkSide := func(pixels, panels string, perPanel, count int) {
		c.Int(pixels, perPanel, "px", 1, maxSide)
		c.Int(panels, count, "", 1, maxPanels)
		if perPanel > 0 && perPanel <= maxSide && count > 0 && count <= maxPanels && perPanel > maxSide/count {
			c.Int(pixels, perPanel, "px", 1, maxSide/count)
		}
	}
	checkSide("panel pixels x", "columns", spec.PanelPixelsX, spec.Columns)
	checkSide("panel pixels y", "rows", spec.PanelPixelsY, spec.Rows)
	counted := spec.Columns > 0 && spec.Columns <= maxPanels
	if counted && spec.Rows > 0 && spec.Rows <= maxPanels {
		c.Int("rows", spec.Rows, "", 1, maxPanels/spec.Columns)
	}
	position := valid.Closed[unit.Length](-1e6, 1e6)
	c.Length("position x", unit.Length(spec.Position.X), position)
	c.Length("position y", unit.Length(spec.Position.Y), position)
	c.Length("position z", unit.Length(spec.Position.Z), position)
	c.Angle("heading", spec.Heading, valid.Closed[unit.Angle](-2*math.Pi, 2*math.Pi))
	c.Angle("elevation", spec.Elevation, valid.Closed[unit.Angle](-math.Pi/2, math.Pi/2))
	c.Angle("roll", spec.Roll, valid.Closed[unit.Angle](-2*math.Pi, 2*math.Pi))
	panel, radius := float64(spec.PanelWidth), float64(spec.Radius)
	var step float64
	if radius != 0 {
		radii := valid.Above[unit.Length](0, 1e5)
		wide := sides.Contains(panel)
		if wide {
			radii = valid.Closed(spec.PanelWidth, 1e5)
		}
		c.Length("size of the radius", unit.Length(math.Abs(radius)), radii)
		if wide && counted && radii.Contains(math.Abs(radius)) {
			step = 2 * math.Asin(panel/(2*radius))
			// A drum of n panels may miss a full turn by rounding.
			c.Angle("turn of the arc", unit.Angle(math.Abs(step)*float64(spec.Columns)), valid.Closed[unit.Angle](0, 2*math.Pi*(1+1e-9)))
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

// Pitch is the distance from pixel to pixel along each axis:
//
//	pitch = size of a panel / its pixels
func (w Wall) Pitch() (x, y unit.Length) {
	if w.s == nil {
		return 0, 0
	}
	return unit.Length(w.s.pitchX), unit.Length(w.s.pitchY)
}

// Panel is the column and row, from the top left, of the panel at a raster
// position; ok is false outside the raster.
func (w Wall) Panel(x, y float64) (column, row int, ok bool) {
	if !w.s.has(x, y) {
		return 0, 0, false
	}
	return min(int(x)/w.s.panelX, w.s.columns-1), min(int(y)/w.s.panelY, w.s.rows-1), true
}

// Point is the place of a raster position on the wall, in metres in the stage
// frame; ok is false outside the raster.
func (w Wall) Point(x, y float64) (p r3.Vec, ok bool) {
	if !w.s.has(x, y) {
		return r3.Vec{}, false
	}
	return r3.Add(w.s.origin, w.s.axes.ToStage(w.s.local(w.s.segment(x), x, y))), true
}

// Normal is the unit vector that stands on the lit side of the panel at a
// raster position, in the stage frame; ok is false outside the raster.
func (w Wall) Normal(x, y float64) (n r3.Vec, ok bool) {
	if !w.s.has(x, y) {
		return r3.Vec{}, false
	}
	return w.s.axes.ToStage(w.s.normal(w.s.segment(x))), true
}

// Pixel is the raster position that a ray meets first, from an origin in metres
// along a direction of any length above 0, both in the stage frame. ok is false
// where the ray meets no panel, meets the back of one first, runs along it, or
// where an argument is not finite.
//
// The cost does not depend on the number of panels. No ray slips through a
// joint, and one within a millionth of a pixel outside the outline counts as on
// it.
func (w Wall) Pixel(origin, direction r3.Vec) (x, y float64, ok bool) {
	if w.s == nil {
		return 0, 0, false
	}
	return w.s.cast(w.s.axes.FromStage(r3.Sub(origin, w.s.origin)), w.s.axes.FromStage(direction))
}

// Breaks lists the raster positions inside the raster where the surface bends:
// it is smooth between two neighbouring xs and two neighbouring ys, and a map
// that interpolates over the raster must not do so across them. A flat wall has
// none, an arc one at every joint of two columns. Both lists ascend.
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
// (x1, y1), as NewFrustum, SolidAngle and ViewFactor take it. Panel (c, r) of p
// by q pixels spans (c p, r q) to ((c+1) p, (r+1) q). ok is false unless
// x0 < x1 and y0 < y1 lie in the raster and the surface does not bend between.
func (w Wall) Rectangle(x0, y0, x1, y1 float64) (r Rectangle, ok bool) {
	if !w.s.has(x0, y0) || !w.s.has(x1, y1) || !(x0 < x1 && y0 < y1) {
		return Rectangle{}, false
	}
	i := w.s.segment(x0)
	if x1 > float64(i+1)*w.s.segmentX {
		return Rectangle{}, false
	}
	return w.s.rectangle(i, x0, y0, x1, y1), true
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

func (s *surface) rectangle(i int, x0, y0, x1, y1 float64) Rectangle {
	at := func(x, y float64) r3.Vec { return r3.Add(s.origin, s.axes.ToStage(s.local(i, x, y))) }
	return Rectangle{LowerLeft: at(x0, y1), LowerRight: at(x1, y1), UpperLeft: at(x0, y0)}
}

// cast follows a ray, given in the wall's own frame, to the surface.
//
// In plan the surface is part of a convex outline, so the ray's line crosses it
// twice at most. On an arc the line leaves the circle through the very stretch
// that the crossed segment cuts off, which tells the segment from an angle; the
// neighbours are tried too, because that angle is rounded.
func (s *surface) cast(o, d r3.Vec) (x, y float64, ok bool) {
	scale := math.Max(math.Abs(d.X), math.Max(math.Abs(d.Y), math.Abs(d.Z)))
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
