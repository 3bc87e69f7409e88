package cadence

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/valid"
	timing "example.com/platewright/sync"
)

// Method says how frames of a source become frames at another rate or speed.
type Method uint8

const (
	Hold    Method = iota + 1 // the source frame that has begun last
	Nearest                   // the source frame whose beginning is nearest; halfway, the later one
	Blend                     // the two source frames around the time, mixed by their nearness
	Average                   // all source frames that pass while the output frame lasts, by their time
)

var methods = enum.New[Method](ErrInvalid, []string{Hold: "hold", Nearest: "nearest", Blend: "blend", Average: "average"})

// String gives "hold", "nearest", "blend" or "average".
func (m Method) String() string { return methods.Name(m) }

// MarshalText gives the name. An unknown Method is an error.
func (m Method) MarshalText() ([]byte, error) { return methods.Marshal(m) }

// UnmarshalText reads a name.
func (m *Method) UnmarshalText(text []byte) error { return methods.Unmarshal(m, text) }

// RetimeSpec describes a clip that is played at another speed or rate.
type RetimeSpec struct {
	Source timing.Rate `json:",omitzero"` // frames a second of the clip
	Output timing.Rate `json:",omitzero"` // frames a second that are made of it

	// Speed is the time of the clip that passes in a second of the output: 1 s in real
	// time, 1/2 s at half speed, 0 s for a freeze, and below 0 s backwards. The source
	// may be at most 65536 frames further in the next frame of the output.
	Speed timing.Seconds

	Start  timing.Seconds // the time in the clip at which output frame 0 begins
	Method Method         `json:",omitzero"`
}

// Retime says which source frames make up each frame of an output.
type Retime struct {
	spec RetimeSpec
	step timing.Seconds // in the clip from one output frame to the next
}

// maxStep is how far the source may go in a frame of the output, in frames.
const maxStep = 1 << 16

// NewRetime checks the spec.
func NewRetime(spec RetimeSpec) (Retime, error) {
	c := newChecker()
	valid.Set(c, "source rate", spec.Source)
	valid.Set(c, "output rate", spec.Output)
	methods.Check(c, "method", spec.Method)
	if !c.OK() {
		return Retime{}, c.Err()
	}
	var x exact
	num, den := spec.Output.Ratio()
	step := x.scale(spec.Speed, den, num)
	num, den = spec.Source.Ratio()
	num, den = x.scale(step, num, den).Ratio()
	if x.err != nil {
		c.Add("speed", x.err)
	} else if ahead := float64(num) / float64(den); math.Abs(ahead) > maxStep {
		c.Fault("speed", spec.Speed.String(), "must take the source at most %d frames further in a frame of the output, not %.6g", maxStep, ahead)
	}
	if !c.OK() {
		return Retime{}, c.Err()
	}
	return Retime{spec, step}, nil
}

// Part is a source frame and its weight in an output frame, Num/Den.
type Part struct {
	Frame    int64
	Num, Den int64
}

// Weight is the weight in floating point, with an error of at most two ulp.
func (p Part) Weight() float64 { return float64(p.Num) / float64(max(1, p.Den)) }

// Frame gives the source frames that make up output frame n, in ascending order, with
// weights that are more than 0 and sum to exactly 1. With x the place of the output
// frame in the clip, in frames,
//
//	x        (Start + n/Output · Speed) · Source
//	Hold     ⌊x⌋
//	Nearest  ⌊x + ½⌋
//	Blend    ⌊x⌋ with 1 − (x − ⌊x⌋), and ⌊x⌋ + 1 with x − ⌊x⌋
//	Average  frames from x to the x of output frame n + 1, by the length of their overlap
//
// The numbers go on before and after the clip: what is shown there is for the caller to
// say, as its last frame or the clip from its beginning. Times that do not fit are
// errors.
func (r Retime) Frame(n int64) ([]Part, error) {
	if r == (Retime{}) {
		c := newChecker()
		c.Unset("retime")
		return nil, c.Err()
	}
	var x exact
	parts := r.parts(&x, n)
	if x.err != nil {
		return nil, frameFault(n, x.err)
	}
	return parts, nil
}

// at is when output frame n begins, as a time of the clip.
func (r Retime) at(x *exact, n int64) timing.Seconds {
	return x.add(x.scale(r.step, n, 1), r.spec.Start)
}

