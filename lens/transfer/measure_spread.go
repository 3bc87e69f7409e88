package transfer

import (
	"math"
	"math/cmplx"
	"slices"
	"sort"

	"example.com/platewright/internal/estimate"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/root"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/unit"
)

// spline is a cubic spline that is constant before its first knot and after its last.
// One coefficient stands for all that is before, one for all that is after.
type spline struct {
	starts []float64       // of each interval: before the first knot, between knots, after the last
	pieces [][4][4]float64 // of each interval: powers of the four B-splines that are not 0
	coeffs []float64
	shape  [][4]float64 // of each interval: powers of the sum of all B-splines
}

func newSpline(knots, core, halfWidth float64) *spline {
	half := []float64{0}
	for last := 0.0; last < halfWidth-1e-9; {
		step := knots + max(0, last-core)/8
		next := last + step
		if next+step/2 > halfWidth {
			next = halfWidth
		}
		half = append(half, next)
		last = next
	}
	m := len(half) - 1
	end := half[m] - half[m-1]
	for i := 1; i <= 3; i++ {
		half = append(half, half[m]+float64(i)*end)
	}
	var t []float64 // knots, with three more on each side
	for i := len(half) - 1; i > 0; i-- {
		t = append(t, -half[i])
	}
	t = append(t, half...)
	constant := [4][4]float64{{1}}
	s := &spline{starts: []float64{-half[m]}, pieces: [][4][4]float64{constant}, coeffs: make([]float64, 2*m-1)}
	for i := 3; i < 3+2*m; i++ {
		// Cox and de Boor's recursion on polynomials of the distance from knot i.
		b := [4][4]float64{3: {1}}
		for degree := 1; degree <= 3; degree++ {
			var next [4][4]float64
			for j := 3 - degree; j <= 3; j++ { // the B-spline that begins at knot i − 3 + j
				at := i - 3 + j
				rising := 1 / (t[at+degree] - t[at])
				for p := range degree {
					next[j][p] += b[j][p] * (t[i] - t[at]) * rising
					next[j][p+1] += b[j][p] * rising
				}
				if j < 3 {
					falling := 1 / (t[at+degree+1] - t[at+1])
					for p := range degree {
						next[j][p] += b[j+1][p] * (t[at+degree+1] - t[i]) * falling
						next[j][p+1] -= b[j+1][p] * falling
					}
				}
			}
			b = next
		}
		s.starts = append(s.starts, t[i])
		s.pieces = append(s.pieces, b)
	}
	s.starts = append(s.starts, half[m])
	s.pieces = append(s.pieces, constant)
	s.shape = make([][4]float64, len(s.pieces))
	return s
}

func (s *spline) halfWidth() float64 { return s.starts[len(s.starts)-1] }

// unknown is the coefficient of B-spline j of interval i.
func (s *spline) unknown(i, j int) int { return max(0, min(i+j-3, len(s.coeffs)-1)) }

// basis gives the weights of coefficients in interval i, x from its start: w[k] is that
// of first + k. Those of coefficients that are no more are 0.
func (s *spline) basis(i int, x float64) (first int, w [4]float64) {
	first = s.unknown(i, 0)
	for j, b := range s.pieces[i] {
		w[s.unknown(i, j)-first] += b[0] + x*(b[1]+x*(b[2]+x*b[3]))
	}
	return first, w
}

// set takes coefficients.
func (s *spline) set(coeffs []float64) {
	copy(s.coeffs, coeffs)
	for i := range s.shape {
		s.shape[i] = [4]float64{}
		for j, b := range s.pieces[i] {
			for p, v := range b {
				s.shape[i][p] += s.coeffs[s.unknown(i, j)] * v
			}
		}
	}
}

// interval is where a distance lies, and how far into it.
func (s *spline) interval(d float64) (i int, x float64) {
	i = sort.Search(len(s.starts)-1, func(k int) bool { return d < s.starts[k+1] })
	return i, d - s.starts[i]
}

// at is the value and the slope at a distance.
func (s *spline) at(d float64) (value, slope float64) {
	i, x := s.interval(d)
	b := &s.shape[i]
	return b[0] + x*(b[1]+x*(b[2]+x*b[3])), b[1] + x*(2*b[2]+x*3*b[3])
}

func (s *spline) low() float64  { return s.coeffs[0] }
func (s *spline) rise() float64 { return s.coeffs[len(s.coeffs)-1] - s.coeffs[0] }

