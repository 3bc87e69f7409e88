package warp

import (
	"math"
	"unsafe"
)

// MapReport says how well a map was made.
type MapReport struct {
	LargestError   float64 // bounds the error of interpolated positions, source px
	StoredFraction float64 // of the target's pixels, whose positions are stored one by one
	SeenFraction   float64 // of the target's pixels, that see the source
	SmallestScale  float64 // source px per target px along the minor axis, smallest found
	LargestScale   float64 // source px per target px along the major axis, largest found
	Bytes          int     // memory of the map: about 0.16 per pixel, 8 per stored pixel
}

// tally is what one row of cells adds to the report.
type tally struct {
	err             float64
	stored, seen    int
	smallest, major float64 // squares of scales
	minor           float64 // the largest of those along minor axes
}

// add notes the scales of a Jacobian in a cell.
func (t *tally) add(j Jacobian, c *cell) {
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
	t.major = max(t.major, major)
	c.minify = c.minify || major > plainScale*plainScale
}

// measure notes the scales of a cell: at the nodes of a smooth one, at each pixel
// of a stored one.
func (b *builder) measure(row, col int, t *tally, s *scratch) {
	c := b.cell(row, col)
	if c.smooth != nil {
		f := b.frame(row, col)
		for k := range 9 {
			t.add(c.smooth.jacobian(float64(k%3-1), float64(k/3-1), f), c)
		}
	}
	if c.stored == nil {
		return
	}
	for y := b.rowEdges[row]; y < b.rowEdges[row+1]; y++ {
		r := b.runOf(y)
		r.move(b.colEdges[col], b.colEdges[col+1])
		n := r.len()
		r.positions(s.xs[:n], s.ys[:n])
		r.storedJacobians(s.jac[:n])
		for i, j := range s.jac[:n] {
			if s.xs[i] == s.xs[i] && j != (Jacobian{}) {
				t.add(j, c)
			}
		}
	}
}

// sum makes the report of what all rows tell.
func (b *builder) sum() {
	total := tally{smallest: math.Inf(1)}
	for _, t := range b.tally {
		total.err = max(total.err, t.err)
		total.stored += t.stored
		total.seen += t.seen
		total.smallest = min(total.smallest, t.smallest)
		total.major = max(total.major, t.major)
		total.minor = max(total.minor, t.minor)
	}
	if math.IsInf(total.smallest, 1) {
		total.smallest = 0
	}
	bytes := int(unsafe.Sizeof(*b.Map)) + 4*(len(b.colOf)+len(b.rowOf)) + 8*(len(b.colEdges)+len(b.rowEdges))
	bytes += int(unsafe.Sizeof(*b)) + cap(b.seen) + int(unsafe.Sizeof(tally{}))*cap(b.tally)
	b.reads = box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for i := range b.cells {
		c := &b.cells[i]
		switch {
		case c.smooth != nil:
			b.reads.add(c.smooth.x[0], c.smooth.y[0], c.smooth.x.reach(), c.smooth.y.reach())
		case c.stored != nil:
			b.reads.add(c.stored.x, c.stored.y, c.stored.reach, c.stored.reach)
		}
		bytes += int(unsafe.Sizeof(*c))
		if c.spare != nil {
			bytes += int(unsafe.Sizeof(*c.spare)) + 4*cap(c.spare.offsets)
		}
	}
	for _, row := range b.smooth {
		bytes += int(unsafe.Sizeof(smoothCell{})) * cap(row)
	}
	if b.wrap { // positions are anywhere around
		b.reads.x0, b.reads.x1 = 0, float64(b.srcWidth)
	}
	area := float64(b.width) * float64(b.height)
	b.major, b.minor = math.Sqrt(total.major), math.Sqrt(total.minor)
	b.report = MapReport{
		LargestError:   total.err,
		StoredFraction: float64(total.stored) / area,
		SeenFraction:   float64(total.seen) / area,
		SmallestScale:  math.Sqrt(total.smallest),
		LargestScale:   b.major,
		Bytes:          bytes,
	}
}
