package main

import (
	"fmt"
	"math"
	"strings"

	"example.com/platewright/projection"
	"gonum.org/v1/gonum/unit"
)

// overlap is a comparison of two plates in a field that both see. Plates that disagree
// have a wrong file, a wrong heading or a mirrored picture.
type overlap struct {
	a, b        string  // cameras
	where       string  // the heading and elevation of the field compared
	detail      bool    // both plates have enough detail to be compared
	correlation float64 // of the detail, at the shift that fits best; 1 for equal plates
	shiftPx     float64 // length of that shift, plate px
	beyond      bool    // that shift is at the end of the range searched
}

// Limits of the comparison. Detail is the light less the mean of each row and each
// column: a level horizon looks the same at every heading, and so must not count.
const (
	wantCorrelation = 0.7  // noise and flare reduce it from 1; plates of different directions have about 0
	leastDetail     = 0.01 // RMS of the detail over the mean light
	leastOverlap    = 2 * deg
	widestOverlap   = 16 * deg
	farthestShift   = 8 // px of the small plates
)

// field is where two plates are compared: a raster that both see.
type field struct {
	i, j int
	view projection.Camera
}

// arrangement assigns plates to cameras, and says which plates are mirrored.
type arrangement struct {
	plate    []int  // by camera
	mirrored []bool // by camera; left and right exchanged
}

func (m *maker) asGiven() arrangement {
	a := arrangement{make([]int, len(m.kept)), make([]bool, len(m.kept))}
	for i := range a.plate {
		a.plate[i] = i
	}
	return a
}

// compareOverlaps compares every two plates that see a common field. If some disagree,
// it looks for a mistake that explains it: a mirrored plate, or two exchanged files.
// Headings of the wrong sign have the same effect as exchanged files.
func (m *maker) compareOverlaps() error {
	progress := m.progress("overlaps")
	progress(0, 1)
	fields := m.fields()
	given := m.asGiven()
	bad := map[int]bool{}
	for _, f := range fields {
		o := m.agreement(f, given, farthestShift)
		o.a, o.b = m.shoot.Plates.Cameras[f.i].Name, m.shoot.Plates.Cameras[f.j].Name
		if dir, ok := f.view.Unproject(centre(f.view)); ok {
			heading, elevation := angles(dir)
			o.where = fmt.Sprintf("%.0f°, %.0f° up", heading, elevation)
		}
		m.made.overlaps = append(m.made.overlaps, o)
		if o.detail && o.correlation < wantCorrelation {
			bad[f.i], bad[f.j] = true, true
		}
	}
	if len(bad) > 0 {
		m.made.suspect = m.explain(fields, bad)
	}
	return m.ctx.Err()
}

func centre(c projection.Camera) (x, y float64) {
	w, h := c.Size()
	return float64(w) / 2, float64(h) / 2
}

// fields finds a field for every two cameras. Its centre is the direction that lies
// farthest inside both plates, and it is as wide as both plates allow.
func (m *maker) fields() []field {
	const step = 2 // degrees
	type place struct{ heading, elevation, clear float64 }
	n := len(m.outlooks)
	best := make([]place, n*n)
	for elevation := -90 + step/2; elevation < 90; elevation += step {
		for heading := -180; heading < 180; heading += step {
			h, e := float64(heading), float64(elevation)
			dir := direction(h, e)
			clear := make([]float64, n)
			for i := range m.outlooks {
				if s, ok := m.outlooks[i].at(dir); ok {
					clear[i] = s.clear
				}
			}
			for i := range n {
				for j := range i {
					if c := min(clear[i], clear[j]); c > best[i*n+j].clear {
						best[i*n+j] = place{h, e, c}
					}
				}
			}
		}
	}
	var fields []field
	for j := range n {
		for i := j + 1; i < n; i++ {
			p := best[i*n+j]
			density := 0.0 // plate px per degree, the greatest of both plates
			for _, c := range []int{i, j} {
				if d, ok := m.outlooks[c].camera.Density(direction(p.heading, p.elevation)); ok {
					density = max(density, d.Radial, d.Tangential)
				}
			}
			// The square lies inside the circle that both see, and leaves room to shift.
			across := unit.Angle(math.Sqrt2 * (p.clear - farthestShift*smallScale) / density * float64(deg))
			if !(across >= leastOverlap) {
				continue
			}
			across = min(across, widestOverlap)
			side := max(8, int(float64(across/deg)*density/smallScale))
			view, err := projection.NewView(projection.ViewSpec{
				Width: side, Height: side, Across: across,
				Pose: projection.Pose{Heading: unit.Angle(p.heading) * deg, Elevation: unit.Angle(p.elevation) * deg},
			})
			if err == nil {
				fields = append(fields, field{j, i, view})
			}
		}
	}
	return fields
}

