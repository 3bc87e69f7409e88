package flicker

import (
	"fmt"
	"strconv"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/valid"
	timing "example.com/platewright/sync"
)

// Criterion says which changes count as flashes. The package comment has the formulas.
type Criterion uint8

// The criteria.
const (
	GeneralFlash  Criterion = iota + 1 // WCAG 2.2: relative luminance
	RedFlash                           // WCAG 2.2: saturated red, by its distance in u′v′
	OlderRedFlash                      // the older working definition for WCAG: saturated red, by 320 (R − G − B)
	AbsoluteFlash                      // ITU-R BT.1702: luminance in cd/m²
)

var criteria = enum.New[Criterion](ErrInvalid, []string{
	GeneralFlash: "general flash", RedFlash: "red flash", OlderRedFlash: "older red flash", AbsoluteFlash: "absolute flash",
})

// String gives a name like "general flash".
func (c Criterion) String() string { return criteria.Name(c) }

// MarshalText gives the name. An unknown Criterion is an error.
func (c Criterion) MarshalText() ([]byte, error) { return criteria.Marshal(c) }

// UnmarshalText reads a name. Any other text is an error and leaves c unchanged.
func (c *Criterion) UnmarshalText(text []byte) error { return criteria.Unmarshal(c, text) }

// maxBlocks is the largest number of blocks across or down.
const maxBlocks = 4096

// MonitorSpec describes the frames that a Monitor gets.
type MonitorSpec struct {
	Rate timing.Rate `json:",omitzero"` // at most 1000 frames a second

	// Columns and Rows are the blocks of a frame: 1 to 4096, and at most 2²⁰ in all. Both
	// 0 is one block, the mean of the frame.
	Columns, Rows int

	// Field is the visual field, of which flashes may fill a quarter. The zero Field is
	// the whole picture, as in ITU-R BT.1702.
	Field Field

	// White is the luminance of white (relative luminance 1) in cd/m². 0 leaves
	// AbsoluteFlash out.
	White float64
}

// Monitor looks for flashes in frames that come one after another. It keeps extremes and
// the transitions of the last second, and no frames: memory does not grow. A Monitor is
// not safe for concurrent use.
type Monitor struct {
	spec   MonitorSpec
	frames int64
	colour bool // the frames have R, G and B
	tracks []*track
	fields *fields
}

// track follows one criterion.
type track struct {
	finding    Finding
	detector   detector
	up, down   []bool // blocks with a transition in this frame
	own        []own
	repeats    []bool  // blocks with more than three flashes in a second
	events     []int64 // frames of the transitions of the last second
	last       int8
	before     [2]int64 // frames of the last two transitions
	transition int64    // how many there have been
}

// own holds the last seven transitions of a block.
type own struct {
	frames [7]int64
	n      int
}

// NewMonitor checks the spec and returns a Monitor that has seen no frame. A Field
// needs both sides or none.
func NewMonitor(spec MonitorSpec) (*Monitor, error) {
	c := newChecker()
	switch num, den := spec.Rate.Ratio(); {
	case num == 0:
		c.Unset("rate")
	case num > 1000*den:
		c.Fault("rate", spec.Rate.String(), "must be at most 1000")
	}
	if spec.Columns == 0 && spec.Rows == 0 {
		spec.Columns, spec.Rows = 1, 1
	}
	c.Int("columns", spec.Columns, "", 1, maxBlocks)
	c.Int("rows", spec.Rows, "", 1, maxBlocks)
	if c.OK() {
		c.Int("blocks", spec.Columns*spec.Rows, "", 1, 1<<20)
	}
	if spec.Field != (Field{}) {
		spec.Field.check(c)
	} else {
		spec.Field = Field{float64(spec.Columns), float64(spec.Rows)}
	}
	if spec.White != 0 {
		c.Number("white", spec.White, "cd/m²", valid.Luminances)
	}
	if !c.OK() {
		return nil, c.Err()
	}
	// Of a field that is narrower than a block, the best place lies inside one: it holds the
	// same fraction as a field as wide as that block.
	spec.Field.Width, spec.Field.Height = max(1, spec.Field.Width), max(1, spec.Field.Height)
	return &Monitor{spec: spec, fields: newFields(spec.Columns, spec.Rows, spec.Field)}, nil
}

