package pattern

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"sync"

	"example.com/platewright/internal/parallel"
	"example.com/platewright/internal/plane"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/unit"
)

const (
	mostScore   = 16 // of one tile: more than one tile is needed for an alarm
	fewestTiles = 3
	mostTiles   = 32 // that measure one pattern
	mostFound   = 64
	apart       = 6    // bins between two patterns of one place
	wander      = 0.35 // bins by which the frequency of tiles may differ, root mean square
	certain     = 4    // uncertainties by which a contrast must be above none
	// What scenes do to the scores of chance: power stands out by more, and the
	// surroundings are known from some 15 independent bins.
	sceneFactor = 2
	sceneLog    = 0.35
)

// Spec says how patterns are looked for.
type Spec struct {
	// Tile is the side of a tile in pixels: 32, 64, 128, 256 or 512. Zero means 128.
	// Periods of up to a sixth of it are found.
	Tile int
	// Limit is the contrast from which on a pattern is listed, above 0 to 1. Zero means
	// 0.01.
	Limit float64
	// FalseAlarm is the probability up to which a pattern is listed, above 0 to 0.5.
	// Zero means 0.001.
	FalseAlarm float64
	// Linear gives the linear light of a code. If it is nil, samples are linear. It is
	// left out of JSON.
	Linear func(code float64) (light float64) `json:"-"`
	// White is the code from which on a sample is clipped. Zero means the largest whole
	// number, and 1 for float32.
	White float64
	// Expected are predicted frequencies in cycles per pixel, as Alias.Frequency of
	// package alias. Each component is within ±1.
	Expected []r2.Vec
	// Tolerance is how far a pattern may be from a prediction that it is taken for, in
	// cycles per pixel, above 0 to 0.5. Zero means a bin: 1/Tile.
	Tolerance float64
}

// Pattern is a sinusoid that stands out of the scene.
type Pattern struct {
	Region    Region   // where it was found
	Tiles     int      // that measured it
	Frequency r2.Vec   // cycles per pixel, x to the right and y down, with x ≥ 0
	Spread    r2.Vec   // standard uncertainty of each component of Frequency
	Contrast  Estimate // amplitude of the sinusoid over the mean
	// FalseAlarm bounds, by the distribution of scores, the probability that chance shows
	// such a pattern anywhere in the picture, at any frequency.
	FalseAlarm float64
	// Prediction is the index in Expected of the nearest frequency within Tolerance, or
	// −1: nothing explains the pattern.
	Prediction int
}

// Period is the length of one cycle in pixels.
func (p Pattern) Period() Estimate {
	f := r2.Norm(p.Frequency)
	if f == 0 {
		return Estimate{}
	}
	u := math.Hypot(p.Frequency.X*p.Spread.X, p.Frequency.Y*p.Spread.Y) / f
	return Estimate{Value: 1 / f, Uncertainty: u / (f * f)}
}

// Direction is the direction in which brightness varies, from −90° to 90°: 0 for
// upright stripes, 90° for level ones; positive angles turn from right to down.
func (p Pattern) Direction() (direction, uncertainty unit.Angle) {
	f := r2.Norm(p.Frequency)
	if f == 0 {
		return 0, 0
	}
	u := math.Hypot(p.Frequency.Y*p.Spread.X, p.Frequency.X*p.Spread.Y) / (f * f)
	return unit.Angle(math.Atan2(p.Frequency.Y, p.Frequency.X)), unit.Angle(u)
}

// Patterns is the result of MeasurePatterns.
type Patterns struct {
	Found   []Pattern // the most certain first, at most 64
	Tiles   int       // that were looked at
	LeftOut int       // tiles with clipped samples, without light, or constant
}

// search is one call of MeasurePatterns.
type search[T Sample] struct {
	picture      Plane[T]
	lights       plane.Lights[T]
	linear       bool // samples are light as they are
	side         int
	white        float64
	window       window
	across, down int // tiles

	keptPlace place
	kept      []*tile
}

