package banding

import (
	"fmt"
	"math"
	"math/big"
	"slices"
	"strconv"

	"example.com/platewright/internal/valid"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/internal/whole"
	"gonum.org/v1/gonum/unit"
)

// Wall is an LED wall, or a lamp, as a light in time.
//
// A wall may be lit in scan groups that take turns (multiplexing). Wall rows j,
// j + m, j + 2m, … belong to group j, for m groups. In each period, every group is lit
// Refreshes times: refresh i begins at i/Refreshes, and has a slot of
// 1/(m·Refreshes) for each turn. The own time of a pixel runs only in the slots of its
// group.
type Wall struct {
	// Rate is the number of periods of the light per second. If all refreshes of the
	// wall are alike, this is the refresh rate. If greys are made of several unlike
	// refreshes, it is the rate at which the pattern of refreshes repeats, most often
	// the frame rate.
	Rate timing.Rate `json:",omitzero"`

	// Greys are the waveforms of the greys that matter, at least one.
	Greys []Waveform

	// Turns gives the turn of each scan group: Turns[j] is 0 for the group that is lit
	// first. The turns are a permutation of 0 to m − 1, for 1 to 1024 groups. No turns
	// mean that the whole wall is lit at once.
	Turns []int `json:",omitempty"`

	// Refreshes is how often each group is lit in a period: 0 to 2048, and 0 means 1.
	Refreshes int `json:",omitempty"`
}

// InOrder is the Wall.Turns of scan groups that are lit row by row, in the direction
// of the camera's rows. Groups outside 0 to 1024 are an error.
func InOrder(groups int) ([]int, error) {
	c := newChecker()
	c.Int("groups", groups, "", 0, maxGroups)
	if !c.OK() {
		return nil, c.Err()
	}
	turns := make([]int, groups)
	for j := range turns {
		turns[j] = j
	}
	return turns, nil
}

// View says how the rows of a wall with scan groups lie on the rows of the camera. A
// wall without groups needs none.
//
// Camera row r looks at the position WallRowsPerCameraRow · (r + ½) + Offset on the
// wall, in wall rows. It sees the wall row there, or with Blur the mean of the wall
// rows around it. Wall row k covers positions k to k + 1, and belongs to group k mod m.
type View struct {
	// WallRowsPerCameraRow is the camera's row pitch, projected onto the wall, over the
	// wall's pixel pitch: −1024 to 1024. It is negative if the rows of the wall count
	// against those of the camera, and 0 if the camera lies on its side.
	WallRowsPerCameraRow float64

	// Offset is the position on the wall at the upper edge of camera row 0: −10⁶ to 10⁶.
	Offset float64 `json:",omitempty"`

	// Blur is the number of wall rows over which a camera row averages, from its own
	// height and from the blur of lens and focus: 0, or 0.001 to 10⁴.
	Blur float64 `json:",omitempty"`

	// Kernel weighs equal parts of Blur, in the order of the wall's rows: up to 1024
	// numbers from 0 to 10⁶, not all 0. No weights mean that all parts count alike (a box).
	Kernel []float64 `json:",omitempty"`
}

// Spec describes a light and the camera that records it. Specs cannot be compared
// with ==.
type Spec struct {
	Wall Wall
	View View `json:",omitzero"`

	// Camera has at most 65536 rows, and an exposure of at least 1 µs.
	Camera timing.ReadoutSpec
}

const (
	maxGroups = 1024
	maxRows   = 1 << 16
	maxBins   = 1024
	maxBends  = 1 << 20 // steps of all greys, times scan groups
	maxWork   = 1 << 29 // and times the rows
)

// Prediction is how a camera that exposes its rows one after another records a
// light that varies. Light is in the unit of the waveforms' levels.
//
// A Prediction is immutable and safe for concurrent use. It cannot be compared with
// ==, and has no JSON: keep its Spec. The zero Prediction records nothing: its
// methods give zero values and ok false, or an error.
type Prediction struct {
	greys     []light
	events    [][]event // of each grey: where the light of a row changes its slope
	spec      Spec      // without its slices
	readout   timing.Readout
	kernel    []float64 // of View, sums to 1
	delay     []float64 // of each group, in periods: 0 to 1
	refreshes int

	whole   float64 // whole periods in an exposure
	part    float64 // and the rest, 0 ≤ part < 1
	perRow  float64 // periods from row to row
	advance float64 // periods from frame to frame less whole ones, −½ < advance ≤ ½
	camera  float64 // frames per second
	rate    float64 // periods per second
	rows    int
}

