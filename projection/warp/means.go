package warp

import (
	"math"
	"sync"

	"example.com/platewright/internal/lanes"
	"example.com/platewright/internal/special"
	"gonum.org/v1/gonum/mat"
)

// means is the kernels of PixelMean. They are fitted by least squares, for each scale s
// and each distance t of the position from the tap before it. The weights w have a sum
// of 1 and make this least:
//
//	∫ |b(f)·Σ w[k]·exp 2πi·f·(k − t) − sinc s·f|²·P(f) df,   0 < f < 0.6 cycles a texel,
//
// with P(f) = (f² + 0.02²)^−1.5. They leave a ramp what it is: Σ w[k]·(k − t) = 0.
// The integral is what texels of a scene of the power spectrum P lose against means over
// the pixels of a target. b is what the texels have of a wave:
// sinc f those of the source, which are means themselves; sinc³ f / sinc² (f/2ⁿ)
// those of level n. P falls as that of pictures with edges, and ends somewhat above
// the Nyquist frequency: there optics leave little. A price on weights far out, which
// grows without bounds at the rim, makes them end there:
//
//	0.001·Σ w[k]²·q⁴/(1 − q)·∫ b²·P(f) df,   q = (k − t)²/(taps/2)²
var means = sync.OnceValue(func() *family {
	var fits [levelKinds][lanes.MaxTaps + 1]func() *meanFit
	for level := range fits {
		for taps := range fits[level] {
			fits[level][taps] = sync.OnceValue(func() *meanFit { return newMeanFit(level, taps) })
		}
	}
	return newFamily(family{
		finest: 4, widest: lanes.MaxTaps - meanTaps/2,
		line: func(float64) float64 { return 1 }, reach: 0.5, slack: 1,
		make: func(scale float64, level int) pair {
			taps := max(meanTaps, 2*int(math.Ceil((scale+meanTaps/2)/2)))
			return pair{first: fits[level][taps]().kernel(scale)}
		},
	})
})

const (
	meanTaps  = 8   // at least; half of them beyond the pixel, where it is wider
	meanNodes = 10  // in t, between which weights are interpolated
	meanParts = 600 // of the integral
	meanTop   = 0.6 // cycles a texel
)

// meanFit is what the fits for all scales have in common.
type meanFit struct {
	taps  int
	power [meanParts]float64 // b·P at the parts of the integral
	nodes [meanNodes]struct {
		waves  *mat.Dense // of each tap at the parts
		normal mat.LU     // bordered for the sum and the ramp
	}
	between *mat.Dense // weights of the nodes at each phase
}

func newMeanFit(level, taps int) *meanFit {
	const bend, price = 0.02, 1e-3
	fit := &meanFit{taps: taps}
	products := make([]float64, taps) // of waves at two taps, by their distance
	for i := range fit.power {
		f := meanFrequency(i)
		texel := special.Sinc(f)
		if level > 0 {
			part := special.Sinc(math.Ldexp(f, -level))
			texel *= texel * texel / (part * part)
		}
		fit.power[i] = texel * math.Pow(f*f+bend*bend, -1.5) / meanParts
		for d := range products {
			products[d] += fit.power[i] * texel * math.Cos(2*math.Pi*f*float64(d))
		}
	}
	half := float64(taps) / 2
	var at [meanNodes]float64
	for n := range fit.nodes {
		at[n] = 0.5 + 0.5*math.Cos(math.Pi*(float64(n)+0.5)/meanNodes)
		node := &fit.nodes[n]
		node.waves = mat.NewDense(taps, meanParts, nil)
		normal := mat.NewDense(taps+2, taps+2, nil)
		for k := range taps {
			d := float64(k-taps/2+1) - at[n]
			for i := range meanParts {
				node.waves.Set(k, i, math.Cos(2*math.Pi*meanFrequency(i)*d))
			}
			for l := range taps {
				normal.Set(k, l, products[max(k-l, l-k)])
			}
			out := d * d / (half * half)
			normal.Set(k, k, products[0]*(1+price*math.Pow(out, 4)/(1-out)))
			for border, c := range []float64{1, d} {
				normal.Set(k, taps+border, c)
				normal.Set(taps+border, k, c)
			}
		}
		node.normal.Factorize(normal)
	}
	fit.between = mat.NewDense(phases+1, meanNodes, nil)
	for p := range phases + 1 {
		t := float64(p) / phases
		for n := range at {
			w := 1.0
			for m := range at {
				if m != n {
					w *= (t - at[m]) / (at[n] - at[m])
				}
			}
			fit.between.Set(p, n, w)
		}
	}
	return fit
}

// meanFrequency is that of a part of the integral.
func meanFrequency(i int) float64 { return (float64(i) + 0.5) / meanParts * meanTop }

func (fit *meanFit) kernel(scale float64) *lanes.Kernel {
	target := mat.NewVecDense(meanParts, nil)
	for i, p := range fit.power {
		target.SetVec(i, p*special.Sinc(meanFrequency(i)*scale))
	}
	weights := mat.NewDense(meanNodes, fit.taps, nil)
	for n := range fit.nodes {
		node := &fit.nodes[n]
		right := mat.NewVecDense(fit.taps+2, nil)
		right.SliceVec(0, fit.taps).(*mat.VecDense).MulVec(node.waves, target)
		right.SetVec(fit.taps, 1)
		var solved mat.VecDense
		if err := node.normal.SolveVecTo(&solved, false, right); err != nil {
			panic("warp: kernels of means: " + err.Error()) // depends on nothing that callers bring
		}
		for k := range fit.taps {
			weights.Set(n, k, solved.AtVec(k))
		}
	}
	var at mat.Dense
	at.Mul(fit.between, weights)
	return lanes.NewKernel(fit.taps, phases, func(f float64, w []float64) {
		mat.Row(w, int(f*phases+0.5), &at)
	})
}
