package flicker

import (
	"fmt"
	"math"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// Field is the size of a visual field, in blocks. Flashing areas inside of one field add
// up.
type Field struct {
	Width, Height float64 // more than 0, at most 10⁶
}

// FieldAt is the field of 10° by 7.5° at a distance from a screen that is divided into
// blocks.
//
//	10°·distance/width, 7.5°·distance/height     (angles in radians)
//
// At short distances this is a little narrower than the angle straight ahead. Take the
// shortest distance from which anybody looks. A distance outside 0 m to 10⁹ m, 0
// excluded, and blocks outside 1 nm to 10⁶ m are errors, as is a field of more than 10⁶
// blocks.
//
// Source: WCAG 2.2, general flash and red flash thresholds; technique G176.
func FieldAt(distance, blockWidth, blockHeight unit.Length) (Field, error) {
	c := newChecker()
	c.Length("distance", distance, valid.Distances)
	c.Length("block width", blockWidth, blocks)
	c.Length("block height", blockHeight, blocks)
	if !c.OK() {
		return Field{}, c.Err()
	}
	f := Field{
		Width:  float64(10*quantity.Degree) * float64(distance) / float64(blockWidth),
		Height: float64(7.5*quantity.Degree) * float64(distance) / float64(blockHeight),
	}
	f.check(c)
	if !c.OK() {
		return Field{}, c.Err()
	}
	return f, nil
}

var blocks = valid.Closed(unit.Nano*unit.Metre, 1e6*unit.Metre)

func (f Field) check(c *valid.Checker) {
	c.Number("field width", f.Width, "blocks", valid.Above(0.0, 1e6))
	c.Number("field height", f.Height, "blocks", valid.Above(0.0, 1e6))
}

// BlockMeans fills means with the mean colours of columns by rows blocks of a frame. The
// frame holds R, G and B of each pixel, row after row, and means takes R, G and B of each
// block. Blocks differ by at most a pixel in width and height where the frame does not
// divide evenly. NaN and infinities stay what they are.
//
// The frame must be whole rows of width pixels, with at least one pixel for each block;
// columns and rows are 1 to 4096.
func BlockMeans(means, frame []float32, width, columns, rows int) error {
	c := newChecker()
	c.Int("columns", columns, "", 1, maxBlocks)
	c.Int("rows", rows, "", 1, maxBlocks)
	c.Int("width", width, "px", 1, valid.MaxSide)
	if !c.OK() {
		return c.Err()
	}
	height := len(frame) / (3 * width)
	if len(frame) != 3*width*height || width < columns || height < rows {
		c.Fault("frame", fmt.Sprintf("%d numbers", len(frame)), "must be rows of %d × 3, and at least %d × %d px", width, columns, rows)
	}
	if len(means) != 3*columns*rows {
		c.Fault("means", fmt.Sprintf("%d numbers", len(means)), "must be %d × %d × 3", columns, rows)
	}
	if !c.OK() {
		return c.Err()
	}
	for row := range rows {
		top, bottom := begin(row, height, rows), begin(row+1, height, rows)
		for column := range columns {
			left, right := begin(column, width, columns), begin(column+1, width, columns)
			var r, g, b float64
			for y := top; y < bottom; y++ {
				pr, pg, pb := sum(frame[3*(y*width+left) : 3*(y*width+right)])
				r, g, b = r+pr, g+pg, b+pb
			}
			n := float64((bottom - top) * (right - left))
			at := 3 * (row*columns + column)
			means[at], means[at+1], means[at+2] = float32(r/n), float32(g/n), float32(b/n)
		}
	}
	return nil
}

// begin is where a block of a side begins. The product may exceed an int of 32 bits.
func begin(block, side, blocks int) int { return int(int64(block) * int64(side) / int64(blocks)) }

// sum adds up pixels. The two halves keep the adders of the processor busy.
func sum(p []float32) (r, g, b float64) {
	var r0, g0, b0, r1, g1, b1 float64
	for len(p) >= 6 {
		r0, g0, b0 = r0+float64(p[0]), g0+float64(p[1]), b0+float64(p[2])
		r1, g1, b1 = r1+float64(p[3]), g1+float64(p[4]), b1+float64(p[5])
		p = p[6:]
	}
	if len(p) >= 3 {
		r0, g0, b0 = r0+float64(p[0]), g0+float64(p[1]), b0+float64(p[2])
	}
	return r0 + r1, g0 + g1, b0 + b1
}

// fields finds the field that holds most of some blocks.
type fields struct {
	columns, rows int
	field         Field
	xs, ys        []float64 // left and upper edges that a best field may have
	width, height float64   // of a field, inside the picture
	table         []float64 // blocks above and to the left of each corner
}

func newFields(columns, rows int, field Field) *fields {
	f := &fields{columns: columns, rows: rows, field: field, table: make([]float64, (columns+1)*(rows+1))}
	f.width, f.xs = edges(columns, field.Width)
	f.height, f.ys = edges(rows, field.Height)
	return f
}

// edges are the places at which an edge of the field lies on an edge of a block. What a
// field holds is linear in its place between these.
func edges(n int, size float64) (inside float64, at []float64) {
	if size >= float64(n) {
		return float64(n), []float64{0}
	}
	for k := 0; float64(k)+size <= float64(n); k++ {
		at = append(at, float64(k))
	}
	if size != math.Trunc(size) {
		for k := int(math.Ceil(size)); k <= n; k++ {
			at = append(at, float64(k)-size)
		}
	}
	return size, at
}

// most is the largest fraction of a field that the blocks fill.
func (f *fields) most(blocks []bool) float64 {
	across := f.columns + 1
	for y := range f.rows {
		row := 0.0
		for x := range f.columns {
			if blocks[y*f.columns+x] {
				row++
			}
			f.table[(y+1)*across+x+1] = f.table[y*across+x+1] + row
		}
	}
	best := 0.0
	for _, y := range f.ys {
		for _, x := range f.xs {
			best = max(best, f.upTo(x+f.width, y+f.height)-f.upTo(x, y+f.height)-f.upTo(x+f.width, y)+f.upTo(x, y))
		}
	}
	return min(1, best/(f.field.Width*f.field.Height)) // roundings may pass 1
}

// upTo is the area of the blocks above and to the left of a place.
func (f *fields) upTo(x, y float64) float64 {
	i, j := min(int(x), f.columns-1), min(int(y), f.rows-1)
	u, v := x-float64(i), y-float64(j)
	at, across := j*(f.columns+1)+i, f.columns+1
	return (f.table[at]*(1-u)+f.table[at+1]*u)*(1-v) + (f.table[at+across]*(1-u)+f.table[at+across+1]*u)*v
}
