package transfer

import (
	"math"

	"example.com/platewright/internal/peak"
	"example.com/platewright/internal/root"
	"example.com/platewright/internal/valid"
	"example.com/platewright/lens"
	"gonum.org/v1/gonum/unit"
)

// FrequencyAt is the spatial frequency, in line pairs per millimetre on the
// sensor, at which the contrast first falls to a value: at every lower frequency
// OTF is greater. At contrast 0 it is where the first reversal begins, or the end
// of all detail. OTF may rise again beyond, but what it shows there is no detail
// of the object: bright and dark have changed places, or a coarser detail is
// fainter than a finer one.
//
// The contrast is at least 0 and less than 1. The other arguments are those of
// OTF. ok is false if one is outside its range.
func (s System) FrequencyAt(contrast float64, direction unit.Angle, focus, object unit.Length) (linePairsPerMM float64, ok bool) {
	spot, blur, ok := s.spread(focus, object)
	if !ok || !valid.Below(0, 1.).Contains(contrast) || !valid.Turns.Contains(float64(direction)) {
		return 0, false
	}
	keeps := func(nu float64) bool { return s.resolved(nu, float64(direction), spot, blur) > contrast }
	return root.Boundary(keeps, 1e-3/spot, 0), true
}

// Detail is a pattern of which a picture shall keep a contrast.
type Detail struct {
	// LinePairsPerMM is its spatial frequency on the sensor, more than 0:
	// System.PixelFrequency and System.WallFrequency give it.
	LinePairsPerMM float64
	// Direction is that in which it varies, from −360° to 360°.
	Direction unit.Angle
	// Contrast is the least that is wanted, more than 0 and less than 1.
	Contrast float64
}

func (d Detail) check(c *valid.Checker) {
	c.Number("spatial frequency", d.LinePairsPerMM, "lp/mm", valid.Above(0, valid.Frequencies.Max))
	c.Angle("direction", d.Direction, valid.Turns)
	c.Number("contrast", d.Contrast, "", valid.Between(0, 1.))
}

// Depth is the range of distances at which a Detail keeps its contrast.
type Depth struct {
	// OK is whether it does at the focus distance. If not, Field and Confusion are
	// zero.
	OK bool
	// Field holds the near and the far limit.
	Field lens.DepthOfField
	// Confusion is the diameter, on the sensor, of the blur by geometry at both
	// limits: the circle of confusion that this contrast allows.
	Confusion unit.Length
	// InFocus is the contrast at the focus distance, 0 if it is reversed.
	InFocus float64
	// Shortfall is by how much InFocus is less than is wanted, 0 if OK.
	Shortfall float64
	// Limit is the part that leaves the least contrast in focus.
	Limit Part `json:",omitzero"`
}

// Depth gives the near and the far limit between which a detail keeps the wanted
// contrast, if the lens is focused at a distance. Beside defocus it counts
// everything that the System contains. The contrast remains at every distance
// between the limits, for the detail itself and for all coarser ones: what has
// been reversed is not sharp, and neither is what reappears beyond.
//
//	the limits of lens.Lens.DepthOfField for the largest blur b at which
//	OTF(ν') ≥ contrast for all ν' ≤ ν
//
// The near limit is never less than the focal length. The focus distance is more
// than that, and may be +Inf; another one is an error, and so is a Detail outside
// its ranges.
func (s System) Depth(focus unit.Length, d Detail) (Depth, error) {
	c := s.checker()
	c.Length("focus distance", focus, valid.Above(s.focal, math.Inf(1)))
	d.check(c)
	if !c.OK() {
		return Depth{}, c.Err()
	}
	nu, direction := d.LinePairsPerMM, float64(d.Direction)
	spot, _, _ := s.spread(focus, focus)
	losses, _ := s.losses(nu, direction, spot, 0)
	depth := Depth{InFocus: s.resolved(nu, direction, spot, 0), Limit: losses.Least()}
	if depth.OK = depth.InFocus >= d.Contrast; !depth.OK {
		depth.Shortfall = d.Contrast - depth.InFocus
		return depth, nil
	}
	x := math.Min(1e3*nu*spot, 0.5)
	most := firstLobe * spot / (math.Pi * x * (1 - x))
	depth.Confusion = unit.Length(root.Boundary(func(blur float64) bool {
		return s.resolved(nu, direction, spot, blur) >= d.Contrast
	}, most, 0))
	depth.Field = lens.DepthOfField{Near: min(focus, math.MaxFloat64), Far: focus} // JSON takes no infinite Near
	if depth.Confusion >= leastConfusion {
		// A blur as wide as the pupil is that of an object at the focal length.
		widest := unit.Length(s.focal / s.fNumber * (1 - 0x1p-40))
		field, err := s.spec.Lens.DepthOfField(focus, min(depth.Confusion, widest))
		c.Add("depth of field", err)
		depth.Field = field
	}
	return depth, c.Err()
}

// leastConfusion is the least circle of confusion that package lens takes.
const leastConfusion = unit.Nano * unit.Metre

// Setting is a focus distance and an f-number.
type Setting struct {
	// OK is whether the wanted contrast remains from near to far.
	OK      bool
	Focus   unit.Length
	FNumber float64
	// Contrast is the least from near to far, 0 if it is reversed.
	Contrast float64
	// Shortfall is by how much Contrast is less than is wanted, 0 if OK.
	Shortfall float64
	// Limit is the part that leaves the least contrast at near and far.
	Limit Part `json:",omitzero"`
}

