package latency

import (
	"fmt"
	"strconv"

	"example.com/platewright/internal/valid"
	timing "example.com/platewright/sync"
	"gonum.org/v1/gonum/unit"
)

// Stage is one stage of the chain from the tracker to the light.
type Stage struct {
	Name string // for people

	// Rate is what the stage puts out in a second. It may be left out if Frames is 0 and no
	// free stage follows.
	Rate timing.Rate `json:",omitzero"`

	Frames int       // whole frames of Rate that it takes: 0 to 1000
	Time   unit.Time // that it takes beside them: 0 s to 60 s
	Jitter unit.Time // by how much it may take longer, evenly spread: 0 s to 60 s

	// Free says that its clock is not locked to that of the stage before. It takes the
	// newest that the stage before has put out, which is up to a period of that stage old.
	// Of stages that are locked, the fixed wait for the next frame belongs to Time.
	Free bool
}

// Delay is how long something takes.
type Delay struct {
	Least, Mean, Worst unit.Time
}

// Total is the delay of a chain of stages, in the order in which a measurement of the
// tracker passes them. The first cannot be free: it is where the measurement is made.
// Mean is what it is on average while free clocks drift past each other, as long as no
// jitter is longer than a period of its stage. The first n stages of a chain are a chain,
// so that delays along the way can be told.
//
// The delay in frames of a rate is Mean · rate. A chain of no stages, or more than 1000,
// is an error.
func Total(chain []Stage) (Delay, error) {
	c := newChecker()
	c.Int("stages", len(chain), "", 1, 1000)
	if !c.OK() {
		return Delay{}, c.Err()
	}
	var least, spread float64
	for i, s := range chain {
		name := fmt.Sprintf("stage %d (%s)", i, strconv.Quote(s.Name))
		times := valid.Closed[unit.Time](0, 60)
		c.Int(name+" frames", s.Frames, "", 0, 1000)
		c.Time(name+" time", s.Time, times)
		c.Time(name+" jitter", s.Jitter, times)
		if s.Frames > 0 && s.Rate == (timing.Rate{}) {
			c.Unset(name + " rate")
		}
		if s.Free && (i == 0 || chain[i-1].Rate == (timing.Rate{})) {
			c.Fault(name, "free", "needs a stage before that has a rate")
		}
		if !c.OK() {
			continue
		}
		least += float64(s.Frames)*float64(s.Rate.Period().Time()) + float64(s.Time)
		spread += float64(s.Jitter)
		if s.Free {
			spread += float64(chain[i-1].Rate.Period().Time())
		}
	}
	if !c.OK() {
		return Delay{}, c.Err()
	}
	return Delay{Least: unit.Time(least), Mean: unit.Time(least + spread/2), Worst: unit.Time(least + spread)}, nil
}
