package pattern

import (
	"math"
	"slices"
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
	light   float64 // of a tile of samples of 1
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
	w.light = w.sum * w.sum
	w.inertia /= w.sum
	w.inertiaOfSquares /= w.squares
	return w
}

// tile is a square of a picture.
type tile struct {
	side    int
	window  window
	samples []float64 // light over its weighted mean, less 1, times the window
	floor   float64   // of the power of a bin: the rounding of samples
	// The logarithm of power and that of its background, with a margin of reach around.
	logs, ring []float64
}

func newTile(side int, w window) *tile {
	n := (side/2 + 1 + 2*reach) * (side + 2*reach)
	return &tile{side: side, window: w, samples: make([]float64, side*side), logs: make([]float64, n), ring: make([]float64, n)}
}

// workspace is what one worker needs to transform tiles.
type workspace struct {
	turns        []complex128 // e^(−2πi k/side)
	a, b         []complex128
	narrow, wide []float64
}

func newWorkspace(side int) *workspace {
	n := (side/2 + 1 + 2*reach) * (side + 2*reach)
	w := &workspace{
		turns: make([]complex128, side), a: make([]complex128, side*(side/2+1)), b: make([]complex128, side*(side/2+1)),
		narrow: make([]float64, n), wide: make([]float64, n),
	}
	for k := range w.turns {
		sin, cos := math.Sincos(-2 * math.Pi * float64(k) / float64(side))
		w.turns[k] = complex(cos, sin)
	}
	return w
}

// down is the number of values of logs for one kx.
func (t *tile) down() int { return t.side + 2*reach }

// at is the index into logs of frequency (kx, ky) cycles a tile, kx from −reach to
// side/2 + reach and ky from −reach to side + reach − 1.
func (t *tile) at(kx, ky int) int { return (kx+reach)*t.down() + ky + reach }

// transform fills logs and ring from samples.
func (t *tile) transform(w *workspace) {
	n, half := t.side, t.side/2
	// Down the columns, two neighbours at once as the parts of a complex number.
	a := w.a[:n*half]
	for i := range a {
		a[i] = complex(t.samples[2*i], t.samples[2*i+1])
	}
	columns, lines := fourier(a, w.b[:n*half], w.turns, half), w.b
	if &columns[0] == &w.b[0] {
		lines = w.a
	}
	// Taken apart, since opposite frequencies of a real column are conjugate: lines holds
	// for each column its frequencies down from 0 to half.
	bins := half + 1
	for ky := range bins {
		z, opposite := columns[ky*half:(ky+1)*half], columns[(n-ky)%n*half:][:half]
		for k, v := range z {
			o := opposite[k]
			lines[2*k*bins+ky] = complex((real(v)+real(o))/2, (imag(v)-imag(o))/2)
			lines[(2*k+1)*bins+ky] = complex((imag(v)+imag(o))/2, (real(o)-real(v))/2)
		}
	}
	other := w.a
	if &lines[0] == &w.a[0] {
		other = w.b
	}
	all := fourier(lines, other, w.turns, bins) // bins frequencies down for each of n across
	for x := range bins {
		out := t.logs[t.at(x, 0):][:n]
		opposite := all[(n-x)%n*bins:][:bins]
		for y, v := range all[x*bins : (x+1)*bins] {
			out[y] = math.Log(real(v)*real(v) + imag(v)*imag(v) + t.floor)
			if y > 0 && y < half {
				o := opposite[y]
				out[n-y] = math.Log(real(o)*real(o) + imag(o)*imag(o) + t.floor)
			}
		}
	}
	// The margin: powers of opposite frequencies are equal, and columns repeat.
	for y := range n {
		opposite := (n - y) % n
		for k := 1; k <= reach; k++ {
			t.logs[t.at(-k, y)] = t.logs[t.at(k, opposite)]
			t.logs[t.at(half+k, y)] = t.logs[t.at(half-k, opposite)]
		}
	}
	down := t.down()
	for i := 0; i < len(t.logs); i += down {
		line := t.logs[i : i+down]
		copy(line[:reach], line[n:])
		copy(line[n+reach:], line[reach:2*reach])
	}
	sums(w.narrow, t.logs, down, core)
	sums(w.wide, t.logs, down, reach)
	for i, v := range w.wide {
		t.ring[i] = (v-w.narrow[i])/surrounding + meanOfLog
	}
}

