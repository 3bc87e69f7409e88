package fit

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/mat"
)

// Gauge says what has 0 stops. Pairs give differences between cameras alone.
type Gauge uint8

const (
	// Mean makes the mean of all cameras 0 stops: the geometric mean of their gains is 1.
	Mean Gauge = iota
	// Median makes the median of all cameras 0 stops, channel by channel. If one camera
	// differs, the others stay near 0. A camera in the middle has the uncertainty that it has
	// against the mean.
	Median
	// Reference makes the camera GainSpec.Reference 0 stops.
	Reference
)

var gauges = enum.New[Gauge](ErrInvalid, []string{Mean: "mean", Median: "median", Reference: "reference"})

// String gives a name like "mean".
func (g Gauge) String() string { return gauges.Name(g) }

// MarshalText gives the name. An unknown Gauge is an error.
func (g Gauge) MarshalText() ([]byte, error) { return gauges.Marshal(g) }

// UnmarshalText reads a name. Any other text is an error and leaves g unchanged.
func (g *Gauge) UnmarshalText(text []byte) error { return gauges.Unmarshal(g, text) }

// GainSpec says how the pairs of a rig are joined.
type GainSpec struct {
	Cameras   int // of the rig, 2 to 64
	Gauge     Gauge
	Reference int // the camera of 0 stops, if Gauge is Reference
}

// Gains are how bright the cameras of a rig are, one against the other. All numbers are in
// stops.
type Gains struct {
	// Stops[i][c] are those by which channel c of camera i is too bright. Multiplied by
	// 2^−Stops, the plates agree.
	Stops [][]Estimate
	// Tints[i][c] are those by which channel c of camera i is too bright beyond its middle
	// channel, which is green of three. They are joined from the Tints of the pairs.
	Tints [][]Estimate
	// Residuals are the Stops of each pair, less what Stops say of it, in the order of the
	// pairs. The uncertainty is that of the difference; it is 0 for a pair that no other
	// checks.
	Residuals [][]Estimate
	// Closures has one loop for each pair beyond those that join all cameras: one for a ring.
	Closures []Closure
}

// Closure is the sum of the stops of pairs round a loop of cameras, which would be 0
// without errors.
type Closure struct {
	Cameras []int // in order; the last is compared with the first as well
	Stops   []Estimate
}

const (
	mostCameras = 64
	mostPairs   = 1 << 16
	leastU      = 1e-7 // stops; less is rounding
)

