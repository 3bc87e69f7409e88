package wide_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/same"
	"example.com/platewright/lens/wide"
)

// A photograph behind a round rim, drawn with 64 points a pixel, with noise.
func TestImageCirclesBesidePeers(t *testing.T) {
	near.NumbersOnly(t)
	answers := same.Answers(t, "circle")
	errors := map[string][]float64{}
	for k := range 50 {
		r := same.Random{Seed: uint64(900 + k)}
		x, y, radius := 1600+r.Below(160)-80, 1280+r.Below(160)-80, 960+r.Below(560) // px/16
		scene := same.Crop(t, r.Below(400*256), r.Below(180*256), 64, 200, 160)
		p := wide.Plane[uint16]{Width: 200, Height: 160}
		for i, v := range scene {
			inside := 0
			for n := range 64 {
				dx, dy := 2*(i%200*8+n%8)+1-x, 2*(i/200*8+n/8)+1-y
				if dx*dx+dy*dy < radius*radius {
					inside++
				}
			}
			p.Pix = append(p.Pix, uint16(max(0, min(65535, 700+(20000+v/4)*inside/64+(300*r.Noise())>>16))))
		}
		off := func(cx, cy, r float64) float64 {
			return math.Hypot(math.Hypot(cx-float64(x)/16, cy-float64(y)/16), r-float64(radius)/16)
		}
		c, err := wide.MeasureImageCircle(p)
		if err == nil {
			errors["ours"] = append(errors["ours"], off(c.X.Value, c.Y.Value, c.Radius.Value))
		} else {
			errors["ours"] = append(errors["ours"], math.NaN())
		}
		for peer, a := range answers {
			errors[peer] = append(errors[peer], off(a[k][0], a[k][1], a[k][2]))
		}
	}
	ref.Within(t, "L-CIRCLE-PEERS", same.Behind(t, "circle, px", errors))
}

// Even light with a gradient behind a lens that falls off by the fourth power.
func TestFalloffBesidePeers(t *testing.T) {
	near.NumbersOnly(t)
	answers := same.Answers(t, "falloff")
	errors := map[string][]float64{}
	for k := range 50 {
		r := same.Random{Seed: uint64(1200 + k)}
		x, y, fourth := 80+float64(r.Below(80))/10-4, 60+float64(r.Below(80))/10-4, float64(r.Below(700))/1000
		gx, gy := float64(r.Below(400)-200)*1e-6, float64(r.Below(400)-200)*1e-6
		p := wide.Plane[float32]{Width: 160, Height: 120}
		for i := range 160 * 120 {
			dx, dy := float64(i%160)+0.5-x, float64(i/160)+0.5-y
			u := math.Min(dx*dx+dy*dy, 8100) / 10000
			p.Pix = append(p.Pix, float32(0.6*(1+gx*dx+gy*dy)*(1-fourth*u*u)+float64(r.Noise())/65536*0.006))
		}
		points := heights(0, 20, 40, 55, 70, 80)
		f := must[wide.Falloff](t)(wide.MeasureFalloff(p, wide.FalloffSpec{X: x, Y: y, Pitch: 4 * um, Points: points}))
		for i, point := range f.Points[1:] {
			u := math.Pow(float64(point.ImageHeight/(4*um)), 2) / 10000
			truth := 1 - fourth*u*u
			errors["ours"] = append(errors["ours"], point.Illumination-truth)
			for peer, a := range answers {
				errors[peer] = append(errors[peer], a[k][i]-truth)
			}
		}
	}
	ref.Within(t, "L-FALLOFF-PEERS", same.Behind(t, "falloff", errors))
}