func (m *Monitor) begin(colour bool) {
	blocks := m.spec.Columns * m.spec.Rows
	start := func(c Criterion, d detector) {
		m.tracks = append(m.tracks, &track{
			finding: Finding{Criterion: c, WithinLimits: true, Over: -1}, detector: d,
			up: make([]bool, blocks), down: make([]bool, blocks), repeats: make([]bool, blocks), own: make([]own, blocks),
		})
	}
	m.colour = colour
	start(GeneralFlash, newLuminanceDetector(blocks, 1, generalFlash))
	if colour {
		start(RedFlash, make(redDetector, blocks))
		start(OlderRedFlash, newOlderRedDetector(blocks))
	}
	if m.spec.White != 0 {
		start(AbsoluteFlash, newLuminanceDetector(blocks, m.spec.White, absoluteFlash))
	}
}

// Add takes the next frame: R, G and B of each block, row after row, in linear light
// from 0 to 10⁶. A frame of another size, and numbers outside, are errors, and the frame
// does not count.
func (m *Monitor) Add(rgb []float32) error {
	if err := check(m, true, rgb, 3); err != nil {
		return err
	}
	m.frame(true, func(block int) sample {
		r, g, b := float64(rgb[3*block]), float64(rgb[3*block+1]), float64(rgb[3*block+2])
		return sample{r, g, b, 0.2126*r + 0.7152*g + 0.0722*b}
	})
	return nil
}

// AddLuminance takes the next frame as the relative luminance of each block, row after
// row, from 0 to 10⁶. Red flashes are not looked for. Frames of luminance and frames of
// colour in one Monitor are an error.
func (m *Monitor) AddLuminance(luminance []float64) error {
	if err := check(m, false, luminance, 1); err != nil {
		return err
	}
	m.frame(false, func(block int) sample { return sample{luminance: luminance[block]} })
	return nil
}

func check[T float32 | float64](m *Monitor, colour bool, values []T, channels int) error {
	c := newChecker()
	if m == nil || m.fields == nil {
		return c.Refuse("monitor", "without spec", "must be made by NewMonitor")
	}
	if m.frames > 0 && m.colour != colour {
		c.Fault("frame "+strconv.FormatInt(m.frames, 10), "of another kind", "must be of colour or luminance, as those before")
	}
	if want := m.spec.Columns * m.spec.Rows * channels; len(values) != want {
		return c.Refuse("frame "+strconv.FormatInt(m.frames, 10), fmt.Sprintf("%d numbers", len(values)), "must be %d: %d × %d blocks of %d", want, m.spec.Columns, m.spec.Rows, channels)
	}
	for i, v := range values {
		if !(v >= 0 && v <= 1e6) {
			c.Number(fmt.Sprintf("frame %d: block %d", m.frames, i/channels), float64(v), "", valid.Closed(0.0, 1e6))
			break
		}
	}
	return c.Err()
}

func (m *Monitor) frame(colour bool, at func(block int) sample) {
	if m.frames == 0 {
		m.begin(colour)
	}
	for block := range m.spec.Columns * m.spec.Rows {
		s := at(block)
		for _, t := range m.tracks {
			direction := t.detector.step(block, s)
			t.up[block], t.down[block] = direction > 0, direction < 0
		}
	}
	for _, t := range m.tracks {
		t.frame(m)
	}
	m.frames++
}

// within reports whether one frame begins less than 1 s after another.
func (m *Monitor) within(earlier, later int64) bool {
	num, den := m.spec.Rate.Ratio()
	return (later-earlier)*den < num
}

const quarter = 0.25 * (1 + 1e-12) // of a field, for the roundings of its sum

func (t *track) frame(m *Monitor) {
	now := m.frames
	up, down := t.area(m, t.up, now), t.area(m, t.down, now)
	switch {
	case up > quarter && t.last <= 0:
		t.event(m, 1)
	case down > quarter && t.last >= 0:
		t.event(m, -1)
	}
	t.repeated(m)
}

// area is the largest fraction of a field in which these blocks have a transition.
func (t *track) area(m *Monitor, blocks []bool, now int64) float64 {
	n := 0.0
	for _, b := range blocks {
		if b {
			n++
		}
	}
	f := &t.finding
	if ceiling := n / (m.spec.Field.Width * m.spec.Field.Height); ceiling <= f.Area && ceiling <= quarter {
		return ceiling
	}
	area := m.fields.most(blocks)
	if area > f.Area {
		f.Area, f.AreaFrame = area, now
	}
	return area
}

