package warp

import (
	"math"
	"sync"

	"example.com/platewright/internal/lanes"
	"example.com/platewright/internal/special"
	"gonum.org/v1/gonum/mat"
)

// means is the kernels of PixelMean, fitted to what means over the target's pixels have
// of a wave: sinc s·f. The integral is then what texels of a scene of the power
// spectrum P lose against such means. b is sinc f for the source, whose samples are
// means themselves, and sinc³ f / sinc² (f/2ⁿ) for level n. P falls as that of pictures
// with edges, and ends somewhat above the Nyquist frequency: there optics leave little.
var means = sync.OnceValue(func() *family {
	const bend = 0.02
	fits := newFits(func(f float64, level int) float64 { return tentsPass(f, level) * special.Sinc(math.Ldexp(f, -level)) },
		func(f float64) float64 { return math.Pow(f*f+bend*bend, -1.5) })
	return newFamily(family{
		finest: 4, widest: lanes.MaxTaps - meanTaps/2,
		line: func(float64) float64 { return 1 }, reach: 0.5, leans: 0.06, slack: 1,
		make: func(scale float64, level int) pair {
			taps := max(meanTaps, 2*int(math.Ceil((scale+meanTaps/2)/2)))
			return pair{first: fits[level][taps]().kernel(1, func(f float64) float64 { return special.Sinc(f * scale) })}
		},
	})
})

// meanTaps is the least number of taps; half of them lie beyond a pixel that is wider.
const meanTaps = 8

// tentsPass is what the texels of a level have of a wave of f cycles a texel of it.
func tentsPass(f float64, level int) float64 {
	return math.Pow(special.Sinc(f)/special.Sinc(math.Ldexp(f, -level)), 3)
}

// A fit is a kernel by least squares, for each distance t of the position from the tap
// before it. The weights w have a given sum and make this least:
//
//	∫ |b(f)·Σ w[k]·exp 2πi·f·(k − t) − answer(f)|²·P(f) df,   0 < f < 0.6 cycles a texel
//
// b is what the texels have of a wave, and answer what is wanted of it. They leave a
// ramp what it is: Σ w[k]·(k − t) = 0. A price on weights far out, which grows without
// bounds at the rim, makes them end there:
//
//	0.001·Σ w[k]²·q⁴/(1 − q)·∫ b²·P(f) df,   q = (k − t)²/(taps/2)²
const (
	fitNodes = 10  // in t, between which weights are interpolated
	fitParts = 600 // of the integral
	fitTop   = 0.6 // cycles a texel
)

// fit is what fits for all answers have in common.
type fit struct {
	taps  int
	power [fitParts]float64 // b·P at the parts of the integral
	nodes [fitNodes]struct {
		waves  *mat.Dense // of each tap at the parts
		normal mat.LU     // bordered for the sum and the ramp
	}
	between *mat.Dense // weights of the nodes at each phase
}

// fits are made at first use, for each level and number of taps.
type fits [levelKinds][lanes.MaxTaps + 1]func() *fit

// newFits are those for b and P.
func newFits(texel func(f float64, level int) float64, power func(f float64) float64) *fits {
	all := new(fits)
	for level := range all {
		for taps := range all[level] {
			all[level][taps] = sync.OnceValue(func() *fit {
				return newFit(taps, func(f float64) float64 { return texel(f, level) }, power)
			})
		}
	}
	return all
}

func newFit(taps int, texel, power func(f float64) float64) *fit {
	const price = 1e-3
	fit := &fit{taps: taps}
	products := make([]float64, taps) // of waves at two taps, by their distance
	for i := range fit.power {
		f := fitFrequency(i)
		b := texel(f)
		fit.power[i] = b * power(f) / fitParts
		for d := range products {
			products[d] += fit.power[i] * b * math.Cos(2*math.Pi*f*float64(d))
		}
	}
	half := float64(taps) / 2
	var at [fitNodes]float64
	for n := range fit.nodes {
		at[n] = 0.5 + 0.5*math.Cos(math.Pi*(float64(n)+0.5)/fitNodes)
		node := &fit.nodes[n]
		node.waves = mat.NewDense(taps, fitParts, nil)
		normal := mat.NewDense(taps+2, taps+2, nil)
		for k := range taps {
			d := float64(k-taps/2+1) - at[n]
			for i := range fitParts {
				node.waves.Set(k, i, math.Cos(2*math.Pi*fitFrequency(i)*d))
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
	fit.between = mat.NewDense(phases+1, fitNodes, nil)
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

// fitFrequency is that of a part of the integral.
func fitFrequency(i int) float64 { return (float64(i) + 0.5) / fitParts * fitTop }

// kernel has weights of such a sum.
func (fit *fit) kernel(sum float64, answer func(f float64) float64) *lanes.Kernel {
	target := mat.NewVecDense(fitParts, nil)
	for i, p := range fit.power {
		target.SetVec(i, p*answer(fitFrequency(i)))
	}
	weights := mat.NewDense(fitNodes, fit.taps, nil)
	for n := range fit.nodes {
		node := &fit.nodes[n]
		right := mat.NewVecDense(fit.taps+2, nil)
		right.SliceVec(0, fit.taps).(*mat.VecDense).MulVec(node.waves, target)
		right.SetVec(fit.taps, sum)
		var solved mat.VecDense
		if err := node.normal.SolveVecTo(&solved, false, right); err != nil {
			panic("warp: kernels: " + err.Error()) // depends on nothing that callers bring
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
