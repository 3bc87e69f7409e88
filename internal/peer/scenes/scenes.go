// Package scenes draws pictures that have a value at every point of a plane.
// It also integrates them over the pixels of a raster. That mean over each
// pixel is the truth against which a resampled frame is measured.
package scenes

import "math"

// Scene is the light, from 0 to 1, at a position of a plane.
type Scene func(x, y float64) float64

// Affine maps one plane to another:
//
//	(x, y) → (XX·x + XY·y + X0, YX·x + YY·y + Y0)
type Affine struct{ XX, XY, X0, YX, YY, Y0 float64 }

// At maps a position.
func (a Affine) At(x, y float64) (float64, float64) {
	return a.XX*x + a.XY*y + a.X0, a.YX*x + a.YY*y + a.Y0
}

// Turned maps a target of w by h pixels to a source. It scales, then turns by
// angle, in radians, and moves the centre of the target to (cx, cy).
func Turned(w, h int, scale, angle, cx, cy float64) Affine {
	s, c := math.Sincos(angle)
	a := Affine{XX: scale * c, XY: -scale * s, YX: scale * s, YY: scale * c}
	x, y := a.At(float64(w)/2, float64(h)/2)
	a.X0, a.Y0 = cx-x, cy-y
	return a
}

// Frame returns the means of a scene over the pixels of a raster of w by h
// pixels, each a sum over n by n points. to maps the raster to the scene.
func Frame(s Scene, w, h, n int, to Affine) []float32 {
	out := make([]float32, 0, w*h)
	for y := range h {
		for x := range w {
			sum := 0.0
			for j := range n {
				for i := range n {
					sum += s(to.At(float64(x)+(float64(i)+0.5)/float64(n), float64(y)+(float64(j)+0.5)/float64(n)))
				}
			}
			out = append(out, float32(sum/float64(n*n)))
		}
	}
	return out
}

// ZonePlate returns rings around (cx, cy). Their frequency grows in proportion
// to the distance and is top cycles per unit at the radius r, where they fade
// out.
func ZonePlate(cx, cy, r, top float64) Scene {
	return func(x, y float64) float64 {
		d2 := ((x-cx)*(x-cx) + (y-cy)*(y-cy)) / (r * r)
		if d2 >= 1 {
			return 0.5
		}
		t := min((1-math.Sqrt(d2))*5, 1)
		return 0.5 + 0.45*t*t*(3-2*t)*math.Cos(math.Pi*top*r*d2)
	}
}

// Grating returns a wave of (fx, fy) cycles per unit.
func Grating(fx, fy, phase float64) Scene {
	return func(x, y float64) float64 { return 0.5 + GratingAmplitude*math.Cos(2*math.Pi*(fx*x+fy*y)+phase) }
}

// GratingAmplitude is half the range of a Grating.
const GratingAmplitude = 0.4

// Edges returns stripes of the given width, alternately 0.2 and 0.8. Their
// edges are at an angle, in radians, to the y axis.
func Edges(angle, width float64) Scene {
	s, c := math.Sincos(angle)
	return func(x, y float64) float64 {
		if int(math.Floor((c*x+s*y)/width))&1 == 0 {
			return 0.2
		}
		return 0.8
	}
}

// Stars returns Gaussian spots of standard deviation sigma on a dark ground:
// one near the centre of every square of 10 × 10 units, displaced at random by
// up to 1 unit.
func Stars(sigma float64) Scene {
	const side = 10
	return func(x, y float64) float64 {
		i, j := math.Floor(x/side), math.Floor(y/side)
		hash := uint64(int64(i))*0x9e3779b97f4a7c15 ^ uint64(int64(j))*0xc2b2ae3d27d4eb4f
		hash ^= hash >> 29
		hash *= 0xbf58476d1ce4e5b9
		hash ^= hash >> 32
		dx := x - (i+0.5)*side - 2*(float64(hash&0xffff)/0xffff-0.5)
		dy := y - (j+0.5)*side - 2*(float64(hash>>16&0xffff)/0xffff-0.5)
		return 0.05 + 0.9*math.Exp(-(dx*dx+dy*dy)/(2*sigma*sigma))
	}
}

// PSNR returns the peak signal-to-noise ratio in dB of samples from 0 to 1: 10
// log₁₀(1/mean square difference).
func PSNR(a, b []float32) float64 {
	sum := 0.0
	for i := range a {
		d := float64(a[i]) - float64(b[i])
		sum += d * d
	}
	return -10 * math.Log10(sum/float64(len(a)))
}
