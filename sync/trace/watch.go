package trace

import (
	"fmt"
	"math"
	"slices"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/plane"
	"example.com/platewright/internal/valid"
)

// Sample is a type of samples.
type Sample = plane.Sample

// Plane is one channel of a picture: Width × Height samples in Pix. Row y begins at
// y · Stride, and samples of a row are Step apart. Zero means Width · Step for Stride
// and 1 for Step. Samples are not copied.
type Plane[T Sample] = plane.Plane[T]

// Kind says what is wrong with frames.
type Kind uint8

// The kinds.
const (
	Repeated Kind = iota + 1 // the same picture as the frame before, while the scene moves
	Stuck                    // the same samples for half a second or so, as noise never is
	Torn                     // a part of the rows is still that of the frame before
)

var kinds = enum.New[Kind](ErrInvalid, []string{Repeated: "repeated", Stuck: "stuck", Torn: "torn"})

// String gives "repeated", "stuck" or "torn".
func (k Kind) String() string { return kinds.Name(k) }

// MarshalText gives the name. An unknown Kind is an error.
func (k Kind) MarshalText() ([]byte, error) { return kinds.Marshal(k) }

// UnmarshalText reads a name. Any other text is an error and leaves k unchanged.
func (k *Kind) UnmarshalText(text []byte) error { return kinds.Unmarshal(k, text) }

// Finding is a fault of one frame, or of several in a row.
type Finding struct {
	Kind   Kind
	Frame  int // the first frame, from 0
	Frames int // how many

	// Row is the first row of the other picture in a torn frame. It is known to RowError
	// rows either way, since rows without detail do not tell.
	Row, RowError int

	// Upper says that the rows above Row are those of the frame before; otherwise the
	// rows from Row on are.
	Upper bool
}

// String gives text like "frame 12: torn at row 540 ± 2".
func (f Finding) String() string {
	s := fmt.Sprintf("frame %d: %v", f.Frame, f.Kind)
	if f.Frames > 1 {
		s = fmt.Sprintf("frames %d to %d: %v", f.Frame, f.Frame+f.Frames-1, f.Kind)
	}
	if f.Kind == Torn {
		s += fmt.Sprintf(" at row %d ± %d", f.Row, f.RowError)
	}
	return s
}

// WatchSpec describes the frames that a Watcher gets.
type WatchSpec struct {
	// Noise is the standard deviation of a sample in the brighter parts, over full scale:
	// 0 to 0.5. Give twice that of pictures made of a colour mosaic, whose noise is
	// blurred. With 0 only frames that are the same to the last bit count as the same.
	Noise float64
}

// Watcher looks for frames that came wrong, one frame after another. It keeps the means
// of up to 128 blocks of each row of the last frame, and two numbers for each frame
// before. A Watcher is not safe for concurrent use.
type Watcher[T Sample] struct {
	spec          WatchSpec
	width, height int
	block, blocks int
	floor         float64   // mean square change of a block by noise alone
	last, now     []float32 // means of blocks
	rows          [3][]float64
	means         []float64
	squares       []float64 // mean square change of each frame
	torn          []Finding
}

// NewWatcher checks the spec and returns a Watcher that has seen no frame.
func NewWatcher[T Sample](spec WatchSpec) (*Watcher[T], error) {
	c := newChecker()
	c.Number("noise", spec.Noise, "of full scale", valid.Closed(0.0, 0.5))
	if !c.OK() {
		return nil, c.Err()
	}
	return &Watcher[T]{spec: spec, block: 1}, nil
}

// mostFrames is the largest number of frames that a Watcher takes.
const mostFrames = 1 << 24

