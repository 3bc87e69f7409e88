package plate

import (
	"math"
	"slices"
	"strconv"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/parallel"
	"example.com/platewright/internal/plane"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
)

// DefectKind is what is wrong with a photosite.
type DefectKind uint8

// The kinds of defects.
const (
	Hot   DefectKind = iota + 1 // shows more light than there is, and told it
	Dead                        // shows black, or clearly less light than there is
	Stuck                       // shows the same code whatever the light
)

var defectKinds = enum.New[DefectKind](ErrInvalid, []string{Hot: "hot", Dead: "dead", Stuck: "stuck"})

// String gives a name like "hot".
func (k DefectKind) String() string { return defectKinds.Name(k) }

// MarshalText gives the name. An unknown DefectKind is an error.
func (k DefectKind) MarshalText() ([]byte, error) { return defectKinds.Marshal(k) }

// UnmarshalText reads a name. Any other text is an error and leaves k unchanged.
func (k *DefectKind) UnmarshalText(text []byte) error { return defectKinds.Unmarshal(k, text) }

// DefectSpec says what is a defect.
type DefectSpec struct {
	// Limit is the least deviation of a photosite from its neighbours, as a fraction of
	// the range from Black to White; 0.002 to 0.5, and 0 means 0.05. It should be at
	// least 5 times the noise.
	Limit float64
	// White and Black are as in LevelSpec.
	White, Black float64
	// NothingStays says that no detail of a scene keeps its place in the frames: they
	// are dark, evenly lit, or the whole picture moves. If not, a photosite is only
	// confirmed where the light around it is even or changes fast, and its code not in
	// proportion.
	NothingStays bool
}

// Defects is the result of a DefectMeter.
type Defects struct {
	Frames int
	Sites  []Defect // by row, then by column
	// Unconfirmed is how many photosites look like defects, but may be details of a
	// scene that stands still.
	Unconfirmed int
}

// Defect is a photosite that does not show the light.
type Defect struct {
	X, Y int
	Kind DefectKind
	// Deviation is its mean difference from its neighbours, in codes.
	Deviation float64
}

const (
	defectFrames  = 12
	mostSuspects  = 0.02 // of the photosites
	defaultDefect = 0.05
	lensBlack     = 0.02 // of its surroundings: no detail of one photosite is darker
)

// DefectMeter finds photosites that are hot, dead or stuck, from the frames of a take.
// Give it planes in which neighbours see the same colour: of a mosaic, each colour by
// itself. Pictures that were interpolated spread a defect over several pixels, and those
// that were corrected have none.
//
// A photosite stands out of a frame if it exceeds all but one of its 8 neighbours by half
// the limit, or falls below them by that; all of them at the border. Detail of a scene,
// seen through a lens, rarely does so, and not in the same place for long. The meter keeps
// the few photosites that stand out, and gives as defects those that do in most frames of
// the take, with a steady deviation or a steady code. A picture that moves by a pixel or
// two in all confirms none of them.
//
// A dead photosite does not show in the dark, nor a hot one in clipped light. Two
// neighbours may both be found, three in a corner may hide each other.
type DefectMeter[T Sample] struct {
	spec          DefectSpec
	ends          ends
	limit         float64 // codes
	width, height int
	frames        int
	rows          [][]suspect // by column
}

// suspect is a photosite that stood out, with sums over the frames since.
type suspect struct {
	x                      int32
	frames, out            int32 // since it first stood out; of these, in which it did
	v, g, vv, gg, vg, away float64
	last, jumps, uneven    float64 // g of the frame before, squared changes of g, squared spread of neighbours
}

// NewDefectMeter makes a DefectMeter.
func NewDefectMeter[T Sample](spec DefectSpec) (*DefectMeter[T], error) {
	c := newChecker()
	if spec.Limit == 0 {
		spec.Limit = defaultDefect
	}
	m := &DefectMeter[T]{spec: spec, ends: newEnds[T](c, spec.White, spec.Black)}
	c.Number("limit", spec.Limit, "", valid.Closed(0.002, 0.5))
	if err := c.Err(); err != nil {
		return nil, err
	}
	m.limit = spec.Limit * (m.ends.white - m.ends.black)
	return m, nil
}