// span is the columns of a row that are within reach of the edge, and the place of the edge
// in it. A distance along the row, times across, is one across the edge.
func (s *slant) span(y int, reach float64) (from, to int, at, across float64) {
	t := s.t(y)
	at, across = s.path.at(t), s.across(t)
	return max(0, int(math.Ceil(at-reach/across-0.5))), min(s.width-1, int(math.Floor(at+reach/across-0.5))), at, across
}

// samples calls f with the distance from the edge and the light of each sample of a row
// within reach.
func (s *slant) samples(y int, reach float64, f func(d, light float64)) {
	from, to, at, across := s.span(y, reach)
	row := s.row(y)
	for x := from; x <= to; x++ {
		f((float64(x)+0.5-at)*across, row[x])
	}
}

// intervals calls f with the interval, the way into it and the index of each sample
// within reach of the edge.
func (s *slant) intervals(e *spline, reach float64, f func(i int, x float64, sample int)) {
	last := len(e.starts) - 1
	for y := range s.height {
		from, to, at, across := s.span(y, reach)
		i := 0
		for x := from; x <= to; x++ {
			d := (float64(x) + 0.5 - at) * across
			for i < last && d >= e.starts[i+1] {
				i++
			}
			f(i, d-e.starts[i], y*s.width+x)
		}
	}
}

// sums of an interval: weights times powers of the way into it, and light times powers.
type sums struct {
	powers [7]float64
	light  [4]float64
}

func (s *sums) add(x, weight float64) {
	for p := range s.powers {
		s.powers[p] += weight
		weight *= x
	}
}

// matrix is that of the sums of products of B-splines, and right what goes with light.
func (s *spline) matrix(all []sums) (band *mat.SymBandDense, right []float64) {
	n := len(s.coeffs)
	band = mat.NewSymBandDense(n, 3, nil)
	raw := band.RawSymBand()
	right = make([]float64, n)
	for i, sums := range all {
		for j, b := range s.pieces[i] {
			row := s.unknown(i, j)
			for p, v := range b {
				right[row] += v * sums.light[p]
			}
			for k, c := range s.pieces[i] {
				column := s.unknown(i, k)
				if column < row {
					continue
				}
				for p, v := range b {
					for q, w := range c {
						raw.Data[row*raw.Stride+column-row] += v * w * sums.powers[p+q]
					}
				}
			}
		}
	}
	return band, right
}

// fit finds the coefficients by least squares over all samples within reach. It
// returns the factors of the normal matrix. ok is false if samples are missing.
func (s *slant) fit(e *spline, reach float64) (normal *mat.BandCholesky, ok bool) {
	all := make([]sums, len(e.pieces))
	s.intervals(e, reach, func(i int, x float64, sample int) {
		to, light := &all[i], s.light[sample]
		to.add(x, 1)
		to.light[0] += light
		light *= x
		to.light[1] += light
		light *= x
		to.light[2] += light
		to.light[3] += light * x
	})
	band, right := e.matrix(all)
	normal = &mat.BandCholesky{}
	if !normal.Factorize(band) || normal.Cond() > 1e12 {
		return nil, false
	}
	var v mat.VecDense
	if normal.SolveVecTo(&v, mat.NewVecDense(len(right), right)) != nil {
		return nil, false
	}
	e.set(v.RawVector().Data)
	return normal, true
}