// MeasureGains joins the comparisons of pairs of cameras into the gains of the whole rig, by
// least squares:
//
//	Σ ((stops_B − stops_A − pair) / u)² = least
//
// Each channel is solved by itself. The uncertainty is what those of the pairs leave, times
// √(χ²/f) where that is above 1: then the pairs contradict each other by more than they
// should, with f pairs beyond those that join all cameras. It grows from camera to camera
// away from what has 0 stops.
//
// Pairs of other numbers of channels, and cameras that no chain of pairs joins to camera 0,
// are an error.
//
// Source: adjustment of observation equations, as in a levelling network.
func MeasureGains(pairs []Pair, spec GainSpec) (Gains, error) {
	c := newChecker()
	c.Int("cameras", spec.Cameras, "", 2, mostCameras)
	gauges.Check(c, "gauge", spec.Gauge)
	c.Int("pairs", len(pairs), "", 1, mostPairs)
	if c.OK() && spec.Gauge == Reference {
		c.Int("reference", spec.Reference, "", 0, spec.Cameras-1)
	}
	for _, p := range pairs {
		if !c.OK() {
			break
		}
		checkNumbers(c, p.A, p.B, spec.Cameras)
		c.Int("channels", len(p.Stops), "", 1, mostChannels)
		if len(p.Stops) != len(pairs[0].Stops) || len(p.Tints) != len(p.Stops) {
			c.Fault("channels", strconv.Itoa(len(p.Stops))+" and "+strconv.Itoa(len(p.Tints))+" tints", "must be as many as those of the first pair, %d", len(pairs[0].Stops))
		}
		for _, list := range [][]Estimate{p.Stops, p.Tints} {
			for _, e := range list {
				c.Number("stops", e.Value, "", valid.Closed(-100.0, 100))
				c.Number("uncertainty", e.Uncertainty, "", valid.Closed(0.0, 100))
			}
		}
	}
	if err := c.Err(); err != nil {
		return Gains{}, err
	}
	loops, alone := loopsOf(pairs, spec.Cameras)
	if len(alone) > 0 {
		return Gains{}, newChecker().Refuse("pairs", "none for camera "+strings.Join(alone, ", "), "must join all cameras to camera 0, directly or over others")
	}
	channels := len(pairs[0].Stops)
	g := Gains{Stops: table(spec.Cameras, channels), Tints: table(spec.Cameras, channels), Residuals: table(len(pairs), channels)}
	for ch := range channels {
		stops := func(p Pair) Estimate { return p.Stops[ch] }
		if !solve(pairs, stops, spec, ch, g.Stops, g.Residuals) {
			return Gains{}, newChecker().Refuse("uncertainties", "of channel "+strconv.Itoa(ch), "must not differ so much that nothing can be solved")
		}
		if ch == channels/2 {
			continue
		}
		if !solve(pairs, func(p Pair) Estimate { return p.Tints[ch] }, spec, ch, g.Tints, nil) {
			return Gains{}, newChecker().Refuse("uncertainties", "of the tint of channel "+strconv.Itoa(ch), "must not differ so much that nothing can be solved")
		}
	}
	for _, l := range loops {
		closure := Closure{Stops: make([]Estimate, channels)}
		for _, s := range l {
			p := pairs[s.pair]
			from, sign := p.A, 1.0
			if s.back {
				from, sign = p.B, -1
			}
			closure.Cameras = append(closure.Cameras, from)
			for ch, e := range p.Stops {
				closure.Stops[ch].Value += sign * e.Value
				closure.Stops[ch].Uncertainty = math.Hypot(closure.Stops[ch].Uncertainty, e.Uncertainty)
			}
		}
		g.Closures = append(g.Closures, closure)
	}
	return g, nil
}

func table(rows, columns int) [][]Estimate {
	t := make([][]Estimate, rows)
	for i := range t {
		t[i] = make([]Estimate, columns)
	}
	return t
}

// step is a pair on the way round a loop, from A to B, or back.
type step struct {
	pair int
	back bool
}

// loopsOf joins the cameras to camera 0 by a tree of pairs, and gives for each other pair
// the loop that it closes. alone are the cameras that cannot be reached.
func loopsOf(pairs []Pair, cameras int) (loops [][]step, alone []string) {
	ways := make([][]step, cameras) // from camera 0
	ways[0] = []step{}
	inTree := make([]bool, len(pairs))
	for queue := []int{0}; len(queue) > 0; queue = queue[1:] {
		for i, p := range pairs {
			to, back := p.B, false
			if p.B == queue[0] {
				to, back = p.A, true
			}
			if p.A != queue[0] && p.B != queue[0] || ways[to] != nil {
				continue
			}
			ways[to] = append(slices.Clone(ways[queue[0]]), step{i, back})
			inTree[i] = true
			queue = append(queue, to)
		}
	}
	for i, w := range ways {
		if w == nil {
			alone = append(alone, strconv.Itoa(i))
		}
	}
	if len(alone) > 0 {
		return nil, alone
	}
	for i, p := range pairs {
		if inTree[i] {
			continue
		}
		a, b := ways[p.A], ways[p.B]
		for len(a) > 0 && len(b) > 0 && a[0] == b[0] {
			a, b = a[1:], b[1:]
		}
		loop := append(slices.Clone(a), step{i, false})
		for j := len(b) - 1; j >= 0; j-- {
			loop = append(loop, step{b[j].pair, !b[j].back})
		}
		loops = append(loops, loop)
	}
	return loops, nil
}