// Add takes one more frame. A frame of another size, of fewer than 3 columns or rows, or
// with a sample that is not finite is an error and is left out. So is a frame in which
// more than 2 % of the photosites stand out: the limit is too small for its noise.
func (m *DefectMeter[T]) Add(frame Plane[T]) error {
	c := newChecker()
	if m == nil || m.limit == 0 {
		return c.Refuse("meter", "DefectMeter{}", "must come from NewDefectMeter")
	}
	frame.Check(c, "frame", 3)
	if c.OK() && m.frames > 0 {
		plane.SameSize(c, "frame", frame.Width, frame.Height, m.width, m.height)
	}
	if err := c.Err(); err != nil {
		return err
	}
	const band = 32 // rows of one task
	tasks := (frame.Height + band - 1) / band
	fresh := make([][]suspect, frame.Height)
	counts, bad := make([]int, tasks), make([]int, tasks)
	parallel.For(parallel.Workers(), tasks, func(_, i int) {
		lines := [3][]float32{make([]float32, frame.Width+2), make([]float32, frame.Width+2), make([]float32, frame.Width+2)}
		first, end := i*band, min((i+1)*band, frame.Height)
		for y := first - 1; y <= end; y++ {
			if !fill(lines[(y+3)%3], frame, mirrored(y, frame.Height)) {
				bad[i] = mirrored(y, frame.Height) + 1
				return
			}
			if at := y - 1; at >= first {
				outermost := at == 0 || at == frame.Height-1
				fresh[at] = outstanding(lines[(at+2)%3], lines[(at+3)%3], lines[(at+4)%3], float32(m.limit/2), outermost)
				counts[i] += len(fresh[at])
			}
		}
	})
	for _, b := range bad {
		if b > 0 {
			return badRow(frame, b-1, 0)
		}
	}
	total := 0
	for _, n := range counts {
		total += n
	}
	if photosites := float64(frame.Width) * float64(frame.Height); float64(total) > max(8, mostSuspects*photosites) {
		return newChecker().Refuse("limit", quantity.Number(m.spec.Limit, ""), "must be more: %s of the photosites stand out of their neighbours", quantity.Number(100*float64(total)/photosites, "%"))
	}
	if m.frames == 0 {
		m.width, m.height = frame.Width, frame.Height
		m.rows = make([][]suspect, frame.Height)
	}
	m.frames++
	for y, news := range fresh {
		m.rows[y] = m.follow(frame, y, news)
	}
	return nil
}

// fill copies a row, with a mirror at each end. It reports whether it is finite.
func fill[T Sample](line []float32, frame Plane[T], y int) bool {
	row, step := frame.Row(y)
	for x := range frame.Width {
		v := float32(row[x*step])
		if v-v != 0 {
			return false
		}
		line[x+1] = v
	}
	line[0], line[len(line)-1] = line[2], line[len(line)-3]
	return true
}

func mirrored(i, n int) int {
	switch {
	case i < 0:
		return -i
	case i >= n:
		return 2*n - 2 - i
	}
	return i
}

// outstanding gives the columns of a row that stand out, given the rows above and below.
// In an outermost row or column, where some neighbours are mirrors of others, all count.
func outstanding(above, line, below []float32, least float32, outermost bool) (out []suspect) {
	above, below = above[:len(line)], below[:len(line)]
	for x := 1; x < len(line)-1; x++ {
		// Whatever exceeds all but one neighbour exceeds one of two across, and one of two
		// along the column.
		v := line[x]
		hot := v-min(line[x-1], line[x+1]) > least && v-min(above[x], below[x]) > least
		cold := max(line[x-1], line[x+1])-v > least && max(above[x], below[x])-v > least
		if !hot && !cold {
			continue
		}
		higher, lower := 0, 0 // neighbours that v falls below, and exceeds
		for _, n := range [8]float32{above[x-1], above[x], above[x+1], line[x-1], line[x+1], below[x-1], below[x], below[x+1]} {
			if v-n > least {
				lower++
			}
			if n-v > least {
				higher++
			}
		}
		most := max(lower, higher)
		if most == 8 || most == 7 && !outermost && x > 1 && x < len(line)-2 {
			out = append(out, suspect{x: int32(x - 1)})
		}
	}
	return out
}