// place is a square of tiles: the first, and how many along each side.
type place struct{ x, y, width, height int }

type candidate struct {
	place place
	kx    int
	ky    int
	score float64 // mean of the tiles
	log   float64 // of the probability at this place and frequency
}

func newSpec[T Sample](c *valid.Checker, spec Spec) Spec {
	if spec.Tile == 0 {
		spec.Tile = 128
	}
	if spec.Limit == 0 {
		spec.Limit = 0.01
	}
	if spec.FalseAlarm == 0 {
		spec.FalseAlarm = 1e-3
	}
	if spec.White == 0 {
		spec.White = plane.FullScale[T]()
	}
	if spec.Tolerance == 0 {
		spec.Tolerance = 1 / float64(spec.Tile)
	}
	if !slices.Contains([]int{32, 64, 128, 256, 512}, spec.Tile) {
		c.Fault("tile", strconv.Itoa(spec.Tile)+" px", "must be 32, 64, 128, 256 or 512")
	}
	c.Number("limit", spec.Limit, "", valid.Above(0.0, 1))
	c.Number("false alarm", spec.FalseAlarm, "", valid.Above(0.0, 0.5))
	c.Number("white", spec.White, "", valid.Closed(-math.MaxFloat32, math.MaxFloat32))
	c.Number("tolerance", spec.Tolerance, "cycles/px", valid.Above(0.0, 0.5))
	for i, f := range spec.Expected {
		name := "expected[" + strconv.Itoa(i) + "]"
		c.Number(name+".x", f.X, "cycles/px", valid.Closed(-1.0, 1))
		c.Number(name+".y", f.Y, "cycles/px", valid.Closed(-1.0, 1))
	}
	return spec
}

// MeasurePatterns finds the periodic patterns in a picture, with the most certain
// first.
//
// The picture is cut into tiles. For each tile and frequency a score says how far the
// power stands out of its surroundings in the spectrum:
//
//	score = min(16, |F|² / background)
//
// The background is the greater of two: the mean in the ring around the frequency, and
// the middle of the power along the line to frequency 0. An edge has such a line, and a
// scene a slope; neither scores. Scores are added over squares of 2 × 2 tiles, 4 × 4,
// and so on to the whole picture. No tile counts for more than 16, so one strange tile
// alarms nobody. A sum that chance gives with less than Spec.FalseAlarm, over all places
// and frequencies, is looked at more closely: the top of the power of all its tiles
// gives the frequency. A pattern must have a contrast of at least Spec.Limit and of four
// uncertainties, and its frequency must stay the same from tile to tile to 0.35 bins.
//
// A pattern is listed once for each place that shows it best. One whose frequency
// changes over the picture, as that of a slanting wall, is listed several times, with
// the frequency of each place. A second pattern less than 6 bins from one already listed
// for the place is not told from it.
//
// The uncertainties come from the background, or from the scatter between tiles if that
// is larger. The contrast is the mean over the tiles of the place.
//
// The picture must have at least two tiles along each side. Tiles with a clipped sample,
// with no light, or that are constant are left out. Fewer than three others are an
// error, and so is a sample that is not a number. Beside the picture, memory holds less
// than a byte a pixel, and up to 40 tiles as 18 bytes a pixel.
func MeasurePatterns[T Sample](picture Plane[T], spec Spec) (Patterns, error) {
	c := newChecker()
	spec = newSpec[T](c, spec)
	if c.OK() {
		picture.Check(c, "picture", 2*spec.Tile)
	}
	if err := c.Err(); err != nil {
		return Patterns{}, err
	}
	s := newSearch(picture, spec)
	sums, counts, err := s.scores()
	if err != nil {
		return Patterns{}, err
	}
	result := Patterns{Tiles: s.across * s.down}
	for _, n := range counts {
		result.LeftOut += n
	}
	result.LeftOut = result.Tiles - result.LeftOut
	result.Tiles -= result.LeftOut
	if result.Tiles < fewestTiles {
		return Patterns{}, newChecker().Refuse("picture", quantity.Number(float64(result.Tiles), "")+" tiles", "must have at least %d tiles of %d × %d px that have light, are not constant, and hold no clipped sample", fewestTiles, s.side, s.side)
	}
	found, looks := s.candidates(sums, counts, spec.FalseAlarm)
	var refused []candidate
	for _, f := range found {
		if len(result.Found) == mostFound {
			break
		}
		if s.known(result.Found, f) || slices.ContainsFunc(refused, func(r candidate) bool {
			return r.place == f.place && distance(s.frequency(r), s.frequency(f)) <= core/float64(s.side)
		}) {
			continue
		}
		p, ok := s.measure(f)
		if !ok || p.Contrast.Value < spec.Limit {
			refused = append(refused, f)
			continue
		}
		p.FalseAlarm = min(1, looks*math.Exp(f.log))
		p.Prediction = nearest(spec.Expected, p.Frequency, spec.Tolerance)
		result.Found = append(result.Found, p)
	}
	return result, nil
}