// Add takes one channel of the next frame, as its green. A frame of another size than
// the first, one below 16 × 16 px, samples that are not finite or beyond ±10⁶, and more
// than 2²⁴ frames are errors. Such a frame does not count.
func (w *Watcher[T]) Add(frame Plane[T]) error {
	c := newChecker()
	if w == nil || w.block == 0 {
		return c.Refuse("watcher", "without spec", "must be made by NewWatcher")
	}
	n := len(w.means)
	name := fmt.Sprintf("frame %d", n)
	frame.Check(c, name, 16)
	c.Int("frames", n+1, "", 1, mostFrames)
	if !c.OK() {
		return c.Err()
	}
	if n > 0 && (frame.Width != w.width || frame.Height != w.height) {
		return c.Refuse(name, fmt.Sprintf("%d × %d px", frame.Width, frame.Height), "must be %d × %d px, as those before", w.width, w.height)
	}
	if n == 0 {
		w.width, w.height = frame.Width, frame.Height
		w.block = (w.width + 127) / 128
		w.blocks = (w.width + w.block - 1) / w.block
		w.floor = 2 * w.spec.Noise * w.spec.Noise / float64(w.block)
		w.now, w.last = make([]float32, w.blocks*w.height), make([]float32, w.blocks*w.height)
		for i := range w.rows {
			w.rows[i] = make([]float64, w.height)
		}
	}
	mean, y := w.reduce(frame)
	if y >= 0 {
		return c.Refuse(fmt.Sprintf("%s, row %d", name, y), "a sample", "must be finite and within ±1e6")
	}
	w.means = append(w.means, mean)
	w.rows[0], w.rows[1], w.rows[2] = w.rows[1], w.rows[2], w.rows[0]
	square := 0.0
	if n > 0 {
		for y := range w.height {
			sum := 0.0
			a, b := w.now[y*w.blocks:][:w.blocks], w.last[y*w.blocks:][:w.blocks]
			for i, v := range a {
				d := float64(v) - float64(b[i])
				sum += d * d
			}
			w.rows[2][y] = sum / float64(w.blocks)
			square += w.rows[2][y] / float64(w.height)
		}
	}
	w.squares = append(w.squares, square)
	w.now, w.last = w.last, w.now
	if n >= 3 {
		w.tear(n - 1)
	}
	return nil
}

// reduce fills now and gives the mean of the frame, or the row of a sample that is not
// allowed.
func (w *Watcher[T]) reduce(frame Plane[T]) (mean float64, bad int) {
	full := plane.FullScale[T]()
	for y := range frame.Height {
		row, step := frame.Row(y)
		total := 0.0
		for b := range w.blocks {
			from, to := b*w.block, min((b+1)*w.block, w.width)
			sum := 0.0
			for x := from; x < to; x++ {
				v := float64(row[x*step])
				if !(math.Abs(v) <= 1e6) {
					return 0, y
				}
				sum += v
			}
			w.now[y*w.blocks+b] = float32(sum / full / float64(to-from))
			total += sum
		}
		mean += total / full / float64(w.width) / float64(w.height)
	}
	return mean, -1
}

// Squared changes over that of the noise alone.
const (
	stillBelow  = 2 // the same picture
	movingAbove = 4 // another picture
)

// An even motion: how far the least squared change of so many frames on either side may be
// from the middle one.
const (
	steadyNear, steadyFar = 6, 24
	leastNear, leastFar   = 0.6, 0.4
)

// tear looks whether frame n was put together of two pictures: its rows did not change
// on one side, where those of the frames before and after did.
func (w *Watcher[T]) tear(n int) {
	before, here, after := w.rows[0], w.rows[1], w.rows[2]
	// score is the number of rows above that changed less the number that did not.
	var told, still, score int
	best, worst := 0, 0
	bestRow, worstRow := [2]int{}, [2]int{} // the rows on either side
	last, openBest, openWorst := 0, true, true
	for y := range w.height {
		if !(math.Min(before[y], after[y]) > movingAbove*w.floor) {
			continue
		}
		told++
		if openBest {
			bestRow = [2]int{last, y}
		}
		if openWorst {
			worstRow = [2]int{last, y}
		}
		openBest, openWorst, last = false, false, y
		if here[y] <= stillBelow*w.floor {
			still++
			score--
		} else {
			score++
		}
		if score > best {
			best, openBest = score, true
		}
		if score < worst {
			worst, openWorst = score, true
		}
	}
	least := max(8, w.height/20)
	if still < least || told-still < least {
		return
	}
	f := Finding{Kind: Torn, Frame: n, Frames: 1}
	// Without an error, score rises to all that moved and falls by all that are still, or
	// the other way round.
	var rows [2]int
	var wrong int
	if moved := told - still; moved-best < still+worst {
		rows, wrong = bestRow, moved-best
	} else {
		rows, wrong, f.Upper = worstRow, still+worst, true
	}
	if 20*wrong > told {
		return
	}
	f.Row, f.RowError = (rows[0]+1+rows[1])/2, (rows[1]-rows[0])/2
	w.torn = append(w.torn, f)
}

// Means gives the mean of each frame, over full scale: a Trace.
func (w *Watcher[T]) Means() []float64 {
	if w == nil {
		return nil
	}
	return append([]float64(nil), w.means...)
}

