package banding

import (
	"fmt"
	"math"
	"strconv"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
)

// Step is a change of a light.
type Step struct {
	From  float64 // when it begins, in periods: 0 to 1, 1 excluded
	Level float64 // the light from then on: 0 to 10⁶, in any unit
}

// Waveform is the light of a wall pixel over one period of its own time, as steps in
// ascending order. Before the first step the light is that of the last one, since
// the waveform repeats. A waveform has 1 to 4096 steps, and some light.
//
// The pixel's own time runs while its scan group is lit, and stands still otherwise:
// see Wall. So a grey has the same waveform on a wall with scan groups and on one
// without.
type Waveform []Step

// maxSteps is the largest number of steps of a waveform, and of a wall's light.
const maxSteps = 4096

// Pulse is a light that is on for the first part of each period, and off for the
// rest. A duty cycle outside 0 to 1, 0 excluded, is an error.
func Pulse(dutyCycle float64) (Waveform, error) {
	c := newChecker()
	c.Number("duty cycle", dutyCycle, "", valid.Above(0.0, 1.0))
	if !c.OK() {
		return nil, c.Err()
	}
	if dutyCycle == 1 {
		return Waveform{{0, 1}}, nil
	}
	return Waveform{{0, 1}, {dutyCycle, 0}}, nil
}

// BitPlanes is a grey made of one pulse for each bit that is set in its code. The
// pulse of bit b lasts 2ᵇ of the 2^bits − 1 units of a period. The most significant
// bit comes first (common practice; drivers differ in the order). Bits outside 1 to
// 16, and a code outside 1 to 2^bits − 1, are errors.
func BitPlanes(code, bits int) (Waveform, error) {
	if err := checkCode(code, bits); err != nil {
		return nil, err
	}
	units := 1<<bits - 1
	var w Waveform
	begun := 0
	for b := bits - 1; b >= 0; b-- {
		w = w.then(float64(begun)/float64(units), float64(code>>b&1))
		begun += 1 << b
	}
	return w, nil
}

// Scattered is a grey made of so many pulses, each at the start of its part of the
// period (common practice). A part has U = ⌈(2^bits − 1)/pulses⌉ units. The units of
// the code are spread over the pulses as evenly as whole numbers allow:
//
//	pulse i lasts ⌊(i + 1) code/pulses⌋ − ⌊i code/pulses⌋ units, i = 0 … pulses − 1
//
// Greys with fewer units than pulses leave pulses out, so that the light repeats
// less often than it does in brighter greys. Use it with Wall.Refreshes = pulses.
// Bits outside 1 to 16, a code outside 1 to 2^bits − 1, and pulses outside 1 to 2048
// are errors.
func Scattered(code, bits, pulses int) (Waveform, error) {
	if err := checkCode(code, bits); err != nil {
		return nil, err
	}
	c := newChecker()
	c.Int("pulses", pulses, "", 1, maxSteps/2)
	if !c.OK() {
		return nil, c.Err()
	}
	units := (1<<bits - 2 + pulses) / pulses
	var w Waveform
	for i := range pulses {
		lit := (i+1)*code/pulses - i*code/pulses
		if lit > 0 {
			w = w.then(float64(i)/float64(pulses), 1)
		}
		if lit < units {
			w = w.then(float64(i*units+lit)/float64(pulses*units), 0)
		}
	}
	return w, nil
}

// Sampled is a light by its samples, as a photodiode records them. Each sample holds
// for an equal part of the period. Fewer than 1 or more than 4096 samples, one
// outside 0 to 10⁶, and samples that are all 0 are errors.
func Sampled(levels []float64) (Waveform, error) {
	w := make(Waveform, 0, min(len(levels), maxSteps+1))
	for i, v := range levels[:cap(w)] {
		w = append(w, Step{float64(i) / float64(len(levels)), v})
	}
	c := newChecker()
	w.check(c, "samples")
	if !c.OK() {
		return nil, c.Err()
	}
	return w, nil
}

