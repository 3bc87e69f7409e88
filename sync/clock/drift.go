package clock

import (
	"fmt"
	"math"
	"strconv"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	timing "example.com/platewright/sync"
	"gonum.org/v1/gonum/unit"
)

// Recorder is a free-running clock: of a camera, a sound recorder, a player.
type Recorder struct {
	// PPM is by how much the clock runs fast, in parts per million. It is negative if
	// the clock runs slow, and 0 if nobody has measured it.
	PPM float64

	// TolerancePPM is how far the error can be from PPM, either way: the stated
	// tolerance of the oscillator over the temperatures of the day.
	TolerancePPM float64

	// Offset is by how much the clock is ahead at the start, or after each jam.
	Offset unit.Time
}

// DriftLimits are how far two clocks may be apart. All fields that are not 0 hold, and
// one at least must be set.
type DriftLimits struct {
	Time   unit.Time
	Frames float64    // of the rate
	Phase  unit.Angle // 360° is a frame
	Pixels float64    // of a picture that moves at PixelsPerSecond
}

// DriftLimit names one of DriftLimits.
type DriftLimit uint8

// The limits, in the order of the fields of DriftLimits.
const (
	LimitTime DriftLimit = iota + 1
	LimitFrames
	LimitPhase
	LimitPixels
)

var driftLimits = enum.New[DriftLimit](ErrInvalid, []string{LimitTime: "time", LimitFrames: "frames", LimitPhase: "phase", LimitPixels: "pixels"})

// String gives "time", "frames", "phase" or "pixels".
func (l DriftLimit) String() string { return driftLimits.Name(l) }

// MarshalText gives the name. An unknown DriftLimit is an error.
func (l DriftLimit) MarshalText() ([]byte, error) { return driftLimits.Marshal(l) }

// UnmarshalText reads a name.
func (l *DriftLimit) UnmarshalText(text []byte) error { return driftLimits.Unmarshal(l, text) }

// DriftState says whether clocks drift past a limit.
type DriftState uint8

// The states.
const (
	Drifts DriftState = iota + 1 // the clocks pass the limit after some time
	Past                         // their offsets pass it at the start
	Never                        // they never pass it: no two can differ in speed
)

var driftStates = enum.New[DriftState](ErrInvalid, []string{Drifts: "drifts", Past: "past", Never: "never"})

// String gives "drifts", "past" or "never".
func (s DriftState) String() string { return driftStates.Name(s) }

// MarshalText gives the name. An unknown DriftState is an error.
func (s DriftState) MarshalText() ([]byte, error) { return driftStates.Marshal(s) }

// UnmarshalText reads a name.
func (s *DriftState) UnmarshalText(text []byte) error { return driftStates.Unmarshal(s, text) }

// DriftSpec describes clocks that are not locked. For the drift of one clock from true
// time, give a second Recorder with zero fields.
type DriftSpec struct {
	Rate      timing.Rate `json:",omitzero"` // needed for limits in frames and phase
	Recorders []Recorder  // 2 to 1000
	Limits    DriftLimits

	// PixelsPerSecond is how fast the picture moves, needed for a limit in pixels: the
	// fastest that counts.
	PixelsPerSecond float64
}

// Drift is when clocks pass a limit.
type Drift struct {
	State DriftState
	After unit.Time  // the time until then; 0 if State is Past or Never
	Limit DriftLimit // the smallest of the limits
	Apart unit.Time  // that limit as a time
	Pair  [2]int     // the recorders that pass it first, by their index
}

// The limits of a drift. Slower drifts count as none: at 10⁻⁹ ppm a frame of 1/24 s
// takes a million years.
const (
	leastPPM = 1e-9
	longest  = 1e9 * unit.Second // of limits and offsets
)

var driftPPM = valid.Closed(-1e5, 1e5)

