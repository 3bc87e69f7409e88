package stage

import (
	"errors"
	"fmt"
	"math"

	"example.com/platewright/internal/sphere"
	"example.com/platewright/internal/valid"
	"example.com/platewright/wall"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("stage: invalid value")

// Spec describes a stage: its parts, the rasters that feed them, and what stands
// in the way. A stage has 1 to 2^20 panels, up to 2^16 faces of blockers, and one
// raster or more.
type Spec struct {
	Parts    []Part
	Rasters  []Raster
	Blockers []Blocker
}

// Part is a named group of panels, such as a wing or the ceiling, as FromWall and
// Chain.Part make it.
type Part struct {
	Name   string
	Panels []Panel
}

// Panel is one flat panel. Its face is a rectangle in the stage frame, of up to
// 100 m a side and with right angles within 1e-6 rad.
type Panel struct {
	Face             wall.Rectangle
	PixelsX, PixelsY int
	At               Place      // of its upper left pixel
	Power            unit.Power // at full white, up to 1 MW; 0 if unknown
}

// Place is a pixel of a raster: the number of the raster in Spec.Rasters, column
// and row.
type Place struct{ Raster, X, Y int }

// Raster is the size of a picture, in pixels, that feeds panels. Each pixel feeds
// one panel at most.
type Raster struct{ Width, Height int }

// Blocker is something opaque that shows nothing: a set piece, a vehicle, a
// column. Its faces are flat polygons of three corners or more, within 1 mm of a
// plane, in metres in the stage frame. They need not be convex, and they block from
// both sides.
type Blocker struct {
	Name  string
	Faces [][]r3.Vec
}

// The limits of a Spec.
const (
	maxPanels                   = 1 << 20
	maxFaces                    = 1 << 16
	maxRasters                  = 1 << 10
	maxPanelSide    unit.Length = 100
	maxPanelPower   unit.Power  = 1e6
	rightAngle                  = 1e-6 // rad
	planeOfAPolygon             = 1e-3 // m
)

// Stage is a set of panels and blockers in the stage frame, made by New. It is
// immutable. The zero Stage is empty: nothing is met or seen. Compare Specs, not
// Stages.
type Stage struct{ s *scene }

// scene is what stands behind a Stage.
type scene struct {
	names   []string
	starts  []int   // number of the first panel of each part
	panels  []panel // part by part
	rasters []Raster
	solid   tree
	faces   []face // in the order of solid
	layout  tree   // of panels, in the rasters: x, y, and the raster's number as z
}

// panel is a panel and its number.
type panel struct {
	Panel
	part, index  int
	corner       r3.Vec // the upper left one
	right, down  r3.Vec // one pixel
	normal       r3.Vec
	left, top    float64 // in the raster
	width, depth float64 // pixels
}

// New makes a Stage from a Spec.
func New(spec Spec) (Stage, error) {
	c := valid.New("stage", ErrInvalid)
	c.Int("number of rasters", len(spec.Rasters), "", 1, maxRasters)
	for i, r := range spec.Rasters {
		c.Int(fmt.Sprintf("width of raster %d", i), r.Width, "px", 1, valid.MaxSide)
		c.Int(fmt.Sprintf("height of raster %d", i), r.Height, "px", 1, valid.MaxSide)
	}
	count := 0
	for _, p := range spec.Parts {
		count += len(p.Panels)
	}
	c.Int("number of panels", count, "", 1, maxPanels)
	if !c.OK() {
		return Stage{}, c.Err()
	}
	s := &scene{panels: make([]panel, 0, count), rasters: append([]Raster(nil), spec.Rasters...)}
	faces, around := make([]face, 0, count), make([]box, 0, count)
	for i, p := range spec.Parts {
		s.names, s.starts = append(s.names, p.Name), append(s.starts, len(s.panels))
		for j, one := range p.Panels {
			f := one.face(c, fmt.Sprintf("panel %d of part %d (%s)", j, i, p.Name), spec.Rasters)
			if !c.OK() {
				return Stage{}, c.Err() // the first panel that is wrong: the others are often wrong alike
			}
			f.panel = int32(len(s.panels))
			faces = append(faces, f)
			around = append(around, boxAround(corners(one.Face), margin(one.Face.LowerLeft, r3.Norm(f.x), r3.Norm(f.y))))
			s.panels = append(s.panels, newPanel(one, i, j, f.normal))
		}
	}
	s.lay(c)
	total := 0
	for i, b := range spec.Blockers {
		for j, polygon := range b.Faces {
			if total++; total > maxFaces {
				continue
			}
			f, ok := polygonFace(c, fmt.Sprintf("face %d of blocker %d (%s)", j, i, b.Name), polygon)
			if ok {
				f.blocker = int32(i)
				faces = append(faces, f)
				around = append(around, boxAround(polygon, margin(polygon[0], 1, 1)))
			}
		}
	}
	c.Int("number of faces of blockers", total, "", 0, maxFaces)
	if !c.OK() {
		return Stage{}, c.Err()
	}
	s.solid = newTree(around)
	s.faces = make([]face, len(faces))
	for i, from := range s.solid.order {
		s.faces[i] = faces[from]
	}
	return Stage{s}, nil
}

// margin is by how much a box must exceed its face so that it holds the edge around
// it, in metres, and the rounding of coordinates.
func margin(p r3.Vec, perMetreX, perMetreY float64) float64 {
	return 2*edge/min(perMetreX, perMetreY) + 1e-12*(1+math.Abs(p.X)+math.Abs(p.Y)+math.Abs(p.Z))
}

// corners are the four corners of a rectangle: the upper left one, then clockwise.
func corners(r wall.Rectangle) []r3.Vec {
	return []r3.Vec{r.UpperLeft, r3.Add(r.UpperLeft, r3.Sub(r.LowerRight, r.LowerLeft)), r.LowerRight, r.LowerLeft}
}

func newPanel(p Panel, part, index int, normal r3.Vec) panel {
	return panel{
		Panel: p, part: part, index: index, normal: normal, corner: p.Face.UpperLeft,
		right: r3.Scale(1/float64(p.PixelsX), r3.Sub(p.Face.LowerRight, p.Face.LowerLeft)),
		down:  r3.Scale(1/float64(p.PixelsY), r3.Sub(p.Face.LowerLeft, p.Face.UpperLeft)),
		left:  float64(p.At.X), top: float64(p.At.Y),
		width: float64(p.PixelsX), depth: float64(p.PixelsY),
	}
}

// face checks a panel and gives its face.
func (p Panel) face(c *valid.Checker, name string, rasters []Raster) face {
	checkCorners(c, name, p.Face)
	right, down := r3.Sub(p.Face.LowerRight, p.Face.LowerLeft), r3.Sub(p.Face.LowerLeft, p.Face.UpperLeft)
	w, h := r3.Norm(right), r3.Norm(down)
	c.Length("width of "+name, unit.Length(w), valid.Above(1e-6, maxPanelSide))
	c.Length("height of "+name, unit.Length(h), valid.Above(1e-6, maxPanelSide))
	c.Int("pixels x of "+name, p.PixelsX, "px", 1, valid.MaxSide)
	c.Int("pixels y of "+name, p.PixelsY, "px", 1, valid.MaxSide)
	c.Number("power of "+name, float64(p.Power), "W", valid.Closed(0, maxPanelPower))
	c.Int("raster of "+name, p.At.Raster, "", 0, len(rasters)-1)
	if !c.OK() {
		return face{}
	}
	off := unit.Angle(math.Pi/2 - sphere.Angle(right, down))
	c.Angle("deviation from a right angle of "+name, off, valid.Closed[unit.Angle](-rightAngle, rightAngle))
	r := rasters[p.At.Raster]
	// Subtracting from the side keeps the sums in range.
	if p.At.X < 0 || p.At.Y < 0 || p.PixelsX > r.Width-p.At.X || p.PixelsY > r.Height-p.At.Y {
		c.Fault("place of "+name, fmt.Sprintf("(%d, %d) px in raster %d", p.At.X, p.At.Y, p.At.Raster),
			"must hold %d × %d px in a raster of %d × %d px", p.PixelsX, p.PixelsY, r.Width, r.Height)
	}
	return face{
		corner: p.Face.UpperLeft, normal: r3.Unit(r3.Cross(down, right)),
		x: r3.Scale(float64(p.PixelsX)/(w*w), right), y: r3.Scale(float64(p.PixelsY)/(h*h), down),
		w: float64(p.PixelsX), h: float64(p.PixelsY), blocker: -1,
	}
}

// lay sorts panels into the rasters, and checks that none lies on another.
func (s *scene) lay(c *valid.Checker) {
	boxes := make([]box, len(s.panels))
	for i := range s.panels {
		p := &s.panels[i]
		z := float64(p.At.Raster)
		boxes[i] = box{r3.Vec{X: p.left, Y: p.top, Z: z}, r3.Vec{X: p.left + p.width, Y: p.top + p.depth, Z: z}}
	}
	s.layout = newTree(boxes)
	half := r3.Vec{X: 0.5, Y: 0.5}
	for i := range s.panels {
		p := &s.panels[i]
		within := box{r3.Add(boxes[i].min, half), r3.Sub(boxes[i].max, half)}
		s.layout.visit(within, func(j int32) bool {
			if int(j) == i {
				return true
			}
			q := &s.panels[j]
			c.Fault(fmt.Sprintf("place of panel %d of part %d (%s)", p.index, p.part, s.names[p.part]),
				fmt.Sprintf("(%d, %d) px in raster %d", p.At.X, p.At.Y, p.At.Raster),
				"must not lie on panel %d of part %d (%s)", q.index, q.part, s.names[q.part])
			return false
		})
		if !c.OK() {
			return
		}
	}
}

// polygonFace checks a polygon of a blocker and gives its face.
func polygonFace(c *valid.Checker, name string, polygon []r3.Vec) (f face, ok bool) {
	if len(polygon) < 3 {
		c.Int("corners of "+name, len(polygon), "", 3, maxFaces)
		return face{}, false
	}
	for _, p := range polygon {
		if !finite(p) {
			checkPoint(c, "corner of "+name, p)
			return face{}, false
		}
	}
	// Twice the area as a vector, and the corner farthest from the first.
	var area, far r3.Vec
	for i := range polygon[1:] {
		a, b := r3.Sub(polygon[i], polygon[0]), r3.Sub(polygon[i+1], polygon[0])
		area = r3.Add(area, r3.Cross(a, b))
		if r3.Norm2(b) > r3.Norm2(far) {
			far = b
		}
	}
	if !(r3.Norm(area) > 1e-12*r3.Norm2(far)) {
		c.Fault("area of "+name, "0 m²", "must be more than 0: the corners lie on a line")
		return face{}, false
	}
	f = face{normal: r3.Unit(area), panel: -1}
	f.x = r3.Unit(r3.Sub(far, r3.Scale(r3.Dot(far, f.normal), f.normal)))
	f.y = r3.Cross(f.normal, f.x)
	low, high := r2.Vec{}, r2.Vec{}
	for _, p := range polygon {
		v := r3.Sub(p, polygon[0])
		if off := math.Abs(r3.Dot(v, f.normal)); off > planeOfAPolygon {
			c.Length("distance of a corner from the plane of "+name, unit.Length(off), valid.Closed[unit.Length](0, planeOfAPolygon))
			return face{}, false
		}
		q := r2.Vec{X: r3.Dot(v, f.x), Y: r3.Dot(v, f.y)}
		f.outline = append(f.outline, q)
		low = r2.Vec{X: min(low.X, q.X), Y: min(low.Y, q.Y)}
		high = r2.Vec{X: max(high.X, q.X), Y: max(high.Y, q.Y)}
	}
	f.corner = r3.Add(polygon[0], r3.Add(r3.Scale(low.X, f.x), r3.Scale(low.Y, f.y)))
	for i := range f.outline {
		f.outline[i] = r2.Sub(f.outline[i], low)
	}
	f.w, f.h = high.X-low.X, high.Y-low.Y
	return f, true
}

// Surface is what a ray meets.
type Surface uint8

const (
	NoSurface Surface = iota // of a zero Hit
	LitFace                  // the lit side of a panel
	PanelBack                // the back of a panel
	AtBlocker                // a blocker
)

// Hit is where a ray meets the stage.
type Hit struct {
	Surface     Surface
	Part, Panel int     // of a panel: its part, and its number there; −1 at a blocker
	Raster      int     // that feeds it; −1 at a blocker
	X, Y        float64 // raster position; 0 at a blocker
	Blocker     int     // its number; −1 at a panel
	Point       r3.Vec  // metres
	Distance    unit.Length
}

// Hit is what a ray meets first: the ray from origin, in metres, along direction,
// both in the stage frame. ok is false if it meets nothing, or if an argument is
// not finite or the direction is zero.
//
// A surface within 1 µm of the origin does not count, so a ray may start on a panel. A
// hierarchy of boxes finds the panel among thousands. No ray slips through the joint of
// two panels that share an edge: one that passes an outline by less than a millionth of
// a pixel counts as meeting it. Of several faces in one place any may be met.
func (s Stage) Hit(origin, direction r3.Vec) (hit Hit, ok bool) {
	if s.s == nil || !finite(origin) {
		return Hit{}, false
	}
	d, ok := along(direction)
	if !ok {
		return Hit{}, false
	}
	i, t := s.s.solid.nearest(s.s.faces, origin, d, clearance, math.Inf(1))
	if i < 0 {
		return Hit{}, false
	}
	return s.s.hit(i, origin, d, t), true
}

func (s *scene) hit(i int32, origin, d r3.Vec, t float64) Hit {
	f := &s.faces[i]
	h := Hit{
		Surface: AtBlocker, Part: -1, Panel: -1, Raster: -1, Blocker: int(f.blocker),
		Point: r3.Add(origin, r3.Scale(t, d)), Distance: unit.Length(t),
	}
	if f.panel < 0 {
		return h
	}
	p := &s.panels[f.panel]
	x, y := f.at(h.Point)
	h.Part, h.Panel, h.Raster = p.part, p.index, p.At.Raster
	h.X, h.Y = p.left+max(0, min(p.width, x)), p.top+max(0, min(p.depth, y))
	h.Surface = PanelBack
	if r3.Dot(d, f.normal) < 0 {
		h.Surface = LitFace
	}
	return h
}

// clearance is how near its ends, in metres, a ray or a segment may touch a surface.
const clearance = 1e-6

// Clear reports whether nothing stands between two points, in metres in the stage
// frame, so that light goes from one to the other. Surfaces within 1 µm of either
// point do not count, so that both may lie on panels. It is false if a coordinate
// is not finite.
func (s Stage) Clear(a, b r3.Vec) bool {
	if !finite(a) || !finite(b) {
		return false
	}
	if s.s == nil {
		return true
	}
	i, _ := s.s.between(a, b)
	return i < 0
}

// between is the number of the first face between two points, or −1, and its
// distance from a.
func (s *scene) between(a, b r3.Vec) (i int32, t float64) {
	d, ok := along(r3.Sub(b, a))
	if !ok {
		return -1, 0
	}
	return s.solid.nearest(s.faces, a, d, clearance, r3.Dot(r3.Sub(b, a), d)-clearance)
}

// Total sums up a part, or the whole stage.
type Total struct {
	Name   string
	Panels int
	Pixels int64
	Area   unit.Area // of the lit faces
	Power  unit.Power
}

// Totals are the sums of each part, in the order of the Spec, and of all.
func (s Stage) Totals() (parts []Total, all Total) {
	if s.s == nil {
		return nil, Total{}
	}
	parts = make([]Total, len(s.s.names))
	for i, name := range s.s.names {
		parts[i].Name = name
	}
	for i := range s.s.panels {
		p := &s.s.panels[i]
		area := unit.Area(r3.Norm(p.right) * r3.Norm(p.down) * p.width * p.depth)
		for _, t := range []*Total{&parts[p.part], &all} {
			t.Panels++
			t.Pixels += int64(p.PixelsX) * int64(p.PixelsY)
			t.Area += area
			t.Power += p.Power
		}
	}
	all.Name = "all"
	return parts, all
}

// Point is the place of a raster position, in metres in the stage frame, and the
// unit vector perpendicular to the panel on its lit side. A position on the joint of
// two panels belongs to the right or lower one. ok is false where no panel is.
func (s Stage) Point(raster int, x, y float64) (p, normal r3.Vec, ok bool) {
	q := s.s.find(raster, x, y)
	if q == nil {
		return r3.Vec{}, r3.Vec{}, false
	}
	return q.at(x, y), q.normal, true
}

// at is the place of a raster position on a panel's plane.
func (p *panel) at(x, y float64) r3.Vec {
	x, y = x-p.left, y-p.top
	return r3.Vec{
		X: p.corner.X + x*p.right.X + y*p.down.X,
		Y: p.corner.Y + x*p.right.Y + y*p.down.Y,
		Z: p.corner.Z + x*p.right.Z + y*p.down.Z,
	}
}

// find is the panel at a raster position, or nil.
func (s *scene) find(raster int, x, y float64) (found *panel) {
	if s == nil {
		return nil
	}
	at := r3.Vec{X: x, Y: y, Z: float64(raster)}
	s.layout.visit(box{at, at}, func(i int32) bool {
		p := &s.panels[i]
		if found == nil || p.left >= found.left && p.top >= found.top {
			found = p
		}
		return true
	})
	return found
}

// along is a direction as a unit vector. ok is false if it has none.
func along(v r3.Vec) (d r3.Vec, ok bool) {
	if square := v.X*v.X + v.Y*v.Y + v.Z*v.Z; square > 1e-200 && square < 1e200 {
		k := 1 / math.Sqrt(square)
		return r3.Vec{X: k * v.X, Y: k * v.Y, Z: k * v.Z}, true
	}
	// The squares of so short or so long a vector would lose digits, or not be finite.
	size := max(math.Abs(v.X), math.Abs(v.Y), math.Abs(v.Z))
	if !(size > 0 && size <= math.MaxFloat64) {
		return r3.Vec{}, false
	}
	return sphere.Unit(r3.Vec{X: v.X / size, Y: v.Y / size, Z: v.Z / size}), true
}

// finite reports whether a point lies where points may.
func finite(p r3.Vec) bool {
	r := valid.Coordinates
	return r.Contains(p.X) && r.Contains(p.Y) && r.Contains(p.Z)
}

func checkPoint(c *valid.Checker, field string, p r3.Vec) {
	for i, v := range [3]float64{p.X, p.Y, p.Z} {
		c.Length(field+" "+"xyz"[i:i+1], unit.Length(v), valid.Coordinates)
	}
}

func checkCorners(c *valid.Checker, name string, r wall.Rectangle) {
	checkPoint(c, "lower left corner of "+name, r.LowerLeft)
	checkPoint(c, "lower right corner of "+name, r.LowerRight)
	checkPoint(c, "upper left corner of "+name, r.UpperLeft)
}
