package main

import (
	"sync"

	"example.com/platewright/internal/parallel"
	"example.com/platewright/projection/rig"
	"example.com/platewright/projection/warp"
	"gonum.org/v1/gonum/spatial/r3"
)

// scene is light by direction.
type scene interface {
	// Radiance is the linear light from a direction. The brightest of the scenario is 1.
	Radiance(dir r3.Vec) [3]float64
	// Smooth reports whether the light has no detail within a few photosites of the
	// plates, so that it can be interpolated.
	Smooth(dir r3.Vec) bool
}

type rgb = [3]float64

// vesselTint is the light of the mast and the rest of the vessel, against the sky.
var vesselTint = rgb{0.024, 0.022, 0.020}

// Where the scene is smooth, it is evaluated only at the corners of squares of this many
// photosites, and interpolated between them. A square with all corners outside the image
// circle stays black: the circle cannot reach the centre of a photosite within. Workers
// take strips of rows.
const (
	patch     = 4
	stripRows = 16 * patch
)

// shade fills the plate of a camera with the scene and with the parts of the vessel
// in front of it.
func (m *maker) shade(dst warp.Frame[uint16], i int, progress func(done, total int)) error {
	w, h := dst.Size()
	strips := (h + stripRows - 1) / stripRows
	gain := 65535 * m.plateGain()
	var done int
	var lock sync.Mutex
	return parallel.Until(m.ctx, strips, func(strip int) {
		s := shader{dst: dst, view: &m.outlooks[i], hidden: m.shoot.alone[i], scene: m.scene, gain: gain, width: w}
		s.top, s.bottom = make([]corner, w/patch+1), make([]corner, w/patch+1)
		for y := strip * stripRows; y < min((strip+1)*stripRows, h); y++ {
			clear(dst.Row(y))
		}
		s.strip(strip*stripRows, min((strip+1)*stripRows, h))
		lock.Lock()
		defer lock.Unlock()
		done++
		progress(done, strips)
	})
}

// shader fills one strip of rows.
type shader struct {
	dst         warp.Frame[uint16]
	view        *outlook
	hidden      rig.Rig // the camera alone, with the parts of the vessel that hide its view
	scene       scene
	gain        float64
	width       int
	top, bottom []corner // of the squares of a row
}

// corner is the scene at a pixel's centre.
type corner struct {
	colour       rgb
	seen, smooth bool
}

// at is the light at the centre of a pixel, as samples within their range.
func (s *shader) at(x, y int) corner {
	px, py := float64(x)+0.5, float64(y)+0.5
	d, ok := s.view.camera.Unproject(px, py)
	if !ok {
		return corner{}
	}
	c := corner{vesselTint, true, true}
	vessel, outline := s.vessel(px, py)
	if vessel < 1 {
		c.colour, c.smooth = s.scene.Radiance(d), s.scene.Smooth(d) && !outline
	}
	for k := range c.colour {
		if outline {
			c.colour[k] += (vesselTint[k] - c.colour[k]) * vessel
		}
		c.colour[k] = min(max(c.colour[k]*s.gain, 0), 65535)
	}
	return c
}

// vessel is the fraction of a pixel that the vessel's parts hide. It also reports
// whether an outline of them may be near.
func (s *shader) vessel(x, y float64) (fraction float64, outline bool) {
	if s.view.shadows == nil {
		return 0, false
	}
	switch d, ok := s.view.shadows.At(x, y); {
	case !ok || d > s.view.aside:
		return 0, false
	case d < -s.view.aside:
		return 1, false
	}
	for i := range 4 {
		if dir, ok := s.view.camera.Unproject(x+float64(i%2)/2-0.25, y+float64(i/2)/2-0.25); ok && s.hidden.Count(dir) == 0 {
			fraction += 0.25
		}
	}
	return fraction, true
}

func (s *shader) strip(y0, y1 int) {
	corners := func(row []corner, y int) {
		for i := range row {
			row[i] = s.at(i*patch, y)
		}
	}
	corners(s.bottom, y0)
	for y := y0; y < y1; y += patch {
		s.top, s.bottom = s.bottom, s.top
		corners(s.bottom, y+patch)
		end := min(y+patch, y1)
		for i := range len(s.top) - 1 {
			a, b, c, d := &s.top[i], &s.top[i+1], &s.bottom[i], &s.bottom[i+1]
			switch {
			case a.smooth && b.smooth && c.smooth && d.smooth:
				s.between(i, y, end)
			case a.seen || b.seen || c.seen || d.seen:
				s.each(i*patch, (i+1)*patch, y, end)
			}
		}
		s.each((len(s.top)-1)*patch, s.width, y, end)
	}
}

// between fills a square by interpolation between its corners.
func (s *shader) between(i, y0, y1 int) {
	for y := y0; y < y1; y++ {
		v := float64(y-y0) / patch
		row := s.dst.Row(y)[3*patch*i : 3*patch*(i+1) : 3*patch*(i+1)]
		for k := range 3 {
			a := s.top[i].colour[k] + (s.bottom[i].colour[k]-s.top[i].colour[k])*v
			step := (s.top[i+1].colour[k] + (s.bottom[i+1].colour[k]-s.top[i+1].colour[k])*v - a) / patch
			for j := range patch {
				row[3*j+k] = uint16(a + step*float64(j) + 0.5)
			}
		}
	}
}

// each fills a square pixel by pixel.
func (s *shader) each(x0, x1, y0, y1 int) {
	for y := y0; y < y1; y++ {
		row := s.dst.Row(y)
		for x := x0; x < x1; x++ {
			c := s.at(x, y).colour
			p := row[3*x : 3*x+3 : 3*x+3]
			p[0], p[1], p[2] = uint16(c[0]+0.5), uint16(c[1]+0.5), uint16(c[2]+0.5)
		}
	}
}

// plateGain is the factor from the light of the procedural scene, in which the brightest
// light of the scenario is 1, to samples. Full scale is the saturation of a camera whose
// saturation speed equals its exposure index.
func (m *maker) plateGain() float64 {
	brightest := 0.0
	for _, l := range m.shoot.Light {
		brightest = max(brightest, l.CdM2)
	}
	if f, ok := m.shoot.plates[0].exposure.FractionOfSaturation(brightest, m.shoot.Plates.ExposureIndex); ok {
		return f
	}
	return 1
}
