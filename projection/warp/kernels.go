package warp

import (
	"math"
	"sync"
	"sync/atomic"

	"example.com/platewright/internal/lanes"
)

// separable is the kernels of a filter along the rows and down the columns of a
// source; the zero value stands for none.
type separable struct{ along, down pair }

// pair is the kernels of one axis. The weight of a texel is the product of the first
// ones of both axes, less the product of the second ones if both axes have such.
type pair struct{ first, second *lanes.Kernel }

// family is the kernels of one filter by the scale of an axis: how many texels a
// target pixel is wide. They are made at first use.
type family struct {
	// make makes the kernel for a scale, in texels of a level.
	make func(scale float64, level int) pair
	// finest is the scale, in texels of a level, from which on that level is read
	// and not the one below.
	finest float64
	// widest is the largest scale that MaxTaps taps hold.
	widest float64
	// line is the weight of a probe by its distance in widths of a pixel, up to reach.
	line  func(t float64) float64
	reach float64
	// leans is Cxy²/(Cxx·Cyy) of a pixel that rows begin to lean for; from 1¼ of that on
	// they lean as it does.
	leans float64
	// slack widens probes and their spread, if it is not 1. Second moments add up, which
	// is all that bells need; kernels that pass nearly all up to where they stop let more
	// through.
	slack float64

	made [levelKinds][]atomic.Pointer[pair]
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
		f.made[i] = make([]atomic.Pointer[pair], int(f.widest*scaleSteps)+1)
	}
	return &f
}

// kernels are those for a scale, in texels of a level.
func (f *family) kernels(scale float64, level int) pair {
	level = min(level, levelKinds-1)
	made := f.made[level]
	n := len(made) - 1
	if at := scale*scaleSteps + 0.5; at < float64(n) {
		n = int(at)
	}
	p := made[n].Load()
	if p == nil {
		one := f.make(float64(n)/scaleSteps, level)
		p = &one
		made[n].Store(p)
	}
	return *p
}

// level is that to read at a scale of the narrower axis.
func (f *family) level(minor float64) int {
	if minor >= 2*f.finest {
		return min(math.Ilogb(minor/f.finest), topLevel)
	}
	return 0
}

// top is the coarsest level that pixels of these scales are read from.
func (f *family) top(major, minor float64) int {
	level := f.level(minor)
	for ; level < topLevel && 2*f.reach*major*(0.5/math.Ldexp(1, level)+0.4/major) > mostProbes; level++ {
	}
	return level
}

// lowPass is a kernel over the plane that takes out what is above the target's Nyquist
// frequency in any direction:
//
//	k(x, y) = a(x)·a(y) − b(x)·b(y)
//
// for distances x and y along the axes of the source, in widths of the target pixel
// there. Both are s^rim·(c₀ + s·(c₁ + …)), s = 1 − t²/radius². The integral of a is 1,
// that of b 0. One product alone passes more between the axes than along them; two
// come near to a radial kernel.
type lowPass struct {
	radius, rim float64
	a, b        []float64
	stretch     float64 // at fullScale; down to 0 at stretched
	leans       float64 // see family
	slack       float64 // of probes
	variance    float64 // of a, if there is no b
}

var (
	// soft has no negative weights: results are within the range of the samples.
	soft = lowPass{radius: 1.79, rim: 2, a: []float64{0.211819, 0.890156, -1.22396, 0.697362, -0.00242}, stretch: 0.043, leans: 0.035, slack: 1, variance: 0.4118}
	// firm overshoots a step by 5.3 %.
	firm = lowPass{radius: 2.6, rim: 2.5, leans: 0.005, slack: 1.06,
		a: []float64{-3.811362, 14.568904, -23.939066, 19.526684, -5.651805}, b: []float64{-3.604788, 26.852732, -58.259946, 52.477188, -17.743384}}
	// sharp overshoots a step by 6.9 %.
	sharp = lowPass{radius: 3.5414, rim: 2.5, stretch: 0.0065, leans: 0.01, slack: 1.15,
		a: []float64{4.798306, -23.463636, 44.982682, -44.153001, 18.601897}, b: []float64{5.25486, -22.235513, 39.815404, -39.825297, 17.298602}}
)

// at is the kernel of an axis with coefficients c.
func (l *lowPass) at(c []float64, t float64) float64 {
	s := 1 - t*t/(l.radius*l.radius)
	if s <= 0 {
		return 0
	}
	k := 0.0
	for i := len(c) - 1; i >= 0; i-- {
		k = k*s + c[i]
	}
	return math.Pow(s, l.rim) * k
}

