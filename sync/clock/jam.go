package clock

import (
	"time"

	timing "example.com/platewright/sync"
	"example.com/platewright/sync/internal/whole"
)

// DailyJamSpec describes timecode that runs from PTP and is set again from local time
// once a day.
type DailyJamSpec struct {
	Timecode TimecodeSpec

	// At is the local time of day at which labels are set again: whole seconds, at
	// least 0 s and less than 86400 s.
	At timing.Seconds

	// Offset is local time minus UTC, in whole seconds from −14 h to 14 h: 3600 s an
	// hour east of Greenwich. It does not change by itself in summer.
	Offset timing.Seconds
}

// DailyJam gives frames that are aligned to the epoch of PTP their labels.
//
// Frame 0 began at the epoch, and all frames follow at the rate (Rate.Align). Once a
// day, at the local time At, labels are set again: the first frame that begins then or
// later gets the first label of that second that the timecode has. Labels count on
// from there, past midnight, until the next jam.
//
// Why jam: at a rate of 1000/1001, labels without drop fall 86.3 s behind in a day,
// and labels with drop run 86.4 ms ahead. A leap second counts from the next jam on.
// Where the offset from UTC changes, make another DailyJam. DailyJams do not compare.
//
// Source: SMPTE ST 2059-1:2015, daily jam, from memory. Which label the jammed frame
// gets at a rate of 1000/1001 is this package's choice.
type DailyJam struct {
	timecode   Timecode
	at, offset int64 // s
	first      int64 // the index of the label that a jam sets
	leaps      LeapTable
}

// NewDailyJam checks the spec. The zero LeapTable is that of the package.
func NewDailyJam(spec DailyJamSpec, leaps LeapTable) (DailyJam, error) {
	c := newChecker()
	tc, err := NewTimecode(spec.Timecode)
	c.Add("timecode", err)
	whole := func(field string, t timing.Seconds, low, high int64) int64 {
		num, den := t.Ratio()
		if den != 1 || num < low || num > high {
			c.Fault(field, t.String(), "must be whole seconds, at least %d s and at most %d s", low, high)
		}
		return num
	}
	at := whole("time of the jam", spec.At, 0, 86399)
	offset := whole("offset from UTC", spec.Offset, -14*3600, 14*3600)
	if !c.OK() {
		return DailyJam{}, c.Err()
	}
	return DailyJam{tc, at, offset, tc.firstOf(uint64(at)), leaps}, nil
}

// firstOf is the index of the first label in a second of the day.
func (tc Timecode) firstOf(second uint64) int64 {
	l := label{hours: second / 3600, minutes: second / 60 % 60, seconds: second % 60}
	if l.seconds == 0 && l.minutes%10 != 0 {
		l.frame = tc.drop
	}
	n, _ := tc.frame(l, "") // every second has it
	return n
}

// JammedLabel is the label of a frame under a daily jam.
type JammedLabel struct {
	Frame int64  // from the epoch of PTP
	Index int64  // of the label, 0 or more and less than a day: Timecode.Format writes it
	Label string // like "10:59:27;12"

	// Jam is the time of PTP at which the frame began whose label was set last.
	Jam timing.Seconds

	// Ahead is the time that the label reads minus the local time at which its frame
	// began. It is negative where labels are behind.
	Ahead timing.Seconds

	// Expired says that the table of leap seconds does not reach the moment: Label may
	// be wrong by whole seconds.
	Expired bool
}

// AtPTP returns the label of the frame that is on at a time of PTP. For a time of day
// take the PTP of LeapTable.AtTime or LeapTable.Parse. Times before the first jam of
// 1972 UTC and after the year 2261 are errors.
func (d DailyJam) AtPTP(ptp timing.Seconds) (JammedLabel, error) {
	j, err := d.jamAt(ptp)
	if err != nil {
		return JammedLabel{}, err
	}
	return d.label(j, j.frame)
}

// placed is a frame and the jam that counts for it.
type placed struct {
	frame int64 // from the epoch of PTP
	jam   int64 // the frame whose label was set
	began timing.Seconds
}

