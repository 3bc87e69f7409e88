package warp

import (
	"math"
	"sync/atomic"
)

// cellSide is the largest side of a cell of a map, in target pixels. Its nodes
// stand at the first, the middle and the last pixel, about 16 px apart.
const cellSide = 32

// Map holds the source position that each target pixel shows.
type Map struct {
	// locate gives the source position of any target position: from target and
	// source, or between pixels.
	locate                func(x, y float64) (sx, sy float64, ok bool)
	margin                marginer // nil: the edges of the raster
	margins, spareMargins atomic.Pointer[margins]

	width, height       int // of the target
	targetWraps         bool
	srcWidth, srcHeight int
	wrap, poles         bool // of the source

	colEdges, rowEdges []int   // cells span [edge[i], edge[i+1])
	colOf, rowOf       []int32 // cell of a target column, of a row
	cells              []cell  // row after row
	maker              *builder

	major, minor float64 // largest scales along major and along minor axes
	reads        box     // holds all source positions
	report       MapReport
}

// box is a part of the source.
type box struct{ x0, y0, x1, y1 float64 }

// add makes it hold what is so far from a position.
func (b *box) add(x, y, byX, byY float64) {
	*b = box{min(b.x0, x-byX), min(b.y0, y-byY), max(b.x1, x+byX), max(b.y1, y+byY)}
}

// within is the part of it that lies in another one or no farther from that.
func (b box) within(a box, margin float64) box {
	return box{max(b.x0, a.x0-margin), max(b.y0, a.y0-margin), min(b.x1, a.x1+margin), min(b.y1, a.y1+margin)}
}

// cell is a rectangle of target pixels. It has one of the two kinds of positions,
// or neither if none of its pixels sees the source.
type cell struct {
	smooth *smoothCell
	stored *storedCell
	minify bool // somewhere in it a scale is above plainScale

	spare *storedCell // memory for stored
}

// smoothCell interpolates positions by biquadratics in u and v. These run from −1
// at the centre of the first pixel to 1 at that of the last.
type smoothCell struct{ x, y biquadratic }

// storedCell keeps the position of every pixel.
type storedCell struct {
	x, y    float64   // position of the first pixel that sees the source
	reach   float64   // largest distance of another position from it
	offsets []float32 // of every pixel from it, x and y by turns; NaN: unseen
}

// biquadratic has the coefficient of uⁱvʲ at 3j+i.
type biquadratic [9]float64

// newBiquadratic has the given values at u, v = −1, 0, 1.
func newBiquadratic(p [9]float64) biquadratic {
	for j := 0; j < 9; j += 3 {
		p[j], p[j+1], p[j+2] = p[j+1], (p[j+2]-p[j])/2, (p[j+2]+p[j])/2-p[j+1]
	}
	for i := range 3 {
		p[i], p[i+3], p[i+6] = p[i+3], (p[i+6]-p[i])/2, (p[i+6]+p[i])/2-p[i+3]
	}
	return p
}

// reach bounds the distance of its values from that at the centre.
func (p *biquadratic) reach() (sum float64) {
	for _, a := range p[1:] {
		sum += math.Abs(a)
	}
	return sum
}

func (p *biquadratic) at(u, v float64) float64 { return p.along(v).at(u) }

// along is the quadratic in u at one v.
func (p *biquadratic) along(v float64) quadratic {
	return quadratic{p[0] + v*(p[3]+v*p[6]), p[1] + v*(p[4]+v*p[7]), p[2] + v*(p[5]+v*p[8])}
}

// slope is the quadratic in u of the derivative by v.
func (p *biquadratic) slope(v float64) quadratic {
	return quadratic{p[3] + 2*v*p[6], p[4] + 2*v*p[7], p[5] + 2*v*p[8]}
}

// quadratic is a₀ + u·(a₁ + u·a₂).
type quadratic [3]float64

func (a quadratic) at(u float64) float64 { return a[0] + u*(a[1]+u*a[2]) }

