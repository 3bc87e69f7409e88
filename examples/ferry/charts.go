package main

import (
	"fmt"
	"math"

	"example.com/platewright/projection"
	"gonum.org/v1/gonum/unit"
	"gonum.org/v1/plot/plotter"
)

// charts draws charts over all directions, and for each position of the stage camera the
// aliases of the LED grid in its picture and over the floor.
func (m *maker) charts() error {
	s := &m.shoot
	// A chart of a quantity at each direction shows the frames of the shots. A chart
	// of a quantity of a view, drawn at its centre, shows the centres of the shots.
	var frames, centres []mark
	for _, c := range s.Plates.Cameras {
		frames = append(frames, mark{name: c.Name + " (camera)", points: []plotter.XY{{X: wrap(c.HeadingDeg), Y: c.ElevationDeg}}})
	}
	for _, shot := range s.Shots {
		frames = append(frames, mark{name: shot.Name, points: m.outline(shot), round: 360})
		centres = append(centres, mark{name: shot.Name, points: []plotter.XY{{X: wrap(shot.HeadingDeg), Y: shot.ElevationDeg}}})
	}
	const framed = "outlines: the frames of the shots; points: the axes of the cameras"
	const centred = "the value at a point is that of a view centred there; points: where the shots look"

	count := overSphere("How many plate cameras see each direction", "cameras", 1,
		func(h, e float64) float64 {
			if n := s.array.Count(direction(h, e)); n > 0 {
				return float64(n)
			}
			return math.NaN()
		})
	count.marks, count.note, count.whole = frames, framed, true

	density := overSphere("Pixels of the best plate in each direction", "px per degree, the smaller of radial and tangential", 1,
		func(h, e float64) float64 {
			if _, d, ok := s.array.Best(direction(h, e)); ok {
				return d
			}
			return math.NaN()
		})
	density.marks, density.note = frames, framed

	d := s.delivery
	push := overSphere(fmt.Sprintf("Narrowest view of %d × %d px that keeps a source pixel at its centre", d.Columns, d.Rows),
		"degrees across", 1,
		func(h, e float64) float64 {
			if p, ok := s.array.PushIn(direction(h, e), d.Columns); ok {
				return float64(p.Across / deg)
			}
			return math.NaN()
		})
	push.marks, push.note = centres, centred

	allowed := overSphere(fmt.Sprintf("How many of the %d shots may look in each direction, corners and all", len(s.Shots)), "shots", 1,
		func(h, e float64) float64 {
			n := 0
			for _, shot := range s.Shots {
				if s.array.Allows(direction(h, e), s.frame(shot)) {
					n++
				}
			}
			if n == 0 {
				return math.NaN()
			}
			return float64(n)
		})
	allowed.columns, allowed.rows = chartColumns/4, chartColumns/8
	allowed.marks, allowed.note, allowed.whole = centres, centred, true

	near := overSphere(fmt.Sprintf("Parallax of a thing at %g m between the cameras that see it", s.Vessel.NearestM),
		"px, the greatest of all pairs of cameras", 5,
		func(h, e float64) float64 {
			worst, found := math.NaN(), false
			for i := range s.cameras {
				for j := range i {
					if p, ok := s.array.Parallax(i, j, direction(h, e), unit.Length(s.Vessel.NearestM)); ok && !(found && p.Pixels < worst) {
						worst, found = p.Pixels, true
					}
				}
			}
			return worst
		})
	near.marks, near.note = frames, framed+"; none: fewer than two cameras see it"

	for _, c := range []struct {
		file  string
		chart chart
	}{{"charts/coverage.png", count}, {"charts/density.png", density}, {"charts/push-in-limit.png", push},
		{"charts/shots.png", allowed}, {"charts/parallax.png", near}} {
		if err := m.draw(c.file, c.chart); err != nil {
			return err
		}
	}
	for i, at := range s.StageCamera.Positions {
		for _, one := range []struct {
			name string
			of   func(position int) (atlas, error)
		}{{"alias", m.aliasMaps}, {"floor", m.floorMaps}} {
			file := fmt.Sprintf("charts/%s-%s.png", one.name, fileName(at.Name))
			m.progress(file)(0, 1)
			picture, err := one.of(i)
			if err != nil {
				return err
			}
			f, err := m.create(file)
			if err != nil {
				return err
			}
			if err := picture.save(f); err != nil {
				return err
			}
		}
	}
	return nil
}

func (m *maker) draw(file string, c chart) error {
	m.progress(file)(0, 1)
	f, err := m.create(file)
	if err != nil {
		return err
	}
	return c.save(m.ctx, f)
}

// sidePoints is the number of points along one side of an outline.
const sidePoints = 24

// outline is the edge of a shot over the sphere.
func (m *maker) outline(shot shotSpec) []plotter.XY {
	middle := []plotter.XY{{X: wrap(shot.HeadingDeg), Y: shot.ElevationDeg}}
	d := m.shoot.delivery
	view, err := projection.NewView(projection.ViewSpec{
		Width: d.Columns, Height: d.Rows, Across: unit.Angle(shot.AcrossDeg) * deg,
		Pose: pose(vec([3]float64{}), shot.HeadingDeg, shot.ElevationDeg, 0),
	})
	if err != nil {
		return middle
	}
	w, h := float64(d.Columns), float64(d.Rows)
	corners := [][2]float64{{0, h}, {w, h}, {w, 0}, {0, 0}, {0, h}}
	var points []plotter.XY
	for i := range len(corners) - 1 {
		for k := range sidePoints {
			f := float64(k) / sidePoints
			x := corners[i][0] + (corners[i+1][0]-corners[i][0])*f
			y := corners[i][1] + (corners[i+1][1]-corners[i][1])*f
			if dir, ok := view.Unproject(x, y); ok {
				heading, elevation := angles(dir)
				points = append(points, plotter.XY{X: heading, Y: elevation})
			}
		}
	}
	return append(points, points[0])
}

// wrap brings a heading into −180° … 180°, 180° excluded.
func wrap(heading float64) float64 {
	if h := math.Remainder(heading, 360); h < 180 {
		return h
	}
	return -180
}