// jamAt is the frame that is on at a time, and the last jam that had come when it
// began.
func (d DailyJam) jamAt(ptp timing.Seconds) (placed, error) {
	if err := d.timecode.check(); err != nil {
		return placed{}, err
	}
	on, err := exact(d.timecode.rate.Align(ptp))
	if err != nil {
		return placed{}, err
	}
	m, err := d.leaps.AtPTP(ptp)
	if err != nil {
		return placed{}, err
	}
	local := whole.Floor(m.Unix.Ratio()) + d.offset
	today := local - whole.Mod(local-d.at, 86400) // the jam that came last, in local time
	for ; ; today -= 86400 {
		first, err := d.jammed(today)
		if err != nil {
			return placed{}, err
		}
		// The frame that is on may have begun before the jam.
		if first <= on.Frame {
			began, err := exact(d.timecode.rate.Time(first))
			return placed{on.Frame, first, began}, err
		}
	}
}

// jammed is the frame whose label is set by the jam at a local time, in seconds since
// 1970.
func (d DailyJam) jammed(local int64) (int64, error) {
	m, err := d.leaps.AtTime(time.Unix(local-d.offset, 0))
	if err != nil {
		return 0, err
	}
	return exact(d.timecode.rate.Frame(m.PTP, timing.Ceil))
}

// label is the label of a frame by a jam, and how far it is ahead.
func (d DailyJam) label(j placed, frame int64) (JammedLabel, error) {
	index := d.timecode.Wrap(d.first + frame - j.jam)
	began, err := exact(d.timecode.rate.Time(frame))
	if err != nil {
		return JammedLabel{}, err
	}
	m, err := d.leaps.AtPTP(began)
	if err != nil {
		return JammedLabel{}, err
	}
	read, err := d.timecode.reads(index)
	if err != nil {
		return JammedLabel{}, err
	}
	// The time of day: the second 23:59:60 is the one after 23:59:59.
	second := whole.Floor(m.Unix.Ratio())
	day := whole.Mod(second+d.offset, 86400)
	if m.LeapSecond {
		day++
	}
	local, err := shift(m.Unix, day-second)
	if err != nil {
		return JammedLabel{}, err
	}
	ahead, err := exact(read.Sub(local))
	if err != nil {
		return JammedLabel{}, err
	}
	// Across midnight, the nearer way.
	if s := whole.Floor(ahead.Ratio()); s < -43200 {
		ahead, err = shift(ahead, 86400)
	} else if s >= 43200 {
		ahead, err = shift(ahead, -86400)
	}
	return JammedLabel{frame, index, d.timecode.Format(index), j.began, ahead, m.Expired}, err
}

// JamStep is what a daily jam does to the labels.
type JamStep struct {
	At timing.Seconds // of PTP, the beginning of the frame whose label is set

	Before, After string // the label that would have come, and the label that is set

	// Skipped is the number of labels that the jam leaves out. If it is negative, that
	// many labels come twice.
	Skipped int64

	Expired bool // as JammedLabel.Expired
}

// NextJam returns the first jam whose frame begins after the one that is on at a time
// of PTP. Times outside those of AtPTP are errors, and so is a time whose next jam is.
func (d DailyJam) NextJam(ptp timing.Seconds) (JamStep, error) {
	j, err := d.jamAt(ptp)
	if err != nil {
		return JamStep{}, err
	}
	m, err := d.leaps.AtPTP(j.began)
	if err != nil {
		return JamStep{}, err
	}
	// The jam set the label within a frame, so that the day is the local one.
	local := whole.Floor(m.Unix.Ratio()) + d.offset
	next, err := d.jammed(local - whole.Mod(local-d.at, 86400) + 86400)
	if err != nil {
		return JamStep{}, err
	}
	would := d.timecode.Wrap(d.first + next - j.jam)
	at, err := exact(d.timecode.rate.Time(next))
	if err != nil {
		return JamStep{}, err
	}
	then, err := d.leaps.AtPTP(at)
	if err != nil {
		return JamStep{}, err
	}
	// The shorter way around the day.
	day := d.timecode.day()
	skipped := d.timecode.Wrap(d.first - would)
	if skipped >= day/2 {
		skipped -= day
	}
	return JamStep{at, d.timecode.Format(would), d.timecode.Format(d.first), skipped, then.Expired}, nil
}