// follow adds a frame to the suspects of a row, and to the new ones. It drops those that
// have stood out too seldom.
func (m *DefectMeter[T]) follow(frame Plane[T], y int, news []suspect) (kept []suspect) {
	olds := m.rows[y]
	kept = make([]suspect, 0, len(olds)+len(news))
	for len(olds)+len(news) > 0 {
		var s suspect
		switch {
		case len(olds) == 0 || len(news) > 0 && news[0].x < olds[0].x:
			s, news = news[0], news[1:]
			s.out++
		default:
			s, olds = olds[0], olds[1:]
			if len(news) > 0 && news[0].x == s.x {
				news = news[1:]
				s.out++
			}
		}
		s.frames++
		if s.frames >= 3 && 2*s.out < s.frames {
			continue
		}
		var n [8]float64
		k := 0
		for dy := -1; dy <= 1; dy++ {
			row, step := frame.Row(mirrored(y+dy, m.height))
			for dx := -1; dx <= 1; dx++ {
				if dx != 0 || dy != 0 {
					n[k] = float64(row[mirrored(int(s.x)+dx, m.width)*step])
					k++
				}
			}
		}
		slices.Sort(n[:])
		row, step := frame.Row(y)
		v, g := float64(row[int(s.x)*step])-m.ends.black, (n[3]+n[4])/2-m.ends.black
		s.v, s.g, s.vv, s.gg, s.vg = s.v+v, s.g+g, s.vv+v*v, s.gg+g*g, s.vg+v*g
		s.away += math.Abs(v - g)
		if s.frames > 1 {
			s.jumps += (g - s.last) * (g - s.last)
		}
		s.last = g
		s.uneven += (n[6] - n[1]) * (n[6] - n[1])
		kept = append(kept, s)
	}
	return kept
}

// Measure gives the defects seen so far. Fewer than 12 frames are an error.
func (m *DefectMeter[T]) Measure() (Defects, error) {
	if m == nil || m.frames < defectFrames {
		n := 0
		if m != nil {
			n = m.frames
		}
		return Defects{}, newChecker().Refuse("frames", strconv.Itoa(n), "must be at least %d: one frame cannot tell a defect from a detail", defectFrames)
	}
	d := Defects{Frames: m.frames}
	for y, row := range m.rows {
		for _, s := range row {
			kind, sure := m.kind(s)
			switch {
			case kind == 0:
			case sure || m.spec.NothingStays:
				d.Sites = append(d.Sites, Defect{int(s.x), y, kind, (s.v - s.g) / float64(s.frames)})
			default:
				d.Unconfirmed++
			}
		}
	}
	return d, nil
}

// kind is 0 of what is no defect. sure says that it is no detail of a scene that stands
// still: the light around changed, and the code not in proportion to it.
func (m *DefectMeter[T]) kind(s suspect) (kind DefectKind, sure bool) {
	n := float64(s.frames)
	if s.frames < defectFrames*2/3 || 3*int(s.frames) < 2*m.frames || s.away/n <= m.limit {
		return 0, false
	}
	v, g := s.v/n, s.g/n
	vv, gg, vg := max(0, s.vv/n-v*v), max(0, s.gg/n-g*g), s.vg/n-v*g
	moved := gg > m.limit*m.limit/4
	away := v - g
	steady := max(0, vv+gg-2*vg) < away*away/4 // the deviation is

	// A detail in changing light has the slope v/g, something hot 1, something stuck 0. A
	// detail that moves by less than its size may have any, but its neighbours differ, and
	// change slowly: of a picture that moves fast, squared changes are some 2 gg.
	slope, detail := vg/gg, v/g
	spread := math.Sqrt(max(0, vv-slope*vg) / ((n - 2) * gg))
	told := s.jumps > 0.5*n*gg || s.uneven/n < gg/4
	sure = moved && told && math.Abs(slope-detail) > 5*spread
	switch {
	case moved && vv < gg/16: // the code is
		sure = sure && math.Abs(slope) < math.Abs(slope-detail) || v < g*lensBlack
		if v < m.limit {
			return Dead, sure
		}
		return Stuck, sure
	case !steady || 3*s.out < 2*s.frames || math.Abs(away) <= m.limit:
		return 0, false
	case away < 0:
		return Dead, false
	}
	sure = sure && math.Abs(slope-1) < math.Abs(slope-detail) && max(0, vv+gg-2*vg) < gg/16
	if v >= m.ends.white-m.ends.black {
		return Stuck, sure
	}
	return Hot, sure
}
