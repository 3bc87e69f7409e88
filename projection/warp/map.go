package warp

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sync/atomic"
	"unsafe"

	"example.com/platewright/internal/lanes"
	"example.com/platewright/internal/valid"
)

// cellSide is the side of a cell of the map, in target pixels. Nodes stand at
// the first, the middle and the last pixel of a cell, about 16 px apart.
const cellSide = 32

// maxCells bounds the memory of a map, to some gigabytes: far more than any
// wall, and less than a wrong size would ask for.
const maxCells = 1 << 24

// MapOptions govern the building of a map. The zero value is the default.
type MapOptions struct {
	Tolerance float64               // largest error of a position, source px; 0: 1/64
	Workers   int                   // goroutines; 0, or more than GOMAXPROCS: GOMAXPROCS
	Progress  func(done, total int) // called after each piece of work, one call at a time
}

// Map holds the source position of every target pixel. It is immutable and
// safe for concurrent use.
type Map struct {
	// locate finds the source position of a target position where cells do
	// not hold it: from the target and the source, or between pixels.
	locate  func(x, y float64) (sx, sy float64, ok bool)
	margin  marginer // nil: the edges of the raster
	margins atomic.Pointer[[]margins]

	width, height       int // target
	targetWraps         bool
	srcWidth, srcHeight int
	wrap, poles         bool

	colEdges, rowEdges []int   // cells span [edge[i], edge[i+1])
	colOf, rowOf       []int32 // cell of a target column, of a row
	cells              []cell
	exact              [][]float32 // by row of cells: positions of exact cells

	large, minor float64 // largest scales, along major and along minor axes
	report       MapReport
}

// cellKind says how the positions of a cell are found.
type cellKind uint8

const (
	unseen       cellKind = iota // no pixel of it is in the source
	interpolated                 // from its polynomials
	stored                       // evaluated for each pixel when the map was built
)

// cell is a rectangle of target pixels. Its polynomials are biquadratic in
// u, v, which run from −1 at the centre of the first pixel to 1 at the last;
// the coefficient of uⁱvʲ is at 3j+i.
type cell struct {
	x, y   [9]float64
	offset int // into the positions of its row of cells
	kind   cellKind
	minify bool // somewhere in it the filter is wider than bilinear
}

// MapReport says how well a map was made.
type MapReport struct {
	// LargestError bounds the error of a position in interpolated cells, in
	// source px. Where positions were given, it is the largest at any pixel.
	// NewMap derives the bound from eight points a cell. It assumes that the map
	// is smooth within each cell, but for one jump of its curvature.
	LargestError float64

	ExactShare    float64 // share of the target's pixels whose positions are stored one by one
	SeenShare     float64 // share of the target's pixels that see the source
	SmallestScale float64 // source px a target px along the minor axis, smallest found
	LargestScale  float64 // the same along the major axis, largest found
	Bytes         int     // memory of the map
}

// Report says how well the map was made.
func (m *Map) Report() MapReport {
	if m == nil {
		return MapReport{}
	}
	return m.report
}

