package banding

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"example.com/platewright/sync/internal/whole"
	"gonum.org/v1/gonum/unit"
)

// Range is the settings from From to To, both included.
type Range[T ~float64] struct{ From, To T }

// Reason says why there is no setting whose bands stay below a limit.
type Reason uint8

const (
	Found         Reason = iota // there are settings
	LightTooSlow                // no setting exposes for a whole period of the light
	NoWholePeriod               // no setting exposes for a whole number of periods, and all others are too deep
	NotLocked                   // the rate of the light is no whole multiple of the camera rate: the phase drifts
	TooDeep                     // every phase has deeper bands
)

var reasons = enum.New[Reason](ErrInvalid, []string{
	Found: "found", LightTooSlow: "light too slow", NoWholePeriod: "no whole number of periods", NotLocked: "not locked", TooDeep: "every phase too deep",
})

// String gives a text like "light too slow".
func (r Reason) String() string { return reasons.Name(r) }

// MarshalText gives the text of String. An unknown Reason is an error.
func (r Reason) MarshalText() ([]byte, error) { return reasons.Marshal(r) }

// UnmarshalText reads the text of String.
func (r *Reason) UnmarshalText(text []byte) error { return reasons.Unmarshal(r, text) }

// Settings are the answer to a question for the settings that keep the bands of all
// greys at most as deep as a limit.
type Settings[T ~float64] struct {
	Ranges []Range[T] // ascending; a range of one setting begins where it ends
	Reason Reason     // why there are none

	// Best is the setting with the shallowest bands if Ranges is empty, and Depth is
	// their depth, for the grey that has the deepest.
	Best  T
	Depth float64
}

const (
	leastLimit = 1e-6
	black      = 1e-9 // the light of a row, over the mean light, that counts as none
	// mostCorners bounds the whole periods in a range, times the corners of the curves.
	mostCorners = 1 << 22
	// mostPairs bounds the exposures that begin at one step of a grey and end at another:
	// some 10 s of work.
	mostPairs = 1 << 26
	// mostBends bounds the bends in the light of all rows by the phase: some 10 s of work.
	mostBends = 1 << 25
)

// extent is the most and the least light of a grey along a setting, 0 to 1: the light
// beyond the whole periods of the exposure, over that of a period.
type extent struct{ most, least curve }

// excess is a curve that is at most (ratio − 1)·k where the brightest light of every
// grey is at most ratio times its darkest, in exposures with k whole periods.
func excess(extents []extent, ratio float64) curve {
	return highest(len(extents), func(i int) curve { return sum(1, extents[i].most, -ratio, extents[i].least) })
}

// ratio is bright over dark in bands of a depth.
func ratio(depth float64) float64 { return (1 + depth) / (1 - depth) }

// byExposure gives the extents along the part of a period in the exposure. The brightest
// exposures begin with a step up or end with a step down, and the darkest the other way
// round. Their light goes straight from where the other end meets a step to where it
// meets the next. It adds a fault if there are too many steps.
func (p Prediction) byExposure(c *valid.Checker) []extent {
	pairs := int64(0)
	for _, l := range p.greys {
		pairs += int64(len(l.at)) * int64(len(l.at))
	}
	if pairs > mostPairs {
		c.Fault("greys", strconv.Itoa(len(p.greys)), "must be fewer, or have fewer steps: the squares of their numbers of steps add up to %d, more than %d", pairs, mostPairs)
		return nil
	}
	out := make([]extent, len(p.greys))
	for i, l := range p.greys {
		var up, down []int
		for k := range l.at {
			if l.level[k] >= l.before(k) {
				up = append(up, k)
			}
			if l.level[k] <= l.before(k) {
				down = append(down, k)
			}
		}
		of := func(begins, ends []int, sign float64) curve {
			return highest(len(begins)+len(ends), func(j int) curve {
				if j < len(begins) {
					return l.from(begins[j], sign)
				}
				return l.to(ends[j-len(begins)], sign)
			})
		}
		out[i] = extent{most: of(up, down, 1), least: of(down, up, -1).negated()}
	}
	return out
}

// from is the light from step k on by the time, over that of a period.
func (l light) from(k int, sign float64) curve {
	n := len(l.at)
	c := make(curve, 0, n+1)
	for s := k; s < n+k; s++ {
		lit := l.sum[s%n] - l.sum[k]
		if s >= n {
			lit += l.mean
		}
		c = append(c, point{ascending(l.at[s%n]-l.at[k], c), sign * lit / l.mean})
	}
	return append(c, point{1, sign})
}

