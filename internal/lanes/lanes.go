// Package lanes holds the inner loops of resampling: from runs of samples to
// float32 values.
//
// On amd64 with AVX2 the loops are assembly, eight float32 lanes wide. On other
// machines, and with the build tag purego, they are Go. Both give the same bits:
// sums are taken in the same order, and nothing is fused.
//
// A loop stays in assembly only if that makes it at least 1.5 times as fast.
// BenchmarkLoops times each in both languages in one run. Last seen with
// go 1.26.8, for one, three and four channels:
//
//	loop         uint8            uint16           float32
//	Nearest      2.3, 3.6, 4.7    2.4, 3.9, 5.1    2.1, 3.7, 5.1
//	Bilinear     2.2, 4.9, 6.3    2.4, 4.8, 6.2    2.7, 4.7, 5.6
//	Window, 4²   7.7, 10, 13      7.9, 10, 12      8.4, 11, 13
//	Window, 8²   11, 13, 15       11, 15, 14       15, 18, 18
//	Window, 16²  15, 15, 15       15, 15, 16       15, 15, 19
//	Sum          7.6, 8.4, 11     8.8, 7.8, 7.6    7.7, 6.8, 10
//	Halve                                          2.7, 6.7, 10
//	Round        5.5, 6.8, 5.6    6.7, 6.8, 6.9    a copy in both
//	Place        3.2
//	Positions    2.9
//
// Windows whose rows lean take 1.6 to 2 times as long as upright ones.
//
// Functions do not check their arguments.
package lanes

import "math"

// Sample is a type of sample.
type Sample interface{ uint8 | uint16 | float32 }

// Width is the number of lanes. Loops read whole vectors of Width samples, and
// so past the last texel of a run: see Bilinear and Window.
const Width = 8

// Raster is samples with their channels interleaved, 1 to 4 of them.
type Raster[T Sample] struct {
	Pix      []T
	Stride   int // samples from one row to the next
	Channels int
}

// Nearest copies n = len(at) texels, those at sample at[i] of the raster. It
// reads Width samples from there on, and takes at, out and ahead as Bilinear does.
func Nearest[T Sample](out []float32, r Raster[T], at []int, ahead int) {
	if len(at) == 0 {
		return
	}
	if accelerated {
		nearestFast(out, r, at, ahead)
		return
	}
	nearestPlain(out, r, at)
}

func nearestPlain[T Sample](out []float32, r Raster[T], at []int) {
	ch := r.Channels
	for i, o := range at {
		if o >= 0 {
			for c, v := range r.Pix[o : o+ch] {
				out[i*ch+c] = float32(v)
			}
		}
	}
}

// Bilinear interpolates n = len(at) pixels between four texels each:
//
//	out = r(0) + u·(r(1) − r(0)),   r(i) = p(i, 0) + v·(p(i, 1) − p(i, 0))
//
// with p(0, 0) at sample at[i] of the raster; pixels with at[i] < 0 are passed
// over, and what stood there is lost. It reads Width samples of both rows from
// there on. out holds n·Channels + 3 values, the last three of which lose what
// they held. Memory is fetched for reads so many samples ahead; it need not be
// the raster's.
func Bilinear[T Sample](out []float32, r Raster[T], at []int, u, v []float32, ahead int) {
	if len(at) == 0 {
		return
	}
	if accelerated {
		bilinearFast(out, r, at, u, v, ahead)
		return
	}
	bilinearPlain(out, r, at, u, v)
}

func bilinearPlain[T Sample](out []float32, r Raster[T], at []int, u, v []float32) {
	ch := r.Channels
	u, v = u[:len(at)], v[:len(at)]
	for i, o := range at {
		if o < 0 {
			continue
		}
		p, q := r.Pix[o:o+2*ch], r.Pix[o+r.Stride:o+r.Stride+2*ch]
		for c := range ch {
			a := Lerp(float32(p[c]), float32(q[c]), v[i])
			b := Lerp(float32(p[c+ch]), float32(q[c+ch]), v[i])
			out[i*ch+c] = Lerp(a, b, u[i])
		}
	}
}

// Lerp is a at t = 0 and, where a = b, everywhere. The conversion keeps
// compilers from fusing.
func Lerp(a, b, t float32) float32 { return a + float32(t*(b-a)) }

// Kernel is a filter along an axis: the weights of its taps, in a table by the
// distance f of a position from the tap before it, 0 to 1, and in between on the
// straight line. The assembly knows the places of the first fields.
type Kernel struct {
	table  *float32 // of rows, for f from 0 to 1 in equal steps, 0 beyond the taps
	pairs  int64    // of taps
	phases float32  // steps
	bytes  int32    // a row

	rows   [][]float32
	copies bool
}

// MaxTaps is the most taps that a kernel has room for.
const MaxTaps = 32

// plan is how the taps of a row lie in vectors: in chunks of eight taps, each of
// them as many vectors as there are channels, but for the last. The assembly
// knows the places of the fields.
type plan struct {
	expand  [4][Width]int32 // lane of the weight that each lane of a vector takes
	last    [Width]uint32   // lanes of the last vector that belong to taps
	all     [Width]uint32   // all lanes
	chunks  int64
	vectors int64 // in the last chunk
}

