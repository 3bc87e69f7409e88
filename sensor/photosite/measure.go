package photosite

import (
	"math"
	"slices"
	"strconv"

	"example.com/platewright/internal/estimate"
	"example.com/platewright/internal/plane"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/unit"
)

// Code is a type of samples of recorded frames.
type Code = plane.Sample

// Plane is one channel of a frame: Width × Height samples in Pix. Row y begins at
// y · Stride, and samples of a row are Step apart. Zero means Width · Step for Stride
// and 1 for Step. Samples are not copied.
type Plane[T Code] = plane.Plane[T]

// Estimate is a measured value. Uncertainty is its standard uncertainty: one standard
// deviation.
type Estimate = estimate.Estimate

// relative is the uncertainty as a fraction of the value.
func relative(e Estimate) float64 { return e.Uncertainty / e.Value }

// ratio is e divided by f, which is independent of it.
func ratio(e, f Estimate) Estimate {
	v := e.Value / f.Value
	return Estimate{Value: v, Uncertainty: math.Hypot(e.Uncertainty/f.Value, v*relative(f))}
}

// root is the square root of a variance, and 0 of a negative one.
func root(e Estimate) Estimate {
	low := math.Sqrt(max(0, e.Value))
	return Estimate{Value: low, Uncertainty: math.Sqrt(max(0, e.Value)+e.Uncertainty) - low}
}

// FlatPair is what two frames of the same even light show, in DN.
type FlatPair struct {
	FirstMean, SecondMean float64 // of all photosites of each frame
	// HalfMeanSquare is half the mean square of the difference of the two frames,
	// photosite by photosite, in DN².
	HalfMeanSquare float64
	Photosites     int // how many there are in each frame, at least 100
}

func (p FlatPair) mean() float64 { return p.FirstMean/2 + p.SecondMean/2 }

// drift is what the difference of the means adds to HalfMeanSquare.
func (p FlatPair) drift() float64 {
	d := p.FirstMean - p.SecondMean
	return d * d / 2
}

// variance is that of the temporal noise. A mean square of differences of normal noise
// has a relative standard deviation of sqrt(2/n).
func (p FlatPair) variance(ignoreDrift bool) Estimate {
	v := p.HalfMeanSquare
	if !ignoreDrift {
		v = max(0, v-p.drift())
	}
	return Estimate{Value: v, Uncertainty: v * math.Sqrt(2/float64(p.Photosites))}
}

// meanVariance is that of the mean of both frames, by temporal noise alone.
func (p FlatPair) meanVariance() float64 { return p.HalfMeanSquare / (2 * float64(p.Photosites)) }

const (
	fewestPhotosites = 100
	mostDN           = 1e12
)

func (p FlatPair) check(c *valid.Checker, field string) {
	dn := valid.Closed(-mostDN, mostDN)
	c.Number(field+": mean of the first frame", p.FirstMean, "DN", dn)
	c.Number(field+": mean of the second frame", p.SecondMean, "DN", dn)
	c.Number(field+": half the mean square difference", p.HalfMeanSquare, "DN²", valid.Closed(0, mostDN*mostDN))
	c.Int(field+": photosites", p.Photosites, "", fewestPhotosites, math.MaxInt32)
	if c.OK() && p.HalfMeanSquare < p.drift()*(1-1e-9) {
		c.Fault(field+": half the mean square difference", quantity.Number(p.HalfMeanSquare, "DN²"),
			"must be at least half the square of the difference of the means, %s", quantity.Number(p.drift(), "DN²"))
	}
}