// NewMap finds where in the source each pixel of the target looks:
//
//	(sx, sy) = source.Project(target.Unproject(x, y))
//
// It evaluates this at three by three nodes of each cell of 32 × 32 target
// pixels and interpolates by a biquadratic, which is exact at the nodes. Eight
// more points inside each cell are evaluated, and the cell's largest error is
// bounded from the errors there. A cell is evaluated pixel by pixel instead where
// the bound exceeds the tolerance, and where the cell holds an edge of what the
// source sees or a pole of a panorama. So are the cells next to an edge when the
// edge reaches into them. Cells end at the breaks of the target. Across the seam
// of a panorama positions are unwrapped before interpolation.
// Positions evaluated one by one are stored as float32 offsets within their
// cell.
//
// Where a source tells its Margin, no limit of it is missed inside what it sees:
// a cell is interpolated only if the margin at its centre is more than twice its
// reach, or if every one of its pixels has been asked. Where it tells its joints
// (Breaks), cells that may come near one are evaluated pixel by pixel. A source
// that tells neither, and one of which the nodes of a cell see nothing, is
// looked at in points 8 px apart: an opening or a hole 11 px across is found, a
// smaller one may go unnoticed.
//
// The cost is about 17 evaluations for 1024 pixels, and 0.15 byte a pixel,
// where the map is smooth; 8 bytes a pixel in exact cells.
//
// It returns the context's error when cancelled.
func NewMap(ctx context.Context, target Target, source Source, opts MapOptions) (*Map, error) {
	c := valid.New("warp", ErrInvalid)
	checkContext(c, ctx)
	if valid.Absent(target) {
		c.Fault("target", "nil", "must be given")
	}
	if valid.Absent(source) {
		c.Fault("source", "nil", "must be given")
	}
	if !c.OK() {
		return nil, c.Err()
	}
	var spec SourceSpec
	spec.Width, spec.Height = source.Size()
	if w, ok := source.(wrapper); ok {
		spec.WrapX = w.WrapX()
	}
	if p, ok := source.(poler); ok {
		spec.WrapY = p.WrapY()
	}
	if m, ok := source.(marginer); ok {
		spec.Margin = m.Margin
	}
	width, height := target.Size()
	var xs, ys []float64
	if b, ok := target.(breaker); ok {
		xs, ys = b.Breaks()
	}
	b := newBuilder(c, width, height, xs, ys, spec, opts)
	if !c.OK() {
		return nil, c.Err()
	}
	if j, ok := source.(breaker); ok {
		b.jointsX, b.jointsY = j.Breaks()
		b.jointed = len(b.jointsX)+len(b.jointsY) > 0
	}
	m := b.Map
	if w, ok := target.(wrapper); ok {
		m.targetWraps = w.WrapX()
	}
	m.locate = func(x, y float64) (sx, sy float64, ok bool) {
		dir, ok := target.Unproject(x, y)
		if !ok {
			return 0, 0, false
		}
		sx, sy, ok = source.Project(dir)
		if !ok {
			return 0, 0, false
		}
		return m.inside(sx, sy)
	}
	rows := len(b.rowEdges) - 1
	var crew crew
	if err := crew.run(ctx, opts.Workers, rows, half(opts.Progress, 0, rows), b.fitRow); err != nil {
		return nil, err
	}
	if err := crew.run(ctx, opts.Workers, rows, half(opts.Progress, rows, rows), b.settleRow); err != nil {
		return nil, err
	}
	b.sum()
	return m, nil
}

// newBuilder begins a map of nothing, or tells c what is wrong.
func newBuilder(c *valid.Checker, width, height int, breaksX, breaksY []float64, source SourceSpec, opts MapOptions) *builder {
	if opts.Tolerance == 0 {
		opts.Tolerance = 1.0 / 64
	}
	checkWorkers(c, opts.Workers)
	c.Number("Tolerance", opts.Tolerance, "px", valid.Closed[float64](1e-9, 1e6))
	c.Int("target width", width, "px", 1, maxSide)
	c.Int("target height", height, "px", 1, maxSide)
	m := &Map{
		width: width, height: height,
		srcWidth: source.Width, srcHeight: source.Height,
		wrap: source.WrapX, poles: source.WrapX && source.WrapY,
	}
	if source.Margin != nil {
		m.margin = marginFunc(source.Margin)
	}
	c.Int("source width", m.srcWidth, "px", 1, maxSide)
	c.Int("source height", m.srcHeight, "px", 1, maxSide)
	if m.poles && m.srcWidth%2 != 0 {
		c.Fault("source width", fmt.Sprintf("%d px", m.srcWidth), "must be even where there are poles")
	}
	if !c.OK() {
		return nil
	}
	m.colEdges, m.rowEdges = divide(m.width, breaksX), divide(m.height, breaksY)
	rows, cols := len(m.rowEdges)-1, len(m.colEdges)-1
	if int64(rows)*int64(cols) > maxCells {
		c.Fault("target", fmt.Sprintf("%d × %d px", m.width, m.height), "must be at most %d cells of %d × %d px", maxCells, cellSide, cellSide)
		return nil
	}
	m.colOf, m.rowOf = cellOf(m.colEdges), cellOf(m.rowEdges)
	m.cells = make([]cell, rows*cols)
	m.exact = make([][]float32, rows)
	b := &builder{Map: m, tolerance: opts.Tolerance, seen: make([]seen, rows*cols), tally: make([]tally, rows)}
	for row := range b.tally {
		b.tally[row].smallest = math.Inf(1)
	}
	return b
}

