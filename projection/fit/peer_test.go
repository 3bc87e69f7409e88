package fit_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/same"
	"example.com/platewright/projection"
	"example.com/platewright/projection/fit"
	"gonum.org/v1/gonum/spatial/r3"
)

// far is a camera of so narrow a view that its raster is nearly that of the tangent plane.
func far(t *testing.T, width, height int) projection.Camera {
	return must[projection.Camera](t)(projection.NewCamera(projection.CameraSpec{
		Model: projection.Rectilinear, FocalX: 600, FocalY: 600, Width: width, Height: height,
	}))
}

// Patches of a photograph, 32 × 32 px, in frames that are shifted by up to three pixels. Ours
// takes a pixel more on each side, for slopes. Noise is 1 % of what the patches mostly span.
func TestSeamsBesidePeers(t *testing.T) {
	answers := same.Answers(t, "seam")
	errors := map[string][]float64{}
	camera := far(t, 144, 112)
	for k := range 20 {
		r := same.Random{Seed: uint64(200 + k)}
		x, y := 20*256+r.Below(400*256), 84*256+r.Below(60*256)
		dx, dy := r.Below(769)-384, r.Below(769)-384
		plate := func(x, y int) fit.Plate[uint16] {
			p := fit.Plane[uint16]{Pix: r.Record(same.Crop(t, x, y, 128, 144, 112), 100), Width: 144, Height: 112}
			return fit.Plate[uint16]{Camera: camera, Channels: []fit.Plane[uint16]{p}}
		}
		var places []r3.Vec
		for i := range 15 {
			d, _ := camera.Unproject(float64(28+22*(i%5)), float64(28+28*(i/5)))
			places = append(places, d)
		}
		a := plate(x, y)
		s, err := fit.MeasureSeam(a, plate(x-dx, y-dy), fit.SeamSpec{Places: places, Patch: 34, Reach: 4})
		if err != nil {
			t.Log(k, err)
		}
		off := func(across, down float64) float64 {
			return math.Hypot(across-float64(dx)/128, down-float64(dy)/128)
		}
		for i, d := range places {
			ours := math.NaN()
			for _, shift := range s.Shifts {
				if err == nil && shift.Dir == d {
					ours = off(shift.Across.Value, shift.Down.Value)
				}
			}
			errors["ours"] = append(errors["ours"], ours)
			for peer, a := range answers {
				errors[peer] = append(errors[peer], off(a[15*k+i][0], a[15*k+i][1]))
			}
		}
	}
	ref.Within(t, "P-FIT-SEAM-PEERS", same.Behind(t, "shift, px", errors))
}

// Two plates of a photograph, the second brighter or darker, with a near thing that only it
// shows.
func TestGainsBesidePeers(t *testing.T) {
	answers := same.Answers(t, "gain")
	errors := map[string][]float64{}
	camera := far(t, 160, 120)
	for k := range 60 {
		r := same.Random{Seed: uint64(1100 + k)}
		x, y, gain := 10*256+r.Below(400*256), 40*256+r.Below(140*256), 230+r.Below(60)
		a := same.Crop(t, x, y, 96, 160, 120)
		b := same.Crop(t, x+r.Below(60), y, 96, 160, 120)
		left := r.Below(100)
		thing := same.Crop(t, x+5000, y+1000, 96, 40, 70)
		for i := range a {
			a[i] = a[i]/2 + 8000
			b[i] = b[i]/2 + 8000
		}
		for j := range 70 {
			for i := range 40 {
				b[(20+j)*160+left+i] = thing[40*j+i]/2 + 4000
			}
		}
		record := func(v []int, gain int) fit.Plate[uint16] {
			p := fit.Plane[uint16]{Width: 160, Height: 120}
			for _, v := range v {
				p.Pix = append(p.Pix, uint16(max(0, min(65535, v*gain/256+(300*r.Noise())>>16))))
			}
			return fit.Plate[uint16]{Camera: camera, Channels: []fit.Plane[uint16]{p}}
		}
		plateA := record(a, 256)
		pair, err := fit.MeasurePair(plateA, record(b, gain), fit.PairSpec{B: 1})
		truth := math.Log2(float64(gain) / 256)
		if err == nil {
			errors["ours"] = append(errors["ours"], pair.Stops[0].Value-truth)
		} else {
			errors["ours"] = append(errors["ours"], math.NaN())
		}
		for peer, a := range answers {
			errors[peer] = append(errors[peer], a[k][0]-truth)
		}
	}
	ref.Within(t, "P-FIT-GAIN-PEERS", same.Behind(t, "gain, stops", errors))
}