// MeasureFlatPair measures two frames of the same even light, or two dark ones. Take a
// part without falloff, dust and edges: each adds to no variance here, but mixes
// photosites of different light. Samples must be the numbers of the converter, linear in
// the light and not corrected. Planes that differ in size, of fewer than 100 samples, or
// with samples that are not finite are an error.
//
// Source: EMVA 1288 release 4, temporal variance from two images (from memory).
func MeasureFlatPair[T Code](first, second Plane[T]) (FlatPair, error) {
	c := valid.New("photosite", ErrInvalid)
	first.Check(c, "first frame", 1)
	second.Check(c, "second frame", 1)
	if c.OK() {
		plane.SameSize(c, "second frame", second.Width, second.Height, first.Width, first.Height)
		enough(c, first.Width, first.Height)
	}
	if err := c.Err(); err != nil {
		return FlatPair{}, err
	}
	var sum, difference, squares float64
	for y := range first.Height {
		a, stepA := first.Row(y)
		b, stepB := second.Row(y)
		var s, d, q float64 // of the row: little is lost to rounding
		for i, j := 0, 0; i < len(a); i, j = i+stepA, j+stepB {
			u, v := float64(a[i]), float64(b[j])
			s += u
			d += u - v
			q += (u - v) * (u - v)
		}
		sum, difference, squares = sum+s, difference+d, squares+q
	}
	n := float64(first.Width) * float64(first.Height)
	p := FlatPair{FirstMean: sum / n, SecondMean: (sum - difference) / n, HalfMeanSquare: squares / (2 * n), Photosites: first.Width * first.Height}
	p.check(c, "frames")
	if err := c.Err(); err != nil {
		return FlatPair{}, err
	}
	return p, nil
}

func enough(c *valid.Checker, w, h int) {
	if n := int64(w) * int64(h); n < fewestPhotosites || n > math.MaxInt32 {
		c.Fault("frames", plane.Size(w, h), "must have from %d to %d photosites", fewestPhotosites, math.MaxInt32)
	}
}

// FlatStack is what many frames of the same even light show, in DN.
type FlatStack struct {
	Frames     int // 2 to 1e6
	Photosites int // at least 100
	Mean       float64
	// TemporalVariance is the variance of a photosite from frame to frame, the mean
	// over photosites, in DN².
	TemporalVariance float64
	// SpatialVariance is the variance between photosites of the mean of all frames, in
	// DN². It still holds the part of the temporal noise that the mean leaves.
	SpatialVariance float64
}

// pattern is the spatial variance without temporal noise: (S2-P19).
func (s FlatStack) pattern() Estimate {
	frames, n := float64(s.Frames), float64(s.Photosites)
	left := s.TemporalVariance / frames
	return Estimate{Value: s.SpatialVariance - left, Uncertainty: math.Sqrt(2/n) * math.Hypot(s.SpatialVariance, left/math.Sqrt(frames-1))}
}

func (s FlatStack) check(c *valid.Checker, field string) {
	c.Int(field+": frames", s.Frames, "", 2, 1e6)
	c.Int(field+": photosites", s.Photosites, "", fewestPhotosites, math.MaxInt32)
	c.Number(field+": mean", s.Mean, "DN", valid.Closed(-mostDN, mostDN))
	variances := valid.Closed(0, mostDN*mostDN)
	c.Number(field+": temporal variance", s.TemporalVariance, "DN²", variances)
	c.Number(field+": spatial variance", s.SpatialVariance, "DN²", variances)
}

// StackMeter measures frames of the same even light one after the other. It keeps
// 8 bytes for each photosite. The zero value is ready to use.
type StackMeter[T Code] struct {
	width, height, frames int
	level                 float64   // taken off each sample: the first
	sums                  []float64 // of each photosite
	squares               float64   // of all samples
}

// Add takes one more frame. One of another size, of fewer than 100 samples, or with
// samples that are not finite is an error, and is left out.
func (m *StackMeter[T]) Add(frame Plane[T]) error {
	c := valid.New("photosite", ErrInvalid)
	if m == nil {
		c.Unset("meter")
	}
	frame.Check(c, "frame", 1)
	if c.OK() {
		enough(c, frame.Width, frame.Height)
		if m.frames > 0 {
			plane.SameSize(c, "frame", frame.Width, frame.Height, m.width, m.height)
		}
	}
	if c.OK() {
		checkFinite(c, frame)
	}
	if err := c.Err(); err != nil {
		return err
	}
	if m.frames == 0 {
		m.width, m.height = frame.Width, frame.Height
		m.sums = make([]float64, m.width*m.height)
		m.level = float64(frame.Pix[0])
	}
	m.frames++
	for y := range m.height {
		row, step := frame.Row(y)
		sums := m.sums[y*m.width : (y+1)*m.width]
		squares := 0.0
		for x := range sums {
			v := float64(row[x*step]) - m.level
			sums[x] += v
			squares += v * v
		}
		m.squares += squares
	}
	return nil
}

