package stage

import (
	"math"

	"example.com/platewright/internal/sphere"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Mask says which parts of the raster a camera at the eye sees: for columns × rows
// equal cells, 1 to 4096 each, row by row from the top left, whether it sees the middle
// of the cell. A position is seen if the view's Sight is Seen and the camera's
// picture holds its direction. Cells at the edge of what is seen are seen in part:
// the region of the cells, widened by one cell, holds all of it. A picture narrower
// than a cell can be missed.
func (v View) Mask(c Camera, columns, rows int) ([]bool, error) {
	check := valid.New("stage", ErrInvalid)
	v.check(check)
	checkCamera(check, c)
	checkCells(check, columns, rows)
	if !check.OK() {
		return nil, check.Err()
	}
	width, height := v.Size()
	mask := make([]bool, 0, columns*rows)
	for row := range rows {
		for column := range columns {
			dir, seen := v.Unproject(float64(width)*(float64(column)+0.5)/float64(columns), float64(height)*(float64(row)+0.5)/float64(rows))
			if seen {
				_, _, seen = c.Project(dir)
			}
			mask = append(mask, seen)
		}
	}
	return mask, nil
}

func (v View) check(c *valid.Checker) {
	if v.s == nil {
		c.Fault("view", "zero value", "must come from Stage.View")
	}
}

// Motion is how fast a camera moves: the angles of pan, tilt and roll in a second,
// each within ±10 turns, and the velocity in m/s in the stage frame, within ±1000 each.
type Motion struct {
	Pan, Tilt, Roll unit.Angle // in a second
	Travel          r3.Vec     // m/s
}

// Margin is how far what a moving camera sees moves over the wall during a latency.
type Margin struct {
	X, Y float64    // wall pixels, the greatest across and down; 0 if no panel of the raster is seen
	Turn unit.Angle // the greatest change of a direction
}

// Margin is by how many pixels the region that a tracked camera sees must be
// enlarged, so that it holds the picture after a latency of up to 10 s. The eye of
// the view is the camera's entrance pupil now. The camera then moves by latency
// times motion: it travels, and turns by the pan around +Y, by the tilt around its
// own horizontal and by the roll around its axis. Rays of columns × rows places of the
// frame, 2 to 4096 each, edges included, are followed before and after; a panel's
// plane goes on beyond its edges. The result holds for motion either way, in
// every combination of the signs of pan, tilt, roll and travel.
//
// Latency is the whole time from the tracker's measurement to light from the
// panels. A pan, tilt or roll of more than 90° in that time is an error, and so is a
// motion after which a ray no longer meets the plane of the panel. In both cases, show
// the whole raster.
//
// Rays that meet a blocker, or another raster, are left out: what comes out from
// behind a blocker as the camera travels can lie farther away than the margin. So take
// the Mask and the Margin of a Stage without the blockers that stand near the camera.
func (v View) Margin(c Camera, m Motion, latency unit.Time, columns, rows int) (Margin, error) {
	check := valid.New("stage", ErrInvalid)
	v.check(check)
	width, height := checkCamera(check, c)
	turns := valid.Closed[unit.Angle](-20*math.Pi, 20*math.Pi)
	check.Angle("pan in a second", m.Pan, turns)
	check.Angle("tilt in a second", m.Tilt, turns)
	check.Angle("roll in a second", m.Roll, turns)
	speeds := valid.Closed(-1000.0, 1000)
	check.Number("travel x", m.Travel.X, "m/s", speeds)
	check.Number("travel y", m.Travel.Y, "m/s", speeds)
	check.Number("travel z", m.Travel.Z, "m/s", speeds)
	check.Time("latency", latency, valid.Closed[unit.Time](0, 10))
	check.Int("columns", columns, "", 2, 4096)
	check.Int("rows", rows, "", 2, 4096)
	t := float64(latency)
	if check.OK() {
		quarter := valid.Closed[unit.Angle](-math.Pi/2, math.Pi/2)
		check.Angle("pan during the latency", unit.Angle(t)*m.Pan, quarter)
		check.Angle("tilt during the latency", unit.Angle(t)*m.Tilt, quarter)
		check.Angle("roll during the latency", unit.Angle(t)*m.Roll, quarter)
	}
	if !check.OK() {
		return Margin{}, check.Err()
	}
	axis, ok := c.Unproject(float64(width)/2, float64(height)/2)
	if axis, ok = unitOf(axis, ok); !ok {
		check.Fault("camera", "middle of its picture", "must have a direction")
		return Margin{}, check.Err()
	}
	level, ok := along(r3.Vec{X: -axis.Z, Z: axis.X})
	if !ok {
		level = r3.Vec{X: 1} // straight up or down any horizontal is its own
	}
	var greatest Margin
	for row := range rows {
		for column := range columns {
			dir, ok := c.Unproject(float64(width)*float64(column)/float64(columns-1), float64(height)*float64(row)/float64(rows-1))
			if dir, ok = unitOf(dir, ok); !ok {
				continue
			}
			hit, ok := Stage{v.s}.Hit(v.eye, dir)
			if !ok || hit.Surface != LitFace || hit.Raster != v.raster {
				continue
			}
			p := v.s.panelOf(hit)
			for signs := range 16 {
				sign := func(bit int) float64 { return float64(1 - 2*(signs>>bit&1)) }
				d := r3.Rotate(dir, sign(0)*t*float64(m.Roll), axis)
				d = r3.Rotate(d, sign(1)*t*float64(m.Tilt), level)
				d = r3.Rotate(d, -sign(2)*t*float64(m.Pan), r3.Vec{Y: 1})
				eye := r3.Add(v.eye, r3.Scale(sign(3)*t, m.Travel))
				k := r3.Dot(p.normal, r3.Sub(p.corner, eye)) / r3.Dot(p.normal, d)
				if !(r3.Dot(p.normal, d) < 0 && k > 0) {
					check.Fault("motion", "in the time of the latency", "must leave the camera in front of the planes that it sees, and looking at them")
					return Margin{}, check.Err()
				}
				moved := r3.Sub(r3.Add(eye, r3.Scale(k, d)), hit.Point)
				greatest.X = max(greatest.X, math.Abs(r3.Dot(moved, p.right))/r3.Norm2(p.right))
				greatest.Y = max(greatest.Y, math.Abs(r3.Dot(moved, p.down))/r3.Norm2(p.down))
				greatest.Turn = max(greatest.Turn, unit.Angle(sphere.Angle(dir, d)))
			}
		}
	}
	return greatest, nil
}
