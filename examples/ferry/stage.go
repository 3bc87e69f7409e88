package main

import (
	"math"

	"example.com/platewright/wall"
	"example.com/platewright/wall/alias"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// hit is the place where a ray of the stage camera meets a wall.
type hit struct {
	wall     int
	x, y     float64 // px
	dir      r3.Vec
	distance float64     // from the camera, m
	depth    unit.Length // distance along the lens's axis
	density  wall.PixelDensity
	finder   float64   // photosites per degree of the camera there
	grid     wall.Grid // the wall's pixel grid in the picture
}

// centreHit is the hit of the middle of the frame, from a position of the stage
// camera.
func (s *shoot) centreHit(position int) (hit, bool) {
	w, h := s.finders[position].Size()
	return s.hitAt(position, float64(w)/2, float64(h)/2)
}

// hitAt is the nearest wall under a raster position of the stage camera. found is
// false if no wall is there, or if it is too close or too oblique to be imaged.
func (s *shoot) hitAt(position int, x, y float64) (best hit, found bool) {
	camera, at := s.finders[position], s.StageCamera.Positions[position]
	dir, ok := camera.Unproject(x, y)
	if !ok {
		return hit{}, false
	}
	for i, w := range s.walls {
		wx, wy, ok := w.Pixel(at.position(), dir)
		if !ok {
			continue
		}
		p, ok := w.Point(wx, wy)
		if d := r3.Norm(r3.Sub(p, at.position())); ok && (!found || d < best.distance) {
			best, found = hit{wall: i, x: wx, y: wy, dir: dir, distance: d}, true
		}
	}
	if !found {
		return hit{}, false
	}
	best.depth = unit.Length(best.distance * r3.Dot(direction(at.HeadingDeg, at.ElevationDeg), dir))
	view := s.views[position][best.wall]
	density, ok1 := view.PixelDensity(best.x, best.y)
	finder, ok2 := camera.Density(dir)
	grid, why := view.ImageGrid(camera, best.x, best.y)
	best.density, best.finder, best.grid = density, finder.Tangential, grid
	return best, ok1 && ok2 && why == wall.Seen
}

// harmonics is the number of harmonics of the grid that may alias.
const harmonics = 4

// moire is the strongest ripple that the wall's grid leaves in the stage camera's
// picture at a hit, with the lens focused at a distance along its axis. ok is
// false if the lens has no transfer function at that focus.
func (s *shoot) moire(h hit, focus unit.Length, sampling alias.Sampling) (m alias.Alias, ok bool) {
	pitch, _ := s.stage.format.Pitch()
	lit, lensOK := s.Walls[h.wall].LitSide, true
	all, err := alias.Predict(alias.Spec{
		Grid: h.grid, Emitters: alias.Emitters{Width: lit, Height: lit}, Order: harmonics,
		Photosites: alias.Photosites{Width: 1, Sampling: sampling},
		Transfer: func(nu r2.Vec) float64 {
			otf, ok := s.stage.optics.OTF(r2.Norm(nu)/float64(pitch/mm), 0, focus, h.depth)
			lensOK = lensOK && ok
			return otf
		},
	})
	if err != nil || !lensOK {
		return alias.Alias{}, false
	}
	return all[0], true
}

// lookedUp is the plate camera with the highest density for the direction that an eye on
// the stage sees along a ray, and that density in px/°.
func (s *shoot) lookedUp(eye, ray r3.Vec) (camera int, density float64, ok bool) {
	dir, ok := s.surround.Lookup(eye, ray)
	if !ok {
		return 0, 0, false
	}
	return s.array.Best(dir)
}

// fewest is the least number of plate pixels per wall pixel, along a row or a
// column of the wall, over a lattice on the stage camera's picture. ok is false if
// a point of the lattice has no plate.
func (s *shoot) fewest(position int) (px float64, ok bool) {
	const across, down = 32, 18
	w, h := s.finders[position].Size()
	px = math.Inf(1)
	for y := range down + 1 {
		for x := range across + 1 {
			if hit, ok := s.hitAt(position, float64(w*x)/across, float64(h*y)/down); ok {
				one, ok := s.plateStep(position, hit)
				if !ok {
					return 0, false
				}
				px = min(px, one)
			}
		}
	}
	return px, true
}

// plateStep is the distance, in px of the plate, between what two neighbouring
// pixels of a wall show: along the row or along the column, whichever is less.
func (s *shoot) plateStep(position int, h hit) (px float64, ok bool) {
	view, eye := s.views[position][h.wall], s.StageCamera.Positions[position].position()
	width, height := view.Size()
	x, y := min(max(h.x, 0.5), float64(width)-0.5), min(max(h.y, 0.5), float64(height)-0.5)
	centre, ok := view.Unproject(x, y)
	if !ok {
		return 0, false
	}
	i, _, ok := s.lookedUp(eye, centre)
	if !ok {
		return 0, false
	}
	place := func(x, y float64) (r2.Vec, bool) {
		ray, ok1 := view.Unproject(x, y)
		dir, ok2 := s.surround.Lookup(eye, ray)
		px, py, ok3 := s.cameras[i].Project(dir)
		return r2.Vec{X: px, Y: py}, ok1 && ok2 && ok3
	}
	left, ok1 := place(x-0.5, y)
	right, ok2 := place(x+0.5, y)
	top, ok3 := place(x, y-0.5)
	bottom, ok4 := place(x, y+0.5)
	return min(r2.Norm(r2.Sub(right, left)), r2.Norm(r2.Sub(bottom, top))), ok1 && ok2 && ok3 && ok4
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
			if off := math.Atan2(r3.Norm(r3.Cross(ray, thing)), r3.Dot(ray, thing)); off > c.off {
				c.off = off
				if d, ok := view.PixelDensity(wx, wy); ok {
					c.offPx = off / float64(deg) * max(d.X, d.Y)
				}
			}
		}
	}
	return c
}
