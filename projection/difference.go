package projection

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// MaxAngularDifference is the largest angle between the directions that two
// cameras give to one raster position, once b is turned so that this largest
// angle is as small as it can be made; turned is the angle of that turn.
//
// It is how to compare calibrations: coefficients that look unlike can be the
// same lens to within what was measured, a shorter focal length makes up for
// some distortion, and a principal point that has moved for a turn of the
// camera. Poses are part of the turn, and positions do not count.
//
// Compared is where both cameras see, on the raster and within the limits of
// both: to compare over a smaller disc, give them a MaxAngle or an image circle.
// ok is false where that is nowhere, where the rasters differ in size, and for
// the zero Camera.
//
// The turn is that of least squares with the weights of the largest angles raised
// until no other turn can do better by more than 1 % at 65 × 65 places, which
// cover the raster, its edges, and the rims of what the cameras see; turned is
// looser, where turns a little apart do as well. From the worst place the largest
// angle is sought uphill: a peak between places that does not reach a neighbour
// is not seen.
//
// Source: G. Wahba, A least squares estimate of satellite attitude, SIAM Review
// 7 (1965), 409, solved by P. Davenport's quaternions; the weights after C. L.
// Lawson (1961); all from memory.
func MaxAngularDifference(a, b Camera) (largest, turned unit.Angle, ok bool) {
	if a.c == nil || b.c == nil || a.c.width != b.c.width || a.c.height != b.c.height {
		return 0, 0, false
	}
	d := commonPlaces(a, b)
	if len(d) == 0 {
		return 0, 0, false
	}
	best, turn, top := math.Inf(1), quat.Number{Real: 1}, 0
	weights := make([]float64, len(d))
	for i := range weights {
		weights[i] = 1
	}
	chords := make([]float64, len(d))
	for range lawsonSteps {
		q, ok := align(d, weights)
		if !ok {
			break
		}
		var most, squares, sum, next float64
		at := 0
		for i, p := range d {
			e := p.chord(q)
			chords[i] = e
			squares += weights[i] * e * e
			sum += weights[i]
			next += weights[i] * e
			if e > most {
				most, at = e, i
			}
		}
		if most < best {
			best, turn, top = most, q, at
		}
		// No rotation makes the largest smaller than the least weighted mean, nor any
		// one than roundings.
		if best <= max(lawsonEnd*math.Sqrt(squares/sum), 1e-15) || !(next > 0) {
			break
		}
		for i, e := range chords {
			weights[i] *= e / next
		}
	}
	best = climb(a, b, turn, d[top], best)
	return unit.Angle(2 * math.Asin(min(best/2, 1))), unit.Angle(2 * math.Atan2(r3.Norm(r3.Vec{X: turn.Imag, Y: turn.Jmag, Z: turn.Kmag}), math.Abs(turn.Real))), true
}

// The weights settle where the largest is at most lawsonEnd times the bound from
// below that they prove.
const (
	lawsonSteps = 1000
	lawsonEnd   = 1.01
)

// A pair is a raster position and its directions in two cameras.
type pair struct {
	x, y float64
	a, b r3.Vec
}

// chord is the length between a and b turned, twice the sine of half the angle.
func (p pair) chord(turn quat.Number) float64 {
	return r3.Norm(r3.Sub(p.a, r3.Rotation(turn).Rotate(p.b)))
}

func pairAt(a, b Camera, x, y float64) (pair, bool) {
	u, okA := a.Unproject(x, y)
	v, okB := b.Unproject(x, y)
	return pair{x, y, u, v}, okA && okB
}

// commonPlaces are the nodes of a grid over the raster that both cameras see,
// and between neighbours of which one is seen the last place that is.
func commonPlaces(a, b Camera) []pair {
	const n = 64
	w, h := float64(a.c.width)/n, float64(a.c.height)/n
	var places []pair
	var seen [n + 1][n + 1]bool
	for i := range n + 1 {
		for j := range n + 1 {
			p, ok := pairAt(a, b, float64(i)*w, float64(j)*h)
			seen[i][j] = ok
			if ok {
				places = append(places, p)
			}
		}
	}
	rim := func(i, j, k, l int) {
		if seen[i][j] == seen[k][l] {
			return
		}
		if seen[k][l] {
			i, j, k, l = k, l, i, j
		}
		in, _ := pairAt(a, b, float64(i)*w, float64(j)*h)
		out := pair{x: float64(k) * w, y: float64(l) * h}
		for range 50 {
			p, ok := pairAt(a, b, (in.x+out.x)/2, (in.y+out.y)/2)
			if ok {
				in = p
			} else {
				out = p
			}
		}
		places = append(places, in)
	}
	for i := range n + 1 {
		for j := range n + 1 {
			if i < n {
				rim(i, j, i+1, j)
			}
			if j < n {
				rim(i, j, i, j+1)
			}
		}
	}
	return places
}

// climb goes from a place uphill to where the chord is longest, in steps that
// halve, and gives the chord there.
func climb(a, b Camera, turn quat.Number, from pair, chord float64) float64 {
	w, h := float64(a.c.width), float64(a.c.height)
	for reach := 1. / 64; reach > 1e-9; {
		moved := false
		for k := range 8 {
			sin, cos := math.Sincos(float64(k) * math.Pi / 4)
			x, y := from.x+reach*w*cos, from.y+reach*h*sin
			p, ok := pairAt(a, b, min(max(x, 0), w), min(max(y, 0), h))
			if !ok {
				continue
			}
			if e := p.chord(turn); e > chord {
				from, chord, moved = p, e, true
				break
			}
		}
		if !moved {
			reach /= 2
		}
	}
	return chord
}

// align is the rotation, as a unit quaternion, that turns each b to its a with
// the least weighted sum of squares: the eigenvector of the largest eigenvalue
// of Davenport's matrix.
func align(d []pair, weights []float64) (quat.Number, bool) {
	var s [3][3]float64 // Σ w a bᵀ
	for i, p := range d {
		w := weights[i]
		a, b := [3]float64{p.a.X, p.a.Y, p.a.Z}, [3]float64{p.b.X, p.b.Y, p.b.Z}
		for j := range 3 {
			for k := range 3 {
				s[j][k] += w * a[j] * b[k]
			}
		}
	}
	trace := s[0][0] + s[1][1] + s[2][2]
	m := mat.NewSymDense(4, nil)
	m.SetSym(0, 0, trace)
	m.SetSym(0, 1, s[2][1]-s[1][2])
	m.SetSym(0, 2, s[0][2]-s[2][0])
	m.SetSym(0, 3, s[1][0]-s[0][1])
	for j := range 3 {
		for k := j; k < 3; k++ {
			v := s[j][k] + s[k][j]
			if j == k {
				v -= trace
			}
			m.SetSym(j+1, k+1, v)
		}
	}
	var e mat.EigenSym
	if !e.Factorize(m, true) {
		return quat.Number{}, false
	}
	var v mat.Dense
	e.VectorsTo(&v)
	q := quat.Number{Real: v.At(0, 3), Imag: v.At(1, 3), Jmag: v.At(2, 3), Kmag: v.At(3, 3)}
	return quat.Scale(1/quat.Abs(q), q), true
}