// fourier transforms sequences that stand side by side: number k of a sequence is
// stride from number k + 1, and there are stride sequences of len(turns) numbers. The
// result is in x or in y; the other one is overwritten. The length is a power of 2, 4
// or more (the method of T. G. Stockham, with a radix of 4).
func fourier(x, y, turns []complex128, stride int) []complex128 {
	left := len(turns) // of the length
	every := 1         // of turns
	for ; left >= 4; left, every, stride = left/4, 4*every, 4*stride {
		quarter := left / 4 * stride
		for p := range left / 4 {
			w1, w2, w3 := turns[p*every], turns[2*p*every], turns[3*p*every]
			a, b := x[p*stride:][:stride], x[p*stride+quarter:][:stride]
			c, d := x[p*stride+2*quarter:][:stride], x[p*stride+3*quarter:][:stride]
			to := y[4*p*stride:][:4*stride]
			y0, y1, y2, y3 := to[:stride], to[stride:][:stride], to[2*stride:][:stride], to[3*stride:][:stride]
			for i, v := range a {
				sum, difference := v+c[i], v-c[i]
				sum2, difference2 := b[i]+d[i], b[i]-d[i]
				turned := complex(imag(difference2), -real(difference2)) // times −i
				y0[i] = sum + sum2
				y1[i] = w1 * (difference + turned)
				y2[i] = w2 * (sum - sum2)
				y3[i] = w3 * (difference - turned)
			}
		}
		x, y = y, x
	}
	if left == 2 {
		a, b := x[:stride], x[stride:][:stride]
		y0, y1 := y[:stride], y[stride:][:stride]
		for i, v := range a {
			y0[i], y1[i] = v+b[i], v-b[i]
		}
		x = y
	}
	return x
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
	return math.Exp(t.ring[t.fold(kx, ky)])
}

// along is the power beside a frequency on the line to the origin, as that of an edge.
func (t *tile) along(kx, ky int) float64 {
	x, y := float64(kx), float64(ky)
	if ky > t.side/2 {
		y -= float64(t.side)
	}
	far := math.Sqrt(x*x + y*y)
	var logs [2 * (reach - core + 2)]float64
	for i := range len(logs) / 2 {
		d := float64(core+1+i) / far
		for sign := range 2 {
			s := 1 + d*float64(2*sign-1)
			logs[2*i+sign] = t.logs[t.fold(int(math.Floor(x*s+0.5)), int(math.Floor(y*s+0.5)))]
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
// up to mostScore: side values for each kx.
func (t *tile) score(sums []float32) {
	for x := range t.side/2 + 1 {
		first := t.at(x, 0)
		logs, ring := t.logs[first:][:t.side], t.ring[first:][:t.side]
		out := sums[x*t.side:][:t.side]
		for y, log := range logs {
			if tooSlow(x, y, t.side) {
				continue
			}
			over := exp(log - ring[y])
			if over > notable {
				over = min(over, math.Exp(log)/t.along(x, y))
			}
			out[y] += float32(min(over, mostScore))
		}
	}
}

// exp is e^x to ten digits, for x within ±600.
func exp(x float64) float64 {
	const steps = 64 / math.Ln2
	k := math.Floor(x*steps + 0.5)
	r := x - k/steps // up to 0.0054
	i := int64(k)
	return math.Float64frombits(uint64(i>>6+1023)<<52) * roots[i&63] * (1 + r*(1+r*(0.5+r/6)))
}

// roots are 2^(k/64).
var roots = func() (v [64]float64) {
	for k := range v {
		v[k] = math.Exp2(float64(k) / 64)
	}
	return v
}()

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