// solve puts the least squares solution for one number of each pair into a column of
// stops, and what it leaves into one of residuals, unless that is nil.
func solve(pairs []Pair, of func(Pair) Estimate, spec GainSpec, column int, stops, residuals [][]Estimate) bool {
	n := spec.Cameras
	deviation := func(p Pair) float64 { return math.Max(of(p).Uncertainty, leastU) }
	// Camera 0 is held at 0; the others are unknown.
	normal := mat.NewSymDense(n-1, nil)
	right := mat.NewVecDense(n-1, nil)
	for _, p := range pairs {
		w := 1 / (deviation(p) * deviation(p))
		a, b := p.A-1, p.B-1
		for _, end := range []struct {
			i    int
			sign float64
		}{{a, -1}, {b, 1}} {
			if end.i >= 0 {
				normal.SetSym(end.i, end.i, normal.At(end.i, end.i)+w)
				right.SetVec(end.i, right.AtVec(end.i)+end.sign*w*of(p).Value)
			}
		}
		if a >= 0 && b >= 0 {
			normal.SetSym(a, b, normal.At(a, b)-w)
		}
	}
	var factor mat.Cholesky
	var inverse mat.SymDense
	if !factor.Factorize(normal) || factor.InverseTo(&inverse) != nil {
		return false
	}
	covariance := func(i, j int) float64 {
		if i == 0 || j == 0 {
			return 0
		}
		return inverse.At(i-1, j-1)
	}
	level := make([]float64, n)
	for i := 1; i < n; i++ {
		for j := range n - 1 {
			level[i] += inverse.At(i-1, j) * right.AtVec(j)
		}
	}
	squares := 0.0
	for k, p := range pairs {
		r := of(p).Value - (level[p.B] - level[p.A])
		u := deviation(p)
		squares += r * r / (u * u)
		if residuals != nil {
			left := u*u - covariance(p.A, p.A) - covariance(p.B, p.B) + 2*covariance(p.A, p.B)
			if !(left > 1e-9*u*u) {
				left = 0
			}
			residuals[k][column] = Estimate{Value: r, Uncertainty: math.Sqrt(left)}
		}
	}
	inflation := 1.0
	if free := len(pairs) - (n - 1); free > 0 {
		inflation = math.Max(1, math.Sqrt(squares/float64(free)))
	}
	zero := spec.weights(level)
	var mean, variance float64
	spread := make([]float64, n) // covariance of each camera with what has 0 stops
	for i, w := range zero {
		mean += w * level[i]
		for j, v := range zero {
			spread[j] += w * covariance(i, j)
			variance += w * v * covariance(i, j)
		}
	}
	againstMean := func(i int) float64 {
		sum := covariance(i, i)
		for j := range n {
			sum -= 2 * covariance(i, j) / float64(n)
			for k := range n {
				sum += covariance(j, k) / float64(n*n)
			}
		}
		return math.Sqrt(math.Max(sum, 0))
	}
	for i := range n {
		u := math.Sqrt(math.Max(covariance(i, i)-2*spread[i]+variance, 0))
		switch {
		case spec.Gauge == Median && zero[i] > 0: // which it is, is not certain either
			u = math.Max(u, againstMean(i))
		case zero[i] == 1:
			u = 0
		}
		stops[i][column] = Estimate{Value: level[i] - mean, Uncertainty: u * inflation}
	}
	return true
}

// weights are those of the cameras whose mean has 0 stops.
func (s GainSpec) weights(level []float64) []float64 {
	n := s.Cameras
	w := make([]float64, n)
	switch s.Gauge {
	case Reference:
		w[s.Reference] = 1
	case Median:
		order := make([]int, n)
		for i := range order {
			order[i] = i
		}
		slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(level[i], level[j]) })
		w[order[(n-1)/2]] += 0.5
		w[order[n/2]] += 0.5
	default:
		for i := range w {
			w[i] = 1 / float64(n)
		}
	}
	return w
}
