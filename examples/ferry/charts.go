package main

import (
	"fmt"
	"math"
	"path/filepath"

	"example.com/platewright/projection"
	"gonum.org/v1/gonum/unit"
	"gonum.org/v1/plot/plotter"
)

// charts draws the maps: what is covered, how densely, how far each direction
// may be pushed into, and where the LED grid aliases in the camera's frame.
func (m *maker) charts() error {
	s := &m.shoot
	axes := make([]mark, len(s.cameras))
	for i, c := range s.Plates.Cameras {
		axes[i] = mark{c.Name, []plotter.XY{{X: wrap(c.HeadingDeg), Y: min(c.ElevationDeg, 85)}}}
	}
	var shots []mark
	for _, shot := range s.Shots {
		if outline := m.outline(shot); outline != nil {
			shots = append(shots, mark{shot.Name, outline})
		}
	}

	count := overSphere("How many plate cameras see each direction", "cameras", 1,
		func(h, e float64) float64 {
			if n := s.array.Count(direction(rad(h), rad(e))); n > 0 {
				return float64(n)
			}
			return math.NaN()
		})
	count.marks = axes

	density := overSphere("Pixels of the best plate in each direction", "px per degree, the smaller of radial and tangential", 2,
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

	for _, c := range []struct {
		file  string
		chart chart
	}{{"coverage.png", count}, {"density.png", density}, {"push-in-limit.png", push}} {
		if err := m.draw(c.file, c.chart); err != nil {
			return err
		}
	}
	for i, at := range s.StageCamera.Positions {
		if err := m.draw(fmt.Sprintf("alias-%s.png", fileName(at.Name)), m.aliasChart(i)); err != nil {
			return err
		}
	}
	return nil
}

// aliasChart is the contrast of the LED grid's ripple over the frame of the
// stage camera at a position, focused on the nearest wall it faces: the worst
// it comes to.
func (m *maker) aliasChart(position int) chart {
	s := &m.shoot
	w, h := s.finders[position].Size()
	value := func(x, y float64) float64 {
		hit, ok := s.hitAt(position, x, y)
		if !ok {
			return math.NaN()
		}
		r, err := s.moire(hit, unit.Length(hit.distance))
		if err != nil || !r.Aliased {
			return 0
		}
		return 100 * r.Contrast
	}
	return chart{
		title:    fmt.Sprintf("LED grid aliasing, stage camera at %s, focused on the wall", s.StageCamera.Positions[position].Name),
		quantity: "contrast of the alias along a row, % (0: resolved)",
		x:        axis{"photosite column", 0, float64(w), 500},
		y:        axis{"photosite row, down", float64(h), 0, 500},
		columns:  384, rows: max(1, 384*h/w),
		value: value, step: 1,
	}
}

func (m *maker) draw(file string, c chart) error {
	fmt.Fprintf(m.stderr, "\r\033[K%s", file)
	defer fmt.Fprint(m.stderr, "\r\033[K")
	m.made.pictures = append(m.made.pictures, file)
	return c.save(filepath.Join(m.folder, file))
}

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
		for k := range 24 {
			f := float64(k) / 24
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
