package sync

import (
	"math/bits"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// MainsFlicker is the rate at which lamps on alternating current flicker: twice
// the frequency of the mains. A result that NewRate refuses is an error.
func MainsFlicker(mains Rate) (light Rate, err error) {
	return NewRate(2*mains.num, mains.den)
}

// CleanSpec describes a camera and the lights whose flicker the shutter must
// cancel.
//
// A shutter angle is clean for a light if the exposure is a whole number of the
// light's periods. Every row of every frame then gets the same light.
type CleanSpec struct {
	Camera Rate `json:",omitzero"` // frames per second
	Light  Rate `json:",omitzero"` // pulses per second: the refresh rate of a wall, or MainsFlicker
	Other  Rate `json:",omitzero"` // pulses per second of a second light; zero if there is none

	// Tolerance is the fraction of the exposure by which the exposure may miss a
	// whole number of Other's periods: 0 to 1, 1 excluded. 0 means exactly, which few
	// pairs of lights allow; begin with 0.01 to 0.02. Light is always met exactly, so
	// let Light be the slower of the two, usually the mains.
	Tolerance float64
}

// maxClean is the largest number of angles that are tried.
const maxClean = 1 << 20

// clean is a CleanSpec that is checked.
type clean struct {
	light     Rate
	frame     ratio // periods of light in a frame
	other     ratio // periods of Other in one of light; zero without Other
	tolerance float64
}

func newClean(spec CleanSpec) (clean, error) {
	c := newChecker()
	valid.Set(c, "camera rate", spec.Camera)
	valid.Set(c, "light rate", spec.Light)
	c.Number("tolerance", spec.Tolerance, "", valid.Below(0.0, 1.0))
	if !c.OK() {
		return clean{}, c.Err()
	}
	out := clean{light: spec.Light, frame: spec.Light.over(spec.Camera), tolerance: spec.Tolerance}
	if spec.Other.den != 0 {
		out.other = spec.Other.over(spec.Light)
	}
	return out, nil
}

// most is the largest number of whole periods of the light in an exposure.
func (c clean) most() int64 { return c.frame.num / c.frame.den }

// limited is an error if there are more angles than can be tried.
func (c clean) limited() error {
	if c.most() > maxClean {
		return newChecker().Refuse("light rate", c.light.String()+" per second", "must be at most %d pulses in a frame", maxClean)
	}
	return nil
}

// angle is the angle of k periods of the light, 1 ≤ k ≤ most.
func (c clean) angle(k int64) ShutterAngle {
	// k/num in lowest terms first: k·den/num is at most 1, so that this fits.
	part := reduced(k, c.frame.num)
	return ShutterAngle{ratio{part.num * c.frame.den, part.den}}
}

// otherMiss is the fraction of k periods of light by which they miss a whole
// number of periods of Other, one at least. It is exactly 0 if they meet one.
func (c clean) otherMiss(k int64) float64 {
	if c.other.den == 0 {
		return 0
	}
	p, q := uint64(c.other.num), uint64(c.other.den)
	hi, lo := bits.Mul64(uint64(k), p) // k·p/q periods
	rem := bits.Rem64(hi, lo, q)
	miss := q - rem
	if hi != 0 || lo >= q {
		miss = min(rem, miss)
	}
	return float64(miss) / (float64(k) * float64(p))
}

// CleanAngles lists the clean shutter angles in ascending order. The list is empty
// if there are none. More than 1048576 pulses of Light in a frame are an error.
//
//	360° · k · camera / light,  k = 1 … ⌊light / camera⌋
//
// With Other, only those k are listed whose exposure is within Tolerance of a
// whole number of Other's periods, one at least.
func CleanAngles(spec CleanSpec) ([]ShutterAngle, error) {
	c, err := newClean(spec)
	if err == nil {
		err = c.limited()
	}
	if err != nil {
		return nil, err
	}
	var angles []ShutterAngle
	for k := int64(1); k <= c.most(); k++ {
		if c.otherMiss(k) <= c.tolerance {
			angles = append(angles, c.angle(k))
		}
	}
	return angles, nil
}

// CleanLimit says whether there is a clean shutter angle, and if not, why.
type CleanLimit uint8

const (
	Clean        CleanLimit = iota // there is a clean angle
	LightTooSlow                   // Light has less than one period in a frame
	OtherMissed                    // no angle meets Other within the tolerance
)

var cleanLimits = enum.New[CleanLimit](ErrInvalid, []string{Clean: "clean", LightTooSlow: "light too slow", OtherMissed: "other light missed"})

// String gives "clean", "light too slow" or "other light missed".
func (l CleanLimit) String() string { return cleanLimits.Name(l) }

// MarshalText gives the name. An unknown CleanLimit is an error.
func (l CleanLimit) MarshalText() ([]byte, error) { return cleanLimits.Marshal(l) }

// UnmarshalText reads a name.
func (l *CleanLimit) UnmarshalText(text []byte) error { return cleanLimits.Unmarshal(l, text) }

// CleanShutter is the answer of NearestCleanAngle.
type CleanShutter struct {
	// Angle is the clean angle that is nearest to the wanted one. If no angle is
	// clean, Limit says why, and Angle is the best there is: with LightTooSlow
	// 360°, and with OtherMissed the angle of the smallest OtherMiss.
	Angle  ShutterAngle `json:",omitzero"`
	Limit  CleanLimit
	Change unit.Angle // Angle less the wanted angle, in radians

	// LightMiss and OtherMiss are the fractions of the exposure by which Angle misses
	// a whole number, one at least, of periods of Light and of Other. At most this
	// fraction of the modulation of a sine remains in the picture. A pulsed wall may
	// keep more in dark greys: see banding.Prediction.WorstDepth.
	LightMiss, OtherMiss float64
}

// NearestCleanAngle is the clean shutter angle that is nearest to the wanted
// one. Of two that are equally near it gives the wider one. With Other, more than
// 1048576 pulses of Light in a frame are an error.
func NearestCleanAngle(spec CleanSpec, wanted ShutterAngle) (CleanShutter, error) {
	c, err := newClean(spec)
	if err == nil && c.other.den != 0 {
		err = c.limited()
	}
	if err == nil && wanted.turn.den == 0 {
		err = unset("shutter angle")
	}
	if err != nil {
		return CleanShutter{}, err
	}
	found := CleanShutter{Angle: ShutterAngle{ratio{1, 1}}, Limit: LightTooSlow}
	if most := c.most(); most > 0 {
		k := c.nearest(wanted)
		found = CleanShutter{Angle: c.angle(k), OtherMiss: c.otherMiss(k)}
		if found.OtherMiss > c.tolerance {
			found.Limit = OtherMissed
		}
	} else {
		found.LightMiss = float64(c.frame.den-c.frame.num) / float64(c.frame.num)
		if c.other.den != 0 {
			slow := clean{other: spec.Other.over(spec.Camera)}
			found.OtherMiss = slow.otherMiss(1) // of one frame
		}
	}
	change := found.Angle.turn.rat()
	turns, _ := change.Sub(change, wanted.turn.rat()).Float64()
	found.Change = unit.Angle(turns) * 360 * Degree
	return found, nil
}

// nearest is the number of periods of light in the exposure of the clean angle
// that is nearest to the wanted one. If there is none, it is the number of the
// smallest otherMiss. most must be positive.
func (c clean) nearest(wanted ShutterAngle) int64 {
	most := c.most()
	// Twice the periods in the wanted exposure, rounded down: 2·most + 2 at most.
	twice, _ := mulDiv(wanted.turn.num, 2*uint64(c.frame.num), uint64(c.frame.den), uint64(wanted.turn.den), Floor)
	below := twice / 2
	above := below + 1
	var best int64
	for below >= 1 || above <= most {
		k := below
		// From the middle between the two on, the one above is nearer.
		if below < 1 || above <= most && below+above <= twice {
			k = above
			above++
		} else {
			below--
		}
		if c.otherMiss(k) <= c.tolerance {
			return k
		}
		if best == 0 || c.otherMiss(k) < c.otherMiss(best) {
			best = k
		}
	}
	return best
}