// Changes gives the root mean square change of each frame from the one before, over
// full scale: a Trace of motion. Changes are those of the means of blocks, so that they
// hold little noise. The first is that of the second frame. A change stands for a time half
// a frame before its frame: give MeasureOffset changes of two recordings of one rate.
func (w *Watcher[T]) Changes() []float64 {
	if w == nil {
		return nil
	}
	out := make([]float64, len(w.squares))
	for i, s := range w.squares {
		out[i] = math.Sqrt(s)
	}
	if len(out) > 1 {
		out[0] = out[1]
	}
	return out
}

// Report says what the frames so far have shown.
type Report struct {
	Frames   int
	Findings []Finding // in the order of their frames

	// Unclear is the number of frames that hardly differ from the one before, in all or
	// some of their rows, in a scene that stands still or moves unevenly. A repeat or a
	// tear among them cannot be told.
	Unclear int
}

// Report judges the frames so far. Adding may go on after it.
//
//   - Repeated: a frame whose change is below twice that of the noise in its square, in a
//     scene that moves evenly: two of three frames moved on either side of the run, and no
//     other within 24 moved much less than most. A change is a motion if its square
//     is above four times that of the noise.
//   - Stuck: 12 frames or more that are the same to the last bit. A picture without
//     noise, as a rendered one, that stands still is called so too.
//   - Torn: rows of at least a twentieth of the height did not change, on one side of a
//     row, while those on the other side did; and both sides changed before and after,
//     in a scene that moves evenly. The first two frames and the last cannot be told.
//
// A frame that is missing leaves no trace in these numbers: see FindGaps.
func (w *Watcher[T]) Report() Report {
	if w == nil {
		return Report{}
	}
	r := Report{Frames: len(w.means)}
	torn := w.torn
	isTorn := func(n int) bool { return len(r.Findings) > 0 && r.Findings[len(r.Findings)-1].Frame == n }
	for i := 1; i < len(w.squares); i++ {
		if len(torn) > 0 && torn[0].Frame == i {
			f := torn[0]
			torn = torn[1:]
			if _, evenly := w.motion(i, i+1); !evenly {
				r.Unclear++
				continue
			}
			r.Findings = append(r.Findings, f)
		}
		if w.squares[i] > movingAbove*w.floor {
			continue
		}
		first, exact := i, 0
		for ; i < len(w.squares) && w.squares[i] <= stillBelow*w.floor && (i == first || len(torn) == 0 || torn[0].Frame != i); i++ {
			if w.squares[i] == 0 {
				exact++
			}
		}
		n := i - first
		moves, evenly := w.motion(first, i)
		switch {
		case n == 0: // between still and moving
			if !isTorn(first) {
				r.Unclear++
			}
			continue
		case n == 1 && isTorn(first): // a part moved
		case exact == n && n >= 12:
			r.Findings = append(r.Findings, Finding{Kind: Stuck, Frame: first, Frames: n})
		case n < 12 && (evenly || moves && exact == n):
			r.Findings = append(r.Findings, Finding{Kind: Repeated, Frame: first, Frames: n})
		default:
			r.Unclear += n
		}
		i--
	}
	return r
}

// motion reports whether the scene moves around some frames, two of three right before
// and two of three right after, and whether it does so evenly: no other frame changes by
// much less than most, least of all near by. A camera that shakes makes changes of all
// sizes, and some frame is now and then where the one before was.
func (w *Watcher[T]) motion(from, to int) (moves, evenly bool) {
	still := w.floor // or what the frames in question changed by
	for _, square := range w.squares[from:to] {
		if square <= stillBelow*w.floor {
			still = math.Max(still, square)
		}
	}
	var near, all []float64
	for _, way := range [2]int{-1, 1} {
		n, moving := from-1, 0
		if way > 0 {
			n = to
		}
		for k := 0; k < steadyFar && n >= 1 && n < len(w.squares); k, n = k+1, n+way {
			square := w.squares[n]
			_, torn := slices.BinarySearchFunc(w.torn, n, func(f Finding, n int) int { return f.Frame - n })
			if square <= 1.2*still || torn {
				continue
			}
			all = append(all, square)
			if k < steadyNear {
				near = append(near, square)
			}
			if k < 3 && square > movingAbove*w.floor {
				moving++
			}
		}
		if moving < 2 {
			return false, false
		}
	}
	slices.Sort(near)
	slices.Sort(all)
	return true, near[0] > leastNear*near[len(near)/2] && all[0] > leastFar*all[len(all)/2]
}
