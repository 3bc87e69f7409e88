package cadence

import (
	"math"
	"strconv"

	"example.com/platewright/internal/valid"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/internal/whole"
)

var lineCounts = valid.Closed(0, 1e6)

// PlaybackSpec describes a camera that films a wall with moving content.
type PlaybackSpec struct {
	Camera  timing.ReadoutSpec
	Content timing.Rate    `json:",omitzero"` // frames of the content a second, at most 1000 in a frame of the camera
	Offset  timing.Seconds // when content frame 0 comes on
	Settle  timing.Seconds // that the wall takes to change, at most a period of the content
}

// Playback says which frames of its content a wall shows to which frames of a camera.
type Playback struct {
	spec   PlaybackSpec
	camera timing.Readout
}

// NewPlayback checks the spec.
func NewPlayback(spec PlaybackSpec) (Playback, error) {
	c := newChecker()
	camera, err := timing.NewReadout(spec.Camera)
	c.Add("camera", err)
	valid.Set(c, "content rate", spec.Content)
	notNegative(c, "settle", spec.Settle)
	if c.OK() {
		if num, den := spec.Content.Per(spec.Camera.Rate); num/den >= 1000 && num > 1000 { // 1000/1 itself is allowed
			c.Fault("content rate", spec.Content.String(), "must be at most 1000 times the camera's, %v", spec.Camera.Rate)
		}
		if spec.Settle.Compare(spec.Content.Period()) > 0 {
			c.Fault("settle", spec.Settle.String(), "must be at most the period of the content, %v", spec.Content.Period())
		}
	}
	if !c.OK() {
		return Playback{}, c.Err()
	}
	return Playback{spec, camera}, nil
}

// View is what one frame of a camera sees of the content.
type View struct {
	Content     int64  // the content frame that is on in the middle of the camera's frame
	First, Last int64  // the content frames that rows see, from First to Last
	Repeated    bool   // Content is that of the camera's frame before
	Skipped     int64  // content frames between that of the frame before and this one
	Tears       []Tear `json:",omitempty"` // one for each change that rows see
}

// Tear is a change of the content within a frame of the camera. Rows that are read
// before it see the content frame before, and rows after it the new one.
type Tear struct {
	Content int64 // the content frame that comes on

	// First and Last are the rows that see both, mixed, counted from the top. With
	// exposures shorter than the row time there may be none: Last is then First − 1,
	// and the cut lies between these two.
	First, Last int
}

// Frame says what a frame of the camera sees. A content frame is on from its time on,
// Offset + n/Content. Times that do not fit are errors.
func (p Playback) Frame(n int64) (View, error) {
	if p == (Playback{}) {
		c := newChecker()
		c.Unset("playback")
		return View{}, c.Err()
	}
	if n == math.MinInt64 {
		return View{}, newChecker().Refuse("frame", strconv.FormatInt(n, 10), "must have a frame before it")
	}
	var x exact
	span := x.span(p.camera, n)
	view := View{
		Content: p.on(&x, span.Middle, timing.Floor),
		First:   p.on(&x, x.sub(span.Opens, p.spec.Settle), timing.Floor),
		Last:    p.on(&x, span.Closes, timing.Ceil) - 1,
	}
	before := p.on(&x, x.span(p.camera, n-1).Middle, timing.Floor)
	view.Repeated = before == view.Content
	view.Skipped = max(0, view.Content-before-1)
	for m := view.First + 1; m <= view.Last && x.err == nil; m++ {
		view.Tears = append(view.Tears, p.tear(&x, span, m))
	}
	if x.err != nil {
		return View{}, frameFault(n, x.err)
	}
	return view, nil
}

// on is the content frame that is on at t.
func (p Playback) on(x *exact, t timing.Seconds, rounding timing.Rounding) int64 {
	return x.frame(p.spec.Content, p.spec.Offset, t, rounding)
}

// tear is what the beginning of content frame m does to a camera's frame.
func (p Playback) tear(x *exact, span timing.Exposure, m int64) Tear {
	camera := p.spec.Camera
	begins := x.sub(x.time(p.spec.Content, p.spec.Offset, m), span.Opens)
	// Row k, as they are read, is open from k · RowTime to k · RowTime + exposure.
	first, last := int64(0), int64(camera.Rows-1)
	if num, den := camera.RowTime.Ratio(); num > 0 {
		// The first row that closes after the change begins, and the last that opens
		// before it ends.
		first = max(first, 1+whole.Floor(x.scale(x.sub(begins, camera.Exposure), den, num).Ratio()))
		last = min(last, -1-whole.Floor(x.scale(x.add(begins, p.spec.Settle), -den, num).Ratio()))
	}
	if camera.Direction == timing.BottomUp {
		first, last = int64(camera.Rows-1)-last, int64(camera.Rows-1)-first
	}
	return Tear{m, int(first), int(last)}
}

// Count says how many frames of the camera repeat, skip or tear the content, from frame
// first on. A day takes no longer than a cycle, which is as many frames of the camera as
// the denominator of Content.Per(Camera.Rate). If more than 1048576 frames of camera and
// content would have to be looked at one by one, that is an error.
func (p Playback) Count(first, frames int64) (Counts, error) {
	content, cycle := p.spec.Content.Per(p.spec.Camera.Rate)
	return counted(first, frames, cycle, 1+content/cycle, func(n int64, c *Counts) error {
		view, err := p.Frame(n)
		if err != nil {
			return err
		}
		c.Skipped += view.Skipped
		if view.Repeated {
			c.Repeated++
		}
		if len(view.Tears) > 0 {
			c.Torn++
		}
		return nil
	})
}
