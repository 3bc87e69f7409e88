package pattern

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"
)

const (
	core   = 2            // bins around one that a sinusoid fills, under a Hann window
	reach  = 4            // to the last bin that says what surrounds it
	lowest = reach + core // cycles a tile: slower ones are the scene's
	// What the logarithm of a power with an exponential distribution lacks to that of
	// its mean, on average and in the middle.
	meanOfLog   = 0.5772156649015329
	medianOfLog = 0.36651292058166435 // −ln ln 2
	// Power over its surroundings from which on the line towards the origin is looked
	// at: the rest, most of all bins, alarms nobody.
	notable = 3
)

// window is a Hann window of a side of a tile, with its moments about the middle.
type window struct {
	weights []float64
	sum     float64 // of weights
	squares float64 // of their squares
	// The mean of x² under weights and under their squares, about the middle.
	inertia, inertiaOfSquares float64
}

func newWindow(side int) window {
	w := window{weights: make([]float64, side)}
	middle := float64(side-1) / 2
	for i := range w.weights {
		sin := math.Sin(math.Pi * (float64(i) + 0.5) / float64(side))
		v := sin * sin
		x := float64(i) - middle
		w.weights[i] = v
		w.sum += v
		w.squares += v * v
		w.inertia += v * x * x
		w.inertiaOfSquares += v * v * x * x
	}
	w.inertia /= w.sum
	w.inertiaOfSquares /= w.squares
	return w
}

// tile is a square of a picture, as one worker sees it.
type tile struct {
	side   int
	window window
	// The light less its weighted mean, times the window.
	samples []float64
	light   float64 // its sum under the window
	floor   float64 // of the power of a bin: the rounding of samples

	rows    *fourier.FFT
	columns *fourier.CmplxFFT
	half    []complex128 // side rows of side/2+1 coefficients
	column  []complex128
	// The logarithm of power, with a margin of reach around it, and its sums.
	logs, narrow, wide []float64
}

func newTile(side int, w window) *tile {
	n := (side/2 + 1 + 2*reach) * (side + 2*reach)
	return &tile{
		side: side, window: w, samples: make([]float64, side*side),
		rows: fourier.NewFFT(side), columns: fourier.NewCmplxFFT(side),
		half: make([]complex128, side*(side/2+1)), column: make([]complex128, side),
		logs: make([]float64, n), narrow: make([]float64, n), wide: make([]float64, n),
	}
}

// across is the number of columns of logs.
func (t *tile) across() int { return t.side/2 + 1 + 2*reach }

// at is the index into logs of frequency (kx, ky) cycles a tile, kx from −reach to
// side/2 + reach and ky from −reach to side + reach − 1.
func (t *tile) at(kx, ky int) int { return (ky+reach)*t.across() + kx + reach }

// transform fills logs from samples.
func (t *tile) transform() {
	n, bins := t.side, t.side/2+1
	for y := range n {
		t.rows.Coefficients(t.half[y*bins:(y+1)*bins], t.samples[y*n:(y+1)*n])
	}
	for x := range bins {
		for y := range n {
			t.column[y] = t.half[y*bins+x]
		}
		t.columns.Coefficients(t.column, t.column)
		for y, v := range t.column {
			t.logs[t.at(x, y)] = math.Log(real(v)*real(v) + imag(v)*imag(v) + t.floor)
		}
	}
	// The margin: powers of opposite frequencies are equal, and rows repeat.
	for y := range n {
		opposite := (n - y) % n
		for k := 1; k <= reach; k++ {
			t.logs[t.at(-k, y)] = t.logs[t.at(k, opposite)]
			t.logs[t.at(n/2+k, y)] = t.logs[t.at(n/2-k, opposite)]
		}
	}
	across := t.across()
	for k := 1; k <= reach; k++ {
		copy(t.logs[(reach-k)*across:(reach-k+1)*across], t.logs[(n+reach-k)*across:])
		copy(t.logs[(n+reach+k-1)*across:(n+reach+k)*across], t.logs[(reach+k-1)*across:])
	}
	sums(t.narrow, t.logs, across, core)
	sums(t.wide, t.logs, across, reach)
}

// sums fills out with the sums of squares of 2 r + 1 values a side around each value
// that is r and more from the edges.
func sums(out, in []float64, across, r int) {
	rows := len(in) / across
	line := make([]float64, across) // of one row: sums down the columns
	for y := range 2 * r {
		for x, v := range in[y*across : (y+1)*across] {
			line[x] += v
		}
	}
	for y := r; y < rows-r; y++ {
		added := in[(y+r)*across : (y+r+1)*across]
		gone := in[(y-r)*across : (y-r+1)*across]
		var sum float64
		for x, v := range added {
			line[x] += v
			sum += line[x]
			if x >= 2*r {
				out[y*across+x-r] = sum
				sum -= line[x-2*r]
			}
		}
		for x, v := range gone {
			line[x] -= v
		}
	}
}

const surrounding = (2*reach+1)*(2*reach+1) - (2*core+1)*(2*core+1)

// background is the mean power around a frequency, but for the bins that a sinusoid
// fills.
func (t *tile) background(kx, ky int) float64 {
	i := t.fold(kx, ky)
	return math.Exp((t.wide[i]-t.narrow[i])/surrounding + meanOfLog)
}