// checkFinite adds a fault for a sample that is no number, or beyond mostDN.
func checkFinite[T Code](c *valid.Checker, frame Plane[T]) {
	for y := range frame.Height {
		row, step := frame.Row(y)
		for x := 0; x < len(row); x += step {
			if v := float64(row[x]); !(math.Abs(v) <= mostDN) {
				c.Fault("sample", quantity.Number(v, "DN"), "must be a number of at most 1e12 DN (column %d, row %d)", x/step, y)
				return
			}
		}
	}
}

// Measure gives the statistics of the frames so far. Fewer than two are an error.
func (m *StackMeter[T]) Measure() (FlatStack, error) {
	if m == nil {
		m = &StackMeter[T]{}
	}
	if m.frames < 2 {
		return FlatStack{}, valid.New("photosite", ErrInvalid).Refuse("frames", strconv.Itoa(m.frames), "must be at least 2 of the same light")
	}
	frames, n := float64(m.frames), float64(len(m.sums))
	var sum, squares float64
	for y := range m.height {
		var s, q float64
		for _, v := range m.sums[y*m.width : (y+1)*m.width] {
			s += v
			q += v * v
		}
		sum, squares = sum+s, squares+q
	}
	mean := sum / (n * frames)
	return FlatStack{
		Frames: m.frames, Photosites: len(m.sums),
		Mean:             m.level + mean,
		TemporalVariance: max(0, (m.squares-squares/frames)/(n*(frames-1))),
		SpatialVariance:  max(0, squares/(n*frames*frames)-mean*mean),
	}, nil
}

// FlatExposure is one step of a photon transfer.
type FlatExposure struct {
	// Time of the exposure; 0 in all steps if unknown.
	Time unit.Time
	// Photons is their mean count at a photosite; 0 in all steps if unknown. They rise
	// from step to step.
	Photons float64
	// Bright is a pair of frames with the light, Dark one without, of the same time.
	Bright, Dark FlatPair
}

// PhotonTransferSpec is the evidence for MeasurePhotonTransfer.
type PhotonTransferSpec struct {
	// Exposures in the order of rising light, from dark to beyond saturation. At least 5
	// must lie below 70 % of saturation.
	Exposures []FlatExposure
	// IgnoreDrift leaves half the square of the difference of the two means in each
	// variance, as old evaluations did. By default it is subtracted: the light is not
	// quite the same in both frames.
	IgnoreDrift bool
	// BrightStack, at about half of saturation, and DarkStack give PRNU and DSNU. Zero
	// values leave them out.
	BrightStack, DarkStack FlatStack
}

// PhotonTransfer is the result of MeasurePhotonTransfer. What the evidence does not
// reach is zero. Uncertainties do not hold errors of the count of photons and of the
// times.
type PhotonTransfer struct {
	// Gain is the system gain K in DN per electron.
	Gain Estimate
	// Responsivity is R in DN per photon, and QuantumEfficiency η = R/K. Both need
	// photons.
	Responsivity, QuantumEfficiency Estimate
	// DarkNoise is the temporal noise without light in DN, rounding included.
	DarkNoise Estimate
	// ReadNoise is DarkNoise without rounding, in electrons. If ReadNoiseIsLimit, the
	// dark variance is below 0.24 DN², rounding hides the noise, and ReadNoise is the
	// most that it may be. So is Threshold then; DSNU may be off by a step of the converter,
	// and there is no DarkCurrentByVariance.
	ReadNoise        Estimate
	ReadNoiseIsLimit bool
	// Saturation is the index of the exposure at saturation: the last whose variance is
	// the largest, to within two standard deviations. If not SaturationReached, no later one
	// is smaller by 5 standard deviations; it is the last of all, and the capacity may be
	// larger by any amount.
	Saturation        int
	SaturationReached bool
	// SaturationCapacity is the mean count of electrons there. By this definition of the
	// standard the photosite holds more: by up to the step to the next exposure, and by
	// about two standard deviations of the noise there. The uncertainty holds the step
	// over √3 and one such deviation.
	SaturationCapacity Estimate
	// Threshold is the absolute sensitivity threshold in electrons, and PhotonThreshold
	// in photons.
	Threshold, PhotonThreshold Estimate
	// MaxSNR is √(capacity), and DynamicRange the capacity over Threshold. In decibels
	// both are 20 log10.
	MaxSNR, DynamicRange Estimate
	// LinearityMin and LinearityMax are the least and the largest deviation of the mean
	// from a straight line over the photons (or the times), as a fraction, between 5 %
	// and 95 % of saturation. Noise alone takes each of them some 1.5 of its uncertainty from 0.
	LinearityMin, LinearityMax Estimate
	// DarkCurrent is in electrons a second, from the means of the dark frames, and
	// DarkCurrentByVariance from their variances. Both need at least 3 different times.
	DarkCurrent, DarkCurrentByVariance Estimate
	// DSNU is in electrons. PRNU is a fraction of the signal.
	DSNU, PRNU Estimate
}