func newSearch[T Sample](picture Plane[T], spec Spec) *search[T] {
	return &search[T]{
		picture: picture, side: spec.Tile, white: spec.White, window: newWindow(spec.Tile),
		lights: plane.NewLights[T](spec.Linear, picture.Width*picture.Height), linear: spec.Linear == nil,
		across: picture.Width / spec.Tile, down: picture.Height / spec.Tile,
	}
}

// corner is the first pixel of a tile. Tiles do not overlap, and reach all edges.
func (s *search[T]) corner(x, y int) (px, py int) {
	return x * (s.picture.Width - s.side) / (s.across - 1), y * (s.picture.Height - s.side) / (s.down - 1)
}

// load fills a tile. good is false if it is of no use; badX is −1, or badX and badY
// are where a sample is not finite.
func (s *search[T]) load(t *tile, x, y int) (good bool, badX, badY int) {
	px, py := s.corner(x, y)
	part := s.picture.Sub(px, py, s.side, s.side)
	low, high := math.Inf(1), math.Inf(-1)
	clipped := false
	w := s.window.weights
	var sum float64
	for j := range s.side {
		row, step := part.Row(j)
		var line float64
		out := t.samples[j*s.side : (j+1)*s.side]
		for i, weight := range w[:len(out)] {
			v := row[i*step]
			l, code := s.lights.Of(v), float64(v)
			if !(math.Abs(code) <= math.MaxFloat32 && math.Abs(l) <= math.MaxFloat32) {
				return false, px + i, py + j
			}
			if code >= s.white {
				clipped = true
			}
			if l < low {
				low = l
			}
			if l > high {
				high = l
			}
			out[i] = l
			line += weight * l
		}
		sum += w[j] * line
	}
	largest := max(math.Abs(low), math.Abs(high))
	mean := sum / s.window.light
	if clipped || high-low <= 1e-6*largest || mean <= 1e-6*largest {
		return false, -1, -1
	}
	// Whole numbers are rounded by 1/√12 of a code, floats by less.
	rounding := 1e-7 * largest
	if full := plane.FullScale[T](); full > 1 && s.linear {
		rounding = math.Max(rounding, 1/math.Sqrt(12))
	}
	rounding *= s.window.squares / mean
	t.floor = rounding * rounding
	for j := range s.side {
		line := t.samples[j*s.side : (j+1)*s.side]
		down := w[j] / mean
		for i, weight := range w[:len(line)] {
			line[i] = (line[i] - mean) * (weight * down)
		}
	}
	return true, -1, -1
}

