package warp

import (
	"context"
	"fmt"
	"math"
	"slices"

	"example.com/platewright/internal/valid"
)

// maxCells bounds the memory of a map to some gigabytes: far more than any wall
// needs, and less than a wrong size would ask for.
const maxCells = 1 << 24

// MapOptions control how a map is made.
type MapOptions struct {
	Tolerance float64               // largest error of a position, source px; 0: 1/64
	Workers   int                   // goroutines; 0, or more than GOMAXPROCS: GOMAXPROCS
	Progress  func(done, total int) `json:"-"` // called after each piece of work, one call at a time
}

// NewMap makes the map of a target from a source:
//
//	(sx, sy) = source.Project(target.Unproject(x, y))
//
// It evaluates this at 3 × 3 nodes of each cell of 32 × 32 px and interpolates by a
// biquadratic. Eight more points of the cell give a bound for the error.
//
// A cell is stored pixel by pixel if the bound exceeds the tolerance, if it holds a
// pole of a panorama or a limit of what the source sees, if such a limit reaches
// into it from the next cell, or if it may hold a joint (see Source).
//
// No limit of a source with a Margin goes unnoticed. A source without Margin and
// Breaks, and a cell whose nodes see nothing, is looked at in points 8 px apart: an
// opening or a hole of 11 px is found, a smaller one may go unnoticed.
//
// A cell that is stored evaluates 1024 pixels, any other 17 points.
func NewMap(ctx context.Context, target Target, source Source, opts MapOptions) (*Map, error) {
	m := new(Map)
	if err := m.Remake(ctx, target, source, opts); err != nil {
		return nil, err
	}
	return m, nil
}

// Remake makes m the map of a target from a source, as NewMap does, in the memory
// that m has. It is for a map that changes from frame to frame, as that of a wall for
// a moving eye. Nothing may use m meanwhile. After an error or a panic of target or
// source m has no positions.
func (m *Map) Remake(ctx context.Context, target Target, source Source, opts MapOptions) error {
	c := valid.New("warp", ErrInvalid)
	if m == nil {
		c.Fault("map", "nil", "must be a variable of its own")
		return c.Err()
	}
	made := false
	defer func() {
		if !made {
			m.width = 0
		}
	}()
	checkContext(c, ctx)
	if valid.Absent(target) {
		c.Fault("target", "nil", "must be given")
	}
	if valid.Absent(source) {
		c.Fault("source", "nil", "must be given")
	}
	if !c.OK() {
		return c.Err()
	}
	var spec SourceSpec
	spec.Width, spec.Height = source.Size()
	if w, ok := source.(xWrapper); ok {
		spec.WrapX = w.WrapX()
	}
	if w, ok := source.(yWrapper); ok {
		spec.WrapY = w.WrapY()
	}
	width, height := target.Size()
	var xs, ys []float64
	if b, ok := target.(breaker); ok {
		xs, ys = b.Breaks()
	}
	b := m.maker
	if b == nil {
		b = newBuilder(m)
	}
	if !b.begin(c, width, height, xs, ys, spec, opts) {
		return c.Err()
	}
	b.target, b.source, b.locate = target, source, b.throughFn
	b.margin, _ = source.(marginer)
	if j, ok := source.(breaker); ok {
		b.jointsX, b.jointsY = j.Breaks()
	}
	w, ok := target.(xWrapper)
	m.targetWraps = ok && w.WrapX()
	err := b.eachRow(ctx, 0, b.fitFn)
	if err == nil {
		err = b.eachRow(ctx, 1, b.settleFn)
	}
	b.workers.release()
	b.opts.Progress = nil // the caller's
	if err != nil {
		return err
	}
	b.sum()
	made = true
	return nil
}

// builder makes a map. The map keeps it for its memory.
type builder struct {
	*Map
	target           Target
	source           Source
	opts             MapOptions
	seen             []seen         // of each cell
	tally            []tally        // of each row of cells
	smooth           [][]smoothCell // of each row of cells that has such
	jointsX, jointsY []float64
	workers          workers

	// Bound once: binding allocates.
	throughFn       func(x, y float64) (sx, sy float64, ok bool)
	fitFn, settleFn func(row int, s *scratch)
}

func newBuilder(m *Map) *builder {
	b := &builder{Map: m}
	b.throughFn, b.fitFn, b.settleFn = b.through, b.fitRow, b.settleRow
	m.maker = b
	return b
}

