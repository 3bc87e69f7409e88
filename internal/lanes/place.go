package lanes

import "math"

// Positions are rounded to 2⁻²⁰ px: 2⁻²¹ px of error, and in exchange the
// rounding errors of a map are gone, so that a map onto itself copies bits.
// Adding snapper leaves the position in the low bits of a float64.
const (
	snapBits = 20
	snapOne  = 1 << snapBits
	snapper  = 3 << (51 - snapBits)
)

// Snap splits a position, |x| < 2³⁰, into whole pixels and a fraction, a
// multiple of 2⁻²⁰.
func Snap(x float64) (whole int, fraction float32) {
	bits := int64(math.Float64bits(x+snapper)&(1<<52-1)) - 1<<51
	return int(bits >> snapBits), float32(bits&(snapOne-1)) * (1.0 / snapOne)
}

// Grid is where a rectangle of taps finds room in a raster. The assembly knows the
// places of the fields.
type Grid struct {
	beforeX, beforeY float64 // from the corner of the first tap to that between the inner ones, and half a pixel
	columns, rows    float64 // of places for the first tap
	stride, channels int64
	last             int64 // the last place at which the loops stay inside
}

// NewGrid is for a raster of w by h texels in r, and rectangles of taps along the
// rows and down whose rows are read over reach samples. One tap is the texel that
// holds the position.
func NewGrid[T Sample](r Raster[T], w, h, along, down, reach int) Grid {
	return Grid{
		beforeX: max(float64(along/2)-0.5, 0), beforeY: max(float64(down/2)-0.5, 0),
		columns: float64(w - along + 1), rows: float64(h - down + 1),
		stride: int64(r.Stride), channels: int64(r.Channels),
		last: int64(len(r.Pix) - (down-1)*r.Stride - reach),
	}
}

// Place finds the rectangle of taps around each of n = len(at) positions: the
// place of the first, and how far behind the tap before it the position is. at
// is −1 where the taps, or what is read of them, are not all inside, where the
// position is NaN, and on rows and columns of texel centres; all says that none
// is.
func Place(at []int, us, vs []float32, xs, ys []float64, g *Grid) (all bool) {
	n := 0
	all = true
	if accelerated {
		n, all = placeFast(at, us, vs, xs, ys, g)
	}
	return placePlain(at[n:], us[n:], vs[n:], xs[n:], ys[n:], g) && all
}

func placePlain(at []int, us, vs []float32, xs, ys []float64, g *Grid) (all bool) {
	all = true
	us, vs, xs, ys = us[:len(at)], vs[:len(at)], xs[:len(at)], ys[:len(at)]
	for i := range at {
		at[i] = -1
		x, y := xs[i]-g.beforeX, ys[i]-g.beforeY
		if !(x >= 0 && x < g.columns && y >= 0 && y < g.rows) { // NaN fails
			all = false
			continue
		}
		ix, fx := Snap(x)
		iy, fy := Snap(y)
		o := int64(iy)*g.stride + int64(ix)*g.channels
		// The last step of rounding may reach the next column or row.
		if fx == 0 || fy == 0 || o > g.last {
			all = false
			continue
		}
		at[i], us[i], vs[i] = int(o), fx, fy
	}
	return all
}

// Quadratic is a₀ + u·(a₁ + u·a₂).
type Quadratic [3]float64

// Positions evaluates two quadratics at u = (from + i)·step, and says whether
// all are within [0, w) and [0, h].
func Positions(xs, ys []float64, x, y *Quadratic, from, step, w, h float64) (within bool) {
	n := 0
	within = true
	if accelerated {
		n, within = positionsFast(xs, ys, x, y, from, step, w, h)
	}
	return positionsPlain(xs, ys, n, x, y, from, step, w, h) && within
}

func positionsPlain(xs, ys []float64, begin int, x, y *Quadratic, from, step, w, h float64) bool {
	within := true
	ys = ys[:len(xs)]
	for i := begin; i < len(xs); i++ {
		u := (from + float64(i)) * step
		px := x[0] + float64(u*(x[1]+float64(u*x[2])))
		py := y[0] + float64(u*(y[1]+float64(u*y[2])))
		xs[i], ys[i] = px, py
		within = within && px >= 0 && px < w && py >= 0 && py <= h
	}
	return within
}