// BestSetting gives the focus distance and the f-number that keep the most
// contrast of a detail from near to far. If even they keep less than is wanted,
// the result is not OK and names the part that takes most.
//
// The focus distance is that of lens.Lens.FocusBetween, at which near and far
// blur equally. A wider aperture blurs them more, a narrower one loses contrast to
// diffraction; the f-number balances the two, from widest to narrowest, which are
// from 0.5 to 1024. That of the Lens plays no part. Where the contrast is 0 at
// all f-numbers, FNumber is widest.
//
// near is more than the focal length and at most 1e9 m. far is more than near, and
// may be +Inf. Other values are errors, and so is a Detail outside its ranges.
//
// The contrast is that of Depth: the least OTF at the frequency of the detail and
// all lower ones. At the best f-number defocus and diffraction are in balance. So
// Diffraction as the Limit means that the range is too deep for this detail, unless
// FNumber is widest. A call takes some milliseconds.
func (s System) BestSetting(near, far unit.Length, d Detail, widest, narrowest float64) (Setting, error) {
	c := s.checker()
	c.Length("near limit", near, valid.Above(s.focal, valid.Distances.Max))
	least := s.focal
	if c.OK() {
		least = float64(near)
	}
	c.Length("far limit", far, valid.Above(least, math.Inf(1)))
	c.Number("widest f-number", widest, "", valid.FNumbers)
	c.Number("narrowest f-number", narrowest, "", valid.FNumbers)
	if c.OK() && narrowest < widest {
		c.Number("narrowest f-number", narrowest, "", valid.Closed(widest, valid.FNumbers.Max))
	}
	d.check(c)
	if !c.OK() {
		return Setting{}, c.Err()
	}
	focus, _, err := s.spec.Lens.FocusBetween(near, far, leastConfusion)
	c.Add("focus", err)
	if !c.OK() {
		return Setting{}, c.Err()
	}
	spot, blur, _ := s.spread(focus, near)
	contrast := func(lnN float64) float64 {
		stopped := math.Exp(lnN) / s.fNumber
		return s.resolved(d.LinePairsPerMM, float64(d.Direction), spot*stopped, blur/stopped)
	}
	// A search over all f-numbers, then around the best.
	const steps = 64
	lo, hi := math.Log(widest), math.Log(narrowest)
	at := func(i int) float64 { return lo + (hi-lo)*float64(i)/steps }
	best, most := 0, contrast(lo)
	for i := 1; i <= steps; i++ {
		if v := contrast(at(i)); v > most {
			best, most = i, v
		}
	}
	x, most := peak.Find(contrast, at(max(best-1, 0)), at(best), at(min(best+1, steps)), 1e-7)
	set := Setting{Focus: focus, FNumber: math.Min(math.Max(math.Exp(x), widest), narrowest), Contrast: most}
	if set.OK = most >= d.Contrast; !set.OK {
		set.Shortfall = d.Contrast - most
	}
	set.Limit = Defocus
	stopped := set.FNumber / s.fNumber
	if losses, ok := s.losses(d.LinePairsPerMM, float64(d.Direction), spot*stopped, blur/stopped); ok {
		set.Limit = losses.Least()
	}
	return set, nil
}

// firstLobe is above the phase π ν b (1 − x) at which the integral of Hopkins is
// first 0, whatever the fraction x = ν λ N of the cutoff. It grows from 3.8317, the
// first zero of J1, at x = 0, to 4.2 at x = 1. Below its first zero the integral
// falls as the blur b grows.
const firstLobe = 4.2

// resolved is the least contrast at all frequencies up to one, which is more than
// 0: a detail is resolved where it and all coarser ones keep contrast. It is 0 if
// one of them is reversed.
func (s System) resolved(linePairsPerMM, direction, spot, blur float64) float64 {
	x := linePairsPerMM * (1e3 * spot)
	low := math.Min(x, 0.5) // where the phase is greatest
	if x >= 1 || linePairsPerMM >= s.reversal(direction) || math.Pi*low*(1-low)*blur >= firstLobe*spot {
		return 0
	}
	contrast := func(nu float64) float64 { return hopkins(nu, spot, blur) * s.behind(nu, direction) }
	// Defocus by half a wavelength or more leaves a dip about half of the cutoff.
	const steps = 32
	step := linePairsPerMM / steps
	before, here := 1.0, contrast(step)
	least := here
	for i := 1; i < steps; i++ {
		after := contrast(float64(i+1) * step)
		if before > here && here < after {
			at := float64(i) * step
			_, v := peak.Find(func(nu float64) float64 { return -contrast(nu) }, at-step, at, at+step, 1e-6*linePairsPerMM)
			least = math.Min(least, -v)
		}
		least = math.Min(least, after)
		before, here = here, after
	}
	return math.Max(least, 0)
}

// checker begins the checks of a method that gives an error.
func (s System) checker() *valid.Checker {
	c := valid.New("transfer", ErrInvalid)
	if s.focal == 0 {
		c.Fault("system", "System{}", "must come from NewSystem")
	}
	return c
}