// agreement compares two plates in a field. It shifts the second one by up to reach
// pixels in each direction, and keeps the best fit.
func (m *maker) agreement(f field, a arrangement, reach int) (o overlap) {
	side, _ := f.view.Size()
	first, ok1 := m.detail(f, f.i, a, 0)
	second, ok2 := m.detail(f, f.j, a, reach)
	if o.detail = ok1 && ok2; !o.detail {
		return o
	}
	width := side + 2*reach
	span := 2*reach + 1
	all := make([]float64, span*span)
	best := 0
	for k := range all {
		dx, dy := k%span, k/span
		var ab, bb, aa float64
		for y := range side {
			row := second[(y+dy)*width+dx:]
			for x, v := range first[y*side : (y+1)*side] {
				ab += v * row[x]
				aa += v * v
				bb += row[x] * row[x]
			}
		}
		all[k] = ab / math.Sqrt(max(aa*bb, math.SmallestNonzeroFloat64))
		if all[k] > all[best] {
			best = k
		}
	}
	bx, by := best%span, best/span
	o.correlation = all[best]
	dx, dy := float64(bx-reach), float64(by-reach)
	if o.beyond = bx == 0 || by == 0 || bx == span-1 || by == span-1; !o.beyond {
		dx += peak(all[best-1], all[best], all[best+1])
		dy += peak(all[best-span], all[best], all[best+span])
	}
	// A pixel of the view is about as large as a pixel of the small plates.
	o.shiftPx = math.Hypot(dx, dy) * smallScale
	return o
}

// peak is the offset of the maximum of a parabola from the second of three values at
// steps of 1. The second value is the largest.
func peak(a, b, c float64) float64 {
	if d := a - 2*b + c; d < 0 {
		return (a - c) / (2 * d)
	}
	return 0
}

// detail is the light of a plate, less the mean of each row and each column, over a
// field that is widened by around pixels on each side. ok is false if the plate does not
// cover it, or if the detail is too weak for a comparison.
func (m *maker) detail(f field, camera int, a arrangement, around int) (values []float64, ok bool) {
	side, _ := f.view.Size()
	n := side + 2*around
	values = make([]float64, n*n)
	s := &m.kept[camera].small
	frame := m.kept[a.plate[camera]].small.frame
	w, h := frame.Size()
	rows, columns := make([]float64, n), make([]float64, n)
	total := 0.0
	for y := range n {
		for x := range n {
			dir, ok := f.view.Unproject(float64(x-around)+0.5, float64(y-around)+0.5)
			if !ok {
				return nil, false
			}
			px, py, ok := s.camera.Project(dir)
			if !ok {
				return nil, false
			}
			if a.mirrored[camera] {
				px = float64(w) - px
			}
			px, py = min(max(px-0.5, 0), float64(w)-1.001), min(max(py-0.5, 0), float64(h)-1.001)
			u, v := int(px), int(py)
			light := func(u, v int) float64 {
				p := frame.Row(v)[3*u : 3*u+3]
				return 0.25*float64(p[0]) + 0.65*float64(p[1]) + 0.1*float64(p[2])
			}
			fx, fy := px-float64(u), py-float64(v)
			top := light(u, v) + (light(u+1, v)-light(u, v))*fx
			bottom := light(u, v+1) + (light(u+1, v+1)-light(u, v+1))*fx
			value := top + (bottom-top)*fy
			values[y*n+x] = value
			rows[y] += value / float64(n)
			columns[x] += value / float64(n)
			total += value / float64(n*n)
		}
	}
	squares := 0.0
	for i := range values {
		values[i] += total - rows[i/n] - columns[i%n]
		squares += values[i] * values[i]
	}
	return values, math.Sqrt(squares/float64(n*n)) > leastDetail*total
}

// explain tries likely mistakes with the plates that disagree, and names each one that
// would make all plates agree. There can be several: if a mirrored picture explains the
// plates, exchanged ones often do too.
func (m *maker) explain(fields []field, bad map[int]bool) string {
	const reach = 2
	name := func(i int) string { return m.shoot.Plates.Cameras[i].Name }
	var fits []string
	try := func(what string, change func(a arrangement)) {
		a := m.asGiven()
		change(a)
		for _, f := range fields {
			if o := m.agreement(f, a, reach); m.ctx.Err() != nil || o.detail && o.correlation < wantCorrelation {
				return
			}
		}
		fits = append(fits, what)
	}
	for i := range m.kept {
		if !bad[i] {
			continue
		}
		try(fmt.Sprintf("the plate of %s mirrored, left for right", name(i)), func(a arrangement) { a.mirrored[i] = true })
		for j := range i {
			if bad[j] {
				try(fmt.Sprintf("the plates of %s and %s exchanged, or their headings of the other sign", name(j), name(i)), func(a arrangement) {
					a.plate[i], a.plate[j] = j, i
				})
			}
		}
	}
	try("every plate mirrored, left for right", func(a arrangement) {
		for i := range a.mirrored {
			a.mirrored[i] = true
		}
	})
	if len(fits) == 0 {
		return "neither a mirrored plate nor two exchanged ones explain it: check poses, lenses and files"
	}
	return "all would agree with " + strings.Join(fits, "; or with ")
}