const (
	fitTo           = 0.7  // of saturation
	linearFrom      = 0.05 // of saturation
	linearTo        = 0.95
	fewestExposures = 5
	poorestGain     = 0.1 // relative uncertainty
	surely          = 5   // standard deviations, of the fall of the variance at saturation
)

// MeasurePhotonTransfer measures a photosite and its converter from pairs of flat frames
// at rising exposures:
//
//	σ² = half the mean square difference − ½ (difference of the means)²
//	σ² − σ²dark = K (μ − μdark)     μ − μdark = R μp     η = R/K
//	σd² = (σ²dark − 1/12)/K²        μe.min = √(σ²dark)/K + ½
//
// Both lines go through 0. They are fitted by least squares to the exposures of up to
// 70 % of saturation. Saturation is where the variance is largest. σ²dark is the intercept
// of the dark variances over the exposure time. With fewer than 3 different times it is
// their mean.
//
// Each uncertainty is the larger of two: what the number of photosites leaves, and what
// the scatter about the line shows. A response that is not linear is part of the
// scatter. Without photons there is no R and no η, and the capacity follows from
// (μ − μdark)/K. Evidence that cannot give K to 10 % is an error.
//
// Source: EMVA 1288 release 4, linear model (from memory).
func MeasurePhotonTransfer(spec PhotonTransferSpec) (PhotonTransfer, error) {
	c := valid.New("photosite", ErrInvalid)
	steps := newTransfer(c, spec)
	if err := c.Err(); err != nil {
		return PhotonTransfer{}, err
	}
	p := PhotonTransfer{}
	p.Saturation, p.SaturationReached = steps.saturation()
	if top := steps.signal[p.Saturation].Value; !(top > 0) {
		return PhotonTransfer{}, c.Refuse("exposures", quantity.Number(top, "DN")+" above dark at saturation", "must be brighter than the dark frames")
	}
	fit := steps.upTo(p.Saturation, fitTo)
	if len(fit) < fewestExposures {
		return PhotonTransfer{}, c.Refuse("exposures", strconv.Itoa(len(fit))+" of up to 70 % of saturation", "must be at least %d", fewestExposures)
	}
	signal, noise := pick(steps.signal, fit), pick(steps.shot, fit)
	p.Gain = proportion(values(signal), noise)
	if k := p.Gain; !(k.Value > 0 && relative(k) <= poorestGain) {
		c.Fault("exposures", "a gain of "+quantity.Number(k.Value, "DN/e⁻")+" ± "+quantity.Number(k.Uncertainty, "DN/e⁻"),
			"must show a gain to 10 %%: variances that rise in proportion to the mean; take more light, more photosites or more exposures")
		return PhotonTransfer{}, c.Err()
	}
	p.dark(steps) // K > 0
	full := ratio(steps.signal[p.Saturation], p.Gain)
	step := 0.0
	if p.SaturationReached {
		step = (steps.signal[p.Saturation+1].Value - steps.signal[p.Saturation].Value) / p.Gain.Value
	}
	if steps.photons {
		p.Responsivity = proportion(pick(steps.x, fit), signal)
		if r := p.Responsivity; !(r.Value > 0) {
			return PhotonTransfer{}, c.Refuse("exposures", "a responsivity of "+quantity.Number(r.Value, "DN/photon"), "must be brighter than the dark frames")
		}
		if p.ReadNoiseIsLimit { // the dark means are all off by the same
			x := pick(steps.x, fit)
			p.Responsivity.Uncertainty = math.Hypot(p.Responsivity.Uncertainty, math.Sqrt(quantisation)*floats.Sum(x)/floats.Dot(x, x))
		}
		p.QuantumEfficiency = ratio(p.Responsivity, p.Gain)
		photons := steps.x[p.Saturation]
		eta := p.QuantumEfficiency
		full = Estimate{Value: eta.Value * photons, Uncertainty: eta.Uncertainty * photons}
		if p.SaturationReached {
			step = eta.Value * (steps.x[p.Saturation+1] - photons)
		}
		p.PhotonThreshold = ratio(p.Threshold, eta)
	}
	early := 0.0 // the electrons by which noise fills some photosites before others
	if p.SaturationReached {
		early = math.Sqrt(steps.variance[p.Saturation].Value) / p.Gain.Value
	}
	p.SaturationCapacity = Estimate{Value: full.Value, Uncertainty: math.Hypot(full.Uncertainty, math.Hypot(step/math.Sqrt(3), early))}
	p.MaxSNR = root(p.SaturationCapacity)
	p.DynamicRange = ratio(p.SaturationCapacity, p.Threshold)
	if steps.x != nil {
		p.LinearityMin, p.LinearityMax = steps.linearity(p.Saturation)
	}
	p.patterns(spec)
	return p, nil
}

