package plate

import (
	"cmp"
	"math"
	"slices"

	"example.com/platewright/internal/parallel"
	"example.com/platewright/internal/plane"
	"example.com/platewright/internal/valid"
)

// LevelSpec says what counts as clipped and crushed. Zero fields stand for the values
// named.
type LevelSpec struct {
	// White is the least code that is clipped; 0 means the largest whole number, or 1
	// for float32. Black is the greatest code that is crushed.
	White, Black float64
	// Cell is the side in pixels of the cells in which areas are found, 8 to 4096; 0
	// means 64.
	Cell int
	// CellFraction is less than the fraction of a cell's samples that makes it part of an
	// area: above 0 and less than 1; 0 means 1/16.
	CellFraction float64
	// Columns gives the columns of a row that hold the picture, from the first to before
	// the end, as those within the image circle of a fisheye. Others are not counted. Nil
	// means all. It is called once for each row, and its answers are cut to the frame.
	Columns func(row int) (from, end int)
}

// Levels is the result of a LevelMeter.
type Levels struct {
	Frames  int
	Samples int64 // of all frames
	// Clipped is what is at White or above, Crushed what is at Black or below.
	Clipped, Crushed Extent

	histogram *histogram // nil: of no frame
}

type histogram struct {
	counts []int64 // by bin
	kind   bins
}

// Extent is how much of a take is clipped or crushed, and where.
type Extent struct {
	Samples  int64   // in all frames
	Fraction float64 // of the samples of all frames
	// Areas are connected cells, the largest first.
	Areas []Area
}

// Area is a connected area of cells, each of which held more than CellFraction at some
// time of the take. Cells that touch at a corner are connected.
type Area struct {
	Region
	// Samples is the sum over cells of the most in one frame.
	Samples int64
	// Frame is that in which one cell held the most of all, counted from 0.
	Frame int
}

// LevelMeter counts the codes of one channel of a take, frame by frame. It keeps a
// histogram and a few counts for each cell.
type LevelMeter[T Sample] struct {
	spec          LevelSpec
	ends          ends
	width, height int
	frames        int
	columns       [][2]int32 // of each row: from, end
	samples       int64      // of a frame
	counts        []int64
	workers       []counter
	clipped       []cell
	crushed       []cell
	totals        [2]int64    // clipped and crushed samples of all frames
	fresh         [2][]uint32 // of this frame: clipped and crushed samples of each cell
}

// cell keeps the most samples of a frame, and which frame.
type cell struct {
	most  uint32
	frame int32
}

type counter struct {
	counts *[1 << 16]uint32
	bad    int // row of a sample that is not finite, +1
}

// NewLevelMeter makes a LevelMeter.
func NewLevelMeter[T Sample](spec LevelSpec) (*LevelMeter[T], error) {
	c := newChecker()
	m := &LevelMeter[T]{ends: newEnds[T](c, spec.White, spec.Black)}
	if spec.Cell == 0 {
		spec.Cell = 64
	}
	if spec.CellFraction == 0 {
		spec.CellFraction = 1. / 16
	}
	c.Int("cell", spec.Cell, "px", 8, 4096)
	c.Number("cell fraction", spec.CellFraction, "", valid.Between(0.0, 1))
	if err := c.Err(); err != nil {
		return nil, err
	}
	m.spec = spec
	return m, nil
}