// divide cuts n pixels into cells, none of which holds a break. A pixel lies
// on the side of a break on which its centre does.
func divide(n int, breaks []float64) (edges []int) {
	cuts := []int{0, n}
	for _, b := range breaks {
		if b > 0 && b < float64(n) {
			cuts = append(cuts, int(math.Ceil(b-0.5)))
		}
	}
	slices.Sort(cuts)
	cuts = slices.Compact(cuts)
	for i, end := range cuts[1:] {
		// Cells of like size, so that none is a sliver.
		side := end - cuts[i]
		for k, count := 0, (side+cellSide-1)/cellSide; k < count; k++ {
			edges = append(edges, cuts[i]+int(int64(k)*int64(side)/int64(count)))
		}
	}
	return append(edges, n)
}

// cellOf is the cell of each pixel between the edges.
func cellOf(edges []int) []int32 {
	of := make([]int32, edges[len(edges)-1])
	for i := range edges[1:] {
		for x := edges[i]; x < edges[i+1]; x++ {
			of[x] = int32(i)
		}
	}
	return of
}

// seen counts which of the points looked at in a cell see the source.
type seen uint8

const (
	none seen = iota
	some
	all
)

// tally is what one row of cells adds to the report.
type tally struct {
	err             float64
	exact, seen     int
	smallest, large float64 // squares of scales
	minor           float64 // the largest of those along minor axes
}

type builder struct {
	*Map
	tolerance        float64
	seen             []seen
	tally            []tally
	jointed          bool // the source has joints
	jointsX, jointsY []float64
}

// inside brings a position that a source gives into its raster, or says that
// it is not there.
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

// apart is the way from a to b, the short way round where the source wraps.
func (m *Map) apart(a, b float64) float64 {
	d := b - a
	if m.wrap {
		w := float64(m.srcWidth)
		d -= w * math.Round(d/w)
	}
	return d
}

// frame gives the raster position of the centre of a cell, and the half-widths
// between the centres of its first and last pixels; of a single pixel, those
// between its edges.
func (m *Map) frame(row, col int) (cx, cy, hx, hy float64) {
	x0, x1 := m.colEdges[col], m.colEdges[col+1]
	y0, y1 := m.rowEdges[row], m.rowEdges[row+1]
	return float64(x0+x1) / 2, float64(y0+y1) / 2, max(float64(x1-x0-1)/2, 0.5), max(float64(y1-y0-1)/2, 0.5)
}

// fitRow evaluates the nodes of a row of cells and fits their polynomials.
func (b *builder) fitRow(row int, _ *scratch) {
	cols := len(b.colEdges) - 1
	t := &b.tally[row]
	for col := range cols {
		i := row*cols + col
		b.seen[i] = b.fit(row, col, &b.cells[i], t)
	}
}

// fit evaluates seventeen points of a cell. Where all see the source, the
// polynomials fit and nothing between the points is amiss, the cell is
// interpolated; where some do, it is left to be stored.
func (b *builder) fit(row, col int, c *cell, t *tally) seen {
	cx, cy, hx, hy := b.frame(row, col)
	var px, py [9]float64
	count := 0
	for k := range 9 {
		x, y, ok := b.locate(cx+float64(k%3-1)*hx, cy+float64(k/3-1)*hy)
		if ok {
			count++
		}
		px[k], py[k] = x, y
	}
	var check [len(checkAt)]struct{ x, y float64 }
	for k := range check {
		x, y, ok := b.locate(cx+checkAt[k].u*hx, cy+checkAt[k].v*hy)
		if ok {
			count++
		}
		check[k].x, check[k].y = x, y
	}
	c.kind = stored
	switch count {
	case 0:
		if b.between(row, col) > 0 {
			return some
		}
		c.kind = unseen
		return none
	case 9 + len(checkAt):
	default:
		return some
	}

	if b.wrap {
		// Around a pole the steps from node to node add up to a whole turn.
		turn := 0.0
		ring := [9]int{0, 1, 2, 5, 8, 7, 6, 3, 0}
		for k := range 8 {
			turn += b.apart(px[ring[k]], px[ring[k+1]])
		}
		if math.Abs(turn) > 1 {
			return all
		}
		centre := px[4]
		for k := range px {
			px[k] = centre + b.apart(centre, px[k])
		}
	}
	quadratic(&px)
	quadratic(&py)
	for k := range check {
		u, v := checkAt[k].u, checkAt[k].v
		check[k].x = b.apart(check[k].x, at(&px, u, v))
		check[k].y = at(&py, u, v) - check[k].y
	}
	worst := missBound(&check)
	if !(worst <= b.tolerance) {
		return all
	}
	switch room := b.room(b.confine(px[0], py[0])); {
	case room >= 2*reach(&px, &py):
	case b.jointed:
		return all
	case b.margin != nil:
		if !b.every(row, col) {
			return some
		}
	case b.between(row, col) < 12:
		return some
	}
	c.kind = interpolated
	c.x, c.y = px, py
	t.err = max(t.err, worst)
	return all
}