// improve moves the path by one step of least squares, from what is left of the light of
// each row. It returns the rows' places beside the path, the path's covariance, and how
// much one row scatters, in pixels.
func (s *slant) improve(e *spline, reach float64) (beside []float64, covariance *mat.SymDense, scatter float64) {
	fit := newPathFit()
	middle := e.low() + e.rise()/2
	beside = make([]float64, s.height)
	for y := range s.height {
		// What is left, as a shift, a change of the light, and one of the edge's height:
		// shading changes from row to row.
		var n, v, vv, left, leftV, slopes, slopeV, cross, squares float64
		s.samples(y, reach, func(d, light float64) {
			value, slope := e.at(d)
			light = value - light
			value -= middle
			n++
			v += value
			vv += value * value
			left += light
			leftV += light * value
			slopes += slope
			slopeV += slope * value
			cross += slope * light
			squares += slope * slope
		})
		if det := n*vv - v*v; det > 1e-6*n*vv {
			level, height := (slopes*vv-slopeV*v)/det, (slopeV*n-slopes*v)/det
			cross -= level*left + height*leftV
			squares -= level*slopes + height*slopeV
		}
		if squares > 0 {
			beside[y] = cross / squares / s.across(s.t(y))
		}
		fit.add(s.t(y), beside[y])
	}
	move, covariance, scatter := fit.solve()
	for i := range move {
		s.path[i] += move[i]
	}
	for y := range beside {
		beside[y] -= move.at(s.t(y))
	}
	// Neighbours that are off alike count as fewer.
	var squares, alike float64
	for lag := range 4 {
		var product float64
		for y := lag; y < len(beside); y++ {
			product += beside[y] * beside[y-lag]
		}
		if lag == 0 {
			squares = product
		} else {
			alike += 2 * product
		}
	}
	if alike > 0 {
		covariance.ScaleSym(1+alike/squares, covariance)
	}
	return beside, covariance, scatter
}

// profile is the mean light in steps of 1 px from −n to n: bin i is around i − n.
func (s *slant) profile() (mean []float64, count []int) {
	n := s.width + s.height
	mean, count = make([]float64, 2*n+1), make([]int, 2*n+1)
	for y := range s.height {
		s.samples(y, float64(n), func(d, light float64) {
			bin := int(math.Floor(d+0.5)) + n
			mean[bin] += light
			count[bin]++
		})
	}
	for i := range mean {
		mean[i] /= max(1, float64(count[i]))
	}
	return mean, count
}

// measure finds the spread of an edge that is located, and its transform. On a fault the
// result means nothing.
func (s *slant) measure(c *valid.Checker, halfWidth float64) Edge {
	room := math.Inf(1) // px across the edge that all rows have
	for y := range s.height {
		t := s.t(y)
		at := s.path.at(t)
		room = min(room, at*s.across(t), (float64(s.width)-at)*s.across(t))
	}
	if halfWidth == 0 {
		halfWidth = min(64, 0.75*room)
	}
	if room < halfWidth+edgePlateau || halfWidth < 6 {
		c.Fault("edge", quantity.Number(room, "px")+" from the side of the plane", "must be at least %s away, in all rows (columns, if it is level)",
			quantity.Number(max(6, halfWidth)+edgePlateau, "px"))
		return Edge{}
	}
	if !s.phases(c) {
		return Edge{}
	}
	reach := min(room, 1.5*halfWidth+edgePlateau)
	mean, count := s.profile()
	width, ok := s.spreadWidth(c, mean, count, halfWidth)
	if !ok {
		return Edge{}
	}
	core := max(4, 2*width)
	e := newSpline(max(edgeKnots, width/16), core, halfWidth)
	var beside []float64
	var covariance *mat.SymDense
	var scatter float64
	for range 2 {
		if _, ok := s.fit(e, reach); !ok || !(e.rise() > 0) {
			c.Fault("edge", "seen at too few distances", "must be longer, or more aslant")
			return Edge{}
		}
		beside, covariance, scatter = s.improve(e, min(halfWidth, core+4))
	}
	// What normal noise scatters the best place of a normally spread row.
	scatter = max(scatter, 1.18*s.noise/e.rise()*math.Sqrt(width))
	if !(scatter < 0.5) {
		c.Fault("edge", "placed to "+quantity.Number(scatter, "px")+" in a row (a column, if it is level)", "must be placed to 0.5 px: noise is too high, or the edge too soft or rough")
		return Edge{}
	}
	if !smooth(c, beside) || !s.phases(c) {
		return Edge{}
	}
	normal, ok := s.fit(e, reach)
	if !ok {
		c.Fault("edge", "seen at too few distances", "must be longer, or more aslant")
		return Edge{}
	}
	return s.result(c, e, normal, covariance, reach)
}

