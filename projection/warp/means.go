package warp

import (
	"math"
	"sync"

	"example.com/platewright/internal/lanes"
	"example.com/platewright/internal/special"
	"gonum.org/v1/gonum/mat"
)

// The kernels of PixelMean are for target pixels of widths from 0 to widest
// source pixels, in steps of 1/meanSteps.
const (
	meanTaps   = 8
	meanDegree = 9
	meanSteps  = 128
	widest     = 4.5
)

// separable is the kernels of a filter along the rows and down the columns of a
// source; the zero value stands for none.
type separable struct{ along, down *lanes.Kernel }

// meansFor are the kernels of PixelMean for target pixels with a Jacobian: along
// each axis of the source, those for a box that spreads as far as the pixel.
func meansFor(j *Jacobian) separable {
	all := meanKernels()
	if *j == (Jacobian{}) { // not known, or a point
		return separable{all[meanSteps], all[meanSteps]}
	}
	pick := func(a, b float64) *lanes.Kernel {
		if n := math.Sqrt(a*a+b*b)*meanSteps + 0.5; n < float64(len(all)) {
			return all[int(n)]
		}
		return all[len(all)-1]
	}
	return separable{pick(j.XX, j.XY), pick(j.YX, j.YY)}
}

// meanKernels are fitted by least squares: for each width s, and each distance t
// of the position from the tap before it, the weights w, of a sum of 1, that leave
// the least of
//
//	∫ |Σ w[k]·exp 2πi·f·(k − t)·sinc f − sinc s·f|²·P(f) df,   0 < f < 0.6 cycles a pixel,
//
// with P(f) = (f² + 0.02²)^−1.5, among those that leave a ramp what it is,
// Σ w[k]·(k − t) = 0. This is what means over the pixels of a source, of a scene of
// the power spectrum P, lose against means over the pixels of a target. P falls as
// that of pictures with edges, and ends somewhat above the Nyquist frequency:
// there optics leave little. A price on weights far out, which grows without
// bounds at the rim, makes them end there:
//
//	0.001·Σ w[k]²·q⁴/(1 − q)·∫ sinc² f·P(f) df,   q = (k − t)²/4²
var meanKernels = sync.OnceValue(func() []*lanes.Kernel {
	const (
		nodes  = meanDegree + 1
		levels = int(widest*meanSteps) + 1
		parts  = 600 // of the integral
		top    = 0.6 // cycles a source pixel
		bend   = 0.02
		price  = 1e-3
	)
	targets := mat.NewDense(levels, parts, nil)
	var products [meanTaps]float64 // of waves at two taps, by their distance
	for i := range parts {
		f := (float64(i) + 0.5) / parts * top
		weight := special.Sinc(f) * math.Pow(f*f+bend*bend, -1.5) / parts
		for s := range levels {
			targets.Set(s, i, weight*special.Sinc(f*float64(s)/meanSteps))
		}
		for d := range products {
			products[d] += weight * special.Sinc(f) * math.Cos(2*math.Pi*f*float64(d))
		}
	}
	// Between two taps, weights are interpolated from Chebyshev nodes.
	powers := mat.NewDense(nodes, nodes, nil) // of t − ½, the highest first
	var weights [nodes]mat.Dense              // by the tap and the width
	for n := range nodes {
		t := 0.5 * math.Cos(math.Pi*(float64(n)+0.5)/nodes)
		for j := range nodes {
			powers.Set(n, j, math.Pow(t, float64(meanDegree-j)))
		}
		normal := mat.NewDense(meanTaps+2, meanTaps+2, nil) // bordered for the sum and the ramp
		waves := mat.NewDense(parts, meanTaps, nil)
		for k := range meanTaps {
			d := float64(k-meanTaps/2) + 0.5 - t
			for i := range parts {
				waves.Set(i, k, math.Cos(2*math.Pi*(float64(i)+0.5)/parts*top*d))
			}
			for l := range meanTaps {
				normal.Set(k, l, products[max(k-l, l-k)])
			}
			out := 4 * d * d / (meanTaps * meanTaps)
			normal.Set(k, k, products[0]*(1+price*math.Pow(out, 4)/(1-out)))
			for border, c := range []float64{1, d} {
				normal.Set(k, meanTaps+border, c)
				normal.Set(meanTaps+border, k, c)
			}
		}
		right := mat.NewDense(meanTaps+2, levels, nil)
		right.Slice(0, meanTaps, 0, levels).(*mat.Dense).Mul(waves.T(), targets.T())
		for s := range levels {
			right.Set(meanTaps, s, 1)
		}
		mustSolve(&weights[n], normal, right)
	}
	kernels := make([]*lanes.Kernel, levels)
	for s := range kernels {
		at := mat.NewDense(nodes, meanTaps, nil)
		for n := range nodes {
			for k := range meanTaps {
				at.Set(n, k, weights[n].At(k, s))
			}
		}
		var coefficients mat.Dense
		mustSolve(&coefficients, powers, at)
		rows := make([][]float32, nodes)
		for j := range rows {
			for _, c := range coefficients.RawRowView(j) {
				rows[j] = append(rows[j], float32(c))
			}
		}
		kernels[s] = lanes.NewKernel(meanTaps, rows)
	}
	return kernels
})

// mustSolve solves systems that do not depend on what callers bring.
func mustSolve(x *mat.Dense, a, b mat.Matrix) {
	if err := x.Solve(a, b); err != nil {
		panic("warp: kernels of means: " + err.Error())
	}
}