// checkAt are the points u, v at which the polynomials of a cell are checked,
// four at ±½ and four nearer to the corners; the cubics p = u − u³ and q = v − v³
// there, and what an error there weighs in the least squares by p and by q. The
// outer four are off the diagonals, on which u³·v − v³·u is 0.
var checkAt = func() (at [8]struct{ u, v, p, q, byP, byQ float64 }) {
	norm := 0.0
	for k := range at {
		u, v := 0.5, 0.5
		if k >= 4 {
			u, v = 0.85, 0.75
		}
		for range k % 4 {
			u, v = -v, u
		}
		c := &at[k]
		c.u, c.v, c.p, c.q = u, v, u-u*u*u, v-v*v*v
		norm += c.p * c.p
	}
	for k := range at {
		at[k].byP, at[k].byQ = at[k].p/norm, at[k].q/norm
	}
	return at
}()

// missBound bounds the error of a cell from its errors e at the points checked.
// Where third derivatives lead, the error of a biquadratic is
//
//	e(u, v) = a·(u − u³) + b·(v − v³)
//
// which is at most |a ± b|·2/√27. a and b are fitted by least squares. What is
// left over, as of a lens table whose curvature jumps within the cell, may be
// larger between the points than at them: in a simulation by a factor of less than
// 3, for cubics with mixed terms and a jump of any place and direction. Several
// jumps that undo each other at all eight points would go unnoticed.
func missBound(e *[len(checkAt)]struct{ x, y float64 }) float64 {
	var ax, ay, bx, by float64
	for k := range e {
		c := &checkAt[k]
		ax, ay, bx, by = ax+c.byP*e[k].x, ay+c.byP*e[k].y, bx+c.byQ*e[k].x, by+c.byQ*e[k].y
	}
	left := 0.0 // squared
	for k := range e {
		c := &checkAt[k]
		x, y := e[k].x-c.p*ax-c.q*bx, e[k].y-c.p*ay-c.q*by
		left = max(left, x*x+y*y)
	}
	// max |a ± b|² = |a|² + |b|² + 2·|a·b|
	lead := ax*ax + ay*ay + bx*bx + by*by + 2*math.Abs(ax*bx+ay*by)
	return math.Sqrt(lead*4/27) + 3*math.Sqrt(left)
}

// room is a way from a source position on which no limit and no joint of the
// source is met, but for the factor 2 that margins may be off by. It is NaN
// where the source does not tell.
func (b *builder) room(x, y float64) float64 {
	if b.margin == nil && !b.poles && !b.jointed {
		return math.NaN()
	}
	room := b.marginAt(x, y)
	for _, j := range b.jointsX {
		if d := math.Abs(b.apart(x, j)); d < room {
			room = d
		}
	}
	for _, j := range b.jointsY {
		if d := math.Abs(y - j); d < room {
			room = d
		}
	}
	return room
}

// reach bounds the way from the centre of a cell to its other positions.
func reach(px, py *[9]float64) float64 {
	var x, y float64
	for k := 1; k < 9; k++ {
		x, y = x+math.Abs(px[k]), y+math.Abs(py[k])
	}
	return math.Hypot(x, y)
}

// between counts those that see the source of the twelve points that, with the
// nodes and the inner four of the points checked, make a grid of five by five.
func (b *builder) between(row, col int) (count int) {
	cx, cy, hx, hy := b.frame(row, col)
	for k := 1; k < 25; k += 2 {
		if _, _, ok := b.locate(cx+(float64(k%5)/2-1)*hx, cy+(float64(k/5)/2-1)*hy); ok {
			count++
		}
	}
	return count
}