// Spec is known with what was measured: gain, read noise and saturation capacity, and,
// where the evidence reached them, quantum efficiency, PRNU and DSNU. known gives the
// pitches, the photons of a lux-second, and what was not measured. New checks it.
func (p PhotonTransfer) Spec(known Spec) Spec {
	for _, m := range []struct {
		field *float64
		Estimate
	}{
		{&known.Gain, p.Gain}, {&known.ReadNoise, p.ReadNoise}, {&known.SaturationCapacity, p.SaturationCapacity},
		{&known.QuantumEfficiency, p.QuantumEfficiency}, {&known.PRNU, p.PRNU}, {&known.DSNU, p.DSNU},
	} {
		if m.Estimate != (Estimate{}) {
			*m.field = m.Value
		}
	}
	return known
}

// transfer is the evidence step by step.
type transfer struct {
	x            []float64  // photons, or times, or nil
	photons      bool       // x is photons
	times        []float64  // s, or nil without 3 different ones
	signal       []Estimate // bright mean over dark mean, DN
	variance     []Estimate // bright, DN²
	shot         []Estimate // bright variance over dark variance, DN²
	darkMean     []Estimate
	darkVariance []Estimate
	flicker      []float64 // difference of the means of a pair over the signal, halved
}

func newTransfer(c *valid.Checker, spec PhotonTransferSpec) (t transfer) {
	n := len(spec.Exposures)
	c.Int("exposures", n, "", fewestExposures, 1e6)
	photons, times := make([]float64, n), make([]float64, n)
	top, falls := math.Inf(-1), -1
	for i, e := range spec.Exposures {
		field := "exposure " + strconv.Itoa(i)
		e.Bright.check(c, field+", bright")
		e.Dark.check(c, field+", dark")
		photons[i], times[i] = e.Photons, float64(e.Time)
		if mean := e.Bright.mean(); mean < top-0.01*math.Abs(top) && falls < 0 {
			falls = i
		} else {
			top = max(top, mean)
		}
	}
	t.photons = slices.ContainsFunc(photons, func(v float64) bool { return v != 0 })
	timed := slices.ContainsFunc(times, func(v float64) bool { return v != 0 })
	rising := true // the times
	for i := range n {
		field := "exposure " + strconv.Itoa(i)
		c.Number(field+": photons", photons[i], "", valid.Closed(0, mostDN))
		if timed {
			c.Time(field+": time", spec.Exposures[i].Time, valid.ExposureTimes)
		}
		if i > 0 && t.photons && photons[i] <= photons[i-1] {
			c.Fault(field+": photons", quantity.Number(photons[i], ""), "must be more than before, %s", quantity.Number(photons[i-1], ""))
		}
		rising = rising && (i == 0 || times[i] > times[i-1])
	}
	if falls >= 0 {
		c.Fault("exposure "+strconv.Itoa(falls)+": bright mean", quantity.Number(spec.Exposures[falls].Bright.mean(), "DN"), "must not fall as the light rises")
	}
	if spec.BrightStack != (FlatStack{}) {
		spec.BrightStack.check(c, "bright stack")
	}
	if spec.DarkStack != (FlatStack{}) {
		spec.DarkStack.check(c, "dark stack")
	} else if spec.BrightStack != (FlatStack{}) {
		c.Fault("dark stack", "none", "must be given with a bright stack")
	}
	if !c.OK() {
		return transfer{}
	}
	switch {
	case t.photons:
		t.x = photons
	case timed && rising:
		t.x = times
	}
	if distinct := slices.Compact(slices.Sorted(slices.Values(times))); len(distinct) >= 3 {
		t.times = times
	}
	for _, e := range spec.Exposures {
		bright, dark := e.Bright, e.Dark
		signal := Estimate{Value: bright.mean() - dark.mean(), Uncertainty: math.Sqrt(bright.meanVariance() + dark.meanVariance())}
		vb, vd := bright.variance(spec.IgnoreDrift), dark.variance(spec.IgnoreDrift)
		t.signal = append(t.signal, signal)
		t.variance = append(t.variance, vb)
		t.shot = append(t.shot, Estimate{Value: vb.Value - vd.Value, Uncertainty: math.Hypot(vb.Uncertainty, vd.Uncertainty)})
		t.darkMean = append(t.darkMean, Estimate{Value: dark.mean(), Uncertainty: math.Sqrt(dark.meanVariance())})
		t.darkVariance = append(t.darkVariance, vd)
		t.flicker = append(t.flicker, (bright.FirstMean-bright.SecondMean)/2)
	}
	return t
}