// then appends a step, unless the light stays as it is.
func (w Waveform) then(from, level float64) Waveform {
	if len(w) > 0 && w[len(w)-1].Level == level {
		return w
	}
	return append(w, Step{from, level})
}

func checkCode(code, bits int) error {
	c := newChecker()
	c.Int("bits", bits, "", 1, 16)
	if c.OK() {
		c.Int("code", code, "", 1, 1<<bits-1)
	}
	return c.Err()
}

// check adds a fault for the first step that is wrong.
func (w Waveform) check(c *valid.Checker, field string) {
	if len(w) < 1 || len(w) > maxSteps {
		c.Fault(field, strconv.Itoa(len(w))+" steps", "must be at least 1 and at most %d", maxSteps)
		return
	}
	lit := false
	last := math.Inf(-1)
	for i, s := range w {
		switch what := fmt.Sprintf("%s, step %d", field, i); {
		case !(s.From >= 0 && s.From < 1 && s.From > last):
			c.Fault(what, "from "+quantity.Number(s.From, "periods"), "must be at least 0, less than 1, and after the step before it")
			return
		case !(s.Level >= 0 && s.Level <= 1e6):
			c.Fault(what, "level "+quantity.Number(s.Level, ""), "must be at least 0 and at most 1e6")
			return
		}
		last = s.From
		lit = lit || s.Level > 0
	}
	if !lit {
		c.Fault(field, "black", "must hold some light")
	}
}

// light is what a wall pixel of the first scan group gives over a period of the
// wall. It is immutable.
type light struct {
	at    []float64 // when each step begins, in periods, ascending from 0
	level []float64 // the light from then on
	sum   []float64 // the light from 0 until then
	mean  float64   // the light of a period
}

// newLight squeezes the waveform into the slots of the first group: refresh i of n
// begins at i/n and leaves the group 1/(n·groups) of a period.
func newLight(w Waveform, groups, refreshes int) light {
	var steps Waveform
	if w[0].From > 0 {
		steps = Waveform{{0, w[len(w)-1].Level}}
	}
	steps = append(steps, w...)
	if groups > 1 {
		own := steps
		steps = nil
		next := 0
		for i := range refreshes {
			begin := float64(i) / float64(refreshes)
			end := float64(i+1) / float64(refreshes)
			for next+1 < len(own) && own[next+1].From <= begin {
				next++
			}
			steps = steps.then(begin, own[next].Level)
			for next+1 < len(own) && own[next+1].From < end {
				next++
				steps = steps.then(begin+(own[next].From-begin)/float64(groups), own[next].Level)
			}
			steps = steps.then(begin+(end-begin)/float64(groups), 0)
		}
	}
	var l light
	for i, s := range steps {
		if i > 0 {
			l.mean += l.level[i-1] * (s.From - l.at[i-1])
		}
		l.at, l.level, l.sum = append(l.at, s.From), append(l.level, s.Level), append(l.sum, l.mean)
	}
	last := len(steps) - 1
	l.mean += l.level[last] * (1 - l.at[last])
	return l
}

// step is the step that holds at x, 0 ≤ x < 1.
func (l light) step(x float64) int {
	low, high := 0, len(l.at)
	for high-low > 1 {
		if middle := (low + high) / 2; l.at[middle] <= x {
			low = middle
		} else {
			high = middle
		}
	}
	return low
}

// until is the light from 0 to x, 0 ≤ x ≤ 2.
func (l light) until(x float64) float64 {
	whole := 0.0
	for x >= 1 {
		whole, x = whole+l.mean, x-1
	}
	i := l.step(x)
	return whole + (l.sum[i] + float64(l.level[i]*(x-l.at[i])))
}

// within is the light from x to x + f, 0 ≤ x < 1 and 0 ≤ f ≤ 1.
func (l light) within(x, f float64) float64 { return l.until(x+f) - l.until(x) }

// before is the level just before step i.
func (l light) before(i int) float64 {
	if i == 0 {
		i = len(l.level)
	}
	return l.level[i-1]
}