// leaves is what the kernel of an axis leaves of a wave, by its cycles a target pixel.
func (l *lowPass) leaves(c []float64) func(f float64) float64 {
	const parts, steps, top = 100, 1024, 2
	var table [top*steps + 1]float64
	for i := range table {
		for k := range parts {
			t := (float64(k) + 0.5) / parts * l.radius
			table[i] += 2 * l.radius / parts * l.at(c, t) * math.Cos(2*math.Pi*float64(i)/steps*t)
		}
	}
	return func(f float64) float64 {
		if !(f < top) {
			return 0
		}
		i, t := math.Modf(f * steps)
		return table[int(i)] + t*(table[int(i)+1]-table[int(i)])
	}
}

// smoothFits are those for sources without a blur of their own.
var smoothFits = newFits(tentsPass, func(float64) float64 { return 1 })

// The low pass has a weight from plainScale on, and all of it from fullScale on.
const (
	plainScale = 1 + 1.0/32
	fullScale  = 1 + 1.0/4
	stretched  = 1 + 1.0/2
	// finest is a little more: rows that lean need texels somewhat finer than the pixel.
	finest = 1.4
)

// antiAlias is the kernels of AntiAlias: those of a filter up to plainScale, and from
// fullScale on a low pass as wide as the pixel.
func antiAlias(plain *lanes.Kernel, weight func(t float64) float64, l lowPass) *family {
	leaves := sync.OnceValues(func() (a, b func(f float64) float64) { return l.leaves(l.a), l.leaves(l.b) })
	taps := func(scale float64) int { return min(2*int(math.Ceil(l.radius*scale)), lanes.MaxTaps) }
	return newFamily(family{
		finest: finest, widest: lanes.MaxTaps / 2 / l.radius,
		line: func(t float64) float64 { return l.at(l.a, t) }, reach: l.radius, leans: l.leans, slack: l.slack,
		make: func(scale float64, level int) pair {
			share := 1.0
			switch {
			case level == 0:
				share = min(max((scale-plainScale)/(fullScale-plainScale), 0), 1)
				if share == 0 {
					return pair{first: plain}
				}
				// Just above the Nyquist frequency there is most of what could alias.
				scale *= 1 + l.stretch*min(max((stretched-scale)/(stretched-fullScale), 0), 1)
			case l.b == nil:
				// The variances of tents, ¾ texel² for each level, and kernel add up.
				scale = math.Sqrt(max(scale*scale-(1-math.Ldexp(1, -2*level))/4/l.variance, 0.75*0.75))
			default:
				scale = max(scale, 0.75) // still interpolates well
				fit := smoothFits[level][taps(scale)]()
				a, b := leaves()
				return pair{
					fit.kernel(1, func(f float64) float64 { return a(f * scale) }),
					fit.kernel(0, func(f float64) float64 { return b(f * scale) }),
				}
			}
			n := taps(scale)
			if share < 1 {
				n = max(n, plain.Taps())
			}
			wide, narrow := make([]float64, n), make([]float64, n)
			p := pair{first: lanes.NewKernel(n, phases, func(f float64, w []float64) {
				sampled(w, f, func(t float64) float64 { return l.at(l.a, t/scale) })
				if share < 1 {
					sampled(narrow, f, weight)
					for i := range w {
						w[i] = share*w[i] + (1-share)*narrow[i]
					}
				}
			})}
			if l.b != nil {
				p.second = lanes.NewKernel(n, phases, func(f float64, w []float64) {
					sampled(wide, f, func(t float64) float64 { return l.at(l.a, t/scale) })
					left := 0.0
					for i := range w {
						w[i] = share * l.at(l.b, (float64(i-n/2+1)-f)/scale) / scale
						left += w[i]
					}
					for i := range w {
						w[i] -= left * wide[i]
					}
				})
			}
			return p
		},
	})
}

// phases is how many steps the tables of kernels for a scale have from a texel to
// the next: straight lines between them miss by 1e-4 at most.
const phases = 128

// sampled puts the weights of taps around a position into w: a function of their
// distance, over the sum.
func sampled(w []float64, f float64, weight func(t float64) float64) {
	sum := 0.0
	for i := range w {
		w[i] = weight(float64(i-len(w)/2+1) - f)
		sum += w[i]
	}
	for i := range w {
		w[i] /= sum
	}
}

// familyOf is the kernels of a filter by the scale.
func familyOf(f Filter, m Minify) *family {
	if m == PixelMean {
		return means()
	}
	return reconstructions[f].minify()
}
