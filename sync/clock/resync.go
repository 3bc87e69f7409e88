package clock

import (
	"fmt"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// Take is a time in which recorders run and must not be jammed.
type Take struct {
	Start, Duration unit.Time // from the beginning of the day
}

// ResyncSpec describes a day on which recorders are jammed together again and again.
type ResyncSpec struct {
	// Drift holds the recorders and the limit. A Recorder's Offset is what remains
	// after each jam.
	Drift DriftSpec

	// Margin is the part of the time until the limit that is kept in reserve, at least
	// 0 and less than 1. With 0.25 and 4 h the recorders are jammed every 3 h.
	Margin float64

	Day   unit.Time // the length of the day, up to 10⁶ s, from the first jam at 0 s
	Takes []Take    // in order, none over another, all within the day
}

// Resync is when to jam the recorders.
type Resync struct {
	// OK says that no two recorders pass the limit on that day, whatever their errors
	// are within the tolerances.
	OK bool

	Drift    Drift       // from a jam on
	Interval unit.Time   // the longest time from a jam to the next; 0 if Drift.State is not Drifts
	Jams     []unit.Time // the fewest that will do, the first at 0 s, each as late as it can be

	// TooLong is the index of the first take that lasts longer than Interval, and
	// Excess is by how much. Without such a take they are −1 and 0 s. No plan helps
	// there: lock the clocks, or shorten the take.
	TooLong int
	Excess  unit.Time
}

// maxJams is more than anybody will do on a day.
const maxJams = 10_000

// PlanResync returns the times at which to jam recorders, so that they never pass the
// limit, and never during a take. A jam takes no time here, and may stand where one
// take ends and the next begins. If there is no plan, OK is false, Jams is empty, and
// Drift.State (Past: a jam does not bring the clocks within the limit) or TooLong says
// why.
//
// Fields outside their ranges, and a day that needs more than 10 000 jams, are errors.
func PlanResync(spec ResyncSpec) (Resync, error) {
	c := newChecker()
	drift, err := DriftTime(spec.Drift)
	c.Add("drift", err)
	c.Number("margin", spec.Margin, "", valid.Below(0.0, 1))
	c.Time("day", spec.Day, valid.Above[unit.Time](0, 1e6))
	end := unit.Time(0)
	for k, t := range spec.Takes {
		name := fmt.Sprintf("take %d, ", k)
		c.Time(name+"start", t.Start, valid.Closed[unit.Time](0, 1e6))
		c.Time(name+"duration", t.Duration, valid.Above[unit.Time](0, 1e6))
		if t.Start < end {
			c.Fault(name+"start", quantity.Time(t.Start), "must be at least %s, when the take before it ends", quantity.Time(end))
		}
		if end = t.Start + t.Duration; end > spec.Day {
			c.Fault(name+"end", quantity.Time(end), "must be at most %s, the end of the day", quantity.Time(spec.Day))
		}
	}
	if !c.OK() {
		return Resync{}, c.Err()
	}
	plan := Resync{Drift: drift, TooLong: -1}
	switch drift.State {
	case Past:
		return plan, nil
	case Never:
		plan.OK, plan.Jams = true, []unit.Time{0}
		return plan, nil
	}
	plan.Interval = drift.After * unit.Time(1-spec.Margin)
	if n := float64(spec.Day / plan.Interval); n > maxJams {
		return Resync{}, newChecker().Refuse("interval", quantity.Time(plan.Interval), "must be at least %s: the day would need more than %d jams", quantity.Time(spec.Day/maxJams), maxJams)
	}
	next := 0 // take
	for last := unit.Time(0); ; {
		plan.Jams = append(plan.Jams, last)
		jam := last + plan.Interval
		if jam >= spec.Day {
			plan.OK = true
			return plan, nil
		}
		for next < len(spec.Takes) && spec.Takes[next].Start+spec.Takes[next].Duration <= jam {
			next++
		}
		if next < len(spec.Takes) && spec.Takes[next].Start < jam {
			t := spec.Takes[next]
			if t.Start <= last {
				plan.Jams, plan.TooLong, plan.Excess = nil, next, t.Start+t.Duration-jam
				return plan, nil
			}
			jam = t.Start
		}
		last = jam
	}
}
