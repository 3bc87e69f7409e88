package sync

import (
	"math/big"
	"math/bits"
	"sort"
	"strconv"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// Mains gives the rate at which lamps on alternating current flash: twice its
// frequency, since they brighten on either half of the wave.
//
//	2 · frequency
//
// A rate that becomes too large, and no rate, are errors.
func Mains(frequency Rate) (flash Rate, err error) {
	return NewRate(2*frequency.num, frequency.den)
}

// maxClean bounds the lists, so that none outgrows memory.
const maxClean = 1 << 20

// CleanAngles lists, in ascending order, the shutter angles at which an
// exposure is a whole number of periods of a light that flashes at an even
// rate: then every row of every frame gets the same light, whatever its phase.
//
//	360° · k · camera / flash,  k = 1 … ⌊flash / camera⌋
//
// flash is the refresh rate of a wall, or twice the frequency of the mains
// (see Mains). The list is empty where the light flashes less often than there
// are frames. More than 1048576 flashes a frame are an error.
//
// Source: elementary; for 25 frames and 120 flashes a second, a note on
// flicker-free shutter angles, www.tumgag.com/tag/setlights.
func CleanAngles(camera, flash Rate) ([]ShutterAngle, error) {
	most, err := flashes(camera, flash)
	if err != nil {
		return nil, err
	}
	if most > maxClean {
		return nil, fault("flash rate", flash.String()+" a second", "must be at most %d flashes a frame", maxClean)
	}
	angles := make([]ShutterAngle, most)
	for i := range angles {
		angles[i] = cleanAngle(camera, flash, int64(i)+1)
	}
	return angles, nil
}

// flashes is the number of whole periods of the light in a frame.
func flashes(camera, flash Rate) (int64, error) {
	c := valid.New("sync", ErrInvalid)
	for _, r := range []struct {
		name string
		rate Rate
	}{{"camera rate", camera}, {"flash rate", flash}} {
		if r.rate.den == 0 {
			c.Fault(r.name, r.rate.String(), "must be set")
		}
	}
	if !c.OK() {
		return 0, c.Err()
	}
	per := flash.over(camera)
	return per.num / per.den, nil
}

// cleanAngle is the angle of k periods of the light, k at most flashes.
func cleanAngle(camera, flash Rate, k int64) ShutterAngle {
	per := camera.over(flash) // of a frame, one period
	// k/den in lowest terms first: k·num/den is at most 1, so that this fits.
	part := reduced(k, per.den)
	return ShutterAngle{ratio{part.num * per.num, part.den}}
}

// CommonCleanAngles lists the angles that are clean for two lights at once:
// exactly for flash, as CleanAngles, and for other within a tolerance, the
// largest part of the exposure by which it may miss a whole number (one at
// least) of periods of other. 0 asks for both exactly.
//
// Hold the slower light exactly, which is the mains beside most walls: the
// same miss in degrees is a larger part of its few periods.
func CommonCleanAngles(camera, flash, other Rate, tolerance float64) ([]ShutterAngle, error) {
	angles, err := CleanAngles(camera, flash)
	if err != nil {
		return nil, err
	}
	c := valid.New("sync", ErrInvalid)
	if other.den == 0 {
		c.Fault("other flash rate", other.String(), "must be set")
	}
	c.Number("tolerance", tolerance, "", valid.Below(0.0, 1.0))
	if !c.OK() {
		return nil, c.Err()
	}
	per := other.over(flash) // periods of other in one of flash
	p, q := uint64(per.num), uint64(per.den)
	var common []ShutterAngle
	for i, a := range angles {
		// k·p/q periods of other, to the nearest whole number.
		hi, lo := bits.Mul64(uint64(i)+1, p)
		rem := bits.Rem64(hi, lo, q)
		// Nearest to none at all, miss is all of k·p, which no tolerance allows.
		miss := min(rem, q-rem)
		if float64(miss) <= tolerance*float64(i+1)*float64(p) {
			common = append(common, a)
		}
	}
	return common, nil
}

// NearestCommonCleanAngle gives the angle of CommonCleanAngles that is nearest
// to the given one, the wider of two, and how far off the given one is:
// positive where it is too wide. Where the two lights have no angle in common
// within the tolerance, there is none: an error.
//
// The other light may still ripple at that angle, by what the tolerance allows:
// see Ripple, and Banding.WorstDepth.
func NearestCommonCleanAngle(camera, flash, other Rate, tolerance float64, angle ShutterAngle) (clean ShutterAngle, off unit.Angle, err error) {
	common, err := CommonCleanAngles(camera, flash, other, tolerance)
	if err != nil {
		return ShutterAngle{}, 0, err
	}
	if angle.turn.den == 0 {
		return ShutterAngle{}, 0, fault("shutter angle", angle.String(), "must be set")
	}
	if len(common) == 0 {
		return ShutterAngle{}, 0, fault("tolerance", strconv.FormatFloat(tolerance, 'g', 6, 64), "must be more: at %s frames no exposure holds whole flashes of both %s and %s a second", camera, flash, other)
	}
	at := angle.turn.rat()
	// The first that is not below the angle, or the one before it.
	i := sort.Search(len(common)-1, func(i int) bool { return common[i].turn.rat().Cmp(at) >= 0 })
	clean = common[i]
	if i > 0 {
		above := new(big.Rat).Sub(clean.turn.rat(), at)
		below := new(big.Rat).Sub(at, common[i-1].turn.rat())
		if below.Cmp(above) < 0 {
			clean = common[i-1]
		}
	}
	return clean, beyond(angle, clean), nil
}

// beyond is how much wider an angle is than a clean one.
func beyond(angle, clean ShutterAngle) unit.Angle {
	d, _ := new(big.Rat).Sub(angle.turn.rat(), clean.turn.rat()).Float64()
	return unit.Angle(d) * 360 * Degree
}

// NearestCleanAngle gives the angle of CleanAngles that is nearest to the
// given one, the wider of two, and how far off the given one is: positive where
// it is too wide.
// The nearest lies at one period at least and ⌊flash/camera⌋ at most. A light
// that flashes less often than there are frames has none: an error.
func NearestCleanAngle(camera, flash Rate, angle ShutterAngle) (clean ShutterAngle, off unit.Angle, err error) {
	most, err := flashes(camera, flash)
	if err != nil {
		return ShutterAngle{}, 0, err
	}
	if angle.turn.den == 0 {
		return ShutterAngle{}, 0, fault("shutter angle", angle.String(), "must be set")
	}
	if most == 0 {
		return ShutterAngle{}, 0, fault("flash rate", flash.String()+" a second", "must be at least the camera's %s: no exposure holds a whole flash", camera)
	}
	per := flash.over(camera)
	// The result is at most most + 1, so that it fits.
	k, _ := mulDiv(angle.turn.num, uint64(per.num), uint64(per.den), uint64(angle.turn.den), Nearest)
	clean = cleanAngle(camera, flash, min(max(k, 1), most))
	return clean, beyond(angle, clean), nil
}

// SteadyRate gives the frame rate at which each frame lasts a whole number of
// periods of a light. At any shutter angle all frames then get the same light,
// so that nothing flickers in time; a rolling shutter may still show bands,
// which stand still.
//
//	flash / periods
//
// Source: elementary; for 120 flashes a second, a note on flicker-free shutter
// angles, www.tumgag.com/tag/setlights.
func SteadyRate(flash Rate, periods int64) (Rate, error) {
	if flash.den == 0 || periods < 1 {
		return Rate{}, fault("periods", strconv.FormatInt(periods, 10)+" of "+flash.String(), "must be at least 1 of a rate that is set")
	}
	r, ok := flash.times(reduced(1, periods))
	if !ok {
		return Rate{}, fault("periods", strconv.FormatInt(periods, 10), "must be fewer: the rate must fit")
	}
	return NewRate(r.num, r.den)
}
