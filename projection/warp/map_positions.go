package warp

import (
	"context"
	"fmt"
	"math"

	"example.com/platewright/internal/valid"
)

// SourceSpec describes a source whose positions are given. See Source for the
// methods of the same names.
type SourceSpec struct {
	Width, Height int                        // px
	WrapX         bool                       // the left and right edges meet
	WrapY         bool                       // with WrapX: the top and bottom edges are poles
	Margin        func(x, y float64) float64 `json:"-"` // px; nil: the edges of the raster are the limits
}

// marginFunc is a Margin without a Source.
type marginFunc func(x, y float64) float64

func (f marginFunc) Margin(x, y float64) float64 { return f(x, y) }

// Positions are the source positions of the pixels of a target, in source pixels,
// row after row. A pixel sees nothing if either coordinate is NaN, or if the
// position lies outside the source.
type Positions[T float32 | float64] struct {
	Width, Height int // of the target, px
	X, Y          []T
}

// NewMapFromPositions makes a map of positions that come from elsewhere, as from a
// calibration. A cell of 32 × 32 px is interpolated by a biquadratic, fitted by
// weighted least squares, if that meets every pixel within the tolerance. Else it is
// stored pixel by pixel, as float32 offsets within the cell.
//
// Between pixel centres of stored cells Map.At is bilinear. A step between
// neighbouring pixels counts as a jump if it is over 1 px longer than twice the
// step on the other side. Positions are not mixed across a jump.
func NewMapFromPositions[T float32 | float64](ctx context.Context, p Positions[T], source SourceSpec, opts MapOptions) (*Map, error) {
	c := valid.New("warp", ErrInvalid)
	checkContext(c, ctx)
	width, height := p.Width, p.Height
	for _, s := range []struct {
		name string
		n    int
	}{{"X", len(p.X)}, {"Y", len(p.Y)}} {
		if int64(s.n) != int64(p.Width)*int64(p.Height) {
			c.Fault(s.name, fmt.Sprintf("%d positions", s.n), "must be %d × %d", p.Width, p.Height)
			width, height = 1, 1 // take no memory for what is not there
		}
	}
	b := newBuilder(new(Map))
	if !b.begin(c, width, height, nil, nil, source, opts) {
		return nil, c.Err()
	}
	err := b.eachRow(ctx, 0, func(row int, _ *scratch) {
		b.settleKnown(row, func(x, y int) (sx, sy float64, ok bool) {
			i := y*p.Width + x
			return b.inside(float64(p.X[i]), float64(p.Y[i]))
		})
	})
	if err != nil {
		return nil, err
	}
	return b.finishKnown(ctx)
}

// finishKnown notes the scales of a map whose rows of cells are all settled.
func (b *builder) finishKnown(ctx context.Context) (*Map, error) {
	m := b.Map
	m.locate = m.amongPixels
	err := b.eachRow(ctx, 1, func(row int, s *scratch) {
		for col := range len(m.colEdges) - 1 {
			b.measure(row, col, &b.tally[row], s)
		}
	})
	if err != nil {
		return nil, err
	}
	b.sum()
	return m, nil
}

// settleKnown makes a row of cells of the positions of all of its pixels.
func (b *builder) settleKnown(row int, position func(x, y int) (sx, sy float64, ok bool)) {
	t := &b.tally[row]
	var f fitting
	for col := range len(b.colEdges) - 1 {
		if smooth, worst := b.fitKnown(row, col, &f, position); smooth != nil {
			b.keep(row, col, smooth)
			t.err = max(t.err, worst)
			t.seen += b.area(row, col)
		} else {
			b.store(row, col, t, position)
		}
	}
}

// fitting is the positions of a cell as offsets from one of its pixels.
type fitting struct {
	x, y [cellSide * cellSide]float64
}