// scores gives the scores of squares of two by two tiles, and how many tiles of each
// are good.
func (s *search[T]) scores() (sums [][]float32, counts []int, err error) {
	across, down := (s.across+1)/2, (s.down+1)/2
	sums, counts = make([][]float32, across*down), make([]int, across*down)
	bad := make([][2]int, across*down)
	tiles := make([]*tile, parallel.Workers())
	workspaces := make([]*workspace, len(tiles))
	parallel.For(len(tiles), across*down, func(worker, i int) {
		if tiles[worker] == nil {
			tiles[worker], workspaces[worker] = newTile(s.side, s.window), newWorkspace(s.side)
		}
		t := tiles[worker]
		sums[i] = make([]float32, s.side*(s.side/2+1))
		bad[i] = [2]int{-1, -1}
		for y := i / across * 2; y < min(s.down, i/across*2+2); y++ {
			for x := i % across * 2; x < min(s.across, i%across*2+2); x++ {
				good, badX, badY := s.load(t, x, y)
				if badX >= 0 {
					bad[i] = [2]int{badX, badY}
					return
				}
				if good {
					t.transform(workspaces[worker])
					t.score(sums[i])
					counts[i]++
				}
			}
		}
	})
	for _, b := range bad {
		if b[0] >= 0 {
			return nil, nil, notFinite(b[0], b[1])
		}
	}
	return sums, counts, nil
}

// candidates are the frequencies that stand out in squares of two by two tiles, of
// four by four, and so on to the whole picture, with the most certain first. looks is
// how many places and frequencies were looked at.
func (s *search[T]) candidates(sums [][]float32, counts []int, falseAlarm float64) (found []candidate, looks float64) {
	type level struct {
		places []place
		sums   [][]float32
		counts []int
	}
	across, down := (s.across+1)/2, (s.down+1)/2
	side := 2
	var levels []level
	for {
		l := level{sums: sums, counts: counts}
		for i := range sums {
			x, y := i%across*side, i/across*side
			l.places = append(l.places, place{x, y, min(side, s.across-x), min(side, s.down-y)})
			if counts[i] >= fewestTiles {
				looks += float64(s.side * s.side / 2)
			}
		}
		levels = append(levels, l)
		if len(sums) == 1 {
			break
		}
		nextAcross, nextDown := (across+1)/2, (down+1)/2
		next, nextCounts := make([][]float32, nextAcross*nextDown), make([]int, nextAcross*nextDown)
		for i := range sums {
			k := i/across/2*nextAcross + i%across/2
			if next[k] == nil {
				next[k] = slices.Clone(sums[i])
			} else {
				for j, v := range sums[i] {
					next[k][j] += v
				}
			}
			nextCounts[k] += counts[i]
		}
		sums, counts, across, down, side = next, nextCounts, nextAcross, nextDown, 2*side
	}
	chance := byChance()
	for _, l := range levels {
		for i, sum := range l.sums {
			n := l.counts[i]
			if n < fewestTiles {
				continue
			}
			least := float32(chance.score(math.Log(falseAlarm/looks)/float64(n)) * float64(n))
			for k, v := range sum {
				if v > least && s.top(sum, k/s.side, k%s.side) {
					mean := float64(v) / float64(n)
					found = append(found, candidate{l.places[i], k / s.side, k % s.side, mean, float64(n) * chance.log(mean)})
				}
			}
		}
	}
	slices.SortStableFunc(found, func(a, b candidate) int { return cmp.Compare(a.log, b.log) })
	return found, looks
}

// top reports whether no neighbour of a frequency has a higher score.
func (s *search[T]) top(sum []float32, kx, ky int) bool {
	n := s.side
	for dy := -1; dy <= 1; dy++ {
		for dx := -1; dx <= 1; dx++ {
			x, y := kx+dx, (ky+dy+n)%n
			if x < 0 || x > n/2 { // the opposite frequency
				x, y = (n-x)%n, (n-y)%n
			}
			if x = min(x, n-x); sum[x*n+y] > sum[kx*n+ky] {
				return false
			}
		}
	}
	return true
}

// region is the pixels of a place.
func (s *search[T]) region(p place) Region {
	x0, y0 := s.corner(p.x, p.y)
	x1, y1 := s.corner(p.x+p.width-1, p.y+p.height-1)
	return Region{x0, y0, x1 - x0 + s.side, y1 - y0 + s.side}
}

