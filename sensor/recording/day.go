package recording

import (
	"fmt"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// Take is a take of a day's schedule.
type Take struct {
	// Start counts from any hour, the same for all takes; −1e9 to 1e9 s.
	Start unit.Time
	// Length is how long the cameras record, 1 ms to 1e9 s.
	Length unit.Time
}

// DaySpec describes a day: takes, sets of media that go round between the cameras
// and a station, and that station.
//
// A set holds one medium for every camera. The first is in the cameras before the
// first take. A take is not split: if it does not fit on what is left of the media in
// the cameras, the set is taken out, as soon as the take before has ended, and the set
// that is free first goes in. The station takes sets in the order in which they come,
// one at a time. A set is free again when it has been copied and verified, and not
// before. At the end of the day the last set goes to the station as well.
type DaySpec struct {
	Recording Recording
	// Takes in the order of time, 1 to 1e5.
	Takes []Take
	// Sets is how many sets of media there are, 1 to 1000.
	Sets int
	// MediumBytes is how much one medium holds, 1 to 1e30 bytes.
	MediumBytes float64
	// Swap is the time that a set takes from the cameras to the station, and as well
	// that from the station, or a box of fresh ones, to the cameras; 0 to 1e6 s.
	Swap unit.Time
	// Offload is the station.
	Offload Offload
}

// Day is how a day goes.
type Day struct {
	// OK reports whether all takes can be recorded.
	OK bool
	// Recorded are the takes up to the first that cannot be recorded, which is
	// DaySpec.Takes[len(Recorded)].
	Recorded []RecordedTake
	// Fresh is how many takes are recorded before a set must be used again.
	Fresh int
	// Limit is why that take cannot be recorded, NoLimit if OK.
	Limit Limit
	// Short is by how much: how much too long that take is for a medium, or how much
	// later it would have to start. 0 if OK.
	Short unit.Time
	// Done is when all that is recorded has been copied and verified.
	Done unit.Time
}

// RecordedTake is a take that is recorded.
type RecordedTake struct {
	// Set is the index of the set of media, from 0.
	Set int
	// Turn is how often the set has been off-loaded before.
	Turn int
	// Left is the recording time that is left on the set afterwards.
	Left unit.Time
}

// sameTime is how far apart times may be by rounding.
const sameTime = 1e-6 * unit.Second

// Schedule goes through a day. Takes that overlap or go backwards are an error, and so
// is a field out of range.
func Schedule(spec DaySpec) (Day, error) {
	if err := spec.check(); err != nil {
		return Day{}, err
	}
	camera := spec.Recording.Camera()
	room, ok := camera.StoreTime(spec.MediumBytes) // on an empty set
	if !ok {
		room = unit.Time(amounts.Max)
	}
	free := make([]unit.Time, spec.Sets) // when each set is
	for i := range free {
		free[i] = unit.Time(clock.Min) - 2*unit.Time(swaps.Max)
	}
	turns := make([]int, spec.Sets)
	station := unit.Time(clock.Min)
	var day Day
	set := 0           // in the cameras
	var used unit.Time // of its room
	var end unit.Time  // of the take before

	takeOut := func() { // and off-load
		t, _ := spec.Offload.Time(int(spec.Recording.cameras), float64(used)*spec.Recording.BytesPerSecond())
		station = max(station, end+spec.Swap) + t.Copy + t.Verify
		free[set] = station
		turns[set]++
		day.Done = station
	}
	for i, take := range spec.Takes {
		if take.Length > room+sameTime {
			day.Limit, day.Short = TakeTooLong, take.Length-room
			break
		}
		if used+take.Length > room+sameTime {
			takeOut()
			for j := range free {
				if free[j] < free[set] {
					set = j
				}
			}
			used = 0
			if ready := max(end, free[set]) + spec.Swap; ready > take.Start+sameTime {
				day.Limit, day.Short = NoTimeToSwap, ready-take.Start
				if free[set] > end {
					day.Limit = NoFreeMedium
				}
				break
			}
		}
		used += take.Length
		end = take.Start + take.Length
		day.Recorded = append(day.Recorded, RecordedTake{Set: set, Turn: turns[set], Left: max(0, room-used)})
		if turns[set] == 0 && day.Fresh == i {
			day.Fresh++
		}
	}
	if used > 0 {
		takeOut()
	}
	day.OK = day.Limit == NoLimit
	return day, nil
}

func (s DaySpec) check() error {
	c := valid.New("recording", ErrInvalid)
	if s.Recording == (Recording{}) {
		c.Fault("recording", "Recording{}", "must come from New")
	}
	if s.Offload == (Offload{}) {
		c.Fault("off-load", "Offload{}", "must come from NewOffload")
	}
	c.Int("sets of media", s.Sets, "", 1, 1000)
	c.Number("medium", s.MediumBytes, "B", stores)
	c.Time("swap", s.Swap, swaps)
	c.Int("takes", len(s.Takes), "", 1, 1e5)
	for i, take := range s.Takes {
		c.Time(fmt.Sprintf("take %d, start", i), take.Start, clock)
		c.Time(fmt.Sprintf("take %d, length", i), take.Length, lengths)
		if i > 0 && c.OK() {
			if end := s.Takes[i-1].Start + s.Takes[i-1].Length; take.Start < end {
				c.Fault(fmt.Sprintf("take %d, start", i), quantity.Time(take.Start), "must not be before the end of the one before, %s", quantity.Time(end))
			}
		}
		if !c.OK() {
			break // one fault of a long list is enough
		}
	}
	return c.Err()
}
