package main

import (
	"fmt"
	"image"
	"math"

	"example.com/platewright/projection"
	"example.com/platewright/projection/warp"
)

// kept is the part of a plate that stays in memory when the next one is taken. Plates
// are large, and the frames show only a part of each.
type kept struct {
	part  source // the part that the frames show; its frame is empty if they show none
	small source // the whole plate with fewer pixels, for the panorama and the overlaps
}

// source is a frame that was cut or averaged from a plate, with its camera.
type source struct {
	frame  warp.Frame[uint16]
	camera projection.Camera
	scale  float64 // plate px a frame px
}

// smallScale is the width in plate px that a pixel of a small plate averages. A pixel of
// the panorama spans about twice as many.
const smallScale = 4

// takePlates makes or reads one plate after the other, and keeps the part of each that
// the targets show.
func (m *maker) takePlates(targets []warp.Target) error {
	parts := make([]bounds, len(m.outlooks))
	for _, t := range targets {
		needed, err := m.needs(t)
		if err != nil {
			return err
		}
		for i, b := range needed {
			if b.any {
				parts[i].add(b.x0, b.y0, b.x1, b.y1)
			}
		}
	}
	var plate warp.Frame[uint16]
	for i, camera := range m.shoot.cameras {
		name := m.shoot.Plates.Cameras[i].Name
		progress := m.progress(fmt.Sprintf("plate %d of %d, %s", i+1, len(m.shoot.cameras), name))
		progress(0, 1)
		w, h := camera.Size()
		var err error
		switch {
		case m.files != nil:
			plate = warp.Frame[uint16]{} // frees the memory before the next plate is read
			plate, err = readLinear(m.ctx, m.files[i], w, h)
		case !sized(plate, w, h):
			plate, err = newFrame(w, h)
		}
		if err == nil && m.files == nil {
			if m.original != nil {
				err = m.original.onto(m.ctx, plate, camera, progress)
			} else {
				err = m.shade(plate, i, progress)
			}
		}
		if err != nil {
			return err
		}
		if m.keepPlates {
			if err := m.writeLinear("plates/"+fileName(name)+".png", plate); err != nil {
				return err
			}
		}
		k := &m.kept[i]
		if k.part, err = cut(plate, camera, parts[i]); err != nil {
			return err
		}
		if k.small, err = average(plate, camera); err != nil {
			return err
		}
	}
	return nil
}

func sized(f warp.Frame[uint16], width, height int) bool {
	w, h := f.Size()
	return w == width && h == height
}

// cut copies the part of a plate within bounds.
func cut(plate warp.Frame[uint16], camera projection.Camera, b bounds) (s source, err error) {
	w, h := plate.Size()
	r := image.Rect(int(math.Floor(b.x0)), int(math.Floor(b.y0)), int(math.Ceil(b.x1)), int(math.Ceil(b.y1))).Intersect(image.Rect(0, 0, w, h))
	if !b.any || r.Empty() {
		return source{}, nil
	}
	s.scale = 1
	if s.camera, err = camera.Crop(r.Min.X, r.Min.Y, r.Dx(), r.Dy()); err != nil {
		return s, err
	}
	if s.frame, err = newFrame(r.Dx(), r.Dy()); err != nil {
		return s, err
	}
	for y := range r.Dy() {
		copy(s.frame.Row(y), plate.Row(r.Min.Y + y)[3*r.Min.X:])
	}
	return s, nil
}

// average makes the small version of a plate.
func average(plate warp.Frame[uint16], camera projection.Camera) (s source, err error) {
	const n = smallScale
	s.scale = n
	if s.camera, err = camera.Bin(n, n); err != nil {
		return s, err
	}
	w, h := s.camera.Size()
	if s.frame, err = newFrame(w, h); err != nil {
		return s, err
	}
	for y := range h {
		out := s.frame.Row(y)
		var rows [n][]uint16
		for j := range rows {
			rows[j] = plate.Row(n*y + j)
		}
		for x := range w {
			var sum [3]uint32
			for _, row := range rows {
				for p := row[3*n*x : 3*n*(x+1)]; len(p) >= 3; p = p[3:] {
					sum[0] += uint32(p[0])
					sum[1] += uint32(p[1])
					sum[2] += uint32(p[2])
				}
			}
			for k, v := range sum {
				out[3*x+k] = uint16((v + n*n/2) / (n * n))
			}
		}
	}
	return s, nil
}