// phases adds a fault if the rows leave gaps between the distances that are sampled.
func (s *slant) phases(c *valid.Checker) bool {
	slope := max(math.Abs(s.path.slope(-1)), math.Abs(s.path.slope(0)), math.Abs(s.path.slope(1))) / (float64(s.height) / 2)
	if slope > math.Tan(edgeSteepest) {
		c.Fault("edge", quantity.Angle(unit.Angle(math.Atan(slope)))+" aslant", "must be at most 40° from upright or level")
		return false
	}
	phases := make([]float64, s.height)
	least, most := math.Inf(1), math.Inf(-1)
	for y := range phases {
		at := s.path.at(s.t(y))
		least, most = min(least, at), max(most, at)
		phases[y] = at - math.Floor(at)
	}
	slices.Sort(phases)
	gap := phases[0] + 1 - phases[len(phases)-1]
	for i := 1; i < len(phases); i++ {
		gap = max(gap, phases[i]-phases[i-1])
	}
	if gap *= s.across(0); gap > edgePhaseGap || most-least < 2 {
		c.Fault("edge", quantity.Angle(unit.Angle(math.Atan(slope)))+" aslant over "+quantity.Number(float64(s.height), "px"),
			"must cross at least 2 px and leave no gap of more than 1/6 px between the distances that are sampled: there is one of %s; take another angle, as 5°", quantity.Number(gap, "px"))
		return false
	}
	return true
}

// spreadWidth is over how many pixels a profile rises from 10 to 90 %. A fault is added
// unless it is even beyond the half width, on both sides.
func (s *slant) spreadWidth(c *valid.Checker, mean []float64, count []int, halfWidth float64) (width float64, ok bool) {
	middle := len(mean) / 2
	var level [2]float64
	var n [2]int
	for i, m := range mean {
		side := 0
		if i > middle {
			side = 1
		}
		if d := math.Abs(float64(i - middle)); d >= halfWidth && d <= 1.5*halfWidth+edgePlateau {
			level[side] += m * float64(count[i])
			n[side] += count[i]
		}
	}
	for side := range level {
		level[side] /= max(1, float64(n[side]))
	}
	rise := level[1] - level[0]
	if !(rise > 0) {
		c.Fault("edge", "no brighter on one side than on the other, away from it", "must lie between two even areas")
		return 0, false
	}
	far := halfWidth / 2 // an edge that may be measured has risen by then
	first, last := 0, 0
	for i, m := range mean {
		d := float64(i - middle)
		if count[i] == 0 {
			continue
		}
		way := (m - level[0]) / rise
		side := 0.0
		if d > 0 {
			side = 1
		}
		slack := 0.1 + 6*s.noise/(rise*math.Sqrt(float64(count[i])))
		if math.Abs(d) > far+0.5 && math.Abs(way-side) > slack {
			c.Fault("light", quantity.Number(100*math.Abs(way-side), "% of the edge")+" off at "+quantity.Number(d, "px")+" from it",
				"must be even to 10 %% beyond %s: no second edge, no shading; take a smaller part of the picture", quantity.Number(far, "px"))
			return 0, false
		}
		if math.Abs(d) <= halfWidth {
			if way < 0.1 {
				first = i
			}
			if last == 0 && way > 0.9 {
				last = i
			}
		}
	}
	width = float64(last - first)
	if width < -1 { // roughly 1 px apart, a sharp edge's order is that of noise
		c.Fault("light", "bright and dark again at "+quantity.Number(float64(last-middle), "px")+" from the edge", "must rise once: no line and no second edge beside it; take a smaller part of the picture")
		return 0, false
	}
	width = math.Abs(width)
	if 2*width > halfWidth {
		c.Fault("edge", "spread over "+quantity.Number(width, "px"), "must be narrower than half of the half width, %s", quantity.Number(halfWidth, "px"))
		return 0, false
	}
	return width, true
}

// smooth adds a fault if rows lie beside the path not by chance.
func smooth(c *valid.Checker, beside []float64) bool {
	steps := make([]float64, len(beside)-1)
	for y := range steps {
		steps[y] = math.Abs(beside[y+1] - beside[y])
	}
	row := estimate.MedianToDeviation * estimate.Median(steps) / math.Sqrt2
	const parts = 8
	for k := range parts {
		part := beside[k*len(beside)/parts : (k+1)*len(beside)/parts]
		var mean float64
		for _, b := range part {
			mean += b / float64(len(part))
		}
		if math.Abs(mean) > 0.05 && math.Abs(mean) > 5*row/math.Sqrt(float64(len(part))) {
			c.Fault("edge", quantity.Number(math.Abs(mean), "px")+" off a smooth curve", "must be straight or evenly bent: take a shorter part of it")
			return false
		}
	}
	return true
}

