package trace

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"example.com/platewright/internal/valid"
	timing "example.com/platewright/sync"
	"gonum.org/v1/gonum/unit"
)

// RowTimeSpec describes the bands that a lamp left in a picture.
type RowTimeSpec struct {
	// Spacing is the number of rows from one band to the next: 2 to 10⁶. SpacingError is
	// its standard uncertainty, at most a quarter of it: half of that of banding.MeasureBands, which is of 19 in 20.
	Spacing, SpacingError float64

	Light timing.Rate `json:",omitzero"` // pulses per second, exactly known: twice that of the mains for most lamps

	// From and To are the least and the longest row time that the camera can have: 0 s to
	// 1 s. To is at most the frame's time over its rows.
	From, To unit.Time
}

// RowTime is a row time with its standard uncertainty, one standard deviation.
type RowTime struct{ Time, Error unit.Time }

// MeasureRowTime finds the time from one row to the next of a rolling shutter, from the
// bands of a lamp whose rate is known. It gives all row times between From and To, the
// shortest first, that leave bands of this spacing:
//
//	row time = (k ± 1/spacing)/rate,  k = 0, 1, 2, …
//
// k is 0 unless a row lasts about as long as a period of the light. If more than one
// is left, bands of a lamp of another rate tell which is right. The uncertainty is that
// of the spacing, and leaves out that of the rate: mains may be off by 0.2 % for
// minutes (common practice).
//
// A spec outside the ranges of RowTimeSpec, no row time between From and To, and more
// than 1000 are errors.
func MeasureRowTime(spec RowTimeSpec) ([]RowTime, error) {
	c := newChecker()
	c.Number("spacing", spec.Spacing, "rows", valid.Closed(2.0, 1e6))
	if c.OK() {
		c.Number("spacing error", spec.SpacingError, "rows", valid.Closed(0, spec.Spacing/4))
	}
	if num, _ := spec.Light.Ratio(); num == 0 {
		c.Unset("light")
	}
	c.Time("from", spec.From, valid.Closed[unit.Time](0, 1))
	c.Time("to", spec.To, valid.Closed[unit.Time](0, 1))
	if c.OK() && !(spec.To > spec.From) {
		c.Fault("to", strconv.FormatFloat(float64(spec.To), 'g', 6, 64)+" s", "must be above from")
	}
	if !c.OK() {
		return nil, c.Err()
	}
	rate := float64(spec.Light.Frequency())
	from, to := float64(spec.From)*rate, float64(spec.To)*rate // in periods
	if to-from > 500 {
		return nil, c.Refuse("to", strconv.FormatFloat(to-from, 'g', 6, 64)+" periods after from", "must be at most 500")
	}
	turn := 1 / spec.Spacing
	err := unit.Time(spec.SpacingError * turn * turn / rate)
	var out []RowTime
	for k := math.Floor(from); k <= to+1; k++ {
		for _, t := range []float64{k - turn, k + turn} {
			if time := unit.Time(t / rate); t > 0 && time >= spec.From && time <= spec.To {
				out = append(out, RowTime{time, err})
			}
		}
	}
	slices.SortFunc(out, func(a, b RowTime) int { return cmp.Compare(a.Time, b.Time) })
	out = slices.CompactFunc(out, func(a, b RowTime) bool { return math.Abs(float64(a.Time-b.Time))*rate < 1e-9 })
	if len(out) == 0 {
		return nil, c.Refuse("row time", "none", "must lie between from and to: these bands are of another light, or the range is wrong")
	}
	return out, nil
}