// derivative is that by u.
func (a quadratic) derivative(u float64) float64 { return a[1] + 2*u*a[2] }

// reach bounds the change between u = 0 and u = ±1.
func (a quadratic) reach() float64 { return math.Abs(a[1]) + math.Abs(a[2]) }

// At gives the source position seen at a target position. ok is false outside the
// target, and where the source does not see. At pixel centres it is what Warp
// uses, within the tolerance of the map.
func (m *Map) At(x, y float64) (sx, sy float64, ok bool) {
	row, col, ok := m.cellAt(x, y)
	if !ok {
		return 0, 0, false
	}
	switch c := m.cell(row, col); {
	case c.smooth != nil:
		sx, sy = m.smoothAt(c.smooth, row, col, x, y)
		return sx, sy, true
	case c.stored != nil:
		return m.locate(x, y)
	}
	return 0, 0, false
}

// Jacobian gives the derivative of the source position at a target position, in a
// cell that is stored pixel by pixel as a difference. ok is false where that of At is.
func (m *Map) Jacobian(x, y float64) (j Jacobian, ok bool) {
	row, col, ok := m.cellAt(x, y)
	if !ok {
		return Jacobian{}, false
	}
	c := m.cell(row, col)
	if c.smooth != nil {
		f := m.frame(row, col)
		u, v := f.uv(x, y)
		return c.smooth.jacobian(u, v, f), true
	}
	if c.stored == nil {
		return Jacobian{}, false
	}
	sx, sy, ok := m.locate(x, y)
	if !ok {
		return Jacobian{}, false
	}
	step := func(dx, dy float64) (ax, ay float64) {
		tx, ty, ok := m.locate(x+dx, y+dy)
		if !ok {
			return math.NaN(), math.NaN()
		}
		return 2 * m.apart(sx, tx), 2 * (ty - sy)
	}
	return joinSteps(0.5, step), true
}

// Report says how well the map was made.
func (m *Map) Report() MapReport {
	if m == nil {
		return MapReport{}
	}
	return m.report
}

// cellAt is the cell of a target position; ok is false outside the target.
func (m *Map) cellAt(x, y float64) (row, col int, ok bool) {
	if m == nil || m.width == 0 || !(x >= 0 && x <= float64(m.width) && y >= 0 && y <= float64(m.height)) {
		return 0, 0, false
	}
	return int(m.rowOf[min(int(y), m.height-1)]), int(m.colOf[min(int(x), m.width-1)]), true
}

func (m *Map) cell(row, col int) *cell { return &m.cells[row*(len(m.colEdges)-1)+col] }

// area is the number of pixels of a cell.
func (m *Map) area(row, col int) int {
	return (m.colEdges[col+1] - m.colEdges[col]) * (m.rowEdges[row+1] - m.rowEdges[row])
}

// cellFrame is the centre of a cell on the target, and half the distances between
// the centres of its first and last pixels. A single pixel has half its own side.
type cellFrame struct{ cx, cy, hx, hy float64 }

func (m *Map) frame(row, col int) (f cellFrame) {
	f.cx, f.hx = middle(m.colEdges, col)
	f.cy, f.hy = middle(m.rowEdges, row)
	return f
}

// middle is the centre and half the width of cell i of a row or a column of cells.
func middle(edges []int, i int) (centre, half float64) {
	a, b := edges[i], edges[i+1]
	return float64(a+b) / 2, max(float64(b-a-1)/2, 0.5)
}

// uv are the coordinates of a target position within the cell.
func (f cellFrame) uv(x, y float64) (u, v float64) { return (x - f.cx) / f.hx, (y - f.cy) / f.hy }

// xy is the target position of coordinates within the cell.
func (f cellFrame) xy(u, v float64) (x, y float64) { return f.cx + u*f.hx, f.cy + v*f.hy }

func (m *Map) smoothAt(c *smoothCell, row, col int, x, y float64) (sx, sy float64) {
	u, v := m.frame(row, col).uv(x, y)
	return m.confine(c.x.at(u, v), c.y.at(u, v))
}