func (s *slant) result(c *valid.Checker, e *spline, normal *mat.BandCholesky, path *mat.SymDense, reach float64) Edge {
	// The middle of the sandwich: what the residuals that were found add to the right
	// hand sides.
	all := make([]sums, len(e.pieces))
	residuals := make([]float64, len(s.light))
	var squares float64
	var used, clipped int
	s.intervals(e, reach, func(i int, x float64, sample int) {
		b := &e.shape[i]
		left := s.light[sample] - (b[0] + x*(b[1]+x*(b[2]+x*b[3])))
		residuals[sample] = left
		squares += left * left
		used++
		if s.clipped != nil && s.clipped[sample] {
			clipped++
		}
		all[i].add(x, left*left)
	})
	spread, _ := e.matrix(all)
	n := len(e.coeffs)
	if float64(clipped) > 0.005*float64(used) {
		c.Fault("samples", quantity.Number(100*float64(clipped)/float64(used), "%")+" clipped", "must be at most 0.5 %%: expose between black and white")
		return Edge{}
	}
	variance := squares / float64(used-n)
	scale := float64(used) / float64(used-n)
	uncertainty := func(g []float64) float64 {
		var z, mz mat.VecDense
		if normal.SolveVecTo(&z, mat.NewVecDense(n, g)) != nil {
			return 0
		}
		mz.MulVec(spread, &z)
		return math.Sqrt(scale * max(0, mat.Dot(&z, &mz)))
	}

	rise := e.rise()
	half, _ := root.Find(func(d float64) float64 {
		v, _ := e.at(d)
		return v - e.low() - rise/2
	}, -e.halfWidth(), e.halfWidth())
	g := make([]float64, n)
	first, w := e.basis(e.interval(half))
	for k, v := range w[:min(4, n-first)] {
		g[first+k] += v
	}
	g[0] -= 0.5
	g[n-1] -= 0.5
	_, slope := e.at(half)
	across := s.across(0)
	tilt := s.path[1] / (float64(s.height) / 2)
	alike := s.alike(residuals, reach)
	colour := func(cyclesPerPixel float64) float64 {
		return alike.power(cyclesPerPixel*across, -cyclesPerPixel*across*tilt)
	}
	// The light that still changes far from the edge may be spread, which was measured, or
	// shading, which was not there: nobody can tell.
	shaded, uneven := e.shading(uncertainty, colour(0))
	edge := Edge{
		Position: Estimate{Value: s.path[0] + half/across, Uncertainty: math.Hypot(
			math.Hypot(uncertainty(g)*math.Sqrt(colour(0)), uneven)/math.Abs(slope)/across, math.Sqrt(path.At(2, 2))/3)},
		Bow:       Estimate{Value: -s.path[2], Uncertainty: math.Sqrt(path.At(2, 2))},
		Noise:     math.Sqrt(variance) / rise,
		HalfWidth: e.halfWidth(),
	}
	edge.Direction = -unit.Angle(math.Atan(tilt))
	if s.level {
		edge.Direction = math.Pi/2 - edge.Direction
	}
	edge.DirectionUncertainty = unit.Angle(math.Sqrt(path.At(1, 1)) / (float64(s.height) / 2) * across * across)
	low, high := s.middle+s.sign*e.low(), s.middle+s.sign*(e.low()+rise)
	edge.Dark, edge.Bright = min(low, high), max(low, high)
	edge.Spread = e.points(half)
	edge.Contrasts = e.transform(half, uncertainty)
	for i := range edge.Contrasts[1:] {
		k := &edge.Contrasts[i+1]
		u := 2 * math.Pi * k.CyclesPerPixel * e.halfWidth()
		spread, shade := math.Sqrt(colour(k.CyclesPerPixel)), shaded/rise*(1-math.Sin(u)/u)
		k.OTF.Uncertainty = math.Hypot(k.OTF.Uncertainty*spread, shade)
		k.MTF.Uncertainty = math.Hypot(k.MTF.Uncertainty*spread, shade)
	}
	return edge
}

// lags are how many pixels noise may be correlated over.
const lags = 4

// correlations are those of a sample with that which is so many columns to the right of
// it, less lags, and so many rows below.
type correlations [2*lags + 1][lags + 1]float64

