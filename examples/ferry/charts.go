package main

import (
	"fmt"
	"math"

	"example.com/platewright/projection"
	"example.com/platewright/wall"
	"gonum.org/v1/gonum/unit"
	"gonum.org/v1/plot/plotter"
)

// charts draws the maps: what is covered, how densely, how far each direction
// may be pushed into, and where the LED grid aliases in the camera's frame.
func (m *maker) charts() error {
	s := &m.shoot
	axes := make([]mark, len(s.cameras))
	for i, c := range s.Plates.Cameras {
		axes[i] = mark{name: c.Name, outline: []plotter.XY{{X: wrap(c.HeadingDeg), Y: min(c.ElevationDeg, 85)}}}
	}
	var shots []mark
	for i, shot := range s.Shots {
		if outline := m.outline(shot); outline != nil {
			// Names of overlapping shots stand at three corners in turn.
			shots = append(shots, mark{name: shot.Name, outline: outline, label: []int{0, topLeft, topRight}[i%3]})
		}
	}

	count := overSphere("How many plate cameras see each direction (grey: none)", "cameras", 1,
		func(h, e float64) float64 {
			if n := s.array.Count(direction(rad(h), rad(e))); n > 0 {
				return float64(n)
			}
			return math.NaN()
		})
	count.marks = axes

	density := overSphere("Pixels of the best plate in each direction (grey: none)", "px per degree, the smaller of radial and tangential", 2,
		func(h, e float64) float64 {
			if _, d, ok := s.array.Best(direction(rad(h), rad(e))); ok {
				return d
			}
			return math.NaN()
		})
	density.marks = axes

	d := s.delivery
	push := overSphere(fmt.Sprintf("Narrowest view of %d × %d px that keeps a source pixel at its centre", d.Columns, d.Rows),
		"degrees across", 1,
		func(h, e float64) float64 {
			if p, ok := s.array.PushIn(direction(rad(h), rad(e)), d.Columns); ok {
				return float64(p.Across / deg)
			}
			return math.NaN()
		})
	push.marks = shots

	allowed := overSphere(fmt.Sprintf("How many of the %d shots may look in each direction, corners and all (grey: none)", len(s.Shots)), "shots", 1,
		func(h, e float64) float64 {
			n := 0
			for _, shot := range s.Shots {
				if s.array.Allows(direction(rad(h), rad(e)), s.frame(shot)) {
					n++
				}
			}
			if n == 0 {
				return math.NaN()
			}
			return float64(n)
		})
	allowed.columns, allowed.rows = chartColumns/4, chartColumns/8
	allowed.marks = shots

	near := overSphere(fmt.Sprintf("Parallax of a thing at %g m between the cameras that see it (grey: fewer than two)", s.Vessel.NearestM),
		"px, the greatest of all pairs", 5,
		func(h, e float64) float64 {
			worst, found := math.NaN(), false
			for i := range s.cameras {
				for j := range i {
					if p, ok := s.array.Parallax(i, j, direction(rad(h), rad(e)), unit.Length(s.Vessel.NearestM)); ok && !(found && p.Pixels < worst) {
						worst, found = p.Pixels, true
					}
				}
			}
			return worst
		})
	near.marks = axes

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
		if err := m.draw(fmt.Sprintf("charts/alias-%s.png", fileName(at.Name)), m.aliasChart(i)); err != nil {
			return err
		}
	}
	return nil
}

// aliasChart is the contrast of the strongest ripple of the LED grid over the
// frame of the stage camera at a position, focused on what the middle of the
// frame meets.
func (m *maker) aliasChart(position int) chart {
	s := &m.shoot
	w, h := s.finders[position].Size()
	focus := unit.Length(s.StageCamera.Lens.FocusM)
	if hit, ok := s.centreHit(position); ok {
		focus = hit.depth
	}
	return chart{
		title: fmt.Sprintf("LED grid aliasing, stage camera at %s, focused on the wall at %s (grey: no wall)",
			s.StageCamera.Positions[position].Name, length(focus)),
		quantity: fmt.Sprintf("contrast of the strongest ripple, resolved or not, harmonics up to %d, %%", harmonics),
		x:        axis{"photosite column", 0, float64(w), 500},
		y:        axis{"photosite row, down", float64(h), 0, 500},
		columns:  chartColumns / 2, rows: max(1, chartColumns/2*h/w),
		value: func(x, y float64) float64 {
			hit, ok := s.hitAt(position, x, y)
			if !ok {
				return math.NaN()
			}
			m, ok := s.moire(hit, focus, wall.EveryPhotosite)
			if !ok {
				return math.NaN()
			}
			return 100 * m.Contrast
		},
		step: 1,
	}
}

func (m *maker) draw(file string, c chart) error {
	m.progress(file)(0, 1)
	f, err := m.create(file)
	if err != nil {
		return err
	}
	return c.save(m.ctx, f)
}

// sidePoints is the number of points along one side of an outline, which goes
// round from the bottom left by way of topRight and topLeft.
const (
	sidePoints = 24
	topRight   = 2 * sidePoints
	topLeft    = 3 * sidePoints
)

// outline is the edge of a shot over the sphere; nil where it crosses the back
// of the chart, as a line there would run across it.
func (m *maker) outline(shot shotSpec) []plotter.XY {
	d := m.shoot.delivery
	view, err := projection.NewView(projection.ViewSpec{
		Width: d.Columns, Height: d.Rows, Across: unit.Angle(shot.AcrossDeg) * deg,
		Pose: pose(vec([3]float64{}), shot.HeadingDeg, shot.ElevationDeg, 0),
	})
	if err != nil {
		return nil
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
	points = append(points, points[0])
	for i := range len(points) - 1 {
		if math.Abs(points[i+1].X-points[i].X) > 90 {
			return []plotter.XY{{X: wrap(shot.HeadingDeg), Y: shot.ElevationDeg}}
		}
	}
	return points
}

// wrap brings a heading into −180° … 180°, 180° excluded.
func wrap(heading float64) float64 {
	if h := math.Remainder(heading, 360); h < 180 {
		return h
	}
	return -180
}
