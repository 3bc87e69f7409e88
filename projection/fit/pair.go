package fit

import (
	"maps"
	"math"
	"slices"
	"strconv"

	"example.com/platewright/internal/estimate"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// PairSpec says what two plates are compared.
type PairSpec struct {
	// A and B are the numbers of the cameras in the rig, from 0.
	A, B int
	// Patch is the side of the patches that are compared, in px of A: 6 to 256; 0 means 12.
	// It should be several times as large as the displacement of far things between the
	// plates.
	Patch int
}

// Pair is how one camera compares with another in their overlap. All numbers are in stops:
// 1 is twice the light.
type Pair struct {
	A, B int
	// Stops are those by which B's plate is brighter than A's, by channel.
	Stops []Estimate
	// Tints are those by which each channel of B is brighter than A's beyond the middle
	// channel, which is green of three: its own is 0. They are measured by themselves and
	// surer than a difference of Stops, since what displaces a thing does so in all channels.
	Tints []Estimate
	// Patches is how many patches were compared. Outliers is the fraction of them that do not
	// agree with the others, as near things do that parallax displaces.
	Patches  int
	Outliers float64
}

const (
	perSide     = 6    // samples along a patch
	blockSide   = 3    // patches along a block
	leastLight  = 0.01 // of a patch, in the range from black to white
	mostLight   = 0.9
	mostDetail  = 0.15 // deviation within a patch in its mean, apart from a slope
	mostSlope   = 0.25 // deviation within a patch in its mean, by a slope
	fewPatches  = 40
	fewBlocks   = 12
	mostOutlier = 0.4
	resampling  = 7e-4  // stops, what interpolation does to a ratio
	evenness    = 0.005 // relative deviation of a patch apart from its noise
	leastScale  = 0.02  // of residuals over their deviations: some 0.0001 stops
	turnBelieve = 0.01  // rad, by which cameras may be turned
	biweight    = 4.685 // Tukey's constant: 95 % efficient for normal errors
	rejected    = 0.1   // weight of an outlier
)

// patch is what one plate shows of a place.
type patch struct {
	mean, noise []float64 // noise: relative deviation apart from a slope
	slope       []r3.Vec  // of the logarithm of light, per rad along the sphere
}

// look measures a patch of samples step px of the tangent apart.
func (p *Plate[T]) look(t tangent, step float64, out *patch) bool {
	n := len(p.Channels)
	var sum, squares, bu, bv [mostChannels]float64
	var light [mostChannels]float64
	uu := 0.0
	for j := range perSide {
		v := (float64(j) - (perSide-1)/2.0) * step
		for i := range perSide {
			u := (float64(i) - (perSide-1)/2.0) * step
			if !p.light(t.at(u, v), p.Channels, light[:n]) {
				return false
			}
			uu += u * u
			for c, l := range light[:n] {
				sum[c] += l
				squares[c] += l * l
				bu[c] += u * l
				bv[c] += v * l
			}
		}
	}
	const count = perSide * perSide
	span := p.White - p.Black
	// The vectors along the sphere whose products with across and down are 1 and 0.
	normal := r3.Cross(t.across, t.down)
	area := r3.Norm2(normal)
	dualU := r3.Scale(1/area, r3.Cross(t.down, normal))
	dualV := r3.Scale(1/area, r3.Cross(normal, t.across))
	for c := range n {
		mean := sum[c] / count
		if !(mean >= leastLight*span && mean <= mostLight*span) {
			return false
		}
		su, sv := bu[c]/uu, bv[c]/uu
		bend := (su*su + sv*sv) * uu / count
		rest := math.Max(0, squares[c]/count-mean*mean-bend)
		if !(bend <= mostSlope*mostSlope*mean*mean && rest <= mostDetail*mostDetail*mean*mean) {
			return false
		}
		out.mean[c] = mean
		out.noise[c] = math.Sqrt(rest/(count-3)) / mean
		out.slope[c] = r3.Scale(1/mean, r3.Add(r3.Scale(su, dualU), r3.Scale(sv, dualV)))
	}
	return true
}

// sight is one patch in both plates.
type sight struct {
	ratio []float64 // log2 of B's light over A's, by channel
	turn  []r3.Vec  // by how much it changes, per rad about each axis that B is turned
	noise []float64 // standard deviation of ratio by what varies within the patch
	block [2]int
}

// MeasurePair compares two plates where they overlap:
//
//	stops = log2(light of B / light of A)
//
// Patches of A on a grid are looked at in both plates, by 6 × 6 directions each. Patches
// are left out that are clipped, outside 1 to 90 % of white in either plate or channel, or
// that hold edges. A robust fit (Tukey's biweight) to the rest gives the ratio, and with it
// a small turn of one camera against the other, so that a slope of light in the scene is
// not taken for a gain. Things that parallax displaces become outliers.
//
// The uncertainty is by the scatter between blocks of 3 × 3 patches, and 0.0007 stops for
// interpolation. It holds noise and what differs from place to place, and not what is the
// same throughout the overlap, as a falloff that Falloff does not hold.
//
// Plates of other sizes than their cameras, fewer than 40 patches or 12 blocks, and more
// than 40 % of outliers are an error.
func MeasurePair[T Sample](a, b Plate[T], spec PairSpec) (Pair, error) {
	c := newChecker()
	a.check(c, "plate a")
	b.check(c, "plate b")
	if len(a.Channels) != len(b.Channels) {
		c.Fault("plate b: channels", strconv.Itoa(len(b.Channels)), "must be as many as those of plate a, %d", len(a.Channels))
	}
	checkNumbers(c, spec.A, spec.B, mostCameras)
	if spec.Patch == 0 {
		spec.Patch = 12
	}
	c.Int("patch", spec.Patch, "px", perSide, 256)
	if err := c.Err(); err != nil {
		return Pair{}, err
	}
	n := len(a.Channels)
	newPatch := func() patch { return patch{make([]float64, n), make([]float64, n), make([]r3.Vec, n)} }
	inA, inB := newPatch(), newPatch()
	overlap := 0
	var sights []sight
	grid(a.Camera, gridStep(a.Camera, spec.Patch, 192), func(t tangent, column, row int) {
		if _, _, ok := b.position(t.dir); !ok {
			return
		}
		overlap++
		step := float64(spec.Patch) / perSide
		if !a.look(t, step, &inA) || !b.look(t, step, &inB) {
			return
		}
		s := sight{make([]float64, n), make([]r3.Vec, n), make([]float64, n), [2]int{column / blockSide, row / blockSide}}
		for i := range n {
			s.ratio[i] = math.Log2(inB.mean[i] / inA.mean[i])
			slope := r3.Scale(0.5/math.Ln2, r3.Add(inA.slope[i], inB.slope[i]))
			s.turn[i] = r3.Cross(t.dir, slope)
			s.noise[i] = math.Hypot(inA.noise[i], inB.noise[i]) / math.Ln2
		}
		sights = append(sights, s)
	})
	if len(sights) < fewPatches {
		return Pair{}, newChecker().Refuse("overlap", strconv.Itoa(len(sights))+" of "+strconv.Itoa(overlap)+" patches", "must have at least %d that are even, not clipped and not dark in both plates", fewPatches)
	}
	pair := Pair{A: spec.A, B: spec.B, Patches: len(sights), Stops: make([]Estimate, n), Tints: make([]Estimate, n)}
	middle := n / 2
	for i := range n {
		var outliers float64
		var err error
		if pair.Stops[i], outliers, err = robust(sights, func(s sight) (float64, r3.Vec, float64) {
			return s.ratio[i], s.turn[i], s.noise[i]
		}); err != nil {
			return Pair{}, err
		}
		pair.Outliers = math.Max(pair.Outliers, outliers)
		if i == middle {
			continue
		}
		if pair.Tints[i], _, err = robust(sights, func(s sight) (float64, r3.Vec, float64) {
			return s.ratio[i] - s.ratio[middle], r3.Sub(s.turn[i], s.turn[middle]), math.Hypot(s.noise[i], s.noise[middle])
		}); err != nil {
			return Pair{}, err
		}
	}
	return pair, nil
}

// checkNumbers checks the numbers of two cameras.
func checkNumbers(c *valid.Checker, a, b, cameras int) {
	c.Int("a", a, "", 0, cameras-1)
	c.Int("b", b, "", 0, cameras-1)
	if a == b {
		c.Fault("b", strconv.Itoa(b), "must be another camera than a")
	}
}

// robust fits a level and a small turn to what it is given of each sight: a number, how it
// changes with the turn, and its noise. It gives the level, and the fraction of outliers.
func robust(sights []sight, of func(sight) (value float64, turn r3.Vec, noise float64)) (level Estimate, outliers float64, err error) {
	const terms = 4
	n := len(sights)
	value, weight, scaled := make([]float64, n), make([]float64, n), make([]float64, n)
	rows := make([][terms]float64, n)
	for i, s := range sights {
		v, turn, noise := of(s)
		value[i] = v
		rows[i] = [terms]float64{1, turn.X, turn.Y, turn.Z}
		weight[i] = 1 / (noise*noise + evenness*evenness)
	}
	copy(scaled, value)
	var fit [terms]float64
	fit[0] = estimate.Median(scaled)
	residual := func(i int) float64 {
		r := value[i]
		for k, x := range rows[i] {
			r -= x * fit[k]
		}
		return r * math.Sqrt(weight[i])
	}
	var scale float64
	var inverse mat.SymDense
	for turn := range 40 {
		if turn < 15 { // then the scale stands still, so that the rest settles
			for i := range scaled {
				scaled[i] = math.Abs(residual(i))
			}
			scale = math.Max(estimate.MedianToDeviation*estimate.Median(scaled), leastScale)
		}
		normal := mat.NewSymDense(terms, nil)
		right := mat.NewVecDense(terms, nil)
		for i := range rows {
			w := tukey(residual(i)/scale) * weight[i]
			for k, x := range rows[i] {
				right.SetVec(k, right.AtVec(k)+w*x*value[i])
				for m := k; m < terms; m++ {
					normal.SetSym(k, m, normal.At(k, m)+w*x*rows[i][m])
				}
			}
		}
		for k := 1; k < terms; k++ { // turns are small
			normal.SetSym(k, k, normal.At(k, k)+scale*scale/(turnBelieve*turnBelieve))
		}
		var factor mat.Cholesky
		if !factor.Factorize(normal) {
			return Estimate{}, 0, newChecker().Refuse("overlap", strconv.Itoa(n)+" patches", "must determine a ratio")
		}
		if err := factor.InverseTo(&inverse); err != nil {
			return Estimate{}, 0, newChecker().Refuse("overlap", strconv.Itoa(n)+" patches", "must determine a ratio")
		}
		last := fit[0]
		for k := range fit {
			fit[k] = 0
			for m := range fit {
				fit[k] += inverse.At(k, m) * right.AtVec(m)
			}
		}
		if turn >= 15 && math.Abs(fit[0]-last) < 1e-12 {
			break
		}
	}
	// How each block pulls at the level: the sandwich of M-estimators, by blocks.
	pulls := map[[2]int]float64{}
	var squares, slopes, weights float64
	for i := range rows {
		z := residual(i) / scale
		w := tukey(z)
		if w < rejected {
			outliers += 1 / float64(n)
		}
		lever := 0.0
		for k, x := range rows[i] {
			lever += inverse.At(0, k) * x
		}
		pull := lever * w * z * scale * math.Sqrt(weight[i])
		if w > 0 {
			pulls[sights[i].block] += pull
			squares += pull * pull
			near := 1 - z*z/(biweight*biweight)
			slopes += weight[i] * near * (near - 4*z*z/(biweight*biweight))
			weights += weight[i] * w
		}
	}
	if outliers > mostOutlier {
		return Estimate{}, 0, newChecker().Refuse("overlap", strconv.Itoa(int(math.Round(100*outliers)))+" % outliers", "must be at most %d %%: the plates do not show the same things", int(100*mostOutlier))
	}
	blocks := float64(len(pulls))
	if blocks < fewBlocks {
		return Estimate{}, 0, newChecker().Refuse("overlap", strconv.Itoa(len(pulls))+" blocks of 3 × 3 patches", "must be at least %d", fewBlocks)
	}
	between := 0.0
	for _, block := range slices.SortedFunc(maps.Keys(pulls), func(a, b [2]int) int { return slices.Compare(a[:], b[:]) }) {
		between += pulls[block] * pulls[block] // in order, for the same roundings each time
	}
	between *= math.Pow(blocks/(blocks-terms), 2) // as a jackknife that leaves out blocks
	u := math.Sqrt(math.Max(between, squares)) / math.Max(slopes/weights, 0.5)
	return Estimate{Value: fit[0], Uncertainty: math.Hypot(u, resampling)}, outliers, nil
}

// tukey is Tukey's biweight of a residual in scales.
func tukey(z float64) float64 {
	near := 1 - z*z/(biweight*biweight)
	if !(near > 0) {
		return 0
	}
	return near * near
}