// DriftTime returns the time until two of the recorders are farther apart than a limit,
// in the worst case within their tolerances.
//
//	apart(t) = |o₁ − o₂ + (p₁ − p₂ ± (τ₁ + τ₂)) 10⁻⁶ t|
//
// o is the Offset, p is PPM, and τ is TolerancePPM. The time t is that of a right
// clock. State is Past if offsets alone pass the limit, even if drift would first bring
// the clocks together.
//
// PPM outside −100000 to 100000, TolerancePPM outside 0 to 100000, limits that are
// negative or above 10⁹ (in s, frames, degrees or px), and offsets beyond 10⁹ s are errors.
func DriftTime(spec DriftSpec) (Drift, error) {
	c := newChecker()
	least, which := spec.limit(c)
	if n := len(spec.Recorders); n < 2 || n > 1000 {
		c.Fault("recorders", strconv.Itoa(n), "must be at least 2 and at most 1000")
	}
	for k, r := range spec.Recorders {
		name := fmt.Sprintf("recorder %d, ", k)
		c.Number(name+"clock error", r.PPM, "ppm", driftPPM)
		c.Number(name+"tolerance", r.TolerancePPM, "ppm", valid.Closed(0, driftPPM.Max))
		c.Time(name+"offset", r.Offset, valid.Closed(-longest, longest))
	}
	if !c.OK() {
		return Drift{}, c.Err()
	}
	worst := Drift{State: Never, Limit: which, Apart: least}
	for i, a := range spec.Recorders {
		for k, b := range spec.Recorders[i+1:] {
			if state, t := passes(a, b, least); state == Past || state == Drifts && (worst.State == Never || t < worst.After) {
				worst.State, worst.After, worst.Pair = state, t, [2]int{i, i + 1 + k}
			}
			if worst.State == Past {
				return worst, nil
			}
		}
	}
	return worst, nil
}

// limit is the smallest limit as a time.
func (s DriftSpec) limit(c *valid.Checker) (least unit.Time, which DriftLimit) {
	period := float64(s.Rate.Period().Time())
	speed := s.PixelsPerSecond
	if s.Limits.Frames != 0 || s.Limits.Phase != 0 {
		valid.Set(c, "rate", s.Rate)
	}
	if s.Limits.Pixels != 0 {
		c.Number("pixels per second", speed, "px/s", valid.Above(0, 1e9))
	} else if speed != 0 {
		c.Fault("pixels per second", quantity.Number(speed, "px/s"), "must be 0 without a limit in pixels")
	}
	c.Time("time limit", s.Limits.Time, valid.Closed(0, longest))
	c.Number("frame limit", s.Limits.Frames, "frames", valid.Closed(0.0, 1e9))
	c.Angle("phase limit", s.Limits.Phase, valid.Closed(0, 1e9*timing.Degree))
	c.Number("pixel limit", s.Limits.Pixels, "px", valid.Closed(0.0, 1e9))
	if s.Limits == (DriftLimits{}) {
		c.Unset("limits")
	}
	if !c.OK() {
		return 0, 0
	}
	for k, l := range []struct{ limit, time float64 }{
		{float64(s.Limits.Time), float64(s.Limits.Time)},
		{s.Limits.Frames, s.Limits.Frames * period},
		{float64(s.Limits.Phase), float64(s.Limits.Phase/(360*timing.Degree)) * period},
		{s.Limits.Pixels, s.Limits.Pixels / speed},
	} {
		if l.limit > 0 && (which == 0 || unit.Time(l.time) < least) {
			least, which = unit.Time(l.time), DriftLimit(k+1)
		}
	}
	return least, which
}

// passes is when two clocks are more than a limit apart, at the earliest within their
// tolerances.
func passes(a, b Recorder, limit unit.Time) (DriftState, unit.Time) {
	offset := float64(a.Offset - b.Offset)
	if math.Abs(offset) > float64(limit) {
		return Past, 0
	}
	state, first := Never, math.Inf(1)
	for _, sign := range []float64{1, -1} {
		// They are apart by most where the error is at an end of its tolerance.
		ppm := a.PPM - b.PPM + sign*(a.TolerancePPM+b.TolerancePPM)
		if math.Abs(ppm) < leastPPM {
			continue
		}
		state = Drifts
		first = min(first, (float64(limit)-math.Copysign(1, ppm)*offset)/(math.Abs(ppm)*1e-6))
	}
	if state == Never {
		return Never, 0
	}
	return Drifts, unit.Time(first)
}
