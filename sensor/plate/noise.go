package plate

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"example.com/platewright/internal/plane"
	"example.com/platewright/internal/quantity"
	"gonum.org/v1/gonum/stat/distuv"
)

// Noise is the result of MeasureNoise, in units of the linear light.
type Noise struct {
	// Levels are the noise at some levels of light, from dark to bright.
	Levels []LevelNoise
	// Floor is the noise at the darkest of them.
	Floor Estimate
	// Gain is the slope of the variance over the light: the light of one electron, if
	// the noise is that of the light itself. It is zero unless it stands out of its
	// uncertainty by 5.
	Gain Estimate
	// Spacing is the distance in pixels at which the noise is independent: 1 for raw
	// samples, more after the interpolation of a mosaic, denoising or compression.
	Spacing int
}

// LevelNoise is the noise at a level of light.
type LevelNoise struct {
	Light  float64
	Noise  Estimate // standard deviation
	Blocks int      // how many flat blocks show it
}

const (
	blockSide    = 8
	freedom      = blockSide*blockSide - 6 // what a polynomial of degree 2 leaves
	mostBlocks   = 1 << 17                 // of a frame: more gain nothing
	levelBlocks  = 150                     // for one level
	mostLevels   = 8
	fewestBlocks = 100
	fewestFlat   = 20
	lowTail      = 0.9 // of the variance: blocks below it are used
	wideTail     = 1.2 // compared with it
	doubt        = 0.4 // standard deviations of their difference at which half of it is believed
	gained       = 0.3 // of the certainty that wideTail would have alone
	mostSpacing  = 4
	faint        = 0.5 // of the variance: what faint detail may add where no block is flat
	grain        = 0.1 // correlation from which on noise is not independent
)

// block is the level and the variance of one block, about a polynomial of degree 2.
type block struct {
	light, variance, neighbours float64
	coarse                      bool // its codes differ by 2 at most, or its samples not at all
}

// MeasureNoise gives the noise of a plate from its own flat parts.
//
// Model: some blocks of 8 × 8 samples hold no more than a polynomial of degree 2 and
// normal noise, independent from sample to sample. Their variances then follow χ² with
// 58 degrees of freedom. All others are larger. At each level of light the low end of the
// variances is used, whose mean is M times the true one:
//
//	σ² = mean(s² | s² < 0.9 σ²) / M        M = E(x | x < 0.9), 58 x of χ²
//
// The smallest σ² that fits is taken, and a larger one from blocks of up to 1.2 σ² as far
// as chance explains the difference. So detail of the scene does no harm as long as
// some blocks are flat. Levels at which neighbours are correlated by more than 0.1 are left
// out; if all are, blocks are taken from samples 2, 3 or 4 pixels apart.
//
// The uncertainty holds the number of blocks, the change when blocks of up to 1.2 σ² are
// used, and half of σ² times the fraction of blocks that are not flat. In plates without
// detail it is twice the scatter or so. Detail as fine as the pixels, in all of a plate,
// may still add a fifth to the noise.
//
// The frame must be uncompressed or nearly so: compression and denoising take noise out
// of just the flat parts. What is measured is the noise that they leave.
//
// Of a large frame, some 130 000 blocks all over it are taken. Blocks with clipped or
// crushed samples are left out. An error says if fewer than 100
// blocks remain, if rounding hides the noise (also in a constant frame), if no block is
// flat, or if the noise is correlated over more than 4 pixels.
func MeasureNoise[T Sample](frame Plane[T], spec LightSpec) (Noise, error) {
	c := newChecker()
	part := cut(c, frame, spec.Region, blockSide)
	ends := newEnds[T](c, spec.White, spec.Black)
	if err := c.Err(); err != nil {
		return Noise{}, err
	}
	lights := plane.NewLights[T](spec.Linear, part.Width*part.Height)
	var first error
	for spacing := 1; spacing <= mostSpacing; spacing++ {
		blocks, x, y := gather(part, lights, ends, spacing)
		if x >= 0 {
			return Noise{}, notFinite(x+spec.Region.X, y+spec.Region.Y)
		}
		if len(blocks) < fewestBlocks {
			if first == nil {
				first = newChecker().Refuse("frame", strconv.Itoa(len(blocks))+" blocks of 8 × 8 samples", "must hold at least %d that are neither clipped nor crushed", fewestBlocks)
			}
			return Noise{}, first
		}
		n, err := levelsOf(blocks)
		if err == nil {
			n.Spacing = spacing
			return n, nil
		}
		if first == nil { // not that of a wider spacing, which sees more of the scene
			first = err
		}
	}
	return Noise{}, first
}