// every says whether all pixels of a cell see the source.
func (b *builder) every(row, col int) bool {
	for y := b.rowEdges[row]; y < b.rowEdges[row+1]; y++ {
		for x := b.colEdges[col]; x < b.colEdges[col+1]; x++ {
			if _, _, ok := b.locate(float64(x)+0.5, float64(y)+0.5); !ok {
				return false
			}
		}
	}
	return true
}

// quadratic turns the values at u, v = −1, 0, 1 into coefficients.
func quadratic(p *[9]float64) {
	for j := 0; j < 9; j += 3 {
		p[j], p[j+1], p[j+2] = p[j+1], (p[j+2]-p[j])/2, (p[j+2]+p[j])/2-p[j+1]
	}
	for i := range 3 {
		p[i], p[i+3], p[i+6] = p[i+3], (p[i+6]-p[i])/2, (p[i+6]+p[i])/2-p[i+3]
	}
}

// at evaluates a biquadratic.
func at(p *[9]float64, u, v float64) float64 {
	a0, a1, a2 := along(p, v)
	return a0 + u*(a1+u*a2)
}

// along gives the coefficients in u of a biquadratic at one v.
func along[F float32 | float64](p *[9]F, v float64) (a0, a1, a2 float64) {
	return float64(p[0]) + v*(float64(p[3])+v*float64(p[6])),
		float64(p[1]) + v*(float64(p[4])+v*float64(p[7])),
		float64(p[2]) + v*(float64(p[5])+v*float64(p[8]))
}

// slope gives the coefficients in u of its derivative by v.
func slope(p *[9]float64, v float64) (a0, a1, a2 float64) {
	return p[3] + 2*v*p[6], p[4] + 2*v*p[7], p[5] + 2*v*p[8]
}

// settleRow stores the positions of the cells that are not interpolated.
func (b *builder) settleRow(row int, s *scratch) {
	cols := len(b.colEdges) - 1
	t := &b.tally[row]
	for col := range cols {
		c := b.cell(row, col)
		if c.kind != stored && b.edgeNear(row, col) && !b.uniform(row, col, c.kind != unseen) {
			c.kind = stored
		}
	}
	b.makeRoom(row)
	for col := range cols {
		switch c := b.cell(row, col); c.kind {
		case stored:
			b.store(row, col, c, t, func(x, y int) (sx, sy float64, ok bool) {
				return b.locate(float64(x)+0.5, float64(y)+0.5)
			})
			b.measureStored(row, col, c, t, s)
		case interpolated:
			t.seen += b.area(row, col)
			b.measure(row, col, c, t)
		}
	}
}

// makeRoom takes the memory for the positions of the cells of a row that are to
// be stored, once and for all.
func (b *builder) makeRoom(row int) {
	pixels := 0
	for col := range len(b.colEdges) - 1 {
		if b.cell(row, col).kind == stored {
			pixels += b.area(row, col)
		}
	}
	if pixels > 0 {
		b.exact[row] = make([]float32, 0, 2*pixels)
	}
}

// edgeNear says whether a neighbour of a cell sees more or less than it.
func (b *builder) edgeNear(row, col int) bool {
	cols := len(b.colEdges) - 1
	own := b.seen[row*cols+col]
	for r := max(row-1, 0); r <= min(row+1, len(b.rowEdges)-2); r++ {
		for c := max(col-1, 0); c <= min(col+1, cols-1); c++ {
			if b.seen[r*cols+c] != own {
				return true
			}
		}
	}
	return false
}

// uniform says whether all pixels on the rim of a cell see the source, or none.
func (b *builder) uniform(row, col int, want bool) bool {
	x0, x1 := b.colEdges[col], b.colEdges[col+1]
	y0, y1 := b.rowEdges[row], b.rowEdges[row+1]
	same := func(x, y int) bool {
		_, _, ok := b.locate(float64(x)+0.5, float64(y)+0.5)
		return ok == want
	}
	for x := x0; x < x1; x++ {
		if !same(x, y0) || !same(x, y1-1) {
			return false
		}
	}
	for y := y0; y < y1; y++ {
		if !same(x0, y) || !same(x1-1, y) {
			return false
		}
	}
	return true
}