// to is the light until step k by the time, over that of a period.
func (l light) to(k int, sign float64) curve {
	n := len(l.at)
	c := make(curve, 0, n+1)
	for s := k + n; s > k; s-- {
		lit := l.sum[k] - l.sum[s%n]
		if s < n {
			lit += l.mean
		}
		c = append(c, point{ascending(l.at[k]-l.at[s%n], c), sign * lit / l.mean})
	}
	return append(c, point{1, sign})
}

// ascending is the fraction of x, or 1 if rounding has put it before the last corner.
func ascending(x float64, c curve) float64 {
	x = fraction(x)
	if len(c) > 0 && x < c[len(c)-1].x {
		return 1
	}
	return x
}

// cleared is the number of whole periods from which on every exposure is allowed.
func cleared(over curve, limit float64) float64 { return over.top() / (ratio(limit) - 1) }

// allowed lists the exposures from low to high, in periods, in which a curve of excess
// keeps to its limit.
func allowed(over curve, limit, low, high float64) (ranges []Range[float64]) {
	enough := cleared(over, limit)
	add := func(from, to float64) {
		from, to = math.Max(from, low), math.Min(to, high)
		if n := len(ranges); n > 0 && ranges[n-1].To == from {
			ranges[n-1].To = to
		} else if from <= to {
			ranges = append(ranges, Range[float64]{from, to})
		}
	}
	for k := math.Floor(low); k <= high; k++ {
		if k >= enough {
			add(k, high)
			break
		}
		for _, r := range over.below((ratio(limit) - 1) * k) {
			add(k+r.From, k+r.To)
		}
	}
	return ranges
}

// shallowest finds the least limit that allows a setting, and the setting. If no limit
// below 1 does, it is the one given.
func shallowest(setting float64, at func(limit float64) []Range[float64]) (_, depth float64) {
	low, high := 0.0, 1.0
	for high-low > 1e-12 {
		middle := (low + high) / 2
		if r := at(middle); len(r) > 0 {
			high, setting = middle, (r[0].From+r[0].To)/2
		} else {
			low = middle
		}
	}
	return setting, high
}

// nearWhole takes a product of two quantities in floating point, and gives a whole number
// if it is whole but for rounding.
func nearWhole(x float64) float64 {
	if n := math.Round(x); math.Abs(x-n) <= x*0x1p-50 {
		return n
	}
	return x
}

// exposures answers for a setting on which the exposure in periods depends: exposure
// gives the periods of a setting, and setting is its inverse.
func exposures[T ~float64](p Prediction, c *valid.Checker, depth float64, from, to T, exposure func(T) float64, setting func(float64) T) (out Settings[T], err error) {
	first, last := nearWhole(exposure(from)), nearWhole(exposure(to))
	low, high := min(first, last), max(first, last)
	at := func(w float64) T {
		switch w { // the ends exactly
		case first:
			return from
		case last:
			return to
		}
		return min(max(setting(w), from), to)
	}
	extents := p.byExposure(c)
	if !c.OK() {
		return out, c.Err()
	}
	over := excess(extents, ratio(depth))
	if cells := min(high, cleared(over, depth)) - low; cells*float64(len(over)) > mostCorners {
		return out, c.Refuse("depth", quantity.Number(depth, ""), "must be more, or the range narrower: it holds %.3g periods", high-low)
	}
	for _, r := range allowed(over, depth, low, high) {
		a, b := at(r.From), at(r.To)
		out.Ranges = append(out.Ranges, Range[T]{min(a, b), max(a, b)})
	}
	if first > last {
		slices.Reverse(out.Ranges)
	}
	if len(out.Ranges) > 0 {
		return out, nil
	}
	out.Reason = NoWholePeriod
	if high < 1 {
		out.Reason = LightTooSlow
	}
	best, least := shallowest(high, func(limit float64) []Range[float64] {
		return allowed(excess(extents, ratio(limit)), limit, low, high)
	})
	out.Best, out.Depth = at(best), least
	return out, nil
}

// ask checks what the questions for settings have in common.
func (p Prediction) ask(depth float64) *valid.Checker {
	c := newChecker()
	if p.rows == 0 {
		c.Unset("prediction")
	}
	c.Number("depth", depth, "", valid.Below(leastLimit, 1))
	return c
}

