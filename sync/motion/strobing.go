package motion

import (
	"example.com/platewright/internal/valid"
	timing "example.com/platewright/sync"
	"gonum.org/v1/gonum/unit"
)

// StrobingSpec describes a pan, or a turn of the vehicle, past things at rest.
type StrobingSpec struct {
	Rate     timing.Rate    `json:",omitzero"`
	Exposure timing.Seconds // 1 ns to the period of a frame
	Density  float64        // pixels per degree of the picture: 0.001 to 10⁶
	Width    float64        // of the picture in px: 1 to 2²⁴
	Speed    unit.Angle     // of the turn, in a second: 0° to 720°

	// BlurLimit and GapLimit are what is tolerable in px: 0.001 to 10⁶.
	BlurLimit, GapLimit float64
}

// Strobe is how a turn looks. It is judged by how far things step from frame to frame,
// and by how much of this the blur fills.
type Strobe struct {
	Step float64 // px from one frame to the next
	Blur float64 // px in an exposure
	Gap  float64 // px of each step that the blur leaves open

	Crossing unit.Time // in which a thing crosses the picture; 0 if it moves less than 0.001 px/s

	// GuideCrossing is the shortest crossing that does not strobe by the cameraman's rule,
	// common practice: 7 s at 24 frames a second with half of them exposed, and less at
	// higher rates. GuideSpeed is the turn in a second that goes with it. What stands out
	// from its background strobes earlier; what the eye follows, later.
	GuideCrossing unit.Time
	GuideSpeed    unit.Angle

	// BlurSpeed and GapSpeed are the turns in a second from which on the blur and the gap
	// exceed their limits. GapSpeed is 0 if the exposure is all of the frame: then there is
	// no gap at any speed.
	BlurSpeed, GapSpeed unit.Angle
}

// Strobing judges a turn.
//
//	Step = Speed · Density/Rate        Blur = Speed · Density · Exposure
//	GuideCrossing = 7 s · 24/Rate      GuideSpeed = Width/(Density · GuideCrossing)
//	BlurSpeed = BlurLimit/(Density · Exposure)
//	GapSpeed = GapLimit/(Density · (1/Rate − Exposure))
func Strobing(spec StrobingSpec) (Strobe, error) {
	c := newChecker()
	if spec.Rate == (timing.Rate{}) {
		c.Unset("rate")
	} else if period := spec.Rate.Period(); spec.Exposure.Compare(period) > 0 {
		c.Fault("exposure", spec.Exposure.String(), "must be at most the period of a frame, %s", period)
	}
	c.Time("exposure", spec.Exposure.Time(), valid.ExposureTimes)
	c.Number("density", spec.Density, "px/°", valid.Closed(0.001, 1e6))
	c.Number("width", spec.Width, "px", valid.Closed(1, float64(valid.MaxSide)))
	c.Angle("speed a second", spec.Speed, valid.Closed(0, 720*Degree))
	c.Number("blur limit", spec.BlurLimit, "px", valid.Closed(0.001, 1e6))
	c.Number("gap limit", spec.GapLimit, "px", valid.Closed(0.001, 1e6))
	if !c.OK() {
		return Strobe{}, c.Err()
	}
	period, exposure := float64(spec.Rate.Period().Time()), float64(spec.Exposure.Time())
	guide := 7 * 24 * period
	perSecond := float64(spec.Speed/Degree) * spec.Density // px/s
	s := Strobe{
		Step: perSecond * period, Blur: perSecond * exposure,
		GuideCrossing: unit.Time(guide), GuideSpeed: unit.Angle(spec.Width/(spec.Density*guide)) * Degree,
		BlurSpeed: unit.Angle(spec.BlurLimit/(spec.Density*exposure)) * Degree,
	}
	closed := max(0, period-exposure)
	s.Gap = perSecond * closed
	if perSecond >= 1e-3 {
		s.Crossing = unit.Time(spec.Width / perSecond)
	}
	if closed > 0 {
		s.GapSpeed = unit.Angle(spec.GapLimit/(spec.Density*closed)) * Degree
	}
	return s, nil
}