// along is the power beside a frequency on the line to the origin, as that of an edge.
func (t *tile) along(kx, ky int) float64 {
	x, y := float64(kx), float64(ky)
	if ky > t.side/2 {
		y -= float64(t.side)
	}
	far := math.Hypot(x, y)
	var logs [2 * (reach - core + 2)]float64
	for i := range len(logs) / 2 {
		d := float64(core+1+i) / far
		for sign := range 2 {
			s := 1 + d*float64(2*sign-1)
			logs[2*i+sign] = t.logs[t.fold(int(math.Round(x*s)), int(math.Round(y*s)))]
		}
	}
	slices.Sort(logs[:])
	return math.Exp((logs[len(logs)/2-1]+logs[len(logs)/2])/2 + medianOfLog)
}

// fold is the index into logs of any frequency.
func (t *tile) fold(kx, ky int) int {
	n := t.side
	kx, ky = (kx+n)%n, (ky+2*n)%n
	if kx > n/2 {
		kx, ky = n-kx, (n-ky)%n
	}
	return t.at(kx, ky)
}

// noise is the power that the scene and the noise have at a frequency.
func (t *tile) noise(kx, ky int) float64 {
	return max(t.background(kx, ky), t.along(kx, ky))
}

// score adds to sums how much power stands out of its surroundings at each frequency,
// up to mostScore.
func (t *tile) score(sums []float32) {
	bins := t.side/2 + 1
	for y := range t.side {
		for x := range bins {
			if tooSlow(x, y, t.side) {
				continue
			}
			log := t.logs[t.at(x, y)]
			i := t.at(x, y)
			over := math.Exp(log - (t.wide[i]-t.narrow[i])/surrounding - meanOfLog)
			if over > notable {
				over = min(over, math.Exp(log)/t.along(x, y))
			}
			sums[y*bins+x] += float32(min(over, mostScore))
		}
	}
}

// tooSlow reports whether a frequency is so low that its surroundings hold the mean.
func tooSlow(kx, ky, side int) bool {
	ky = (ky%side + side) % side
	return max(kx, -kx) < lowest && min(ky, side-ky) < lowest
}

// moments are the sums of samples times e^(−2πi f·x) times 1, x, y, x², xy and y²,
// about the middle of the tile.
type moments struct{ s, x, y, xx, xy, yy complex128 }

func (t *tile) moments(fx, fy float64) moments {
	n := t.side
	middle := float64(n-1) / 2
	turn := make([]complex128, n)
	for i := range turn {
		sin, cos := math.Sincos(-2 * math.Pi * fx * (float64(i) - middle))
		turn[i] = complex(cos, sin)
	}
	var m moments
	for j := range n {
		var r0, r1, r2, i0, i1, i2 float64
		for i, v := range t.samples[j*n : (j+1)*n] {
			x := float64(i) - middle
			a, b := v*real(turn[i]), v*imag(turn[i])
			r0, i0 = r0+a, i0+b
			a, b = a*x, b*x
			r1, i1 = r1+a, i1+b
			r2, i2 = r2+a*x, i2+b*x
		}
		y := float64(j) - middle
		sin, cos := math.Sincos(-2 * math.Pi * fy * y)
		e := complex(cos, sin)
		s0, s1, s2 := complex(r0, i0)*e, complex(r1, i1)*e, complex(r2, i2)*e
		c := complex(y, 0)
		m.s += s0
		m.x += s1
		m.y += s0 * c
		m.xx += s2
		m.xy += s1 * c
		m.yy += s0 * c * c
	}
	return m
}

// slopes are a power and its first and second derivatives by the frequency.
type slopes struct{ power, x, y, xx, xy, yy float64 }

func (m moments) power() float64 { return real(m.s)*real(m.s) + imag(m.s)*imag(m.s) }

func (m moments) slopes() slopes {
	dot := func(a, b complex128) float64 { return real(a)*real(b) + imag(a)*imag(b) }
	d := func(v complex128) complex128 { return v * complex(0, -2*math.Pi) }
	dd := func(v complex128) complex128 { return v * complex(-4*math.Pi*math.Pi, 0) }
	return slopes{
		power: m.power(),
		x:     2 * dot(m.s, d(m.x)), y: 2 * dot(m.s, d(m.y)),
		xx: 2 * (dot(d(m.x), d(m.x)) + dot(m.s, dd(m.xx))),
		xy: 2 * (dot(d(m.x), d(m.y)) + dot(m.s, dd(m.xy))),
		yy: 2 * (dot(d(m.y), d(m.y)) + dot(m.s, dd(m.yy))),
	}
}

func (s *slopes) add(t slopes, weight float64) {
	s.power += weight * t.power
	s.x += weight * t.x
	s.y += weight * t.y
	s.xx += weight * t.xx
	s.xy += weight * t.xy
	s.yy += weight * t.yy
}

// step is the way to the top of the logarithm of the power, which is more nearly a
// parabola. ok is false where the slopes know none.
func (s slopes) step() (dx, dy float64, ok bool) {
	x, y := s.x/s.power, s.y/s.power
	xx, xy, yy := s.xx/s.power-x*x, s.xy/s.power-x*y, s.yy/s.power-y*y
	det := xx*yy - xy*xy
	if !(xx < 0 && det > 0) {
		return 0, 0, false
	}
	return (xy*y - yy*x) / det, (xy*x - xx*y) / det, true
}
