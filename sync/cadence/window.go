package cadence

import (
	"strconv"

	"example.com/platewright/internal/valid"
	timing "example.com/platewright/sync"
)

// Window is the part of a camera's frame in which a wall may change without any row
// seeing two pictures. Times are those of frame 0. The window comes again in every
// frame.
type Window struct {
	Opens  timing.Seconds // the last row of frame 0 has closed
	Middle timing.Seconds // the safest time for the change to begin
	Closes timing.Seconds // a change that begins later lasts until a row of frame 1 is open

	// Length is Closes − Opens. If it is negative, there is no window: every change
	// tears the picture. By so much the exposure, the readout or Settle is too long.
	Length timing.Seconds

	// LongestExposure leaves a window of 0 s. At 0 s or below, the readout is too slow
	// for any exposure.
	LongestExposure timing.Seconds
}

// ChangeWindow is the window in which a wall may change before a camera. Settle is the
// time that the wall takes to change: 0 s if it changes everywhere at once, and a period
// of its refresh if its groups change one after another.
//
//	Length           T − exposure − (Rows − 1) · RowTime − settle
//	LongestExposure  T − (Rows − 1) · RowTime − settle
//
// T is the period of the camera's frames. A camera that NewReadout refuses, a negative
// settle, and times that do not fit are errors.
func ChangeWindow(camera timing.ReadoutSpec, settle timing.Seconds) (Window, error) {
	c := newChecker()
	r, err := timing.NewReadout(camera)
	c.Add("camera", err)
	notNegative(c, "settle", settle)
	if !c.OK() {
		return Window{}, c.Err()
	}
	var x exact
	w := Window{Opens: x.span(r, 0).Closes, Closes: x.sub(x.span(r, 1).Opens, settle)}
	w.Length = x.sub(w.Closes, w.Opens)
	w.Middle = x.add(w.Opens, x.scale(w.Length, 1, 2))
	w.LongestExposure = x.add(w.Length, camera.Exposure)
	if x.err != nil {
		c.Add("window", x.err)
		return Window{}, c.Err()
	}
	return w, nil
}

// Phase is the place of a time in the frame of a signal, in the units of the menus that
// set it.
type Phase struct {
	Time         timing.Seconds // 0 s or more, and less than a period
	Degrees      float64        // 360° is a period
	Microseconds float64
	Lines        float64 // 0 if the signal has no lines
}

// PhaseOf is the phase of a time for a signal of a rate whose frame 0 begins at 0 s.
// Lines is the number of lines in a period of the signal, with those that carry no
// picture: 1125 in a high-definition reference (common practice), or the period over
// the row time of a sensor; 0 if it has none.
func PhaseOf(t timing.Seconds, rate timing.Rate, lines float64) (Phase, error) {
	c := newChecker()
	c.Number("lines", lines, "", lineCounts)
	valid.Set(c, "rate", rate)
	if !c.OK() {
		return Phase{}, c.Err()
	}
	at, err := rate.Align(t)
	if err != nil {
		c.Add("phase", err)
		return Phase{}, c.Err()
	}
	since := float64(at.Phase.Time())
	turn := since * float64(rate.Frequency())
	return Phase{at.Phase, 360 * turn, 1e6 * since, lines * turn}, nil
}

// InterleaveSpec describes cameras that film one wall at the same time, each its own
// picture. In each frame of the cameras the wall shows one content frame for each
// camera, and then the blank ones.
type InterleaveSpec struct {
	Cameras []timing.ReadoutSpec // in the order of their content frames: 1 to 64, all at one rate
	Blank   int                  // content frames in a cycle for no camera: 0 to 64
	Offset  timing.Seconds       // when the content frame of the first camera comes on
	Settle  timing.Seconds       // that the wall takes to change, as in ChangeWindow
}

// Interleaving says how cameras share a wall.
type Interleaving struct {
	Content timing.Rate // frames a second that the wall plays
	Flicker timing.Rate // times a second that people see all its pictures go by
	Slots   []Slot      // one for each camera
}

// Slot is the time of one camera in a cycle.
type Slot struct {
	On, Off timing.Seconds // its content shows, and nothing else, in the cycle that begins at Offset

	// Margin is the time that is left before the first row opens or after the last
	// closes, whichever is less. If it is negative, rows see the content of another camera.
	Margin timing.Seconds

	// Shift is what must be added to the camera's Offset, so that its frames lie in the
	// middle of their slots.
	Shift timing.Seconds

	// LongestExposure just fits into the slot, with Shift. At 0 s or below the readout is
	// longer than the slot.
	LongestExposure timing.Seconds
}

// Interleave says whether each of several cameras sees its own content frames only.
// Slot i of a cycle lasts from Offset + i/Content + Settle to Offset + (i + 1)/Content.
//
// People see all the pictures: a wall that goes through different ones 24 to 60 times a
// second flickers at this rate, which can cause seizures in photosensitive people. Read
// the cautions of this package, and let package flicker judge the sequence first.
//
// Cameras that NewReadout refuses or that differ in rate, and times that do not fit, are
// errors.
func Interleave(spec InterleaveSpec) (Interleaving, error) {
	c := newChecker()
	if len(spec.Cameras) < 1 || len(spec.Cameras) > 64 {
		return Interleaving{}, c.Refuse("cameras", strconv.Itoa(len(spec.Cameras)), "must be at least 1 and at most 64")
	}
	c.Int("blank", spec.Blank, "", 0, 64)
	notNegative(c, "settle", spec.Settle)
	readouts := make([]timing.Readout, len(spec.Cameras))
	rate := spec.Cameras[0].Rate
	for i, camera := range spec.Cameras {
		var err error
		readouts[i], err = timing.NewReadout(camera)
		c.Add("camera "+strconv.Itoa(i), err)
		if camera.Rate != rate {
			c.Fault("camera "+strconv.Itoa(i), camera.Rate.String(), "must run at the rate of camera 0, %v", rate)
		}
	}
	if !c.OK() {
		return Interleaving{}, c.Err()
	}
	content, err := rate.Scale(int64(len(spec.Cameras)+spec.Blank), 1)
	if err == nil && spec.Settle.Compare(content.Period()) > 0 {
		c.Fault("settle", spec.Settle.String(), "must be at most the period of the content, %v", content.Period())
	}
	c.Add("content", err)
	if !c.OK() {
		return Interleaving{}, c.Err()
	}
	out := Interleaving{Content: content, Flicker: rate}
	for i, r := range readouts {
		var x exact
		s := Slot{On: x.add(x.time(content, spec.Offset, int64(i)), spec.Settle), Off: x.time(content, spec.Offset, int64(i+1))}
		middle := x.scale(x.add(s.On, s.Off), 1, 2)
		frame := x.frame(rate, x.span(r, 0).Middle, middle, timing.Nearest)
		span := x.span(r, frame)
		s.Shift = x.sub(middle, span.Middle)
		s.Margin = x.sub(span.Opens, s.On)
		if after := x.sub(s.Off, span.Closes); after.Compare(s.Margin) < 0 {
			s.Margin = after
		}
		// What the slot lasts longer than the span.
		spare := x.sub(x.sub(s.Off, s.On), x.sub(span.Closes, span.Opens))
		s.LongestExposure = x.add(spec.Cameras[i].Exposure, spare)
		if x.err != nil {
			c.Add("camera "+strconv.Itoa(i), x.err)
			return Interleaving{}, c.Err()
		}
		out.Slots = append(out.Slots, s)
	}
	return out, nil
}