// ShutterAngles lists the shutter angles that keep the bands at most as deep as depth,
// of all those from a narrowest to a widest angle, at the spec's rates. From and to
// outside 0 to 360°, 0 excluded, and to below from are errors.
func (p Prediction) ShutterAngles(depth float64, from, to unit.Angle) (Settings[unit.Angle], error) {
	c := p.ask(depth)
	angles := valid.Above(0, 2*math.Pi*(1+1e-12))
	c.Angle("from", from, angles)
	c.Angle("to", to, angles)
	ordered(c, from, to, quantity.Angle)
	if !c.OK() {
		return Settings[unit.Angle]{}, c.Err()
	}
	perAngle := p.rate / p.camera / (2 * math.Pi)
	return exposures(p, c, depth, from, to,
		func(a unit.Angle) float64 { return perAngle * float64(a) },
		func(w float64) unit.Angle { return unit.Angle(w / perAngle) })
}

// LightRates lists the rates of the light, Wall.Rate, that keep the bands at most as
// deep as depth, of all those from a slowest to a fastest, at the spec's exposure. From
// and to outside 1 mHz to 1 GHz, and to below from, are errors.
func (p Prediction) LightRates(depth float64, from, to unit.Frequency) (Settings[unit.Frequency], error) {
	c := p.ask(depth)
	rates := valid.Closed(1e-3, 1e9)
	c.Frequency("from", from, rates)
	c.Frequency("to", to, rates)
	ordered(c, from, to, quantity.Frequency)
	if !c.OK() {
		return Settings[unit.Frequency]{}, c.Err()
	}
	exposure := p.exposure() / p.rate
	return exposures(p, c, depth, from, to,
		func(f unit.Frequency) float64 { return exposure * float64(f) },
		func(w float64) unit.Frequency { return unit.Frequency(w / exposure) })
}

// CameraRates lists the camera rates that keep the bands at most as deep as depth, of
// all those from a slowest to a fastest, at the spec's shutter angle and rate of the
// light. From and to outside 1 mHz to the fastest that leaves time to read all rows, and
// to below from, are errors.
func (p Prediction) CameraRates(depth float64, from, to unit.Frequency) (Settings[unit.Frequency], error) {
	c := p.ask(depth)
	fastest := 1e9
	if read := float64(p.spec.Camera.RowTime.Time()) * float64(p.rows); read > 0 {
		fastest = (1 + 1e-12) / read
	}
	c.Frequency("from", from, valid.Closed(1e-3, fastest))
	c.Frequency("to", to, valid.Closed(1e-3, fastest))
	ordered(c, from, to, quantity.Frequency)
	if !c.OK() {
		return Settings[unit.Frequency]{}, c.Err()
	}
	perSecond := p.exposure() * p.camera
	return exposures(p, c, depth, from, to,
		func(f unit.Frequency) float64 { return perSecond / float64(f) },
		func(w float64) unit.Frequency { return unit.Frequency(perSecond / w) })
}

func ordered[T ~float64](c *valid.Checker, from, to T, text func(T) string) {
	if c.OK() && to < from {
		c.Fault("to", text(to), "must be at least %s, where the range begins", text(from))
	}
}

// Tolerance is the fraction by which the exposure, or the rate of the light, may be off
// either way before the bands of a grey are deeper than depth: 0 to ½. ok is false if
// they already are.
//
// For a pulse at a clean exposure it is about 2 · depth · the fraction of the period
// that the pulse lasts, however many periods there are. So dark greys on a wall with
// scan groups allow next to nothing; WorstDepth says how deep their bands then are.
func (p Prediction) Tolerance(depth float64) (fraction float64, ok bool, err error) {
	c := p.ask(depth)
	if !c.OK() {
		return 0, false, c.Err()
	}
	w := p.exposure()
	same := func(w float64) float64 { return w }
	within, err := exposures(p, c, depth, w/2, 1.5*w, same, same)
	for _, r := range within.Ranges {
		if r.From <= w && w <= r.To {
			return math.Min(w-r.From, r.To-w) / w, true, err
		}
	}
	return 0, false, err
}