// frequency of a candidate, in cycles per pixel.
func (s *search[T]) frequency(c candidate) r2.Vec {
	ky := c.ky
	if ky > s.side/2 {
		ky -= s.side
	}
	return r2.Vec{X: float64(c.kx) / float64(s.side), Y: float64(ky) / float64(s.side)}
}

// known reports whether a pattern was found at about a candidate's frequency, in a
// place that holds the candidate's or lies in it.
func (s *search[T]) known(found []Pattern, c candidate) bool {
	r, f := s.region(c.place), s.frequency(c)
	for _, p := range found {
		if (r.within(p.Region) || p.Region.within(r)) && distance(f, p.Frequency) < apart/float64(s.side) {
			return true
		}
	}
	return false
}

// folded is the one of the frequencies that a sampled picture does not tell apart whose
// x is 0 to ½, and whose y is within ±½.
func folded(f r2.Vec) r2.Vec {
	f = r2.Vec{X: f.X - math.Round(f.X), Y: f.Y - math.Round(f.Y)}
	if f.X < 0 || f.X == 0 && f.Y < 0 {
		f = r2.Scale(-1, f)
	}
	return f
}

// distance between two frequencies of a sampled picture, which shows no difference
// between f, −f, and those that are whole numbers away.
func distance(f, g r2.Vec) float64 {
	whole := func(v r2.Vec) float64 { return math.Hypot(v.X-math.Round(v.X), v.Y-math.Round(v.Y)) }
	return math.Min(whole(r2.Sub(f, g)), whole(r2.Add(f, g)))
}

func nearest(expected []r2.Vec, f r2.Vec, tolerance float64) int {
	best := -1
	for i, e := range expected {
		if d := distance(e, f); d <= tolerance {
			best, tolerance = i, d
		}
	}
	return best
}

// tiles are some good tiles all over a place. Those of the last place are kept: a place
// often has several candidates.
func (s *search[T]) tiles(p place) []*tile {
	if p == s.keptPlace {
		return s.kept
	}
	total := p.width * p.height
	skip := 1 + (total-1)/mostTiles
	picked := make([]*tile, (total+skip-1)/skip)
	workspaces := make([]*workspace, parallel.Workers())
	parallel.For(len(workspaces), len(picked), func(worker, i int) {
		if workspaces[worker] == nil {
			workspaces[worker] = newWorkspace(s.side)
		}
		t := newTile(s.side, s.window)
		k := i * skip
		if good, _, _ := s.load(t, p.x+k%p.width, p.y+k/p.width); good {
			t.transform(workspaces[worker])
			picked[i] = t
		}
	})
	s.keptPlace, s.kept = p, slices.DeleteFunc(picked, func(t *tile) bool { return t == nil })
	return s.kept
}

