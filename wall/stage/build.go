package stage

import (
	"fmt"
	"math"

	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/valid"
	"example.com/platewright/wall"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// FromWall is a part with the panels of a flat wall or of an arc, row by row from the
// upper left one. In the raster of the stage the panels lie as in the wall's own
// raster, whose upper left pixel is at the given place. power is that of one panel.
func FromWall(name string, spec wall.Spec, at Place, power unit.Power) (Part, error) {
	c := valid.New("stage", ErrInvalid)
	w, err := wall.New(spec)
	c.Add("wall "+name, err)
	checkFeed(c, at, power)
	if !c.OK() {
		return Part{}, c.Err()
	}
	part := Part{Name: name, Panels: make([]Panel, 0, spec.Columns*spec.Rows)}
	for row := range spec.Rows {
		for column := range spec.Columns {
			x, y := column*spec.PanelPixelsX, row*spec.PanelPixelsY
			face, _ := w.Rectangle(float64(x), float64(y), float64(x+spec.PanelPixelsX), float64(y+spec.PanelPixelsY))
			part.Panels = append(part.Panels, Panel{
				Face: face, PixelsX: spec.PanelPixelsX, PixelsY: spec.PanelPixelsY,
				At: Place{at.Raster, at.X + x, at.Y + y}, Power: power,
			})
		}
	}
	return part, nil
}

// checkFeed checks what panels need beside their geometry.
func checkFeed(c *valid.Checker, at Place, power unit.Power) {
	c.Int("raster", at.Raster, "", 0, maxRasters-1)
	c.Int("x of the place", at.X, "px", 0, valid.MaxSide)
	c.Int("y of the place", at.Y, "px", 0, valid.MaxSide)
	c.Number("power of a panel", float64(power), "W", valid.Closed(0, maxPanelPower))
}

// PanelType is a type of panel: the sides of its lit face up to 100 m, its pixels,
// and its power at full white.
type PanelType struct {
	Width, Height    unit.Length
	PixelsX, PixelsY int
	Power            unit.Power
}

// Column is one column of a chain: equal panels above each other.
type Column struct {
	Panel PanelType
	Rows  int         // 1 to 2^20
	Turn  unit.Angle  // joint angle with the column to its left; positive makes the lit side hollow
	Gap   unit.Length // to the column to its left, 0 to 100 m
	Base  unit.Length // of the lower edge, above the chain's, within ±100 m
}

// Chain describes a wall of columns by the angles at its joints, as crews set
// them: a corner is one joint of 90°, a wedge that points at the viewer one of a
// negative angle. Columns stand from left to right as the viewer of the lit side
// sees them. Panels, numbers of rows and heights may differ from column to column.
//
// Position is the lower left corner of the column whose number is Anchor, at
// Base 0, and Heading, Elevation and Roll are those of a camera that looks at this
// column squarely, as in wall.Spec: an elevation of 90° makes a ceiling. Turns
// lie within ±180°. A gap runs along the bisector of its joint. The turn and the
// gap of the first column have no effect.
//
// In the raster, columns stand side by side from the place At. Their lower edges
// lie on one line, and the highest column begins in the row At.Y.
type Chain struct {
	Name    string
	Columns []Column

	Anchor                   int
	Position                 r3.Vec // metres
	Heading, Elevation, Roll unit.Angle

	At Place
}

// Part makes the panels of the chain, column by column, from the top down.
func (ch Chain) Part() (Part, error) {
	c := valid.New("stage", ErrInvalid)
	c.Int("number of columns", len(ch.Columns), "", 1, maxPanels)
	if c.OK() {
		c.Int("anchor", ch.Anchor, "", 0, len(ch.Columns)-1)
	}
	checkPoint(c, "position", ch.Position)
	c.Angle("heading", ch.Heading, valid.Turns)
	c.Angle("elevation", ch.Elevation, valid.Closed(-90*wall.Degree, 90*wall.Degree))
	c.Angle("roll", ch.Roll, valid.Turns)
	count, highest := 0, 0
	for i, col := range ch.Columns {
		name := fmt.Sprintf(" of column %d", i)
		c.Length("panel width"+name, col.Panel.Width, valid.Above(0, maxPanelSide))
		c.Length("panel height"+name, col.Panel.Height, valid.Above(0, maxPanelSide))
		c.Int("panel pixels x"+name, col.Panel.PixelsX, "px", 1, valid.MaxSide)
		c.Int("panel pixels y"+name, col.Panel.PixelsY, "px", 1, valid.MaxSide)
		c.Int("rows"+name, col.Rows, "", 1, maxPanels)
		checkFeed(c, ch.At, col.Panel.Power)
		c.Angle("turn"+name, col.Turn, valid.Closed(-180*wall.Degree, 180*wall.Degree))
		c.Length("gap"+name, col.Gap, valid.Closed(0, maxPanelSide))
		c.Length("base"+name, col.Base, valid.Closed(-maxPanelSide, maxPanelSide))
		if !c.OK() {
			break
		}
		c.Int("rows"+name, col.Rows, "", 1, valid.MaxSide/col.Panel.PixelsY)
		if count += col.Rows; count > maxPanels {
			c.Int("number of panels", count, "", 1, maxPanels)
			break
		}
		highest = max(highest, col.Rows*col.Panel.PixelsY)
	}
	if !c.OK() {
		return Part{}, c.Err()
	}

	// In plan, with the first column along +X: the left end and the heading of each.
	type stand struct{ x, z, phi float64 }
	stands := make([]stand, len(ch.Columns))
	var end stand
	for i, col := range ch.Columns {
		if i > 0 {
			sin, cos := math.Sincos(end.phi + float64(col.Turn)/2)
			end.x, end.z = end.x+float64(col.Gap)*cos, end.z+float64(col.Gap)*sin
			end.phi += float64(col.Turn)
		}
		stands[i] = end
		sin, cos := math.Sincos(end.phi)
		end.x, end.z = end.x+float64(col.Panel.Width)*cos, end.z+float64(col.Panel.Width)*sin
	}
	origin := stands[ch.Anchor]
	back, cos := math.Sincos(-origin.phi)
	axes := orient.FromAngles(ch.Heading, ch.Elevation, ch.Roll)
	part := Part{Name: ch.Name, Panels: make([]Panel, 0, count)}
	x := ch.At.X
	for i, col := range ch.Columns {
		dx, dz := stands[i].x-origin.x, stands[i].z-origin.z
		left := r3.Vec{X: dx*cos - dz*back, Z: dx*back + dz*cos}
		s, k := math.Sincos(stands[i].phi - origin.phi)
		right := r3.Scale(float64(col.Panel.Width), axes.ToStage(r3.Vec{X: k, Z: s}))
		for row := range col.Rows {
			left.Y = float64(col.Base) + float64(col.Rows-1-row)*float64(col.Panel.Height)
			corner := r3.Add(ch.Position, axes.ToStage(left))
			part.Panels = append(part.Panels, Panel{
				Face: wall.Rectangle{
					LowerLeft: corner, LowerRight: r3.Add(corner, right),
					UpperLeft: r3.Add(corner, r3.Scale(float64(col.Panel.Height), axes.Up)),
				},
				PixelsX: col.Panel.PixelsX, PixelsY: col.Panel.PixelsY, Power: col.Panel.Power,
				At: Place{ch.At.Raster, x, ch.At.Y + highest - (col.Rows-row)*col.Panel.PixelsY},
			})
		}
		x += col.Panel.PixelsX
	}
	return part, nil
}

// Box is a blocker in the form of a box around a centre in metres. Its size is
// that along its own width, height and depth, each more than 0 and up to 1 km; turned,
// these follow the heading, elevation and roll of a camera at the centre.
func Box(name string, centre, size r3.Vec, heading, elevation, roll unit.Angle) (Blocker, error) {
	c := valid.New("stage", ErrInvalid)
	checkPoint(c, "centre", centre)
	sides := valid.Above[unit.Length](0, 1000)
	c.Length("width", unit.Length(size.X), sides)
	c.Length("height", unit.Length(size.Y), sides)
	c.Length("depth", unit.Length(size.Z), sides)
	c.Angle("heading", heading, valid.Turns)
	c.Angle("elevation", elevation, valid.Turns)
	c.Angle("roll", roll, valid.Turns)
	if !c.OK() {
		return Blocker{}, c.Err()
	}
	axes := orient.FromAngles(heading, elevation, roll)
	half := [3]r3.Vec{r3.Scale(size.X/2, axes.Right), r3.Scale(size.Y/2, axes.Up), r3.Scale(size.Z/2, axes.Back)}
	b := Blocker{Name: name}
	for i := range half {
		u, v := half[(i+1)%3], half[(i+2)%3]
		for _, sign := range []float64{1, -1} {
			m := r3.Add(centre, r3.Scale(sign, half[i]))
			b.Faces = append(b.Faces, []r3.Vec{
				r3.Sub(r3.Sub(m, u), v), r3.Sub(r3.Add(m, u), v), r3.Add(r3.Add(m, u), v), r3.Add(r3.Sub(m, u), v),
			})
		}
	}
	return b, nil
}