// gather makes the blocks of a frame. Of a large one it takes some, all over it. badX is
// −1, or badX and badY are where a sample is not finite.
func gather[T Sample](part Plane[T], lights plane.Lights[T], ends ends, spacing int) (blocks []block, badX, badY int) {
	reach := (blockSide-1)*spacing + 1
	columns, rows := part.Width/reach, part.Height/reach
	whole := plane.FullScale[T]() > 1
	skip := 1
	for columns*rows > mostBlocks*skip*skip {
		skip++
	}
	for j := 0; j < rows; j += skip {
		for i := 0; i < columns; i += skip {
			var v [blockSide * blockSide]float64
			low, high := math.Inf(1), math.Inf(-1)
			for y := range blockSide {
				row, step := part.Row(j*reach + y*spacing)
				for x := range blockSide {
					s := row[(i*reach+x*spacing)*step]
					if !finite(s) || !(math.Abs(lights.Of(s)) <= math.MaxFloat32) {
						return nil, i*reach + x*spacing, j*reach + y*spacing
					}
					low, high = min(low, float64(s)), max(high, float64(s))
					v[y*blockSide+x] = lights.Of(s)
				}
			}
			if low <= ends.black || high >= ends.white {
				continue
			}
			b := about(&v)
			b.coarse = high == low || whole && high-low <= 2
			blocks = append(blocks, b)
		}
	}
	return blocks, -1, 0
}

// quadratic holds the orthonormal polynomials of degree 0 to 2 at 8 places.
var quadratic = func() (p [3][blockSide]float64) {
	for i := range blockSide {
		x := float64(i) - (blockSide-1)/2.
		p[0][i] = 1 / math.Sqrt(blockSide)
		p[1][i] = x / math.Sqrt(42)
		p[2][i] = (x*x - 21./4) / math.Sqrt(168)
	}
	return p
}()

// about takes the polynomial out of a block. It changes v.
func about(v *[blockSide * blockSide]float64) (b block) {
	first := v[0]
	for i := range v {
		v[i] -= first
		b.light += v[i]
	}
	b.light = first + b.light/(blockSide*blockSide)
	var rows [3][blockSide]float64 // coefficients along x of each row
	for y := range blockSide {
		for k := range rows {
			for x := range blockSide {
				rows[k][y] += v[y*blockSide+x] * quadratic[k][x]
			}
		}
	}
	var sum [3][3]float64
	for k := range 3 {
		for m := range 3 - k {
			for y := range blockSide {
				sum[k][m] += rows[k][y] * quadratic[m][y]
			}
		}
	}
	for y := range blockSide {
		for k := range 3 {
			c := 0.0
			for m := range 3 - k {
				c += sum[k][m] * quadratic[m][y]
			}
			for x := range blockSide {
				v[y*blockSide+x] -= c * quadratic[k][x]
			}
		}
	}
	var pairs float64
	for i, r := range v {
		b.variance += r * r
		if i%blockSide > 0 {
			pairs += r * v[i-1]
		}
		if i >= blockSide {
			pairs += r * v[i-blockSide]
		}
	}
	b.variance /= freedom
	b.neighbours = pairs / (2 * (blockSide - 1) * blockSide)
	return b
}

// levelsOf measures the noise at levels of light. It leaves out those whose blocks show
// correlated noise, or detail.
func levelsOf(blocks []block) (n Noise, err error) {
	slices.SortFunc(blocks, func(a, b block) int { return cmp.Compare(a.light, b.light) })
	levels := min(max(len(blocks)/levelBlocks, 1), mostLevels)
	coarse, used := 0, 0
	least := math.Inf(1) // correlation of what was left out
	for i := range levels {
		some := blocks[i*len(blocks)/levels : (i+1)*len(blocks)/levels]
		slices.SortFunc(some, func(a, b block) int { return cmp.Compare(a.variance, b.variance) })
		count, variance, ok := tail(some)
		if !ok {
			continue
		}
		l := LevelNoise{Blocks: count}
		var pairs, variances float64
		for _, b := range some[:count] {
			l.Light += b.light / float64(count)
			pairs += b.neighbours
			variances += b.variance
			used++
			if b.coarse {
				coarse++
			}
		}
		if r := pairs/variances - independent; r > grain {
			least = min(least, r)
			continue
		}
		l.Noise.Value = math.Sqrt(variance.Value)
		l.Noise.Uncertainty = variance.Uncertainty / (2 * l.Noise.Value)
		n.Levels = append(n.Levels, l)
	}
	switch {
	case 2*coarse > used, used == 0 && slices.ContainsFunc(blocks, func(b block) bool { return b.coarse }):
		return Noise{}, newChecker().Refuse("frame", "flat parts whose codes differ by 2 at most, or not at all", "must show noise: rounding hides it, or there is none")
	case used == 0:
		return Noise{}, newChecker().Refuse("frame", "no flat part", "must have blocks of 8 × 8 samples without detail")
	case len(n.Levels) == 0:
		return Noise{}, newChecker().Refuse("frame", quantity.Number(least, "correlation of neighbours"), "must be at most %v in flat parts: noise of coarse grain cannot be told from the scene", grain)
	}
	n.Floor = n.Levels[0].Noise
	n.Gain = slope(n.Levels)
	return n, nil
}