// New checks the spec. It keeps no reference to the slices of the spec.
//
// A wall's light has at most 4096 steps: two for each refresh, or more. The steps of all
// greys times the scan groups are at most 2²⁰, and times the rows at most 2²⁹.
func New(spec Spec) (Prediction, error) {
	c := newChecker()
	valid.Set(c, "light rate", spec.Wall.Rate)
	c.Int("greys", len(spec.Wall.Greys), "", 1, maxGreys)
	for i, w := range spec.Wall.Greys {
		w.check(c, fmt.Sprintf("grey %d", i))
	}
	c.Int("refreshes", spec.Wall.Refreshes, "", 0, maxSteps/2)
	checkTurns(c, spec.Wall.Turns)
	spec.View.check(c)
	readout, err := timing.NewReadout(spec.Camera)
	c.Add("camera", err)
	if err == nil {
		c.Int("rows", spec.Camera.Rows, "", 1, maxRows)
		c.Time("exposure", spec.Camera.Exposure.Time(), valid.Closed(1e-6, unit.Time(math.Inf(1))))
	}
	if !c.OK() {
		return Prediction{}, c.Err()
	}
	rate := float64(spec.Wall.Rate.Frequency())
	p := Prediction{
		spec:      spec,
		readout:   readout,
		refreshes: max(1, spec.Wall.Refreshes),
		perRow:    float64(spec.Camera.RowTime.Time()) * rate,
		camera:    float64(spec.Camera.Rate.Frequency()),
		rate:      rate,
		rows:      spec.Camera.Rows,
	}
	p.whole, p.part = periods(spec.Wall.Rate, spec.Camera.Exposure)
	groups := max(1, len(spec.Wall.Turns))
	for j := range groups {
		turn := 0
		if groups > 1 {
			turn = spec.Wall.Turns[j]
		}
		p.delay = append(p.delay, float64(turn)/float64(groups*p.refreshes))
	}
	p.kernel = spec.View.shares()
	p.spec.Wall.Greys, p.spec.Wall.Turns, p.spec.View.Kernel = nil, nil, nil
	bends := 0
	for i, w := range spec.Wall.Greys {
		l := newLight(w, groups, p.refreshes)
		c.Int(fmt.Sprintf("grey %d with %d refreshes: steps", i, p.refreshes), len(l.at), "", 0, maxSteps)
		bends += len(l.at) * groups
		if !c.OK() || bends > maxBends {
			break
		}
		p.greys = append(p.greys, l)
	}
	c.Int("steps of all greys, times groups:", bends, "", 0, maxBends)
	if c.OK() && int64(bends)*int64(p.rows) > maxWork {
		c.Fault("rows", strconv.Itoa(p.rows), "must be at most %d, with %d steps of all greys, times groups", maxWork/bends, bends)
	}
	if !c.OK() {
		return Prediction{}, c.Err()
	}
	if p.part > 0 {
		for _, l := range p.greys {
			p.events = append(p.events, p.changes(l))
		}
	}
	// Exact rates tell a camera that is locked from one that nearly is.
	num, den := spec.Wall.Rate.Per(spec.Camera.Rate)
	p.advance = float64(num%den) / float64(den)
	if p.advance > 0.5 {
		p.advance--
	}
	return p, nil
}

const maxGreys = 4096

func checkTurns(c *valid.Checker, turns []int) {
	c.Int("turns", len(turns), "", 0, maxGroups)
	seen := make([]bool, len(turns))
	for j, turn := range turns {
		if turn < 0 || turn >= len(turns) || seen[turn] {
			c.Fault(fmt.Sprintf("turn of group %d", j), strconv.Itoa(turn), "must be a permutation of 0 to %d", len(turns)-1)
			return
		}
		seen[turn] = true
	}
}