// DepthWithin is the greatest Depth of all greys if the exposure, or the rate of the
// light, may be off by a fraction either way. It is the inverse of Tolerance. A
// fraction outside 0 to ½ is an error.
func (p Prediction) DepthWithin(fraction float64) (float64, error) {
	c := p.ask(leastLimit)
	c.Number("fraction", fraction, "", valid.Closed(0, 0.5))
	if !c.OK() {
		return 0, c.Err()
	}
	low, high := p.exposure()*(1-fraction), p.exposure()*(1+fraction)
	extents := p.byExposure(c)
	deepest := 0.0
	for _, e := range extents {
		// With more whole periods the bands are shallower.
		for more := range 2 {
			k := math.Floor(low) + float64(more)
			if k > high {
				break
			}
			from, to := math.Max(low-k, 0), math.Min(high-k, 1)
			at := func(x, most, least float64) {
				if x >= from && x <= to && k+most > 0 {
					deepest = math.Max(deepest, (most-least)/(2*k+most+least))
				}
			}
			walk(e.most, e.least, func(x, most, least float64, _, _ bool) { at(x, most, least) })
			for _, x := range []float64{from, to} {
				at(x, e.most.find(x), e.least.find(x))
			}
		}
	}
	return deepest, c.Err()
}

// Phases lists the phases of a genlock, in periods from 0 to 1, for which the rows of
// every frame keep the bands at most as deep as depth. A range that goes on beyond 1
// ends at its end plus 1. Unlike Extremes, this is about the rows of one frame, which may
// be over before the light goes dark. Frames that get no light at all are no answer. If
// the rate of the light is no whole multiple of the camera rate, there is no such phase,
// and Depth is that of Worst.
//
// Rows times twice the steps of all greys, and times the groups that a row sees, above
// 2²⁵ are an error.
func (p Prediction) Phases(depth float64) (Settings[float64], error) {
	c := p.ask(depth)
	if !c.OK() {
		return Settings[float64]{}, c.Err()
	}
	if p.advance != 0 {
		return Settings[float64]{Reason: NotLocked, Depth: p.Worst().Depth}, nil
	}
	if p.part == 0 {
		return Settings[float64]{Ranges: []Range[float64]{{0, 1}}}, nil
	}
	seen := 1
	if !p.alike() {
		seen = min(len(p.delay), int(math.Ceil(p.spec.View.Blur))+1)
	}
	steps := 0
	for _, l := range p.greys {
		steps += len(l.at)
	}
	if corners := 2 * steps * seen; corners*p.rows > mostBends {
		return Settings[float64]{}, c.Refuse("rows", strconv.Itoa(p.rows), "must be fewer: with %d steps of all greys, at most %d", steps, mostBends/corners)
	}
	extents := make([]extent, len(p.greys))
	for grey := range p.greys {
		s := p.sweep(grey)
		extents[grey] = extent{
			most:  highest(p.rows, func(r int) curve { return s.curve(r, 1) }),
			least: highest(p.rows, func(r int) curve { return s.curve(r, -1) }).negated(),
		}
	}
	below := func(limit float64) []Range[float64] {
		over := excess(extents, ratio(limit))
		for i, l := range p.greys { // a black frame has no bands, and is no answer
			lit := curve{{0, black * l.mean}, {1, black * l.mean}}
			over = upper(over, sum(1, lit, -1, extents[i].least))
		}
		return over.below(0)
	}
	ranges := below(depth)
	if len(ranges) == 0 {
		at, least := shallowest(0, below)
		return Settings[float64]{Reason: TooDeep, Best: at, Depth: least}, nil
	}
	if n := len(ranges); n > 1 && ranges[0].From == 0 && ranges[n-1].To == 1 {
		ranges[n-1].To += ranges[0].To
		ranges = ranges[1:]
	}
	return Settings[float64]{Ranges: ranges}, nil
}

// curve is the light of a row, times sign, by the phase.
func (s *sweeper) curve(r int, sign float64) curve {
	s.row(r)
	opens := s.p.opens(r)
	n := len(s.events)
	first, _ := slices.BinarySearchFunc(s.events, opens, func(e event, x float64) int { return cmp.Compare(e.at, x) })
	// At phase 0, between the events before and after.
	before, after := whole.Mod(first-1, n), whole.Mod(first, n)
	gap, way := fraction(s.events[after].at-s.events[before].at), fraction(opens-s.events[before].at)
	start := s.values[after]
	if gap > 0 && way < gap {
		start = s.values[before] + (s.values[after]-s.values[before])*(way/gap)
	}
	c := curve{{0, sign * start}}
	for i := range n {
		j := whole.Mod(first+i, n)
		if s.weights[s.events[j].group] > 0 {
			c = append(c, point{ascending(s.events[j].at-opens, c), sign * s.values[j]})
		}
	}
	return append(c, point{1, sign * start})
}