// event counts a transition over more than a quarter of a field.
func (t *track) event(m *Monitor, direction int8) {
	now, f := m.frames, &t.finding
	t.last = direction
	gone := 0
	for gone < len(t.events) && !m.within(t.events[gone], now) {
		gone++
	}
	t.events = append(t.events[:0], t.events[gone:]...)
	t.events = append(t.events, now)
	if flashes := float64(len(t.events)) / 2; flashes > f.Flashes {
		f.Flashes, f.From, f.To = flashes, t.events[0], now
	}
	if f.Flashes > 3 {
		t.over(now)
	}
	if spacing := now - t.before[0]; t.transition >= 2 && (f.SpacingFrames == 0 || spacing < f.SpacingFrames) {
		f.SpacingFrames = spacing
	}
	t.before[0], t.before[1] = t.before[1], now
	t.transition++
}

func (t *track) over(frame int64) {
	if t.finding.WithinLimits {
		t.finding.WithinLimits, t.finding.Over = false, frame
	}
}

// repeated counts the flashes of each block.
func (t *track) repeated(m *Monitor) {
	now, more := m.frames, false
	for i := range t.own {
		o := &t.own[i]
		if t.up[i] || t.down[i] {
			copy(o.frames[:6], o.frames[1:])
			o.frames[6] = now
			o.n = min(o.n+1, 7)
			more = more || o.n == 7 && m.within(o.frames[0], now)
		}
	}
	if !more {
		return
	}
	for i := range t.own {
		o := &t.own[i]
		t.repeats[i] = o.n == 7 && m.within(o.frames[0], now)
	}
	f := &t.finding
	if area := m.fields.most(t.repeats); area > f.Repeated {
		f.Repeated, f.RepeatedFrame = area, now
	}
	if f.Repeated > quarter {
		t.over(now)
	}
}

// Finding is what one criterion finds.
type Finding struct {
	Criterion Criterion

	// WithinLimits says that Flashes is at most 3, and Repeated at most a quarter. It is no
	// clearance and no medical advice.
	WithinLimits bool
	Over         int64 // the frame at which a limit is exceeded first; −1 if none is

	// Flashes is the largest number of flashes in a second that fill more than a quarter
	// of a field at once: half the number of transitions. The first of these is in frame
	// From and the last in frame To.
	Flashes  float64
	From, To int64

	// Area is the largest fraction of a field in which blocks change in the same way in
	// one frame, AreaFrame.
	Area      float64
	AreaFrame int64

	// Repeated is the largest fraction of a field in which each block has more than 3
	// flashes in a second, in the second that ends with RepeatedFrame.
	Repeated      float64
	RepeatedFrame int64

	// SpacingFrames is the least number of frames from the leading edge of a flash to the
	// next, where flashes fill more than a quarter of a field; 0 if there are not two.
	// Spaced says that this is at least 9/25 s at rates that are multiples of 25, and
	// 10/30 s at others, or that there are not two. ITU-R BT.1702 accepts flashes that are
	// spaced, whatever their brightness and area.
	SpacingFrames int64
	Spaced        bool
}

// String gives text like "red flash: at most 4.5 flashes in a second, frames 12 to 35; up
// to 62 % of a field at once: OVER THE LIMIT from frame 33".
func (f Finding) String() string {
	text := fmt.Sprintf("%v: at most %.3g flashes in a second", f.Criterion, f.Flashes)
	if f.Flashes > 0 {
		text += fmt.Sprintf(", frames %d to %d", f.From, f.To)
	}
	text += fmt.Sprintf("; up to %.0f %% of a field at once", 100*f.Area)
	if f.Repeated > 0 {
		text += fmt.Sprintf(", more than 3 flashes in places that fill %.0f %%", 100*f.Repeated)
	}
	if !f.WithinLimits {
		return text + fmt.Sprintf(": OVER THE LIMIT from frame %d", f.Over)
	}
	return text + ": within the limits"
}

// Report is what a Monitor has found so far.
type Report struct {
	Frames   int64
	Findings []Finding // in the order of the criteria; those that were not looked for are left out, and before the first frame all are
	Caution  string    // what a reader has to be told beside the findings
}

const caution = "A result within these limits is no clearance and no medical advice: photosensitive people differ. Warn everybody, follow the local rules, and be able to go to a steady picture at once."

// Report says what the frames so far have shown. Adding may go on after it.
func (m *Monitor) Report() Report {
	r := Report{Caution: caution}
	if m == nil {
		return r
	}
	r.Frames = m.frames
	for _, t := range m.tracks {
		f := t.finding
		f.Spaced = f.SpacingFrames == 0 || spaced(f.SpacingFrames, m.spec.Rate)
		r.Findings = append(r.Findings, f)
	}
	return r
}

func spaced(frames int64, rate timing.Rate) bool {
	num, den := rate.Ratio()
	if num%25 == 0 && den == 1 {
		return 25*frames >= 9*num // frames·den/num ≥ 9/25 s
	}
	return 3*frames*den >= num
}