func (v View) check(c *valid.Checker) {
	c.Number("wall rows per camera row", v.WallRowsPerCameraRow, "", valid.Closed(-1024.0, 1024.0))
	c.Number("offset", v.Offset, "wall rows", valid.Closed(-1e6, 1e6))
	if v.Blur != 0 {
		c.Number("blur, if it is not 0,", v.Blur, "wall rows", valid.Closed(1e-3, 1e4))
	}
	c.Int("kernel", len(v.Kernel), "weights", 0, maxBins)
	sum := 0.0
	for i, w := range v.Kernel {
		c.Number(fmt.Sprintf("kernel weight %d", i), w, "", valid.Closed(0, 1e6))
		sum += w
	}
	if len(v.Kernel) > 0 && sum == 0 {
		c.Fault("kernel", "all 0", "must have a weight above 0")
	}
}

// shares are the weights of the kernel, which sum to 1.
func (v View) shares() []float64 {
	if v.Blur == 0 || len(v.Kernel) == 0 {
		return []float64{1}
	}
	shares := slices.Clone(v.Kernel)
	sum := 0.0
	for _, w := range shares {
		sum += w
	}
	for i := range shares {
		shares[i] /= sum
	}
	return shares
}

// periods is the number of periods in an exposure: whole ones and the rest, which is
// exactly 0 if the exposure is a whole number of periods.
func periods(rate timing.Rate, exposure timing.Seconds) (whole, part float64) {
	const most = 1 - 0x1p-53 // less than 1
	hz := float64(rate.Frequency())
	w := float64(exposure.Time()) * hz
	n, miss, err := rate.Periods(exposure)
	if err != nil {
		return math.Modf(w)
	}
	switch m := float64(miss.Time()) * hz; {
	case m >= 0:
		return float64(n), m
	case n == 1: // a short exposure keeps its digits
		return 0, min(w, most)
	default:
		return float64(n - 1), min(1+m, most)
	}
}

// fraction is x − ⌊x⌋. Rounding would make it 1 for x just below 0.
func fraction(x float64) float64 {
	if f := x - math.Floor(x); f < 1 {
		return f
	}
	return 0
}

// exposure is the periods of an exposure.
func (p Prediction) exposure() float64 { return p.whole + p.part }

// alike reports whether all rows get the same light, each at its own phase.
func (p Prediction) alike() bool { return len(p.delay) == 1 || p.spec.View.Blur == 0 }

// bottomUp reports whether the last row is read first.
func (p Prediction) bottomUp() bool { return p.spec.Camera.Direction == timing.BottomUp }

// opens is the periods from when the row that is read first opens until a row does,
// less whole ones.
func (p Prediction) opens(row int) float64 {
	if p.bottomUp() {
		row = p.rows - 1 - row
	}
	return fraction(float64(row) * p.perRow)
}

// Phase is when the row that is read first opens in a frame of the camera, in periods
// of the light, less whole ones: 0 to 1. A period of the light begins at the time 0 s.
// Times that do not fit are errors.
func (p Prediction) Phase(frame int64) (float64, error) {
	first := 0
	if p.bottomUp() {
		first = p.rows - 1
	}
	row, err := p.readout.Row(frame, first)
	if err != nil {
		c := newChecker()
		c.Add("camera", err)
		return 0, c.Err()
	}
	x := new(big.Rat).Mul(big.NewRat(row.Opens.Ratio()), big.NewRat(p.spec.Wall.Rate.Ratio()))
	_, rest := new(big.Int).DivMod(x.Num(), x.Denom(), new(big.Int))
	phase, _ := new(big.Rat).SetFrac(rest, x.Denom()).Float64()
	return fraction(phase), nil
}

// groups sets weights to what a row sees of each group.
func (p Prediction) groups(row int, weights []float64) {
	m := len(p.delay)
	centre := float64(p.spec.View.WallRowsPerCameraRow*(float64(row)+0.5)) + p.spec.View.Offset
	clear(weights)
	if p.alike() {
		weights[whole.Mod(int(math.Floor(centre)), m)] = 1
		return
	}
	// Wall rows from the one at the centre on, so that small parts keep their digits.
	first := math.Floor(centre)
	bin := p.spec.View.Blur / float64(len(p.kernel))
	for i, share := range p.kernel {
		from := centre - first - p.spec.View.Blur/2 + float64(i)*bin
		to := from + bin
		if rounds := math.Floor(bin / float64(m)); rounds > 0 {
			for g := range weights {
				weights[g] += share * rounds / bin
			}
			from += rounds * float64(m)
		}
		for k := math.Floor(from); k < to; k++ {
			covered := min(to, k+1) - max(from, k)
			weights[whole.Mod(int(first+k), m)] += share * covered / bin
		}
	}
}