// Add takes one more frame. Rows are counted in parallel. A frame of another size, or
// with a sample that is not finite, is an error and is left out.
func (m *LevelMeter[T]) Add(frame Plane[T]) error {
	c := newChecker()
	if m == nil || m.spec.Cell == 0 {
		return c.Refuse("meter", "LevelMeter{}", "must come from NewLevelMeter")
	}
	frame.Check(c, "frame", 1)
	if c.OK() && m.frames > 0 {
		plane.SameSize(c, "frame", frame.Width, frame.Height, m.width, m.height)
	}
	if err := c.Err(); err != nil {
		return err
	}
	side := m.spec.Cell
	columns, rows := (frame.Width+side-1)/side, (frame.Height+side-1)/side
	if m.frames == 0 {
		if m.outline(frame.Width, frame.Height); m.samples == 0 {
			c.Fault("columns", "none", "must be some in one row at least")
			return c.Err()
		}
		m.width, m.height = frame.Width, frame.Height
		m.counts = make([]int64, 1<<16)
		m.clipped, m.crushed = make([]cell, columns*rows), make([]cell, columns*rows)
		m.fresh = [2][]uint32{make([]uint32, columns*rows), make([]uint32, columns*rows)}
	}
	workers := parallel.Workers()
	for len(m.workers) < workers {
		m.workers = append(m.workers, counter{counts: new([1 << 16]uint32)})
	}
	parallel.For(workers, rows, func(w, i int) {
		high, low := m.fresh[0][i*columns:(i+1)*columns], m.fresh[1][i*columns:(i+1)*columns]
		clear(high)
		clear(low)
		for y := i * side; y < min((i+1)*side, m.height); y++ {
			row, step := frame.Row(y)
			from, end := int(m.columns[y][0])*step, min(int(m.columns[y][1])*step, len(row))
			if !countRow(m.workers[w].counts, high, low, row, from, end, step, side*step, m.ends) && m.workers[w].bad == 0 {
				m.workers[w].bad = y + 1 // its rows rise
			}
		}
	})
	bad := 0
	for i := range m.workers {
		if b := &m.workers[i].bad; *b > 0 && (bad == 0 || *b < bad) {
			bad = *b
		}
		m.workers[i].bad = 0
	}
	for i := range m.workers {
		counts := m.workers[i].counts
		if bad == 0 {
			for k, n := range counts {
				m.counts[k] += int64(n)
			}
		}
		clear(counts[:])
	}
	if bad > 0 {
		return badRow(frame, bad-1, int(m.columns[bad-1][0]))
	}
	for k, cells := range [][]cell{m.clipped, m.crushed} {
		for i, n := range m.fresh[k] {
			m.totals[k] += int64(n)
			if n > cells[i].most {
				cells[i] = cell{n, int32(m.frames)}
			}
		}
	}
	m.frames++
	return nil
}

// countRow adds the samples of a row to the histogram and to the counts of its cells,
// which take so many samples each, steps included. It reports whether all are finite.
func countRow[T Sample](counts *[1 << 16]uint32, high, low []uint32, row []T, from, end, step, side int, e ends) bool {
	switch row := any(row).(type) {
	case []uint8:
		countWhole(counts, high, low, row, from, end, step, side, e)
	case []uint16:
		countWhole(counts, high, low, row, from, end, step, side, e)
	case []float32:
		white, black := float32(e.white), float32(e.black)
		for k := range high {
			var h, l uint32
			part := cellOf(row, k, side, from, end)
			for i := 0; i < len(part); i += step {
				v := part[i]
				if v != v || v-v != 0 {
					return false
				}
				counts[floatBin(v)]++
				if v >= white {
					h++
				}
				if v <= black {
					l++
				}
			}
			high[k], low[k] = high[k]+h, low[k]+l
		}
	}
	return true
}

func countWhole[T uint8 | uint16](counts *[1 << 16]uint32, high, low []uint32, row []T, from, end, step, side int, e ends) {
	const beyond = 1 << 20 // of all codes
	white, black := int32(math.Ceil(min(max(e.white, -beyond), beyond))), int32(math.Floor(min(max(e.black, -beyond), beyond)))
	for k := range high {
		var h, l uint32
		part := cellOf(row, k, side, from, end)
		for i := 0; i < len(part); i += step {
			v := int32(part[i])
			counts[uint16(v)]++
			if v >= white {
				h++
			}
			if v <= black {
				l++
			}
		}
		high[k], low[k] = high[k]+h, low[k]+l
	}
}

// cellOf is what lies in cell k of the samples of a row from one to before the end.
func cellOf[T Sample](row []T, k, side, from, end int) []T {
	from, end = max(k*side, from), min((k+1)*side, end)
	return row[min(from, end):end]
}

// bins says how codes go to bins of the histogram.
type bins uint8

const (
	wholeBins bins = iota + 1 // one for each number
	floatBins                 // by the upper half of a float32: 1/128 wide or less
)

func floatBin(v float32) uint16 {
	top := uint16(math.Float32bits(v) >> 16)
	if top&0x8000 != 0 {
		return 0x8000 - top&0x7fff // −0 is 0
	}
	return 0x8000 + top
}