// plans are by half the number of taps and by the number of channels.
var plans = func() (all [MaxTaps/2 + 1][5]plan) {
	for pairs := 1; pairs <= MaxTaps/2; pairs++ {
		for ch := 1; ch <= 4; ch++ {
			p := &all[pairs][ch]
			p.chunks = int64((2*pairs + Width - 1) / Width)
			rest := 2*pairs*ch - int(p.chunks-1)*Width*ch
			p.vectors = int64((rest + Width - 1) / Width)
			for l := range Width {
				for m := range p.expand {
					p.expand[m][l] = int32(min((m*Width+l)/ch, Width-1))
				}
				p.all[l] = 1<<32 - 1
				if int(p.vectors-1)*Width+l < rest {
					p.last[l] = 1<<32 - 1
				}
			}
		}
	}
	return all
}()

// NewKernel makes a kernel of an even number of taps, 2 to MaxTaps. weights gives
// those at f; it is asked at 0, 1/phases, … 1.
func NewKernel(taps, phases int, weights func(f float64, w []float64)) *Kernel {
	width := (taps + Width - 1) / Width * Width
	table := make([]float32, (phases+1)*width)
	k := &Kernel{table: &table[0], pairs: int64(taps / 2), phases: float32(phases), bytes: int32(4 * width), rows: make([][]float32, phases+1)}
	w := make([]float64, taps)
	for i := range k.rows {
		weights(float64(i)/float64(phases), w)
		k.rows[i] = table[i*width : (i+1)*width]
		for t, v := range w {
			k.rows[i][t] = float32(v)
		}
	}
	k.copies = math.Abs(float64(k.rows[0][taps/2-1]-1)) < 1e-5
	return k
}

// Taps is the number of taps.
func (k *Kernel) Taps() int { return 2 * int(k.pairs) }

// Copies says whether, at the centre of a tap, that one has all of the weight,
// but for rounding.
func (k *Kernel) Copies() bool { return k.copies }

// Weights are those of all taps at a distance f, 0 ≤ f < 1.
func (k *Kernel) Weights(f float32) (w [MaxTaps]float32) {
	f *= k.phases
	i := int(f)
	t := f - float32(i)
	a, b := k.rows[i], k.rows[i+1]
	for j := range a {
		w[j] = Lerp(a[j], b[j], t)
	}
	return w
}

// Reach is the number of samples that a row of taps is read over: those of the
// taps and some behind them.
func (k *Kernel) Reach(ch int) int {
	p := &plans[k.pairs][ch]
	return (int(p.chunks-1)*ch + int(p.vectors)) * Width
}

// Slant is how the rows of a leaning window lie: each is Shift texels further along
// than the one above. The zero value is an upright window.
type Slant struct {
	Shift float32
	room  int // columns before and behind an upright window that the rows need
}

// NewSlant is for windows of so many rows.
func NewSlant(shift float32, rows int) Slant {
	return Slant{shift, int(math.Ceil(math.Abs(float64(shift)) * float64(rows/2)))}
}

// Columns is the number of columns that hold all rows of so many taps.
func (s Slant) Columns(taps int) int {
	if s.Shift == 0 {
		return taps
	}
	return taps + 2*s.room + 1
}

// Row is where row j of n lies in these columns, for fractions u and v of a position:
// the column of the first tap, and how far behind the tap before it the position is.
func (s Slant) Row(j, n int, u, v float32) (column int, f float32) {
	at := u + float32(s.room) + float32(s.Shift*(float32(j-n/2+1)-v))
	column = int(at)
	return column, at - float32(column)
}

// Window filters n = len(at) pixels over rows of taps each, by kernels along the rows
// and down. The rows lie in columns as slant has them, the first of which is at sample
// at[i] of the raster; pixels with at[i] < 0 are left out. It reads Reach samples of
// each row. out and ahead are as for Bilinear. Samples that are not a tap's do not
// count, whatever they are.
func Window[T Sample](out []float32, r Raster[T], along, down *Kernel, slant Slant, at []int, u, v []float32, ahead int) {
	switch leans := slant.Shift != 0; {
	case len(at) == 0:
	case accelerated && leans:
		leanFast(out, r, along, down, slant, at, u, v, ahead)
	case accelerated:
		windowFast(out, r, along, down, at, u, v, ahead)
	case leans:
		leanPlain(out, r, along, down, slant, at, u, v)
	default:
		windowPlain(out, r, along, down, at, u, v)
	}
}

