package sync

import (
	"strconv"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/valid"
)

// ReadDirection says which row of a frame a sensor reads first.
type ReadDirection uint8

const (
	TopDown  ReadDirection = iota // row 0 first
	BottomUp                      // the last row first, as in a camera that hangs upside down
)

var readDirections = enum.New[ReadDirection](ErrInvalid, []string{TopDown: "top down", BottomUp: "bottom up"})

// String gives "top down" or "bottom up".
func (d ReadDirection) String() string { return readDirections.Name(d) }

// MarshalText gives the name. An unknown ReadDirection is an error.
func (d ReadDirection) MarshalText() ([]byte, error) { return readDirections.Marshal(d) }

// UnmarshalText reads a name.
func (d *ReadDirection) UnmarshalText(text []byte) error { return readDirections.Unmarshal(d, text) }

// ReadoutSpec describes when a camera exposes its rows.
type ReadoutSpec struct {
	Rate     Rate         `json:",omitzero"` // frames per second
	Exposure Seconds      // of each row: more than 0 s and at most the period of a frame
	Phase    ShutterPhase `json:",omitzero"` // of the row that is read first
	Rows     int          // in a frame

	// RowTime is the time from one row to the next. 0 s is a global shutter. Rows ·
	// RowTime is at most the period of a frame. A data sheet gives it as a decimal or
	// as clocks, for ParseSeconds or NewSeconds. If a frame is read in 8 ms, it is
	// 8 ms scaled by 1/Rows. For a measured row time there is NearestSeconds.
	RowTime   Seconds
	Direction ReadDirection

	// Offset is the time of frame 0, against the common clock: the phase to which the
	// camera is locked.
	Offset Seconds
}

// Readout says when each row of each frame is exposed.
//
// Everything is an exact fraction, also the row time: a frame ten hours into a take
// begins as exactly as the first. With a row time to the nanosecond, times of some years
// fit, and with one to the picosecond, times of two weeks. Times of the Precision Time
// Protocol count from 1970 and need not fit: let Offset and the times asked for count
// from the beginning of a frame, as Rate.Align gives it.
type Readout struct {
	spec  ReadoutSpec
	start ratio // when the row that is read first opens in frame 0
}

// NewReadout checks the spec.
func NewReadout(spec ReadoutSpec) (Readout, error) {
	c := newChecker()
	valid.Set(c, "rate", spec.Rate)
	c.Int("rows", spec.Rows, "", 1, valid.MaxSide)
	shutterPhases.Check(c, "shutter phase", spec.Phase)
	readDirections.Check(c, "direction", spec.Direction)
	if spec.Exposure.num <= 0 {
		c.Fault("exposure", spec.Exposure.String(), "must be more than 0 s")
	}
	if spec.RowTime.num < 0 {
		c.Fault("row time", spec.RowTime.String(), "must be at least 0 s")
	}
	if !c.OK() {
		return Readout{}, c.Err()
	}
	period := spec.Rate.Period()
	if spec.Exposure.Compare(period) > 0 {
		c.Fault("exposure", spec.Exposure.String(), "must be at most the period of a frame, %s", period)
	}
	if all, ok := spec.RowTime.ratio().times(ratio{int64(spec.Rows), 1}); !ok || all.compare(period.ratio()) > 0 {
		c.Fault("rows", strconv.Itoa(spec.Rows)+" of "+spec.RowTime.String(), "must be read within the period of a frame, %s", period)
	}
	r := Readout{spec, spec.Offset.ratio()}
	if half, ok := spec.Exposure.ratio().times(ratio{1, 2}); spec.Phase == Centred {
		if ok {
			r.start, ok = r.start.sum(half, -1)
		}
		if !ok {
			c.Fault("offset", spec.Offset.String(), "less half the exposure must fit a fraction of int64")
		}
	}
	if !c.OK() {
		return Readout{}, c.Err()
	}
	return r, nil
}

// Exposure is the exposure of a row or of a frame.
type Exposure struct {
	Opens, Middle, Closes Seconds
}

// Row is the exposure of a row of a frame. Rows count from the top, from 0. In the
// order in which rows are read, row k of frame n opens at
//
//	Leading  Offset + n/rate + k · RowTime
//	Centred  Offset + n/rate + k · RowTime − exposure/2
//
// A row outside the frame, and times that do not fit, are errors.
func (r Readout) Row(frame int64, row int) (Exposure, error) {
	c := newChecker()
	valid.Set(c, "readout", r.spec.Rate)
	if c.OK() {
		c.Int("row", row, "", 0, r.spec.Rows-1)
	}
	if !c.OK() {
		return Exposure{}, c.Err()
	}
	if r.spec.Direction == BottomUp {
		row = r.spec.Rows - 1 - row
	}
	return r.exposure(frame, int64(row), r.spec.Exposure.ratio())
}