// fitKnown fits a cell by least squares and gives its largest error. It gives nil
// if a pixel does not see the source or is missed by more than the tolerance.
func (b *builder) fitKnown(row, col int, f *fitting, position func(x, y int) (sx, sy float64, ok bool)) (c *smoothCell, worst float64) {
	x0, x1 := b.colEdges[col], b.colEdges[col+1]
	y0, y1 := b.rowEdges[row], b.rowEdges[row+1]
	nx, ny := x1-x0, y1-y0
	centreX, centreY, ok := position((x0+x1)/2, (y0+y1)/2)
	if !ok {
		return nil, 0
	}
	for y := range ny {
		for x := range nx {
			sx, sy, ok := position(x0+x, y0+y)
			if !ok {
				return nil, 0
			}
			f.x[y*nx+x], f.y[y*nx+x] = b.apart(centreX, sx), sy-centreY
		}
	}
	if b.wrap && f.turns(b.Map, nx, ny) {
		return nil, 0
	}
	across, down := newStations(nx), newStations(ny)
	c = &smoothCell{leastSquares(f.x[:nx*ny], across, down), leastSquares(f.y[:nx*ny], across, down)}
	for y := range ny {
		atX, atY := c.x.along(down.u[y]), c.y.along(down.u[y])
		for x := range nx {
			u := across.u[x]
			ex, ey := atX.at(u)-f.x[y*nx+x], atY.at(u)-f.y[y*nx+x]
			worst = max(worst, ex*ex+ey*ey)
		}
	}
	worst = math.Sqrt(worst)
	if worst > b.opts.Tolerance {
		return nil, 0
	}
	c.x[0] += centreX
	c.y[0] += centreY
	return c, worst
}

// turns says whether the steps along the rim of a cell add up to a turn, as
// around a pole.
func (f *fitting) turns(m *Map, nx, ny int) bool {
	sum, last := 0.0, f.x[0]
	step := func(i int) {
		sum += m.apart(last, f.x[i])
		last = f.x[i]
	}
	for x := range nx {
		step(x)
	}
	for y := range ny {
		step(y*nx + nx - 1)
	}
	for x := nx - 1; x >= 0; x-- {
		step((ny-1)*nx + x)
	}
	for y := ny - 1; y >= 0; y-- {
		step(y * nx)
	}
	return math.Abs(sum) > 1
}

// stations are n points evenly from u = −1 to 1; one point is at 0. They have the
// weights of Chebyshev's polynomials, which make the largest miss of a fit, at
// the ends, nearly as small as it can be.
type stations struct {
	n          int
	u, w       [cellSide]float64
	w0, w2, w4 float64 // sums of w, wu², wu⁴
}

func newStations(n int) *stations {
	g := &stations{n: n}
	half := max(float64(n-1)/2, 0.5)
	for k := range n {
		u := (float64(k) - float64(n-1)/2) / half
		t := (float64(2*k+1) - float64(n)) / float64(n)
		w := 1 / math.Sqrt(1-t*t)
		g.u[k], g.w[k] = u, w
		g.w0, g.w2, g.w4 = g.w0+w, g.w2+w*u*u, g.w4+w*u*u*u*u
	}
	return g
}

// fit is the parabola of least squares through values at the points,
// of which it needs the sums Σwf, Σwuf, Σwu²f: a line through two, a constant
// through one.
func (g *stations) fit(f0, f1, f2 float64) (a0, a1, a2 float64) {
	if g.n > 1 {
		a1 = f1 / g.w2
	}
	if g.n > 2 {
		a2 = (g.w0*f2 - g.w2*f0) / (g.w0*g.w4 - g.w2*g.w2)
	}
	return (f0 - a2*g.w2) / g.w0, a1, a2
}