// alike finds the correlations of residuals, in some of the rows.
func (s *slant) alike(residuals []float64, reach float64) (c correlations) {
	var squares float64
	for y := 0; y < s.height-lags; y += 1 + s.height/64*2 { // odd: not in step with blocks
		from, to, _, _ := s.span(y, reach)
		from, to = max(from, lags), min(to, s.width-1-lags)
		if from > to {
			continue
		}
		row := residuals[y*s.width+from:][:to-from+1]
		for _, v := range row {
			squares += v * v
		}
		for dy := range lags + 1 {
			for dx := -lags; dx <= lags; dx++ {
				if dy == 0 && dx <= 0 {
					continue
				}
				var sum float64
				for i, v := range residuals[(y+dy)*s.width+from+dx:][:len(row)] {
					sum += v * row[i]
				}
				c[dx+lags][dy] += sum
			}
		}
	}
	if squares > 0 {
		for i := range c {
			for j := range c[i] {
				c[i][j] /= squares
			}
		}
	}
	return c
}

// power is that of the noise at a frequency over that of noise without correlation. It is
// at least 1, since the sum of what was found is uncertain.
func (c correlations) power(fx, fy float64) float64 {
	sum := 1.0
	for i := range c {
		for dy, v := range c[i] {
			sum += 2 * v * math.Cos(2*math.Pi*(fx*float64(i-lags)+fy*float64(dy)))
		}
	}
	return max(1, sum)
}

// shading is what uneven light may add to the rise of the edge, and to the light in its
// middle. The light beyond half of the half width is taken to go on changing through the
// edge; what noise alone would show is left out. The power of noise is that over noise
// without correlation.
func (s *spline) shading(uncertainty func(weights []float64) float64, power float64) (rise, middle float64) {
	n, h := len(s.coeffs), s.halfWidth()
	change := func(left, right float64) float64 {
		var value float64
		weights := make([]float64, n+3)
		for _, p := range [4][2]float64{{-h, -left}, {-h / 2, left}, {h / 2, -right}, {h, right}} {
			first, w := s.basis(s.interval(p[0]))
			for k, v := range w {
				weights[first+k] += p[1] * v
			}
			v, _ := s.at(p[0])
			value += p[1] * v
		}
		u := uncertainty(weights[:n])
		return math.Sqrt(max(0, value*value-power*u*u))
	}
	// Over the whole half widths on both sides, and from the middles of the even areas.
	return change(2, 2), change(-1.25, 1.25)
}

// points are the spread from 0 to 1 in steps of a quarter of a pixel.
func (s *spline) points(half float64) []SpreadPoint {
	n := int((s.halfWidth() - math.Abs(half)) / edgeKnots)
	var points []SpreadPoint
	for i := -n; i <= n; i++ {
		d := float64(i) * edgeKnots
		v, _ := s.at(d + half)
		points = append(points, SpreadPoint{d, (v - s.low()) / s.rise()})
	}
	return points
}

// transform is the Fourier transform of the slope about a place. uncertainty is that of
// a sum of coefficients.
func (s *spline) transform(about float64, uncertainty func(weights []float64) float64) []Contrast {
	n, rise := len(s.coeffs), s.rise()
	// Gauss points of all intervals, with what each B-spline's slope weighs there.
	steps := max(128, int(math.Ceil(4*s.halfWidth())))
	type node struct {
		d       float64
		first   int
		w       [4]float64
		z, turn complex128 // e^(2πi f d), and from one f to the next
	}
	var nodes []node
	for i := 1; i < len(s.pieces)-1; i++ {
		from, to := s.starts[i], s.starts[i+1]
		x := make([]float64, 4+int(4*(to-from)))
		weight := make([]float64, len(x))
		quad.Legendre{}.FixedLocations(x, weight, from, to)
		for k, d := range x {
			v := node{d: d - about, first: s.unknown(i, 0)}
			v.turn = cmplx.Rect(1, 2*math.Pi/float64(steps)*v.d)
			for j, b := range s.pieces[i] {
				v.w[s.unknown(i, j)-v.first] += weight[k] * (b[1] + (d-from)*(2*b[2]+(d-from)*3*b[3]))
			}
			nodes = append(nodes, v)
		}
	}
	table := make([]Contrast, steps+1)
	table[0] = Contrast{0, Estimate{Value: 1}, Estimate{Value: 1}}
	cosines, sines := make([]float64, n+3), make([]float64, n+3) // past the last, weights are 0
	for k := 1; k <= steps; k++ {
		f := float64(k) / float64(steps)
		clear(cosines)
		clear(sines)
		for i := range nodes {
			v := &nodes[i]
			if v.z *= v.turn; k%64 == 1 { // so that no rounding adds up
				v.z = cmplx.Rect(1, 2*math.Pi*f*v.d)
			}
			cos, sin := real(v.z), imag(v.z)
			c, s := cosines[v.first:][:4], sines[v.first:][:4]
			for j, w := range v.w {
				c[j] += cos * w
				s[j] += sin * w
			}
		}
		part := func(weights []float64) Estimate {
			var sum float64
			for j, w := range weights {
				sum += w * s.coeffs[j]
			}
			sum /= rise
			weights[0] += sum // rise is a difference of coefficients
			weights[n-1] -= sum
			return Estimate{Value: sum, Uncertainty: uncertainty(weights) / rise}
		}
		re, im := part(cosines[:n]), part(sines[:n])
		table[k] = Contrast{f, re, modulus(re, im)}
	}
	return table
}