// saturation is the last exposure whose variance is the largest of all, to within two
// standard deviations. reached is false if no later one is smaller by more than chance: then
// it is the last of all.
func (t transfer) saturation() (index int, reached bool) {
	most := slices.MaxFunc(t.variance, func(a, b Estimate) int {
		if a.Value < b.Value {
			return -1
		}
		return 1
	})
	for i, v := range t.variance {
		if v.Value >= most.Value-2*most.Uncertainty {
			index = i
		}
	}
	for _, v := range t.variance[index+1:] {
		if most.Value-v.Value > surely*math.Hypot(most.Uncertainty, v.Uncertainty) {
			return index, true
		}
	}
	return len(t.variance) - 1, false
}

// upTo gives the indices of exposures up to a fraction of saturation.
func (t transfer) upTo(saturation int, fraction float64) (indices []int) {
	for i := range saturation {
		if t.signal[i].Value <= fraction*t.signal[saturation].Value {
			indices = append(indices, i)
		}
	}
	return indices
}

// dark sets what the dark frames show. Gain must be set.
func (p *PhotonTransfer) dark(t transfer) {
	var variance Estimate
	if k := p.Gain; t.times != nil {
		var slope Estimate
		slope, variance = line(t.times, t.darkVariance)
		if variance.Value >= leastDark {
			// The same error of the gain counts twice.
			p.DarkCurrentByVariance = ratio(slope, Estimate{Value: k.Value * k.Value, Uncertainty: 2 * k.Value * k.Uncertainty})
		}
		slope, _ = line(t.times, t.darkMean)
		p.DarkCurrent = ratio(slope, k)
	} else {
		ones := make([]float64, len(t.darkVariance))
		for i := range ones {
			ones[i] = 1
		}
		variance = proportion(ones, t.darkVariance)
	}
	p.DarkNoise = root(variance)
	p.ReadNoiseIsLimit = variance.Value < leastDark
	variance.Value = max(variance.Value, leastDark)
	p.ReadNoise = ratio(root(Estimate{Value: variance.Value - quantisation, Uncertainty: variance.Uncertainty}), p.Gain)
	p.Threshold = ratio(root(variance), p.Gain)
	p.Threshold.Value += 0.5
}

