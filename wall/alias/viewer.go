package alias

import (
	"math"

	"example.com/platewright/internal/peak"
	"example.com/platewright/internal/valid"
	"example.com/platewright/wall/level"
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
// of level.ContrastSensitivity, Barten's model of the human eye, for a field of 60°.
// Its numbers are those of an average young observer, who needs time to look.
//
// Below the frequency of its peak, the sensitivity of the peak is taken, where the
// formula gives less. The eye sees slow changes worse only while they stand still,
// and an alias crawls; a push-in makes it coarser, too.
//
// The formula is for changes of brightness. Red and blue alone are less visible, so
// this is on the safe side for them. A frequency outside 0 to 1e6 cycles per
// photosite is an error, and so is a field outside its range.
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
	luminance  float64
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
	s.luminance = 100
	if v.Luminance != 0 {
		s.luminance = v.Luminance
	}
	lowest, start, highest := math.Log(0.05), math.Log(3), math.Log(30)
	at, most := peak.Find(func(x float64) float64 { return contrastSensitivity(math.Exp(x), s.luminance) }, lowest, start, highest, 1e-6)
	s.peak, s.most = math.Exp(at), most
	return s
}

// sensitivity is 1/Threshold. It is never 0, so that the threshold stays finite.
func (s *sight) sensitivity(cyclesPerPhotosite float64) float64 {
	u := cyclesPerPhotosite * s.perDegree
	if s.fixed || u <= s.peak {
		return s.most
	}
	return max(contrastSensitivity(u, s.luminance), 1e-300)
}

// field is the angle that a picture fills, across and down. Beyond 12° it matters
// little.
const field = 60 * level.Degree

// contrastSensitivity is that of an eye at u cycles per degree. From 100 on, where
// nothing is visible, it does not change.
func contrastSensitivity(u, luminance float64) float64 {
	s, err := level.ContrastSensitivity(min(u, 100), luminance, field)
	if err != nil {
		return 0 // not for a checked Viewer
	}
	return s
}