// Frame is the mean light on each row over its exposure, top to bottom, for one of the
// greys. Phase is when the row that is read first opens, in periods after a period of
// the light begins: any number up to 10⁹ either way. Prediction.Phase gives that of a
// frame. ok is false if there is no such grey, or if the phase is out of its range.
//
//	row r gets Σ wⱼ (L(xⱼ + w) − L(xⱼ)) / w,  xⱼ = phase + k · row time · rate − dⱼ
//
// Row r is read as the k-th, from 0. L is the light, from 0 on, of a pixel whose group is
// lit first. w is the exposure in periods. dⱼ is the delay of group j,
// Turns[j]/(m·Refreshes), and wⱼ is what the row sees of the group. The error is at most
// 2⁻⁴⁹ (1 + w + p)/w of the highest level, and p is the number of periods since the first
// row opened.
func (p Prediction) Frame(grey int, phase float64) (rows []float64, ok bool) {
	if grey < 0 || grey >= len(p.greys) || !(math.Abs(phase) <= 1e9) {
		return nil, false
	}
	rows = make([]float64, p.rows)
	weights := make([]float64, len(p.delay))
	for r := range rows {
		p.groups(r, weights)
		rows[r] = p.exposed(p.greys[grey], weights, fraction(phase)+p.opens(r))
	}
	return rows, true
}

// exposed is the mean light on a row that opens at x, in periods.
func (p Prediction) exposed(l light, weights []float64, x float64) float64 {
	sum := 0.0
	for g, w := range weights {
		if w > 0 {
			sum += w * l.within(fraction(x-p.delay[g]), p.part)
		}
	}
	return max(p.whole*l.mean+sum, 0) / p.exposure() // roundings
}

// Extreme is the least or the most light that a row can get.
type Extreme struct {
	Light float64
	Row   int
	Phase float64 // of Frame, 0 to 1
}

// Extremes are the least and the most light that any row can get at any phase, for
// one grey.
type Extremes struct {
	Grey         int // index in Wall.Greys
	Dark, Bright Extreme

	// Depth is the contrast of the two, (bright − dark)/(bright + dark): 0 at a clean
	// shutter, and 1 if the dark rows get no light.
	Depth float64
}

// Extremes gives the least and the most light of a grey. ok is false if there is no
// such grey.
//
// The light of a row is piecewise linear in the phase, and bends where the exposure
// begins or ends at a step of the light. All these places are compared, so the
// extremes are exact but for rounding. A frame that holds a whole band comes close to
// both. Fewer bands show less in one frame, and the rest from frame to frame. If the
// exposure is a whole number of periods, every row gets the same light, and Depth is
// exactly 0.
//
// The time is proportional to rows, groups and steps of the light. Without Blur it does
// not depend on the rows.
func (p Prediction) Extremes(grey int) (found Extremes, ok bool) {
	if grey < 0 || grey >= len(p.greys) {
		return Extremes{}, false
	}
	l := p.greys[grey]
	found = Extremes{Grey: grey, Dark: Extreme{Light: l.mean}, Bright: Extreme{Light: l.mean}}
	if p.part == 0 {
		return found, true
	}
	found.Dark.Light, found.Bright.Light = math.Inf(1), math.Inf(-1)
	rows := p.rows
	if p.alike() {
		rows = 1
	}
	s := p.sweep(grey)
	for r := range rows {
		s.row(r)
		for x, v := range s.values {
			if v < found.Dark.Light {
				found.Dark = Extreme{v, r, s.events[x].at}
			}
			if v > found.Bright.Light {
				found.Bright = Extreme{v, r, s.events[x].at}
			}
		}
	}
	for _, e := range []*Extreme{&found.Dark, &found.Bright} {
		e.Phase = fraction(e.Phase - p.opens(e.Row))
	}
	found.Dark.Light = max(found.Dark.Light, 0) // roundings
	found.Depth = (found.Bright.Light - found.Dark.Light) / (found.Bright.Light + found.Dark.Light)
	return found, true
}