// Span is the exposure of a frame: from when its first row opens to when its last row
// closes. Middle is the middle of the two. Times that do not fit are errors.
func (r Readout) Span(frame int64) (Exposure, error) {
	if r.spec.Rate.den == 0 {
		return Exposure{}, unset("readout")
	}
	length, ok := r.spec.RowTime.ratio().times(ratio{int64(r.spec.Rows - 1), 1})
	if ok {
		length, ok = length.sum(r.spec.Exposure.ratio(), 1)
	}
	if !ok {
		return Exposure{}, r.tooLong(frame)
	}
	return r.exposure(frame, 0, length)
}

// exposure begins with row k, counted as rows are read, and has a length.
func (r Readout) exposure(frame, k int64, length ratio) (Exposure, error) {
	opens, ok1 := reduced(frame, r.spec.Rate.num).times(ratio{r.spec.Rate.den, 1})
	delay, ok2 := r.spec.RowTime.ratio().times(ratio{k, 1})
	half, ok3 := length.times(ratio{1, 2})
	ok := ok1 && ok2 && ok3
	add := func(x, y ratio) (sum ratio) {
		if ok {
			sum, ok = x.sum(y, 1)
		}
		return sum
	}
	opens = add(add(opens, r.start), delay)
	middle := add(opens, half)
	closes := add(opens, length)
	if !ok {
		return Exposure{}, r.tooLong(frame)
	}
	return Exposure{secondsOf(opens), secondsOf(middle), secondsOf(closes)}, nil
}

func (r Readout) tooLong(frame int64) error {
	return newChecker().Refuse("frame", strconv.FormatInt(frame, 10), "the times of its rows must fit fractions of int64; count from a nearer time, as the first frame of the day, or give the row time in fewer digits")
}

// RowRange is a range of rows of a frame. Rows count from the top.
type RowRange struct {
	Frame       int64
	First, Last int // First ≤ Last, and both belong to the range
}

// Instant says what a camera does at one time.
type Instant struct {
	// Open are the rows that are exposed, by frame, the earlier frame first. A rolling
	// shutter can have rows of two frames open. It is empty if the shutter is closed.
	Open []RowRange

	// A row is read from when it closes for a row time. Reading is false between two
	// frames, and always with a global shutter: its rows all close at once.
	Reading bool
	Frame   int64 // the frame that is read
	Row     int   // the row of it that is read
}

// At says what the camera does at a time. A row is open from Opens on, and no more at
// Closes. A time so far that frames do not fit is an error.
func (r Readout) At(t Seconds) (Instant, error) {
	if r.spec.Rate.den == 0 {
		return Instant{}, unset("readout")
	}
	far := func() (Instant, error) {
		return Instant{}, newChecker().Refuse("time", t.String(), "its place among the rows must fit fractions of int64")
	}
	since, ok := t.ratio().sum(r.start, -1)
	if !ok {
		return far()
	}
	last, err := r.spec.Rate.Frame(secondsOf(since), Floor)
	if err != nil {
		return far()
	}
	var at Instant
	// An exposure and a readout are each at most a period: only two frames are under way.
	for _, frame := range []int64{last - 1, last} {
		begin, err := r.spec.Rate.Time(frame)
		if err != nil {
			return far()
		}
		rest, ok1 := since.sum(begin.ratio(), -1)
		closed, ok2 := rest.sum(r.spec.Exposure.ratio(), -1)
		if !ok1 || !ok2 {
			return far()
		}
		// Rows counted as they are read, below 0 before the first.
		opened, read := r.rowsIn(rest), r.rowsIn(closed)
		if from, to := max(0, read+1), min(opened, int64(r.spec.Rows-1)); from <= to {
			at.Open = append(at.Open, r.rows(frame, from, to))
		}
		if r.spec.RowTime.num > 0 && read >= 0 && read < int64(r.spec.Rows) {
			at.Reading, at.Frame, at.Row = true, frame, r.rows(frame, read, read).First
		}
	}
	return at, nil
}

// rowsIn is ⌊time/RowTime⌋, limited to what rows there are. With a global shutter it
// is that of a row time too short to be seen.
func (r Readout) rowsIn(time ratio) int64 {
	step, beyond := r.spec.RowTime.ratio(), int64(r.spec.Rows)
	if time.num < 0 {
		return -1
	}
	if step.num == 0 {
		return beyond
	}
	if n, ok := mulDiv(time.num, uint64(step.den), uint64(time.den), uint64(step.num), Floor); ok {
		return min(n, beyond)
	}
	return beyond
}

// rows are those from k to l, counted as they are read.
func (r Readout) rows(frame, k, l int64) RowRange {
	if r.spec.Direction == BottomUp {
		k, l = int64(r.spec.Rows-1)-l, int64(r.spec.Rows-1)-k
	}
	return RowRange{frame, int(k), int(l)}
}