func (r Retime) parts(x *exact, n int64) []Part {
	rounding := timing.Floor
	if r.spec.Method == Nearest {
		rounding = timing.Nearest
	}
	from := r.at(x, n)
	frame := x.frame(r.spec.Source, timing.Seconds{}, from, rounding)
	if r.spec.Method == Average && r.step != (timing.Seconds{}) {
		return r.passing(x, from)
	}
	if r.spec.Method == Blend {
		period := r.spec.Source.Period()
		begins := x.time(r.spec.Source, timing.Seconds{}, frame)
		if next := part(x, frame+1, x.sub(from, begins), period); next.Num > 0 {
			return []Part{{frame, next.Den - next.Num, next.Den}, next}
		}
	}
	return []Part{{frame, 1, 1}}
}

// passing are the source frames that pass in an output frame.
func (r Retime) passing(x *exact, from timing.Seconds) (parts []Part) {
	to, length := x.add(from, r.step), r.step
	if to.Compare(from) < 0 {
		from, to, length = to, from, x.scale(length, -1, 1)
	}
	frame := x.frame(r.spec.Source, timing.Seconds{}, from, timing.Floor)
	for ; x.err == nil && from.Compare(to) < 0; frame++ {
		ends := x.time(r.spec.Source, timing.Seconds{}, frame+1)
		if ends.Compare(to) > 0 {
			ends = to
		}
		parts = append(parts, part(x, frame, x.sub(ends, from), length))
		from = ends
	}
	return parts
}

// part has the weight time/of.
func part(x *exact, frame int64, time, of timing.Seconds) Part {
	num, den := of.Ratio()
	num, den = x.scale(time, den, num).Ratio()
	return Part{frame, num, den}
}

// Count says how many frames of the output repeat the one before, and how many source
// frames are skipped, from frame first on. With Blend and Average a source frame is
// skipped if it has no weight anywhere, and a frame repeats one of the same weights. A
// day takes no longer than a cycle of the speed. If more than 1048576 frames of output
// and source would have to be looked at one by one, that is an error.
func (r Retime) Count(first, frames int64) (Counts, error) {
	source, cycle, err := r.cycle()
	if err != nil {
		return Counts{}, err
	}
	ahead := source / cycle
	return counted(first, frames, cycle, 1+max(ahead, -ahead), func(n int64, c *Counts) error {
		var x exact
		before, now := r.parts(&x, n-1), r.parts(&x, n)
		if x.err != nil {
			return frameFault(n, x.err)
		}
		if slices.Equal(before, now) {
			c.Repeated++
		}
		c.Skipped += max(0, now[0].Frame-before[len(before)-1].Frame-1, before[0].Frame-now[len(now)-1].Frame-1)
		return nil
	})
}

// cycle is by how many source frames the clip goes on in how many output frames.
func (r Retime) cycle() (source, output int64, err error) {
	if r == (Retime{}) {
		c := newChecker()
		c.Unset("retime")
		return 0, 0, c.Err()
	}
	var x exact
	num, den := r.spec.Source.Ratio()
	source, output = x.scale(r.step, num, den).Ratio() // NewRetime has seen that it fits
	return source, output, nil
}

// Pattern says for how many output frames each source frame shows, one after the other.
type Pattern []int

// String gives text like "2:3".
func (p Pattern) String() string {
	var b strings.Builder
	for i, n := range p {
		if i > 0 {
			b.WriteByte(':')
		}
		b.WriteString(strconv.Itoa(n))
	}
	return b.String()
}

// Pattern is the cadence over one cycle, from the source frame of output frame 0 on.
// Source frames that are skipped have 0. From 24 to 60 frames a second, Hold gives 3:2
// if the clip begins with the output, and 2:3 if Start is half a frame of the output. A
// freeze, Blend and Average, and a cycle of more than 1048576 frames are errors.
func (r Retime) Pattern() (Pattern, error) {
	source, output, err := r.cycle()
	if err != nil {
		return nil, err
	}
	c := newChecker()
	if m := r.spec.Method; m != Hold && m != Nearest {
		c.Fault("method", m.String(), "must be hold or nearest: others mix frames")
	}
	if source == 0 {
		c.Fault("speed", r.spec.Speed.String(), "must not be 0 s: a freeze has no pattern")
	}
	if max(source, -source, output) > maxFrames {
		c.Fault("speed", r.spec.Speed.String(), "must come again after at most %d frames, not %d of the source in %d of the output", maxFrames, max(source, -source), output)
	}
	if !c.OK() {
		return nil, c.Err()
	}
	var x exact
	shown := func(n int64) int64 { return r.parts(&x, n)[0].Frame }
	begins := int64(0)
	for shown(begins-1) == shown(0) && x.err == nil {
		begins--
	}
	pattern := make(Pattern, max(source, -source))
	for n := begins; n < begins+output; n++ {
		ahead := shown(n) - shown(begins)
		if x.err != nil {
			c.Add("pattern", x.err)
			return nil, c.Err()
		}
		pattern[max(ahead, -ahead)]++
	}
	return pattern, nil
}