// start is the least code of a bin, or for a negative one the greatest.
func (k bins) start(bin int) float64 {
	if k == wholeBins {
		return float64(bin)
	}
	if bin >= 0x8000 {
		return float64(math.Float32frombits(uint32(bin-0x8000) << 16))
	}
	return -float64(math.Float32frombits(uint32(0x8000-bin) << 16))
}

// outline asks for the columns of each row.
func (m *LevelMeter[T]) outline(width, height int) {
	m.columns, m.samples = make([][2]int32, height), 0
	for y := range m.columns {
		from, end := 0, width
		if m.spec.Columns != nil {
			from, end = m.spec.Columns(y)
			from = min(max(from, 0), width)
			end = min(max(end, from), width)
		}
		m.columns[y] = [2]int32{int32(from), int32(end)}
		m.samples += int64(end - from)
	}
}

// Measure gives the levels of the frames so far. No frame at all is an error.
func (m *LevelMeter[T]) Measure() (Levels, error) {
	if m == nil || m.frames == 0 {
		return Levels{}, newChecker().Refuse("frames", "0", "must be at least 1")
	}
	h := &histogram{slices.Clone(m.counts), wholeBins}
	if plane.FullScale[T]() == 1 {
		h.kind = floatBins
	}
	l := Levels{Frames: m.frames, Samples: int64(m.frames) * m.samples, histogram: h}
	l.Clipped, l.Crushed = m.extent(m.clipped, m.totals[0]), m.extent(m.crushed, m.totals[1])
	return l, nil
}

// Percentile is the code that a fraction of the samples does not exceed; that of a
// float32 is nearer to 0 by up to 1/128 of it. ok is false if the fraction is outside 0 to 1
// or l is the zero value.
func (l Levels) Percentile(fraction float64) (code float64, ok bool) {
	if l.histogram == nil || !(fraction >= 0 && fraction <= 1) {
		return 0, false
	}
	want := max(1, int64(math.Ceil(fraction*float64(l.Samples))))
	for bin, n := range l.histogram.counts {
		if want -= n; want <= 0 {
			return l.histogram.kind.start(bin), true
		}
	}
	return 0, false
}

// Count is how many samples have codes of at least from and less than to: a bar of a
// histogram. For float32, from and to may be moved by 1/128 of them.
func (l Levels) Count(from, to float64) (samples int64) {
	if l.histogram == nil {
		return 0
	}
	for bin, n := range l.histogram.counts {
		if v := l.histogram.kind.start(bin); n > 0 && v >= from && v < to {
			samples += n
		}
	}
	return samples
}

// extent gathers the cells that held more than the fraction in a frame, and joins those
// that touch.
func (m *LevelMeter[T]) extent(cells []cell, samples int64) Extent {
	e := Extent{Samples: samples, Fraction: float64(samples) / float64(int64(m.frames)*m.samples)}
	side := m.spec.Cell
	columns, rows := (m.width+side-1)/side, (m.height+side-1)/side
	done := make([]bool, len(cells))
	full := func(i int) bool {
		w, h := min(side, m.width-i%columns*side), min(side, m.height-i/columns*side)
		return float64(cells[i].most) > m.spec.CellFraction*float64(w*h)
	}
	for first := range cells {
		if done[first] || !full(first) {
			continue
		}
		done[first] = true
		area, most := Area{}, uint32(0)
		left, top, right, bottom := columns, rows, 0, 0
		for open := []int{first}; len(open) > 0; {
			i := open[len(open)-1]
			open = open[:len(open)-1]
			x, y := i%columns, i/columns
			left, top, right, bottom = min(left, x), min(top, y), max(right, x), max(bottom, y)
			area.Samples += int64(cells[i].most)
			if cells[i].most > most {
				most, area.Frame = cells[i].most, int(cells[i].frame)
			}
			for v := max(0, y-1); v <= min(rows-1, y+1); v++ {
				for u := max(0, x-1); u <= min(columns-1, x+1); u++ {
					if k := v*columns + u; !done[k] && full(k) {
						done[k] = true
						open = append(open, k)
					}
				}
			}
		}
		area.Region = Region{left * side, top * side, min((right+1)*side, m.width) - left*side, min((bottom+1)*side, m.height) - top*side}
		e.Areas = append(e.Areas, area)
	}
	slices.SortStableFunc(e.Areas, func(a, b Area) int { return cmp.Compare(b.Samples, a.Samples) })
	return e
}