// modulus is the absolute value of a complex number, without what noise at right angles
// to it adds on average.
func modulus(re, im Estimate) Estimate {
	length := math.Hypot(re.Value, im.Value)
	if length == 0 {
		return Estimate{Value: 0, Uncertainty: re.Uncertainty}
	}
	aside := math.Hypot(re.Value*im.Uncertainty, im.Value*re.Uncertainty) / length
	return Estimate{Value: math.Sqrt(max(0, length*length-aside*aside)), Uncertainty: math.Hypot(re.Value*re.Uncertainty, im.Value*im.Uncertainty) / length}
}

// FrequencyAt is the frequency in cycles per pixel at which the measured MTF first falls
// to a contrast. At 0.5 it is the MTF50. ok is false unless the contrast is more than 0,
// less than 1, and at least three times the uncertainty there. It is false as well if the
// MTF does not fall to it below 1 cycle per pixel.
func (e Edge) FrequencyAt(contrast float64) (cyclesPerPixel Estimate, ok bool) {
	if !valid.Between(0, 1.).Contains(contrast) {
		return Estimate{}, false
	}
	for i := 1; i < len(e.Contrasts); i++ {
		from, to := e.Contrasts[i-1], e.Contrasts[i]
		if !(to.MTF.Value <= contrast) {
			continue
		}
		uncertainty := max(from.MTF.Uncertainty, to.MTF.Uncertainty)
		// The slope over a few steps: noise makes that of one step too steep or too flat.
		before, after := e.Contrasts[max(0, i-4)], e.Contrasts[min(len(e.Contrasts)-1, i+3)]
		slope := (before.MTF.Value - after.MTF.Value) / (after.CyclesPerPixel - before.CyclesPerPixel)
		if contrast < 3*uncertainty || !(slope > 0) || !(from.MTF.Value > to.MTF.Value) {
			return Estimate{}, false
		}
		way := (from.MTF.Value - contrast) / (from.MTF.Value - to.MTF.Value)
		f := from.CyclesPerPixel + way*(to.CyclesPerPixel-from.CyclesPerPixel)
		return Estimate{Value: f, Uncertainty: uncertainty / slope}, way >= 0 && f > 0
	}
	return Estimate{}, false
}

// At is the measured contrast at a frequency, linear between the steps of Contrasts. ok
// is false outside 0 to 1 cycle per pixel, and for the zero Edge.
func (e Edge) At(cyclesPerPixel float64) (contrast Contrast, ok bool) {
	last := len(e.Contrasts) - 1
	if last < 1 || !(cyclesPerPixel >= 0 && cyclesPerPixel <= e.Contrasts[last].CyclesPerPixel) {
		return Contrast{}, false
	}
	i := max(1, sort.Search(last, func(i int) bool { return e.Contrasts[i].CyclesPerPixel >= cyclesPerPixel }))
	from, to := e.Contrasts[i-1], e.Contrasts[i]
	way := (cyclesPerPixel - from.CyclesPerPixel) / (to.CyclesPerPixel - from.CyclesPerPixel)
	between := func(a, b Estimate) Estimate {
		return Estimate{Value: a.Value + way*(b.Value-a.Value), Uncertainty: a.Uncertainty + way*(b.Uncertainty-a.Uncertainty)}
	}
	return Contrast{cyclesPerPixel, between(from.OTF, to.OTF), between(from.MTF, to.MTF)}, true
}