func (c *smoothCell) jacobian(u, v float64, f cellFrame) Jacobian {
	return Jacobian{
		XX: c.x.along(v).derivative(u) / f.hx, XY: c.x.slope(v).at(u) / f.hy,
		YX: c.y.along(v).derivative(u) / f.hx, YY: c.y.slope(v).at(u) / f.hy,
	}
}

// inside brings a position that a source gives into its raster. ok is false if it
// lies outside.
func (m *Map) inside(sx, sy float64) (x, y float64, ok bool) {
	w, h := float64(m.srcWidth), float64(m.srcHeight)
	// Written so that NaN fails.
	if !(sy >= 0 && sy <= h) || !(math.Abs(sx) <= 1<<40) {
		return 0, 0, false
	}
	if m.wrap {
		return wrapTo(sx, w), sy, true
	}
	return sx, sy, sx >= 0 && sx <= w
}

// confine brings an interpolated position into the raster: it may be outside by
// the tolerance, and across a seam by a turn.
func (m *Map) confine(sx, sy float64) (float64, float64) {
	w, h := float64(m.srcWidth), float64(m.srcHeight)
	sy = min(max(sy, 0), h)
	if m.wrap {
		return wrapTo(sx, w), sy
	}
	return min(max(sx, 0), w), sy
}

// wrapTo brings x into [0, w).
func wrapTo(x, w float64) float64 {
	if x >= 0 && x < w {
		return x
	}
	x -= w * math.Floor(x/w)
	if x >= w || x < 0 { // a tiny negative x rounds to w
		return 0
	}
	return x
}

// apart is b − a, the short way round if the source wraps.
func (m *Map) apart(a, b float64) float64 {
	d := b - a
	if m.wrap {
		w := float64(m.srcWidth)
		d -= w * math.Round(d/w)
	}
	return d
}

// marginAt is the distance from a source position to the limit of what the source
// sees. A NaN from the source counts as no margin.
func (m *Map) marginAt(x, y float64) float64 {
	switch {
	case m.margin != nil:
		if d := m.margin.Margin(x, y); d == d {
			return d
		}
		return math.Inf(-1)
	case m.poles:
		return math.Inf(1)
	case m.wrap:
		return min(y, float64(m.srcHeight)-y)
	}
	return min(x, float64(m.srcWidth)-x, y, float64(m.srcHeight)-y)
}

// joinSteps makes a derivative of the steps to the left, right, up and down, each
// scaled to a pixel; step gives NaN if there is none. A direction without any step
// is taken to be at a right angle to the other, as in a map that keeps shapes.
// Without any step at all the result is 0.
func joinSteps(length float64, step func(dx, dy float64) (ax, ay float64)) (j Jacobian) {
	lx, ly := step(-length, 0)
	rx, ry := step(length, 0)
	ux, uy := step(0, -length)
	dx, dy := step(0, length)
	var across, down bool
	j.XX, j.YX, across = joinPair(-lx, -ly, rx, ry)
	j.XY, j.YY, down = joinPair(-ux, -uy, dx, dy)
	switch {
	case !down:
		j.XY, j.YY = -j.YX, j.XX
	case !across:
		j.XX, j.YX = j.YY, -j.XY
	}
	return j
}

// jumps says whether a step of length a crosses a jump, if that on the other side
// has length b. It is false if either is NaN.
func jumps(a, b float64) bool { return a > 2*b+1 }

// joinPair is the mean of the steps to either side of a pixel. If one is missing
// (NaN) or crosses a jump it is the other alone.
func joinPair(ax, ay, bx, by float64) (x, y float64, ok bool) {
	a, b := math.Hypot(ax, ay), math.Hypot(bx, by)
	switch {
	case a != a && b != b:
		return 0, 0, false
	case b != b || jumps(b, a):
		return ax, ay, true
	case a != a || jumps(a, b):
		return bx, by, true
	}
	return (ax + bx) / 2, (ay + by) / 2, true
}
