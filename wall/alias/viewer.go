package alias

import (
	"math"

	"example.com/platewright/internal/peak"
	"example.com/platewright/internal/valid"
)

// Viewer says which contrast is visible. Its zero value is a viewer at the design
// distance of Recommendation ITU-R BT.500, from which a pixel subtends one arc
// minute, before a display of 100 cd/m², if a photosite becomes a pixel.
type Viewer struct {
	// PhotositesPerDegree is the number of photosites in a degree of the viewer's
	// sight, 1 to 1e4. 0 means 60. A push-in of 2 halves it.
	PhotositesPerDegree float64

	// Luminance of the picture in cd/m², 0.01 to 1e4. 0 means 100, the reference
	// level of Recommendation ITU-R BT.2035 (from memory).
	Luminance float64

	// Contrast is the least visible contrast at every frequency, up to 2, where the
	// caller has a limit of his own. 0 means that of Threshold.
	Contrast float64
}

// Threshold is the least contrast, amplitude over mean, at which the viewer sees
// a sinusoid of a frequency: the Contrast of the Viewer, or
//
//	1/sensitivity
//
// of P. G. J. Barten's formula for the contrast sensitivity of the human eye, for
// a field of 60° and both eyes. Its numbers are those of an average young
// observer, who needs time to look.
//
// Below the frequency of its peak, the sensitivity of the peak is taken, where the
// formula gives less. The eye sees slow changes worse only while they stand still,
// and an alias crawls; a push-in makes it coarser, too.
//
// The formula is for changes of brightness. Red and blue alone are less visible, so
// this is on the safe side for them. A frequency outside 0 to 1e6 cycles per
// photosite is an error, and so is a field outside its range.
//
// Source: P. G. J. Barten, Contrast Sensitivity of the Human Eye and its Effects
// on Image Quality, 1999, as in Report ITU-R BT.2246; from memory, checked against
// printed values.
func (v Viewer) Threshold(cyclesPerPhotosite float64) (contrast float64, err error) {
	c := valid.New("alias", ErrInvalid)
	v.check(c)
	c.Number("frequency", cyclesPerPhotosite, "cycles per photosite", valid.Closed[float64](0, 1e6))
	if !c.OK() {
		return 0, c.Err()
	}
	s := newSight(v)
	return 1 / s.sensitivity(cyclesPerPhotosite), nil
}

func (v Viewer) check(c *valid.Checker) {
	if v.PhotositesPerDegree != 0 {
		c.Number("photosites per degree", v.PhotositesPerDegree, "", valid.Closed[float64](1, 1e4))
	}
	if v.Luminance != 0 {
		c.Number("luminance", v.Luminance, "cd/m²", valid.Closed(0.01, 1e4))
	}
	c.Number("visible contrast", v.Contrast, "", valid.Closed[float64](0, 2))
}

// sight is a Viewer with its defaults filled in.
type sight struct {
	perDegree  float64
	fixed      bool // one sensitivity for all frequencies
	most, peak float64
	observer   observer
}

func newSight(v Viewer) sight {
	s := sight{perDegree: 60}
	if v.PhotositesPerDegree != 0 {
		s.perDegree = v.PhotositesPerDegree
	}
	if v.Contrast != 0 {
		s.most, s.fixed = 1/v.Contrast, true
		return s
	}
	luminance := 100.0
	if v.Luminance != 0 {
		luminance = v.Luminance
	}
	s.observer = observer{luminance: luminance, pupil: pupil(luminance, field), field: field}
	lowest, start, highest := math.Log(0.05), math.Log(3), math.Log(30)
	at, most := peak.Find(func(x float64) float64 { return s.observer.sensitivity(math.Exp(x)) }, lowest, start, highest, 1e-6)
	s.peak, s.most = math.Exp(at), most
	return s
}

// sensitivity is 1/Threshold. It is never 0, so that the threshold stays finite.
func (s *sight) sensitivity(cyclesPerPhotosite float64) float64 {
	u := cyclesPerPhotosite * s.perDegree
	if s.fixed || u <= s.peak {
		return s.most
	}
	return max(s.observer.sensitivity(u), 1e-300)
}

// field is the angle in degrees that a picture fills, across and down. Beyond 12°
// it matters little.
const field = 60

// observer is what Barten's formula takes: cd/m², the diameter of the pupil in mm,
// and the field in degrees.
type observer struct{ luminance, pupil, field float64 }

// pupil is the diameter in mm of a pupil that sees a square field.
func pupil(luminance, field float64) float64 {
	return 5 - 3*math.Tanh(0.4*math.Log10(luminance*field*field/(40*40)))
}

// spread is the standard deviation in degrees of the image on the retina.
func (o observer) spread() float64 {
	return math.Hypot(0.5/60, 0.08/60*o.pupil)
}

// area is that over which the eye sums up a pattern of u cycles per degree, in
// square degrees.
func (o observer) area(u float64) float64 {
	const largest, cycles = 12, 15
	return 1 / (1/(o.field*o.field) + 1./(largest*largest) + u*u/(cycles*cycles))
}

// sensitivity is the reciprocal of the least visible modulation at u cycles per
// degree.
func (o observer) sensitivity(u float64) float64 {
	const (
		k          = 3        // signal to noise at the threshold
		time       = 0.1      // s, over which the eye sums up
		efficiency = 0.03     // of the cones
		photons    = 1.2274e6 // per second, square degree and troland
		noise      = 3e-8     // s deg², of the nerves
		inhibition = 7.       // cycles per degree, below which neighbours inhibit each other
	)
	blur := math.Exp(-2 * math.Pi * math.Pi * o.spread() * o.spread() * u * u)
	trolands := math.Pi / 4 * o.pupil * o.pupil * o.luminance *
		(1 - math.Pow(o.pupil/9.7, 2) + math.Pow(o.pupil/12.4, 4)) // Stiles and Crawford's effect
	neural := noise / -math.Expm1(-(u/inhibition)*(u/inhibition))
	return blur / k / math.Sqrt(2/time/o.area(u)*(1/(efficiency*photons*trolands)+neural))
}