func (m *Map) area(row, col int) int {
	return (m.colEdges[col+1] - m.colEdges[col]) * (m.rowEdges[row+1] - m.rowEdges[row])
}

// store keeps the position of every pixel of a cell, as the offset from the
// first one that is seen, which stands in the cell's polynomials, as does the
// largest distance from it.
func (b *builder) store(row, col int, c *cell, t *tally, position func(x, y int) (sx, sy float64, ok bool)) {
	x0, x1 := b.colEdges[col], b.colEdges[col+1]
	y0, y1 := b.rowEdges[row], b.rowEdges[row+1]
	nan := float32(math.NaN())
	c.kind = stored
	c.offset = len(b.exact[row])
	c.x, c.y = [9]float64{}, [9]float64{}
	count := 0
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			sx, sy, ok := position(x, y)
			if !ok {
				b.exact[row] = append(b.exact[row], nan, nan)
				continue
			}
			if count == 0 {
				c.x[0], c.y[0] = sx, sy
			}
			count++
			dx, dy := b.apart(c.x[0], sx), sy-c.y[0]
			c.x[1] = max(c.x[1], math.Hypot(dx, dy))
			b.exact[row] = append(b.exact[row], float32(dx), float32(dy))
		}
	}
	if count == 0 {
		c.kind = unseen
		b.exact[row] = b.exact[row][:c.offset]
		return
	}
	t.exact += b.area(row, col)
	t.seen += count
}

// measureStored notes the scales at the pixels of a stored cell.
func (b *builder) measureStored(row, col int, c *cell, t *tally, s *scratch) {
	if c.kind != stored {
		return
	}
	x0, x1 := b.colEdges[col], b.colEdges[col+1]
	for y := b.rowEdges[row]; y < b.rowEdges[row+1]; y++ {
		b.storedRow(c, row, col, y, x0, s.xs[:x1-x0], s.ys[:x1-x0])
		b.storedJacobians(c, row, col, y, x0, x1, s)
		for i := range x1 - x0 {
			if s.xs[i] == s.xs[i] && s.jac[i] != (Jacobian{}) {
				t.scale(s.jac[i], c)
			}
		}
	}
}

// measure notes the scales at the nodes of an interpolated cell.
func (b *builder) measure(row, col int, c *cell, t *tally) {
	_, _, hx, hy := b.frame(row, col)
	ix, iy := 1/hx, 1/hy
	for k := range 9 {
		t.scale(c.jacobian(float64(k%3-1), float64(k/3-1), ix, iy), c)
	}
}

func (t *tally) scale(j Jacobian, c *cell) {
	// As Scales, to 1e-8, in a tenth of the time.
	m := (j.XX*j.XX + j.XY*j.XY + j.YX*j.YX + j.YY*j.YY) / 2
	det := j.XX*j.YY - j.XY*j.YX
	major := m + math.Sqrt(max(m*m-det*det, 0))
	minor := 0.0
	if major > 0 {
		minor = det * det / major
	}
	t.smallest = min(t.smallest, minor)
	t.minor = max(t.minor, minor)
	t.large = max(t.large, major)
	c.minify = c.minify || major > plainScale*plainScale
}

func (b *builder) sum() {
	total := tally{smallest: math.Inf(1)}
	bytes := int(unsafe.Sizeof(*b.Map)) + len(b.cells)*int(unsafe.Sizeof(cell{})) + 4*(len(b.colOf)+len(b.rowOf)) + 8*(len(b.colEdges)+len(b.rowEdges))
	for row, t := range b.tally {
		total.err = max(total.err, t.err)
		total.exact += t.exact
		total.seen += t.seen
		total.smallest = min(total.smallest, t.smallest)
		total.large = max(total.large, t.large)
		total.minor = max(total.minor, t.minor)
		bytes += 4*cap(b.exact[row]) + int(unsafe.Sizeof(b.exact[row]))
	}
	if math.IsInf(total.smallest, 1) {
		total.smallest = 0
	}
	area := float64(b.width) * float64(b.height)
	b.large, b.minor = math.Sqrt(total.large), math.Sqrt(total.minor)
	b.report = MapReport{
		LargestError:  total.err,
		ExactShare:    float64(total.exact) / area,
		SeenShare:     float64(total.seen) / area,
		SmallestScale: math.Sqrt(total.smallest),
		LargestScale:  b.large,
		Bytes:         bytes,
	}
}

