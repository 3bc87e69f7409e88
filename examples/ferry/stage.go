package main

import (
	"fmt"
	"math"

	"example.com/platewright/wall"
	"example.com/platewright/wall/stage"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// newStage puts the walls together. Each is a part of the stage, and has a raster of its
// own with the same number.
func (s *shoot) newStage(g *gather) {
	var spec stage.Spec
	before := len(g.faults)
	for i, w := range s.Walls {
		field, one := fmt.Sprintf("walls[%d]", i), w.spec()
		s.walls = append(s.walls, take[wall.Wall](g, field)(wall.New(one)))
		if s.walls[i] == (wall.Wall{}) {
			continue
		}
		part, err := stage.FromWall(w.Name, one, stage.Place{Raster: i}, 0)
		g.note(field, err)
		spec.Parts = append(spec.Parts, part)
		width, height := s.walls[i].Size()
		spec.Rasters = append(spec.Rasters, stage.Raster{Width: width, Height: height})
	}
	s.views = make([][]stage.View, len(s.StageCamera.Positions))
	if len(g.faults) > before {
		return
	}
	if s.volume = take[stage.Stage](g, "walls")(stage.New(spec)); len(g.faults) > before {
		return
	}
	for i, at := range s.StageCamera.Positions {
		for k := range s.Walls {
			field := fmt.Sprintf("stage_camera.positions[%d].position_m: %q before walls[%d] %q", i, at.Name, k, s.Walls[k].Name)
			s.views[i] = append(s.views[i], take[stage.View](g, field)(s.volume.View(at.position(), k)))
		}
	}
}

func (w wallSpec) spec() wall.Spec {
	return wall.Spec{
		PanelWidth: unit.Length(w.PanelWidthMm) * mm, PanelHeight: unit.Length(w.PanelHeightMm) * mm,
		PanelPixelsX: w.PanelColumns, PanelPixelsY: w.PanelRows,
		Columns: w.Columns, Rows: w.Rows,
		Radius:   unit.Length(w.RadiusM),
		Position: vec(w.CentreM),
		Heading:  unit.Angle(w.HeadingDeg) * deg, Elevation: unit.Angle(w.ElevationDeg) * deg, Roll: unit.Angle(w.RollDeg) * deg,
	}
}

// chain is the resolution of plate, wall and camera at the middles of so many cells of
// the picture from a position.
func (s *shoot) chain(position, columns, rows int) ([]stage.Resolution, error) {
	eye := s.StageCamera.Positions[position].position()
	return s.volume.Resolutions(stage.ResolutionSpec{
		Camera: s.finders[position], Eye: eye,
		Plate:          func(dir r3.Vec) float64 { return s.plateDensity(eye, dir) },
		DeliveredWidth: s.delivery.Columns, Factor: 1, Acuity: unit.Angle(s.Limits.AcuityArcmin/60) * deg,
	}, columns, rows)
}

// fewest is the least number of plate pixels per wall pixel, along a row or a column of
// the wall, over a lattice on the stage camera's picture, edges included. ok is false if
// a point of the lattice has no plate.
func (s *shoot) fewest(position int) (px float64, ok bool) {
	const across, down = 32, 18
	camera, eye := s.finders[position], s.StageCamera.Positions[position].position()
	w, h := camera.Size()
	px = math.Inf(1)
	for y := range down + 1 {
		for x := range across + 1 {
			dir, ok := camera.Unproject(float64(w*x)/across, float64(h*y)/down)
			if !ok {
				continue
			}
			hit, ok := s.volume.Hit(eye, dir)
			if !ok || hit.Surface != stage.LitFace {
				continue
			}
			one, ok := s.plateStep(position, hit)
			if !ok {
				return 0, false
			}
			px = min(px, one)
		}
	}
	return px, true
}

// plateStep is the distance, in px of the plate, between what two neighbouring
// pixels of a wall show: along the row or along the column, whichever is less.
func (s *shoot) plateStep(position int, h stage.Hit) (px float64, ok bool) {
	view, eye := s.views[position][h.Part], s.StageCamera.Positions[position].position()
	width, height := view.Size()
	x, y := min(max(h.X, 0.5), float64(width)-0.5), min(max(h.Y, 0.5), float64(height)-0.5)
	centre, ok := view.Unproject(x, y)
	if !ok {
		return 0, false
	}
	i, ok := s.lookedUp(eye, centre)
	if !ok {
		return 0, false
	}
	place := func(x, y float64) (r2.Vec, bool) {
		ray, ok1 := view.Unproject(x, y)
		p, ok2 := s.plateAt(i, eye, ray)
		return p, ok1 && ok2
	}
	left, ok1 := place(x-0.5, y)
	right, ok2 := place(x+0.5, y)
	top, ok3 := place(x, y-0.5)
	bottom, ok4 := place(x, y+0.5)
	return min(r2.Norm(r2.Sub(right, left)), r2.Norm(r2.Sub(bottom, top))), ok1 && ok2 && ok3 && ok4
}

// plateAt is the place in a plate of what an eye on the stage sees along a ray.
func (s *shoot) plateAt(camera int, eye, ray r3.Vec) (at r2.Vec, ok bool) {
	dir, ok1 := s.surround.Lookup(eye, ray)
	x, y, ok2 := s.cameras[camera].Project(dir)
	return r2.Vec{X: x, Y: y}, ok1 && ok2
}

// plateDensity is the density, in px/°, of the best plate in a direction from an eye on
// the stage: along the horizontal or across it, whichever is less. It is 0 if no plate
// has what the eye sees there.
func (s *shoot) plateDensity(eye, dir r3.Vec) float64 {
	i, ok := s.lookedUp(eye, dir)
	if !ok {
		return 0
	}
	side := r3.Vec{X: -dir.Z, Z: dir.X}
	if side == (r3.Vec{}) {
		side = r3.Vec{X: 1} // straight up or down every horizontal will do
	}
	side = r3.Unit(side)
	const step = 1e-4 // rad, some hundredths of a degree: less than two pixels
	least := math.Inf(1)
	for _, e := range [2]r3.Vec{side, r3.Cross(side, dir)} {
		a, ok1 := s.plateAt(i, eye, r3.Sub(dir, r3.Scale(step/2, e)))
		b, ok2 := s.plateAt(i, eye, r3.Add(dir, r3.Scale(step/2, e)))
		if !ok1 || !ok2 {
			return 0
		}
		least = min(least, r2.Norm(r2.Sub(b, a))/step*float64(deg))
	}
	return least
}

// lookedUp is the plate camera with the highest density for the direction that an eye on
// the stage sees along a ray.
func (s *shoot) lookedUp(eye, ray r3.Vec) (camera int, ok bool) {
	dir, ok := s.surround.Lookup(eye, ray)
	if !ok {
		return 0, false
	}
	camera, _, ok = s.array.Best(dir)
	return camera, ok
}

// cover says how well the plates fill a wall as seen from a position. It counts the
// points of an even lattice on the wall.
type cover struct {
	unseen, vessel, total int     // points without a plate; points that show the vessel; all points
	off                   float64 // largest error of direction of a near thing, rad
	offPx                 float64 // that error in wall px
}

func (s *shoot) coverOf(position, k int) (c cover) {
	const across, down = 160, 90
	view, eye := s.views[position][k], s.StageCamera.Positions[position].position()
	width, height := view.Size()
	for y := range down {
		for x := range across {
			wx, wy := float64(width)*(float64(x)+0.5)/across, float64(height)*(float64(y)+0.5)/down
			ray, ok := view.Unproject(wx, wy)
			if !ok {
				continue
			}
			c.total++
			dir, ok := s.surround.Lookup(eye, ray)
			switch {
			case !ok || s.open.Count(dir) == 0:
				c.unseen++
				continue
			case s.array.Count(dir) == 0:
				c.vessel++
				continue
			}
			// The plates show here what lies along dir from their own centre. A near
			// thing there is seen from the eye in another direction.
			thing := r3.Sub(r3.Add(vec(s.Surround.CentreM), r3.Scale(s.Vessel.NearestM, dir)), eye)
			if off := between(ray, thing); off > c.off {
				c.off, c.offPx = off, off/pixelAngle(view, wx, wy)
			}
		}
	}
	return c
}

// pixelAngle is the angle of a wall pixel as seen from the eye of a view, along the row
// or along the column, whichever is less.
func pixelAngle(view stage.View, x, y float64) float64 {
	least := math.Inf(1)
	for _, half := range [2]r2.Vec{{X: 0.5}, {Y: 0.5}} {
		a, ok1 := view.Unproject(x-half.X, y-half.Y)
		b, ok2 := view.Unproject(x+half.X, y+half.Y)
		if ok1 && ok2 {
			least = min(least, between(a, b))
		}
	}
	return least
}

// between is the angle between two vectors in rad.
func between(a, b r3.Vec) float64 { return math.Atan2(r3.Norm(r3.Cross(a, b)), r3.Dot(a, b)) }