// through is the source position of what a target position sees.
func (b *builder) through(x, y float64) (sx, sy float64, ok bool) {
	dir, ok := b.target.Unproject(x, y)
	if !ok {
		return 0, 0, false
	}
	sx, sy, ok = b.source.Project(dir)
	if !ok {
		return 0, 0, false
	}
	return b.inside(sx, sy)
}

// seen counts which of the points looked at in a cell see the source.
type seen uint8

const (
	none seen = iota
	some
	all
)

// begin begins a map without positions, or tells c what is wrong.
func (b *builder) begin(c *valid.Checker, width, height int, breaksX, breaksY []float64, source SourceSpec, opts MapOptions) (ok bool) {
	if opts.Tolerance == 0 {
		opts.Tolerance = 1.0 / 64
	}
	checkWorkers(c, opts.Workers)
	c.Number("Tolerance", opts.Tolerance, "px", valid.Closed[float64](1e-9, 1e6))
	c.Int("target width", width, "px", 1, maxSide)
	c.Int("target height", height, "px", 1, maxSide)
	c.Int("source width", source.Width, "px", 1, maxSide)
	c.Int("source height", source.Height, "px", 1, maxSide)
	poles := source.WrapX && source.WrapY
	if poles && source.Width%2 != 0 {
		c.Fault("source width", fmt.Sprintf("%d px", source.Width), "must be even where there are poles")
	}
	if !c.OK() {
		return false
	}
	m := b.Map
	m.colEdges, m.rowEdges = divide(m.colEdges[:0], width, breaksX), divide(m.rowEdges[:0], height, breaksY)
	rows, cols := len(m.rowEdges)-1, len(m.colEdges)-1
	if int64(rows)*int64(cols) > maxCells {
		c.Fault("target", fmt.Sprintf("%d × %d px", width, height), "must be at most %d cells of %d × %d px", maxCells, cellSide, cellSide)
		return false
	}
	m.width, m.height = width, height
	m.srcWidth, m.srcHeight, m.wrap, m.poles = source.Width, source.Height, source.WrapX, poles
	m.margin = nil
	if source.Margin != nil {
		m.margin = marginFunc(source.Margin)
	}
	if old := m.margins.Swap(nil); old != nil {
		m.spareMargins.Store(old)
	}
	m.colOf, m.rowOf = cellOf(m.colOf, m.colEdges), cellOf(m.rowOf, m.rowEdges)
	m.cells = extend(m.cells, rows*cols)
	for i := range m.cells {
		m.cells[i] = cell{spare: m.cells[i].spare}
	}
	b.opts, b.jointsX, b.jointsY = opts, nil, nil
	b.seen, b.tally, b.smooth = extend(b.seen, rows*cols), extend(b.tally, rows), extend(b.smooth, rows)
	for row := range b.tally {
		b.tally[row] = tally{smallest: math.Inf(1)}
	}
	return true
}

// keep makes a cell smooth.
func (b *builder) keep(row, col int, c *smoothCell) {
	cols := len(b.colEdges) - 1
	if len(b.smooth[row]) != cols {
		b.smooth[row] = extend(b.smooth[row], cols)
	}
	kept := &b.smooth[row][col]
	*kept = *c
	b.cell(row, col).smooth = kept
}

// eachRow works through the rows of cells, in the first or second of two passes.
func (b *builder) eachRow(ctx context.Context, pass int, work func(row int, s *scratch)) error {
	rows := len(b.tally)
	progress := b.opts.Progress
	if progress != nil {
		progress = func(done, _ int) { b.opts.Progress(pass*rows+done, 2*rows) }
	}
	return b.workers.run(ctx, b.opts.Workers, rows, progress, work)
}