// At is the source position seen at a target position. ok is false outside the
// target, and where the source does not see. At the centre of a pixel it is
// what Warp uses, within the tolerance of the map.
func (m *Map) At(x, y float64) (sx, sy float64, ok bool) {
	c, row, col, ok := m.cellAt(x, y)
	if !ok || c.kind == unseen {
		return 0, 0, false
	}
	if c.kind == stored {
		return m.locate(x, y)
	}
	cx, cy, hx, hy := m.frame(row, col)
	u, v := (x-cx)/hx, (y-cy)/hy
	sx, sy = m.confine(at(&c.x, u, v), at(&c.y, u, v))
	return sx, sy, true
}

// Jacobian is the derivative of the source position at a target position. In
// cells that are evaluated pixel by pixel it is a difference over half a pixel
// to either side, or over the side on which the map does not jump. ok is false
// where that of At is.
func (m *Map) Jacobian(x, y float64) (j Jacobian, ok bool) {
	c, row, col, ok := m.cellAt(x, y)
	if !ok || c.kind == unseen {
		return Jacobian{}, false
	}
	if c.kind == interpolated {
		cx, cy, hx, hy := m.frame(row, col)
		ix, iy := 1/hx, 1/hy
		return c.jacobian((x-cx)*ix, (y-cy)*iy, ix, iy), true
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
	return joined(0.5, step), true
}

// joined makes a derivative of steps of a way to the left, right, up and down,
// each scaled to a pixel. A direction without any is taken to be at a right angle
// to the other, as in a map that keeps shapes; without both the result is 0.
func joined(way float64, step func(dx, dy float64) (ax, ay float64)) (j Jacobian) {
	lx, ly := step(-way, 0)
	rx, ry := step(way, 0)
	ux, uy := step(0, -way)
	dx, dy := step(0, way)
	var across, down bool
	j.XX, j.YX, across = difference(-lx, -ly, rx, ry)
	j.XY, j.YY, down = difference(-ux, -uy, dx, dy)
	switch {
	case !down:
		j.XY, j.YY = -j.YX, j.XX
	case !across:
		j.XX, j.YX = j.YY, -j.XY
	}
	return j
}

// difference joins the steps to either side of a pixel: their mean, unless one
// is missing (NaN) or crosses a jump.
func difference(ax, ay, bx, by float64) (x, y float64, ok bool) {
	a, b := math.Hypot(ax, ay), math.Hypot(bx, by)
	switch {
	case a != a && b != b:
		return 0, 0, false
	case b != b || b > 2*a+1:
		return ax, ay, true
	case a != a || a > 2*b+1:
		return bx, by, true
	}
	return (ax + bx) / 2, (ay + by) / 2, true
}

func (m *Map) cellAt(x, y float64) (c *cell, row, col int, ok bool) {
	if m == nil || !(x >= 0 && x <= float64(m.width) && y >= 0 && y <= float64(m.height)) || m.width == 0 {
		return nil, 0, 0, false
	}
	col = int(m.colOf[min(int(x), m.width-1)])
	row = int(m.rowOf[min(int(y), m.height-1)])
	return m.cell(row, col), row, col, true
}

// confine brings an interpolated position into the raster: it may miss by as
// much as the tolerance, and across a seam by a turn.
func (m *Map) confine(sx, sy float64) (float64, float64) {
	w, h := float64(m.srcWidth), float64(m.srcHeight)
	sy = min(max(sy, 0), h)
	if m.wrap {
		return wrapTo(sx, w), sy
	}
	return min(max(sx, 0), w), sy
}

func (c *cell) jacobian(u, v, invX, invY float64) Jacobian {
	_, x1, x2 := along(&c.x, v)
	_, y1, y2 := along(&c.y, v)
	a0, a1, a2 := slope(&c.x, v)
	b0, b1, b2 := slope(&c.y, v)
	return Jacobian{
		XX: (x1 + 2*u*x2) * invX, XY: (a0 + u*(a1+u*a2)) * invY,
		YX: (y1 + 2*u*y2) * invX, YY: (b0 + u*(b1+u*b2)) * invY,
	}
}

func (m *Map) cell(row, col int) *cell { return &m.cells[row*(len(m.colEdges)-1)+col] }

// positions writes the source positions of the target pixels [x0, x1) of row
// y, all of one cell, and says whether there are any.
func (m *Map) positions(row, col, y, x0 int, xs, ys []float64) bool {
	switch c := m.cell(row, col); c.kind {
	case interpolated:
		m.interpolatedRow(c, row, col, y, x0, xs, ys)
	case stored:
		m.storedRow(c, row, col, y, x0, xs, ys)
	default:
		return false
	}
	return true
}

// interpolatedRow writes the source positions of the pixels [x0, x1) of row y.
func (m *Map) interpolatedRow(c *cell, row, col, y, x0 int, xs, ys []float64) {
	cx, cy, hx, hy := m.frame(row, col)
	inv := 1 / hx
	v := (float64(y) + 0.5 - cy) / hy
	u0 := float64(x0) + 0.5 - cx
	a0, a1, a2 := along(&c.x, v)
	b0, b1, b2 := along(&c.y, v)
	w, h := float64(m.srcWidth), float64(m.srcHeight)
	if lanes.Positions(xs, ys, &lanes.Quadratic{a0, a1, a2}, &lanes.Quadratic{b0, b1, b2}, u0, inv, w, h) {
		return
	}
	for i, x := range xs {
		if !(x >= 0 && x < w && ys[i] >= 0 && ys[i] <= h) {
			xs[i], ys[i] = m.confine(x, ys[i])
		}
	}
}

// storedRow writes the positions of the pixels [x0, x1) of row y, NaN where
// nothing is seen.
func (m *Map) storedRow(c *cell, row, col, y, x0 int, xs, ys []float64) {
	p := m.storedAt(c, row, col, x0, y)
	w := float64(m.srcWidth)
	for i := range xs {
		x, y := c.x[0]+float64(p[2*i]), c.y[0]+float64(p[2*i+1])
		if m.wrap {
			x = wrapTo(x, w)
		}
		xs[i], ys[i] = x, y
	}
}

// storedAt is the positions from one pixel of a cell on.
func (m *Map) storedAt(c *cell, row, col, x, y int) []float32 {
	side := m.colEdges[col+1] - m.colEdges[col]
	return m.exact[row][c.offset+2*((y-m.rowEdges[row])*side+x-m.colEdges[col]):]
}

// storedJacobians takes differences between the pixels of the cell, and on its
// rim with those beside it: with a jump on one side both are needed.
func (m *Map) storedJacobians(c *cell, row, col, y, x0, x1 int, s *scratch) {
	left, right := m.colEdges[col], m.colEdges[col+1]-1
	top, bottom := m.rowEdges[row], m.rowEdges[row+1]-1
	for i := range x1 - x0 {
		x := x0 + i
		here := m.storedAt(c, row, col, x, y)
		to := func(tx, ty float64) (dx, dy float64, ok bool) {
			sx, sy, ok := m.locate(tx, ty)
			return m.apart(c.x[0]+float64(here[0]), sx), sy - c.y[0] - float64(here[1]), ok
		}
		step := func(sideX, sideY float64) (dx, dy float64) {
			if x, y := x+int(sideX), y+int(sideY); x >= left && x <= right && y >= top && y <= bottom {
				if p := m.storedAt(c, row, col, x, y); p[0] == p[0] {
					return m.apart(float64(here[0]), float64(p[0])), float64(p[1] - here[1])
				}
			} else if x >= 0 && x < m.width && y >= 0 && y < m.height {
				if dx, dy, ok := to(float64(x)+0.5, float64(y)+0.5); ok {
					return dx, dy
				}
			}
			// No neighbour: as far as the pixel's edge.
			if dx, dy, ok := to(float64(x)+0.5+sideX/2, float64(y)+0.5+sideY/2); ok {
				return 2 * dx, 2 * dy
			}
			return math.NaN(), math.NaN()
		}
		s.jac[i] = joined(1, step)
	}
}

func checkContext(c *valid.Checker, ctx context.Context) {
	if valid.Absent(ctx) {
		c.Fault("ctx", "nil", "must be given")
	}
}

func checkWorkers(c *valid.Checker, n int) { c.Int("Workers", n, "", 0, math.MaxInt) }