// independent is the correlation of neighbours that taking out the polynomial leaves of
// independent noise.
var independent = func() (mean float64) {
	for k := range 3 {
		for m := range 3 - k {
			for y := range blockSide {
				for x := 1; x < blockSide; x++ { // and as many from row to row
					mean -= quadratic[k][x] * quadratic[k][x-1] * quadratic[m][y] * quadratic[m][y]
				}
			}
		}
	}
	return mean / ((blockSide - 1) * blockSide)
}()

// tail finds the smallest variance that the low end of sorted variances fits, and how
// many blocks are below it. As far as chance explains by how much more a wider range of
// them says, the variance is that of the wider range, which knows it better.
func tail(blocks []block) (count int, variance Estimate, ok bool) {
	low, wide := newTruncated(lowTail), newTruncated(wideTail)
	count, s := low.fit(blocks)
	if count < fewestFlat || s == 0 {
		return 0, Estimate{}, false
	}
	_, t := wide.fit(blocks)
	if t == 0 {
		t = s
	}
	n := float64(len(blocks))
	flat := float64(count) / low.below // blocks; those of detail, as far as chance does not make them:
	detail := max(0, 1-flat/n-math.Sqrt((1-low.below)/(low.below*n)))
	narrow, broad := s*low.spread/math.Sqrt(flat), s*wide.spread/math.Sqrt(flat)
	beyond := max(0, t-s) / math.Sqrt(narrow*narrow-broad*broad)
	trust := 1 / (1 + math.Pow(beyond/doubt, 4))
	chance := narrow + gained*trust*(broad-narrow)
	return count, Estimate{Value: s + trust*(t-s), Uncertainty: math.Hypot(chance, math.Hypot(s*faint*detail, (1-trust/2)*(t-s)))}, true
}

// truncated is χ² over its degrees of freedom, cut off at end.
type truncated struct {
	end    float64
	below  float64 // the fraction below end
	mean   float64 // of what is below
	spread float64 // relative deviation of the estimate, times √(number of blocks)
}

func newTruncated(end float64) truncated {
	below := distuv.ChiSquared{K: freedom}.CDF(end * freedom)
	// x · density(ν) is the density of ν + 2; so for the mean and the mean square.
	mean := distuv.ChiSquared{K: freedom + 2}.CDF(end*freedom) / below
	square := distuv.ChiSquared{K: freedom + 4}.CDF(end*freedom) / below * (freedom + 2) / freedom
	density := distuv.ChiSquared{K: freedom}.Prob(end*freedom) * freedom
	slope := mean*below - end*density*(end-mean)
	return truncated{end, below, mean, math.Sqrt(below*(square-mean*mean)) / slope}
}

// fit is the smallest variance whose truncated mean is that of the blocks below it.
func (t truncated) fit(sorted []block) (count int, variance float64) {
	sum := 0.0
	for i, b := range sorted {
		sum += b.variance
		if i+1 < fewestFlat {
			continue
		}
		if s := sum / float64(i+1) / t.mean; b.variance >= t.end*s {
			return i + 1, s
		}
	}
	return 0, 0
}

// slope is that of the variance over the light, if there is evidence of one.
func slope(levels []LevelNoise) Estimate {
	if len(levels) < 3 {
		return Estimate{}
	}
	var w, x, y, xx, xy float64
	weight := func(l LevelNoise) float64 {
		u := 2 * l.Noise.Value * l.Noise.Uncertainty
		return 1 / (u * u)
	}
	for _, l := range levels {
		k := weight(l)
		w, x, y = w+k, x+k*l.Light, y+k*l.Noise.Value*l.Noise.Value
	}
	x, y = x/w, y/w
	for _, l := range levels {
		k, d := weight(l), l.Light-x
		xx, xy = xx+k*d*d, xy+k*d*(l.Noise.Value*l.Noise.Value-y)
	}
	g := Estimate{Value: xy / xx, Uncertainty: 1 / math.Sqrt(xx)}
	squares := 0.0
	for _, l := range levels {
		r := l.Noise.Value*l.Noise.Value - y - g.Value*(l.Light-x)
		squares += weight(l) * r * r
	}
	g.Uncertainty *= math.Sqrt(max(1, squares/float64(len(levels)-2)))
	if !(g.Value >= 5*g.Uncertainty) {
		return Estimate{}
	}
	return g
}