func windowPlain[T Sample](out []float32, r Raster[T], along, down *Kernel, at []int, u, v []float32) {
	ch := r.Channels
	u, v = u[:len(at)], v[:len(at)]
	for i, o := range at {
		if o < 0 {
			continue
		}
		wx, wy := along.Weights(u[i]), down.Weights(v[i])
		// Of each eight taps the columns first, then along the row.
		var sum [4 * Width]float32
		for first := 0; first < along.Taps(); first += Width {
			w := wx[first:min(first+Width, along.Taps())]
			var all [4 * Width]float32
			columns := all[:len(w)*ch]
			for j := 0; j < down.Taps(); j += 2 { // by pairs, in three quarters of the time
				upper, lower := r.Pix[o+j*r.Stride+first*ch:], r.Pix[o+(j+1)*r.Stride+first*ch:]
				upper, lower = upper[:len(columns)], lower[:len(columns)]
				a, b := wy[j], wy[j+1]
				for s := range columns {
					columns[s] = columns[s] + float32(a*float32(upper[s])) + float32(b*float32(lower[s]))
				}
			}
			for x, w := range w {
				for s := x * ch; s < (x+1)*ch; s++ {
					sum[s] += float32(w * columns[s])
				}
			}
		}
		fold(out[i*ch:(i+1)*ch], &sum)
	}
}

func leanPlain[T Sample](out []float32, r Raster[T], along, down *Kernel, slant Slant, at []int, u, v []float32) {
	ch, rows := r.Channels, down.Taps()
	u, v = u[:len(at)], v[:len(at)]
	for i, o := range at {
		if o < 0 {
			continue
		}
		wy := down.Weights(v[i])
		var parts [MaxTaps / Width][4 * Width]float32 // of eight taps each
		for j := range rows {
			column, f := slant.Row(j, rows, u[i], v[i])
			wx := along.Weights(f)
			row := r.Pix[o+j*r.Stride+column*ch:]
			for x, w := range wx[:along.Taps()] {
				part := parts[x/Width][x%Width*ch:][:ch]
				w *= wy[j]
				for c, s := range row[x*ch : (x+1)*ch] {
					part[c] += float32(w * float32(s))
				}
			}
		}
		var sum [4 * Width]float32
		for _, part := range parts[:(along.Taps()+Width-1)/Width] {
			for l := range sum {
				sum[l] += part[l]
			}
		}
		fold(out[i*ch:(i+1)*ch], &sum)
	}
}

// fold adds the eight texels of a sum, in the order of the assembly.
func fold(out []float32, sum *[4 * Width]float32) {
	ch := len(out)
	if ch == 4 { // by vectors of two texels
		for l := range Width {
			sum[l] = sum[l] + sum[l+8] + sum[l+16] + sum[l+24]
		}
		for c := range out {
			out[c] = sum[c] + sum[c+4]
		}
		return
	}
	for l := range 4 * ch {
		sum[l] += sum[l+4*ch]
	}
	switch ch {
	case 3:
		for c := range out {
			out[c] = sum[c] + sum[c+3] + sum[c+6] + sum[c+9]
		}
	default:
		for l := range 2 * ch {
			sum[l] += sum[l+2*ch]
		}
		for c := range out {
			out[c] = sum[c] + sum[c+ch]
		}
	}
}

// Sum weighs runs of samples, the first of which is at sample at[k] of pix, and
// gives one value for each sample of a run:
//
//	out[i] = Σ w[k]·pix[at[k] + i]
//
// It takes ahead as Bilinear does.
func Sum[T Sample](out []float32, pix []T, at []int, w []float32, ahead int) {
	n := 0
	if accelerated {
		n = sumFast(out, pix, at, w, ahead)
	}
	sumPlain(out[n:], pix[n:], at, w)
}

func sumPlain[T Sample](out []float32, pix []T, at []int, w []float32) {
	clear(out)
	for k, o := range at {
		w, run := w[k], pix[o:o+len(out)]
		for i, v := range run {
			out[i] += float32(w * float32(v))
		}
	}
}

// Halve makes n texels of 2n + 2, by weights of 1, 3, 3 and 1 eighths from texel 2i on.
// line has 3 more values, and out loses what it held in its 3 more.
func Halve(out, line []float32, n, ch int) {
	if accelerated && n > 0 {
		halveFast(out, line, n, ch)
		return
	}
	halvePlain(out, line, n, ch)
}

func halvePlain(out, line []float32, n, ch int) {
	out = out[:n*ch]
	for x := range n {
		for o := x * ch; o < (x+1)*ch; o++ {
			p := line[x*ch+o:]
			out[o] = float32((p[0]+p[3*ch])*(1.0/8)) + float32((p[ch]+p[2*ch])*(3.0/8))
		}
	}
}

// Round writes whole numbers, the nearest within the range of T, halves up;
// NaN becomes 0. float32 is copied.
func Round[T Sample](out []T, values []float32) {
	n := 0
	if accelerated {
		n = roundFast(out, values)
	}
	roundPlain(out[n:], values[n:])
}

func roundPlain[T Sample](out []T, values []float32) {
	out = out[:len(values)]
	limit, whole := Limit[T]()
	if !whole {
		copy(any(out).([]float32), values)
		return
	}
	for i, v := range values {
		switch {
		case v >= 0 && v <= limit:
			out[i] = T(int32(v + 0.5))
		case v > limit:
			out[i] = T(limit)
		default:
			out[i] = 0
		}
	}
}

// Limit is the largest whole number that T holds, if it holds whole numbers.
func Limit[T Sample]() (limit float32, whole bool) {
	var zero T
	switch any(zero).(type) {
	case uint8:
		return 255, true
	case uint16:
		return 65535, true
	}
	return 0, false
}