// linearity gives the largest deviations from the line that has the least relative ones.
func (t transfer) linearity(saturation int) (least, most Estimate) {
	var sw, swx, swxx, swy, swxy, flicker float64
	var used []int
	for _, i := range t.upTo(saturation, linearTo) {
		y := t.signal[i].Value
		if y < linearFrom*t.signal[saturation].Value {
			continue
		}
		x, w := t.x[i], 1/(y*y)
		used = append(used, i)
		sw, swx, swxx, swy, swxy = sw+w, swx+w*x, swxx+w*x*x, swy+w*y, swxy+w*x*y
		flicker += (t.flicker[i]*t.flicker[i] + t.signal[i].Uncertainty*t.signal[i].Uncertainty) / (y * y)
	}
	if len(used) < fewestExposures {
		return Estimate{}, Estimate{}
	}
	slope := (sw*swxy - swx*swy) / (sw*swxx - swx*swx)
	offset := (swy - slope*swx) / sw
	least.Value, most.Value = math.Inf(1), math.Inf(-1)
	for _, i := range used {
		y := offset + slope*t.x[i]
		d := (t.signal[i].Value - y) / y
		least.Value, most.Value = min(least.Value, d), max(most.Value, d)
	}
	u := math.Sqrt(flicker / float64(len(used)))
	least.Uncertainty, most.Uncertainty = u, u
	return least, most
}

// patterns sets DSNU and PRNU. Gain must be set.
func (p *PhotonTransfer) patterns(spec PhotonTransferSpec) {
	dark, bright := spec.DarkStack, spec.BrightStack
	if dark == (FlatStack{}) {
		return
	}
	p.DSNU = ratio(root(dark.pattern()), p.Gain)
	if signal := bright.Mean - dark.Mean; bright != (FlatStack{}) && signal > 0 {
		v, d := bright.pattern(), dark.pattern()
		r := root(Estimate{Value: v.Value - d.Value, Uncertainty: math.Hypot(v.Uncertainty, d.Uncertainty)})
		p.PRNU = Estimate{Value: r.Value / signal, Uncertainty: r.Uncertainty / signal}
	}
}

func pick[E any](of []E, indices []int) (out []E) {
	for _, i := range indices {
		out = append(out, of[i])
	}
	return out
}

func values(of []Estimate) (out []float64) {
	for _, e := range of {
		out = append(out, e.Value)
	}
	return out
}

// proportion is the slope through 0 of y over x, by least squares.
func proportion(x []float64, y []Estimate) Estimate {
	var xx float64
	for _, v := range x {
		xx += v * v
	}
	weights := make([]float64, len(x))
	for i, v := range x {
		weights[i] = v / xx
	}
	slope := sum(weights, y)
	return Estimate{Value: slope, Uncertainty: deviation(weights, y, 1, func(i int) float64 { return slope * x[i] })}
}

// line is the straight line of y over x, by least squares. x has 2 different values at
// least.
func line(x []float64, y []Estimate) (slope, intercept Estimate) {
	n := float64(len(x))
	var mean, xx float64
	for _, v := range x {
		mean += v / n
	}
	for _, v := range x {
		xx += (v - mean) * (v - mean)
	}
	rise, level := make([]float64, len(x)), make([]float64, len(x))
	for i, v := range x {
		rise[i] = (v - mean) / xx
		level[i] = 1/n - mean*rise[i]
	}
	slope.Value, intercept.Value = sum(rise, y), sum(level, y)
	model := func(i int) float64 { return intercept.Value + slope.Value*x[i] }
	slope.Uncertainty, intercept.Uncertainty = deviation(rise, y, 2, model), deviation(level, y, 2, model)
	return slope, intercept
}

func sum(weights []float64, y []Estimate) (s float64) {
	for i, w := range weights {
		s += w * y[i].Value
	}
	return s
}

// deviation is the standard deviation of a weighted sum of y: by their uncertainties, or
// by what a model with some unknowns leaves of them, whichever is more.
func deviation(weights []float64, y []Estimate, unknowns int, model func(i int) float64) float64 {
	var known, scatter float64
	for i, w := range weights {
		u, e := w*y[i].Uncertainty, w*(y[i].Value-model(i))
		known += u * u
		scatter += e * e
	}
	n := float64(len(weights))
	return math.Sqrt(max(known, scatter*n/(n-float64(unknowns))))
}