// divide cuts n pixels into cells, none of which holds a break, and adds their edges
// to those given. A pixel lies on the side of a break on which its centre does.
func divide(edges []int, n int, breaks []float64) []int {
	var few [8]int
	cuts := append(few[:0], 0, n)
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
func cellOf(of []int32, edges []int) []int32 {
	of = extend(of, edges[len(edges)-1])
	for i := range edges[1:] {
		for x := edges[i]; x < edges[i+1]; x++ {
			of[x] = int32(i)
		}
	}
	return of
}

// fitRow evaluates the nodes of a row of cells and fits their polynomials.
func (b *builder) fitRow(row int, _ *scratch) {
	cols := len(b.colEdges) - 1
	for col := range cols {
		c := b.cell(row, col)
		seen, err := b.fit(row, col, c)
		b.seen[row*cols+col] = seen
		if c.smooth != nil {
			b.tally[row].err = max(b.tally[row].err, err)
		}
	}
}

// fit evaluates seventeen points of a cell and says which see the source. The
// cell becomes smooth, with a bound for its error, if all do, the polynomials fit,
// and no limit or joint can lie between the points.
func (b *builder) fit(row, col int, c *cell) (seen seen, worst float64) {
	f := b.frame(row, col)
	var px, py [9]float64
	count := 0
	for k := range 9 {
		x, y, ok := b.locate(f.xy(float64(k%3-1), float64(k/3-1)))
		if ok {
			count++
		}
		px[k], py[k] = x, y
	}
	var check [len(checkAt)]struct{ x, y float64 }
	for k := range check {
		x, y, ok := b.locate(f.xy(checkAt[k].u, checkAt[k].v))
		if ok {
			count++
		}
		check[k].x, check[k].y = x, y
	}
	switch count {
	case 0:
		if b.between(row, col) > 0 {
			return some, 0
		}
		return none, 0
	case 9 + len(checkAt):
	default:
		return some, 0
	}

	if b.wrap {
		// Around a pole the steps from node to node add up to a whole turn.
		turn := 0.0
		ring := [9]int{0, 1, 2, 5, 8, 7, 6, 3, 0}
		for k := range 8 {
			turn += b.apart(px[ring[k]], px[ring[k+1]])
		}
		if math.Abs(turn) > 1 {
			return all, 0
		}
		centre := px[4]
		for k := range px {
			px[k] = centre + b.apart(centre, px[k])
		}
	}
	smooth := smoothCell{newBiquadratic(px), newBiquadratic(py)}
	for k := range check {
		u, v := checkAt[k].u, checkAt[k].v
		check[k].x = b.apart(check[k].x, smooth.x.at(u, v))
		check[k].y = smooth.y.at(u, v) - check[k].y
	}
	worst = errorBound(&check)
	if !(worst <= b.opts.Tolerance) {
		return all, 0
	}
	switch clear := b.clearance(b.confine(smooth.x[0], smooth.y[0])); {
	case clear >= 2*smooth.reach():
	case len(b.jointsX)+len(b.jointsY) > 0:
		return all, 0
	case b.margin != nil:
		if !b.every(row, col) {
			return some, 0
		}
	case b.between(row, col) < 12:
		return some, 0
	}
	b.keep(row, col, &smooth)
	return all, worst
}

// checkAt are the points u, v at which the polynomials of a cell are checked: four
// at ±½ and four nearer to the corners. p = u − u³ and q = v − v³ are the cubics
// there, byP and byQ what an error there weighs in their least squares. The outer
// four are off the diagonals, on which u³·v − v³·u is 0.
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

// errorBound bounds the error of a cell from its errors e at the points checked.
// If third derivatives lead, the error of a biquadratic is
//
//	e(u, v) = a·(u − u³) + b·(v − v³)
//
// which is at most |a ± b|·2/√27. a and b are fitted by least squares. What is
// left over, as of a lens table whose curvature jumps within the cell, may be
// larger between the points than at them. A simulation gave a factor of less than
// 3, for cubics with mixed terms and a jump of any place and direction. Several
// jumps that undo each other at all eight points would go unnoticed.
func errorBound(e *[len(checkAt)]struct{ x, y float64 }) float64 {
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

// clearance is a distance from a source position within which there is no limit
// and no joint of the source, but for the factor 2 that margins may be off by. It
// is NaN if the source does not tell.
func (b *builder) clearance(x, y float64) float64 {
	if b.margin == nil && !b.poles && len(b.jointsX)+len(b.jointsY) == 0 {
		return math.NaN()
	}
	clear := b.marginAt(x, y)
	for _, j := range b.jointsX {
		if d := math.Abs(b.apart(x, j)); d < clear {
			clear = d
		}
	}
	for _, j := range b.jointsY {
		if d := math.Abs(y - j); d < clear {
			clear = d
		}
	}
	return clear
}

// reach bounds the distance from the position at the centre of the cell to its
// other positions.
func (c *smoothCell) reach() float64 { return math.Hypot(c.x.reach(), c.y.reach()) }

// between counts those that see the source among twelve points. With the nodes
// and the inner four of the points checked they make a grid of five by five.
func (b *builder) between(row, col int) (count int) {
	f := b.frame(row, col)
	for k := 1; k < 25; k += 2 {
		if _, _, ok := b.locate(f.xy(float64(k%5)/2-1, float64(k/5)/2-1)); ok {
			count++
		}
	}
	return count
}

// sees says whether a pixel sees the source.
func (b *builder) sees(x, y int) bool {
	_, _, ok := b.locate(float64(x)+0.5, float64(y)+0.5)
	return ok
}

// every says whether all pixels of a cell see the source.
func (b *builder) every(row, col int) bool {
	for y := b.rowEdges[row]; y < b.rowEdges[row+1]; y++ {
		for x := b.colEdges[col]; x < b.colEdges[col+1]; x++ {
			if !b.sees(x, y) {
				return false
			}
		}
	}
	return true
}

// settleRow stores the positions of the cells that are not smooth, and notes
// scales.
func (b *builder) settleRow(row int, s *scratch) {
	t := &b.tally[row]
	for col := range len(b.colEdges) - 1 {
		c := b.cell(row, col)
		store := c.smooth == nil && b.seenIn(row, col) != none
		if !store && b.limitNear(row, col) {
			store = !b.rimSees(row, col, c.smooth != nil)
		}
		if store {
			b.store(row, col, t, func(x, y int) (sx, sy float64, ok bool) {
				return b.locate(float64(x)+0.5, float64(y)+0.5)
			})
		} else if c.smooth != nil {
			t.seen += b.area(row, col)
		}
		b.measure(row, col, t, s)
	}
}

func (b *builder) seenIn(row, col int) seen { return b.seen[row*(len(b.colEdges)-1)+col] }

// limitNear says whether a neighbour of a cell sees more or less than it.
func (b *builder) limitNear(row, col int) bool {
	for r := max(row-1, 0); r <= min(row+1, len(b.rowEdges)-2); r++ {
		for c := max(col-1, 0); c <= min(col+1, len(b.colEdges)-2); c++ {
			if b.seenIn(r, c) != b.seenIn(row, col) {
				return true
			}
		}
	}
	return false
}

// rimSees says whether all pixels on the rim of a cell see the source, or, if
// want is false, whether none does.
func (b *builder) rimSees(row, col int, want bool) bool {
	x0, x1 := b.colEdges[col], b.colEdges[col+1]
	y0, y1 := b.rowEdges[row], b.rowEdges[row+1]
	for x := x0; x < x1; x++ {
		if b.sees(x, y0) != want || b.sees(x, y1-1) != want {
			return false
		}
	}
	for y := y0; y < y1; y++ {
		if b.sees(x0, y) != want || b.sees(x1-1, y) != want {
			return false
		}
	}
	return true
}

// store makes a stored cell, unless no pixel sees the source.
func (b *builder) store(row, col int, t *tally, position func(x, y int) (sx, sy float64, ok bool)) {
	var c *storedCell
	x0, x1 := b.colEdges[col], b.colEdges[col+1]
	for y := b.rowEdges[row]; y < b.rowEdges[row+1]; y++ {
		for x := x0; x < x1; x++ {
			sx, sy, ok := position(x, y)
			if !ok {
				continue
			}
			if c == nil {
				if c = b.cell(row, col).spare; c == nil {
					c = new(storedCell)
				}
				*c = storedCell{x: sx, y: sy, offsets: extend(c.offsets, 2*b.area(row, col))}
				for i := range c.offsets {
					c.offsets[i] = float32(math.NaN())
				}
			}
			dx, dy := b.apart(c.x, sx), sy-c.y
			c.reach = max(c.reach, math.Hypot(dx, dy))
			i := b.offsetOf(row, col, x, y)
			c.offsets[i], c.offsets[i+1] = float32(dx), float32(dy)
			t.seen++
		}
	}
	into := b.cell(row, col)
	into.smooth, into.stored = nil, c
	if c != nil {
		into.spare = c
		t.stored += b.area(row, col)
	}
}

func checkContext(c *valid.Checker, ctx context.Context) {
	if valid.Absent(ctx) {
		c.Fault("ctx", "nil", "must be given")
	}
}

func checkWorkers(c *valid.Checker, n int) { c.Int("Workers", n, "", 0, math.MaxInt) }
