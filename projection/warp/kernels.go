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
	// line is the weight of a probe by its distance in widths of a pixel, up to reach.
	line  func(t float64) float64
	reach float64
	// slack widens probes and their spread. Second moments add up, which is all that
	// bells need; kernels that pass nearly all up to where they stop let more through.
	slack float64

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

// texels is a scale of a source as one of a level with so many texels a source pixel,
// less what the level has of it.
func (f *family) texels(scale float64, level int, perPixel float64) float64 {
	if level > 0 && f.variance > 0 {
		// Each level spreads by the variance of 1, 3, 3, 1 eighths, ¾ texel².
		scale = math.Sqrt(max(scale*scale-(math.Ldexp(1, 2*level)-1)/4/f.variance, 0))
	}
	return scale * perPixel
}

// top is the coarsest level that pixels of these scales are read from.
func (f *family) top(major, minor float64) int {
	level := f.level(minor)
	for ; level < topLevel && 2*f.reach*major*(0.6/math.Ldexp(1, level)+0.5/major) > mostProbes; level++ {
	}
	return level
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
	stretch      float64 // at fullScale; down to 0 at a scale of 2
	slack        float64 // of probes
	finest       float64
	variance     float64
}

var (
	// soft has no negative weights: results are within the range of the samples.
	soft = lowPass{radius: 1.79, coefficients: []float64{0.211819, 0.890156, -1.22396, 0.697362, -0.00242}, stretch: 0.043, slack: 1, finest: 2.25, variance: 0.4118}
	// firm overshoots a step by 5.3 %.
	firm = lowPass{radius: 2.6, coefficients: []float64{-4.666361, 23.937241, -48.884518, 45.067377, -14.797359}, stretch: 0.0763, slack: 1.06, finest: 2}
	// sharp overshoots a step by 7.4 %.
	sharp = lowPass{radius: 4.2, coefficients: []float64{2.791004, -16.627672, 42.288022, -52.398388, 24.646982}, stretch: 0.045, slack: 1.25, finest: 1.7}
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
		line: l.at, reach: l.radius, slack: l.slack,
		make: func(scale float64, level int) *lanes.Kernel {
			share := 1.0
			if level == 0 {
				share = min(max((scale-plainScale)/(fullScale-plainScale), 0), 1)
				if share == 0 {
					return plain
				}
				// Just above the Nyquist frequency there is most of what could alias.
				scale *= 1 + l.stretch*min(max((2-scale)/(2-fullScale), 0), 1)
			} else {
				scale = max(scale, 0.75) // still interpolates well
			}
			n := min(2*int(math.Ceil(l.radius*scale)), lanes.MaxTaps)
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
