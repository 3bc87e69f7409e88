package warp

import (
	"math"
	"sync/atomic"

	"example.com/platewright/internal/lanes"
)

// separable is the kernels of a filter along the rows and down the columns of a
// source; the zero value stands for none.
type separable struct{ along, down *lanes.Kernel }

// family is the kernels of one filter by the scale of an axis: how many texels a
// target pixel is wide. They are made at first use.
type family struct {
	// make makes the kernel for a scale, in texels of a level.
	make func(scale float64, level int) *lanes.Kernel
	// finest is the scale, in texels of a level, from which on that level is read
	// and not the one below.
	finest float64
	// widest is the largest scale that MaxTaps taps hold.
	widest float64
	// The blur of the levels is subtracted from the kernel's variance, in target
	// pixels squared, unless it is 0.
	variance float64

	made [levelKinds][]atomic.Pointer[lanes.Kernel]
}

const (
	// scaleSteps is the number of kernels for each texel of scale.
	scaleSteps = 128
	// levelKinds is how many levels have kernels of their own; all coarser ones have
	// those of the last.
	levelKinds = 4
)

func newFamily(f family) *family {
	for i := range f.made {
		f.made[i] = make([]atomic.Pointer[lanes.Kernel], int(f.widest*scaleSteps)+1)
	}
	return &f
}

// kernel is that for a scale, in texels of a level.
func (f *family) kernel(scale float64, level int) *lanes.Kernel {
	level = min(level, levelKinds-1)
	made := f.made[level]
	n := min(int(scale*scaleSteps+0.5), len(made)-1)
	if k := made[n].Load(); k != nil {
		return k
	}
	k := f.make(float64(n)/scaleSteps, level)
	made[n].Store(k)
	return k
}

// level is that to read at a scale of the narrower axis.
func (f *family) level(minor float64) int {
	if minor >= 2*f.finest {
		return min(math.Ilogb(minor/f.finest), topLevel)
	}
	return 0
}

// lowPass is a kernel that takes out what is above the target's Nyquist frequency:
//
//	k(t) = s²·(c₀ + s·(c₁ + …)), s = 1 − t²/radius²
//
// for distances t up to the radius, in target pixels, along each axis of the source.
// It was fitted so that the product of both axes passes waves below that frequency,
// in any direction, and stops those above.
type lowPass struct {
	radius       float64
	coefficients []float64
	finest       float64
	variance     float64
}

var (
	// soft has no negative weights: results are within the range of the samples.
	soft = lowPass{radius: 1.79, coefficients: []float64{0.300619, 0.686366, -1.077926, 0.657429, 0.001135}, finest: 1.25, variance: 0.4236}
	// firm overshoots a step by 5.3 %.
	firm = lowPass{radius: 2.6, coefficients: []float64{-7.056085, 38.128675, -79.157991, 73.067398, -24.342541}, finest: 2}
	// sharp overshoots a step by 7.4 %.
	sharp = lowPass{radius: 4.2, coefficients: []float64{2.791004, -16.627672, 42.288022, -52.398388, 24.646982}, finest: 1.9}
)

func (l *lowPass) at(t float64) float64 {
	s := 1 - t*t/(l.radius*l.radius)
	if s <= 0 {
		return 0
	}
	k := 0.0
	for i := len(l.coefficients) - 1; i >= 0; i-- {
		k = k*s + l.coefficients[i]
	}
	return s * s * k
}

// The low pass has a weight from plainScale on, and all of it from fullScale on.
const (
	plainScale = 1 + 1.0/32
	fullScale  = 1 + 1.0/4
)

// antiAlias is the kernels of AntiAlias: those of a filter up to plainScale, and from
// fullScale on a low pass as wide as the pixel.
func antiAlias(plain *lanes.Kernel, taps int, weight func(t float64) float64, l lowPass) *family {
	return newFamily(family{
		finest: l.finest, variance: l.variance, widest: lanes.MaxTaps / 2 / l.radius,
		make: func(scale float64, level int) *lanes.Kernel {
			share := 1.0
			if level == 0 {
				share = min(max((scale-plainScale)/(fullScale-plainScale), 0), 1)
			} else {
				scale = max(scale, 0.75) // still interpolates well
			}
			if share == 0 {
				return plain
			}
			n := 2 * int(math.Ceil(l.radius*scale))
			if share < 1 {
				n = max(n, taps)
			}
			wide := sampled(n, func(t float64) float64 { return l.at(t / scale) })
			if share == 1 {
				return lanes.NewKernel(n, phases, wide)
			}
			narrow, w := sampled(n, weight), make([]float64, n)
			return lanes.NewKernel(n, phases, func(f float64, out []float64) {
				wide(f, out)
				narrow(f, w)
				for i := range out {
					out[i] = share*out[i] + (1-share)*w[i]
				}
			})
		},
	})
}

// phases is how many steps the tables of kernels for a scale have from a texel to
// the next: straight lines between them miss by 1e-4 at most.
const phases = 128

// sampled gives the weights of taps around a position: a function of their distance,
// over the sum.
func sampled(taps int, weight func(t float64) float64) func(f float64, w []float64) {
	return func(f float64, w []float64) {
		sum := 0.0
		for i := range w[:taps] {
			w[i] = weight(float64(i-taps/2+1) - f)
			sum += w[i]
		}
		for i := range w {
			w[i] /= sum
		}
	}
}

// familyOf is the kernels of a filter by the scale.
func familyOf(f Filter, m Minify) *family {
	if m == PixelMean {
		return means()
	}
	return reconstructions[f].minify()
}