// event is a bend in the light of a row by when it opens: a step of a group's light,
// which enters the exposure or leaves it.
type event struct {
	at    float64 // when the row opens, in periods: 0 to 1
	group int
	bend  float64 // the change of the slope, for a row that sees this group only
}

// changes lists the bends of all groups in the order of their times. The light of a row
// rises by what enters at its end, and falls by what leaves at its beginning.
func (p Prediction) changes(l light) []event {
	events := make([]event, 0, 2*len(l.at)*len(p.delay))
	for g, delay := range p.delay {
		for i, at := range l.at {
			bend := (l.level[i] - l.before(i)) / p.exposure()
			events = append(events,
				event{fraction(at + delay), g, -bend},
				event{fraction(at + delay - p.part), g, bend})
		}
	}
	slices.SortFunc(events, func(a, b event) int {
		switch {
		case a.at < b.at:
			return -1
		case a.at > b.at:
			return 1
		}
		return 0
	})
	return events
}

// sweeper computes the light of one row after another at all events.
type sweeper struct {
	p             Prediction
	events        []event
	start, slopes []float64 // of a row that sees one group only, when it opens at 0
	weights       []float64
	values        []float64 // of the row, at the events
}

func (p Prediction) sweep(grey int) *sweeper {
	l := p.greys[grey]
	s := &sweeper{
		p: p, events: p.events[grey],
		start: make([]float64, len(p.delay)), slopes: make([]float64, len(p.delay)), weights: make([]float64, len(p.delay)),
		values: make([]float64, len(p.events[grey])),
	}
	for g, delay := range p.delay {
		s.start[g] = (p.whole*l.mean + l.within(fraction(-delay), p.part)) / p.exposure()
	}
	// The slope that leads back to the start after a period.
	for _, e := range s.events {
		s.slopes[e.group] -= e.bend * (1 - e.at)
	}
	return s
}

// row computes the values of a row.
func (s *sweeper) row(r int) {
	s.p.groups(r, s.weights)
	light, slope, last := 0.0, 0.0, 0.0
	for g, w := range s.weights {
		light += w * s.start[g]
		slope += w * s.slopes[g]
	}
	for i, e := range s.events {
		light += slope * (e.at - last)
		slope += s.weights[e.group] * e.bend
		last = e.at
		s.values[i] = light
	}
}

// Worst is the grey with the greatest Depth, and its Extremes.
func (p Prediction) Worst() Extremes {
	var worst Extremes
	for grey := range p.greys {
		if e, _ := p.Extremes(grey); grey == 0 || e.Depth > worst.Depth {
			worst = e
		}
	}
	return worst
}

// WorstDepth is the Depth that no grey and no drive of the wall exceeds, if their
// light repeats after the same period. Pulses come close to it as they get short.
//
//	1 / (2k + 1), and 0 if the exposure is a whole number of periods
//
// k is the number of whole periods in the exposure.
func (p Prediction) WorstDepth() float64 {
	if p.part == 0 {
		return 0
	}
	return 1 / (2*p.whole + 1)
}

// PeriodsFor is the smallest number of whole periods in an exposure for which no grey
// has deeper bands than a depth, whatever else the exposure is.
//
//	k ≥ (1/depth − 1)/2
//
// It is the inverse of Prediction.WorstDepth. A depth outside 10⁻⁶ to 1 is an error.
func PeriodsFor(depth float64) (int, error) {
	c := newChecker()
	c.Number("depth", depth, "", valid.Closed(leastLimit, 1))
	if !c.OK() {
		return 0, c.Err()
	}
	k := math.Ceil((1/depth - 1) / 2 * (1 - 0x1p-50)) // 1/(2k + 1) itself is met, but for rounding
	return int(k), nil
}

// Cycle is the time in which the bands go through all phases once. Under a global
// shutter it is the time in which the brightness of the frames does. ok is false if
// nothing moves: the rate of the light is a whole multiple of the camera rate.
//
//	1 / |c · camera rate|
//
// c is the number of periods from frame to frame, less the nearest whole number:
// −½ < c ≤ ½. So a cycle lasts at least two frames. With c near ½, bright and dark swap
// from frame to frame, which is seen as flicker at half the camera rate.
func (p Prediction) Cycle() (t unit.Time, ok bool) {
	if p.advance == 0 {
		return 0, false
	}
	return unit.Time(1 / math.Abs(p.advance*p.camera)), true
}