// measure refines the frequency of a candidate, and gives its contrast.
func (s *search[T]) measure(c candidate) (Pattern, bool) {
	tiles := s.tiles(c.place)
	if len(tiles) < fewestTiles {
		return Pattern{}, false
	}
	c.kx, c.ky = c.top(tiles)
	noise := make([]float64, len(tiles))
	for i, t := range tiles {
		noise[i] = t.noise(c.kx, c.ky)
	}
	f := s.frequency(c)
	start := f
	all := make([]moments, len(tiles))
	sum := func() {
		parallel.For(parallel.Workers(), len(tiles), func(_, i int) { all[i] = tiles[i].moments(f.X, f.Y) })
	}
	bin := 1 / float64(s.side)
	for range 6 {
		sum()
		var slope slopes
		for i, m := range all {
			slope.add(m.slopes(), 1/noise[i])
		}
		dx, dy, ok := slope.step()
		if !ok {
			return Pattern{}, false
		}
		dx, dy = max(-bin/2, min(bin/2, dx)), max(-bin/2, min(bin/2, dy))
		f = r2.Add(f, r2.Vec{X: dx, Y: dy})
		if r2.Norm(r2.Sub(f, start)) > core*bin || max(math.Abs(f.X), math.Abs(f.Y)) < (lowest-0.5)*bin {
			return Pattern{}, false
		}
		if math.Hypot(dx, dy) < 1e-4*bin {
			break
		}
	}
	sum()
	light := s.window.light
	var weights, precision, contrast float64
	var scatterX, scatterY float64
	for i, m := range all {
		over := m.power() / noise[i]
		weights += over
		if dx, dy, ok := m.slopes().step(); ok {
			scatterX += over * over * min(dx*dx, bin*bin)
			scatterY += over * over * min(dy*dy, bin*bin)
		}
		w := light * light / (2 * noise[i]) // 1/u² of the tile's contrast
		precision += w
		contrast += w * 4 * (m.power() - noise[i]) / (light * light)
	}
	p := Pattern{Region: s.region(c.place), Tiles: len(tiles), Frequency: f}
	p.Contrast.Value = math.Sqrt(max(0, contrast/precision))
	var scatter float64
	for i, m := range all {
		w := light * light / (2 * noise[i])
		d := 2*math.Sqrt(max(0, m.power()-noise[i]))/light - p.Contrast.Value
		scatter += w * w * d * d
	}
	n := float64(len(tiles))
	student := n / (n - 1)
	p.Contrast.Uncertainty = math.Sqrt(max(1/precision, student*scatter/(precision*precision)))
	q := s.window.inertiaOfSquares / (8 * math.Pi * math.Pi * s.window.inertia * s.window.inertia) / weights
	p.Spread = r2.Vec{
		X: math.Sqrt(max(q, student*scatterX/(weights*weights))),
		Y: math.Sqrt(max(q, student*scatterY/(weights*weights))),
	}
	p.Frequency = folded(f)
	// What is no sinusoid has another frequency in each tile.
	steady := (scatterX+scatterY)/weights*float64(len(tiles))/weights <= wander*wander*bin*bin
	return p, steady && p.Contrast.Value > certain*p.Contrast.Uncertainty
}

// top is the bin near a candidate's at which power stands out most: the scores of a
// strong pattern are at their most all over its top.
func (c candidate) top(tiles []*tile) (kx, ky int) {
	kx, ky = c.kx, c.ky
	var highest float64
	for y := c.ky - core; y <= c.ky+core; y++ {
		for x := c.kx - core; x <= c.kx+core; x++ {
			var over float64
			for _, t := range tiles {
				over += math.Exp(t.logs[t.fold(x, y)]) / t.noise(x, y)
			}
			if over > highest && !tooSlow(x, y, tiles[0].side) {
				highest, kx, ky = over, x, y
			}
		}
	}
	return kx, ky
}

// chance says how likely a mean score is without any pattern: the logarithm of the mean
// of exp(t · score), at some t.
type chance struct{ t, logs [48]float64 }

// byChance spreads the score of one tile over some values: an exponential distribution,
// which is that of the power of noise, times a lognormal one.
var byChance = sync.OnceValue(func() *chance {
	c := new(chance)
	for k := range c.t {
		c.t[k] = 0.02 * math.Pow(1.15, float64(k))
		const n, spacing = 400, 0.4
		var sum, all float64
		for i := range n {
			e := -math.Log((float64(i) + 0.5) / n)
			for j := -8; j <= 8; j++ {
				x := spacing * float64(j)
				w := math.Exp(-x * x / 2)
				all += w
				sum += w * math.Exp(c.t[k]*(min(mostScore, sceneFactor*e*math.Exp(sceneLog*x))-mostScore))
			}
		}
		c.logs[k] = math.Log(sum/all) + c.t[k]*mostScore
	}
	return c
})

// log bounds the logarithm of the probability of a mean score or more, for each tile
// (H. Chernoff, Annals of Mathematical Statistics 23, 1952).
func (c *chance) log(score float64) float64 {
	least := 0.0
	for k, t := range c.t {
		least = min(least, c.logs[k]-t*score)
	}
	return least
}

// score is the mean score of a given log.
func (c *chance) score(log float64) float64 {
	low, high := 0.0, float64(mostScore)
	for range 20 {
		if mid := (low + high) / 2; c.log(mid) > log {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}