// leastSquares is the biquadratic nearest to values at two grids, first along the
// rows and then down the columns of what came of them.
func leastSquares(values []float64, across, down *stations) (p biquadratic) {
	var sums [3][3]float64 // of the i-th coefficients of the rows, times vʲ
	for y := range down.n {
		var f0, f1, f2 float64
		for x, f := range values[y*across.n : (y+1)*across.n] {
			u := across.u[x]
			f *= across.w[x]
			f0, f1, f2 = f0+f, f1+u*f, f2+u*u*f
		}
		var a [3]float64
		a[0], a[1], a[2] = across.fit(f0, f1, f2)
		v := down.u[y]
		for i, a := range a {
			a *= down.w[y]
			sums[i][0], sums[i][1], sums[i][2] = sums[i][0]+a, sums[i][1]+v*a, sums[i][2]+v*v*a
		}
	}
	for i, s := range sums {
		p[i], p[3+i], p[6+i] = down.fit(s[0], s[1], s[2])
	}
	return p
}

// pixel is the position of a target pixel, which need not be within the target.
func (m *Map) pixel(i, j int) (sx, sy float64, ok bool) {
	if i < 0 || i >= m.width || j < 0 || j >= m.height {
		return 0, 0, false
	}
	row, col := int(m.rowOf[j]), int(m.colOf[i])
	switch c := m.cell(row, col); {
	case c.smooth != nil:
		sx, sy = m.smoothAt(c.smooth, row, col, float64(i)+0.5, float64(j)+0.5)
		return sx, sy, true
	case c.stored != nil:
		p := c.stored.offsets[m.offsetOf(row, col, i, j):]
		if p[0] != p[0] {
			return 0, 0, false
		}
		sx, sy = m.confine(c.stored.x+float64(p[0]), c.stored.y+float64(p[1]))
		return sx, sy, true
	}
	return 0, 0, false
}

// amongPixels is the position at (x, y) of a map of which only the pixels are
// known: bilinear between their centres, from the pixel that holds (x, y)
// towards the neighbours on the side of (x, y).
func (m *Map) amongPixels(x, y float64) (sx, sy float64, ok bool) {
	if !(x >= 0 && x <= float64(m.width) && y >= 0 && y <= float64(m.height)) {
		return 0, 0, false
	}
	i, j := min(int(x), m.width-1), min(int(y), m.height-1)
	sx, sy, ok = m.pixel(i, j)
	if !ok {
		return 0, 0, false
	}
	u, v := x-float64(i)-0.5, y-float64(j)-0.5
	if u == 0 && v == 0 {
		return sx, sy, true
	}
	// step goes from the pixel to another.
	step := func(di, dj int) (dx, dy float64) {
		tx, ty, ok := m.pixel(i+di, j+dj)
		if !ok {
			return math.NaN(), math.NaN()
		}
		return m.apart(sx, tx), ty - sy
	}
	du, dv := 1, 1
	if u < 0 {
		u, du = -u, -1
	}
	if v < 0 {
		v, dv = -v, -1
	}
	ax, ay, joinedX := side(step, du, 0)
	bx, by, joinedY := side(step, 0, dv)
	dx, dy := u*ax+v*bx, u*ay+v*by
	if joinedX && joinedY {
		cx, cy := step(du, dv)
		cx, cy = cx-ax-bx, cy-ay-by
		if math.Hypot(cx, cy) <= math.Hypot(ax, ay)+math.Hypot(bx, by)+1 { // NaN fails
			dx, dy = dx+u*v*cx, dy+u*v*cy
		}
	}
	return m.inside(sx+dx, sy+dy)
}

// side is the step to the neighbour on one side, or, where there is none or a
// jump lies between, that from the other side; joined says which.
func side(step func(di, dj int) (dx, dy float64), di, dj int) (dx, dy float64, joined bool) {
	ax, ay := step(di, dj)
	bx, by := step(-di, -dj)
	a, b := math.Hypot(ax, ay), math.Hypot(bx, by)
	switch {
	case a != a && b != b:
		return 0, 0, false
	case a != a || jumps(a, b):
		return -bx, -by, false
	}
	return ax, ay, true
}
