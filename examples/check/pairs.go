package main

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"example.com/platewright/projection/fit"
	"example.com/platewright/sensor/plate"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/trace"
	"gonum.org/v1/gonum/unit"
)

// plates are the plate cameras that have something to compare, in the order of the
// folders.
func plates(all []*camera) (some []*camera) {
	for _, c := range all {
		if c.isPlate() && len(c.found.index) > 0 {
			some = append(some, c)
		}
	}
	return some
}

// smallPlate is the frame of a moment, made smaller, as package fit takes it. white is the
// light above which nothing is compared.
func (c *camera) smallPlate(s *small, white float64) (fit.Plate[float32], error) {
	view := *c.view
	if s.Factor > 1 {
		var err error
		if view, err = view.Bin(s.Factor, s.Factor); err != nil {
			return fit.Plate[float32]{}, err
		}
	}
	return fit.Plate[float32]{Camera: view, Channels: s.Channels, Falloff: c.falloff(s.Width, s.Height, s.Factor), White: white}, nil
}

// brightestOf is the light that all but a hundredth of the pixels of two frames stay below,
// with some room: a dim scene is compared in all of its light.
func brightestOf(a, b *small) float64 {
	var values []float32
	for _, s := range []*small{a, b} {
		p := s.Channels[len(s.Channels)/2]
		for i := 0; i < len(p.Pix); i += 7 {
			values = append(values, p.Pix[i])
		}
	}
	slices.Sort(values)
	return min(1, 1.2*float64(values[len(values)*99/100])+1e-6)
}

// overlap is what the pairs of cameras show of each other.
type overlap struct {
	a, b  *camera
	pair  *fit.Pair
	seam  *fit.Seam
	why   error
	whyNo error // no seam
}

// compare measures what two plates have in common, at some moments.
func compare(ctx context.Context, a, b *camera, ai, bi int, p plan) overlap {
	o := overlap{a: a, b: b}
	var pairs []fit.Pair
	var seams []fit.Seam
	for i, at := range p.moments {
		if ctx.Err() != nil {
			return o
		}
		sa, sb := a.found.moments[at], b.found.moments[at]
		if sa == nil || sb == nil {
			continue
		}
		white := brightestOf(sa, sb)
		pa, err := a.smallPlate(sa, white)
		if err != nil {
			o.why, o.whyNo = err, err
			return o
		}
		pb, err := b.smallPlate(sb, white)
		if err != nil {
			o.why, o.whyNo = err, err
			return o
		}
		pair, err := fit.MeasurePair(pa, pb, fit.PairSpec{A: ai, B: bi})
		if err != nil {
			o.why = err
		} else {
			pairs = append(pairs, pair)
		}
		if p.limits.SeamPx == nil || i%3 != len(p.moments)/2%3 {
			continue
		}
		seam, err := fit.MeasureSeam(pa, pb, fit.SeamSpec{})
		if err != nil {
			o.whyNo = err
		} else {
			seams = append(seams, seam)
		}
	}
	if len(pairs) > 0 {
		o.pair = merged(pairs)
	}
	if len(seams) > 0 {
		slices.SortFunc(seams, func(x, y fit.Seam) int { return cmp.Compare(x.Median, y.Median) })
		o.seam = &seams[len(seams)/2]
	}
	return o
}

// merged is the mean of what the moments show. Its uncertainty is that of one, since what
// differs between two lenses is the same at all of them, and the scatter between them.
func merged(pairs []fit.Pair) *fit.Pair {
	out := pairs[0]
	n := float64(len(pairs))
	mean := func(of func(p fit.Pair) []fit.Estimate) []fit.Estimate {
		joint := make([]fit.Estimate, len(of(out)))
		for k := range joint {
			var sum, squares, own float64
			for _, p := range pairs {
				e := of(p)[k]
				sum, squares, own = sum+e.Value, squares+e.Value*e.Value, own+e.Uncertainty
			}
			joint[k].Value = sum / n
			scatter := max(0, squares-sum*sum/n) / max(1, n-1) / n
			joint[k].Uncertainty = math.Hypot(own/n, math.Sqrt(scatter))
		}
		return joint
	}
	out.Stops, out.Tints = mean(func(p fit.Pair) []fit.Estimate { return p.Stops }), mean(func(p fit.Pair) []fit.Estimate { return p.Tints })
	return &out
}

// exposures answers which camera is too bright or off in colour.
func exposures(a *answers, cameras []*camera, overlaps []overlap, limits limitsSpec) {
	var pairs []fit.Pair
	for _, o := range overlaps {
		if o.pair != nil {
			pairs = append(pairs, *o.pair)
		}
	}
	gains, err := fit.MeasureGains(pairs, fit.GainSpec{Cameras: len(cameras), Gauge: fit.Median})
	for i, c := range cameras {
		one := func(what string, k int, v []fit.Estimate, limit *float64) {
			if limit == nil {
				return
			}
			f := c.ask(asksExposure, what)
			f.Channel, f.Against = c.channel(k), "the median of all cameras, by what they see in common"
			f.Predicted = ptr(0.)
			if err != nil {
				a.add(refused(f, trimmed(err)))
				return
			}
			a.add(judge(f, v[k], "stops", *limit))
		}
		var stops, tints []fit.Estimate
		if err == nil {
			stops, tints = gains.Stops[i], gains.Tints[i]
		}
		one("exposure", c.Shape.Channels/2, stops, limits.ExposureStops)
		if c.Shape.Channels == 3 {
			one("tint", 0, tints, limits.TintStops)
			one("tint", 2, tints, limits.TintStops)
		}
	}
}

// seams answers how far neighbouring plates are displaced.
func seams(a *answers, overlaps []overlap, limit float64) {
	any := false
	for _, o := range overlaps {
		if o.seam == nil {
			continue
		}
		any = true
		s, factor := o.seam, float64(o.a.factor())
		f := o.a.ask(asksSeams, "seam")
		f.Other, f.Predicted = o.b.Name, ptr(0.)
		f.Why = fmt.Sprintf("turning %s by %+.3f° ± %.3f in heading, %+.3f° ± %.3f in elevation, %+.3f° ± %.3f in roll leaves %.2g px",
			o.b.Name, float64(s.Heading.Value/deg), float64(s.Heading.Uncertainty/deg),
			float64(s.Elevation.Value/deg), float64(s.Elevation.Uncertainty/deg),
			float64(s.Roll.Value/deg), float64(s.Roll.Uncertainty/deg), factor*s.MedianRest)
		for _, one := range s.Shifts {
			f.draw.Shifts = append(f.draw.Shifts, shiftMark{factor * one.X, factor * one.Y, factor * one.Across.Value, factor * one.Down.Value})
		}
		v := middle(s.Shifts)
		a.add(judge(f, plate.Estimate{Value: factor * v.Value, Uncertainty: factor * v.Uncertainty}, "px", limit))
	}
	if !any {
		f := finding{Question: asksSeams, What: "seam"}
		why := "no two plates overlap"
		for _, o := range overlaps {
			if o.whyNo != nil {
				why = trimmed(o.whyNo)
			}
		}
		a.add(refused(f, why))
	}
}

// middle is the median length of shifts. Its uncertainty is half of the distance between two
// lengths, those √n/2 places before and after the median in their order. That assumes
// nothing about their distribution. It is no less than what interpolation leaves.
func middle(shifts []fit.Shift) plate.Estimate {
	var lengths []float64
	for _, s := range shifts {
		lengths = append(lengths, math.Hypot(s.Across.Value, s.Down.Value))
	}
	slices.Sort(lengths)
	n := len(lengths)
	away := int(math.Ceil(math.Sqrt(float64(n)) / 2))
	low, high := lengths[max(0, n/2-away)], lengths[min(n-1, n/2+away)]
	return plate.Estimate{Value: lengths[n/2], Uncertainty: max((high-low)/2, 0.03)}
}

// offsets answers whether the cameras began at the same time.
func offsets(a *answers, cameras []*camera, limit float64, rate timing.Rate) {
	for _, c := range cameras {
		if n := len(c.brightness()); n < seriesFrames {
			f := finding{Question: asksOffset, What: "offset", Camera: c.Name}
			a.add(refused(f, tooFew(n, seriesFrames)))
			return
		}
	}
	type result struct {
		offset []trace.Offset
		why    []error
		n      int
	}
	against := func(ref int) (r result) {
		for i := range cameras {
			var o trace.Offset
			var err error
			if i != ref {
				o, err = offset(cameras[ref], cameras[i], rate)
			}
			if err == nil {
				r.n++
			}
			r.offset, r.why = append(r.offset, o), append(r.why, err)
		}
		return r
	}
	// The reference is the camera that most others can be compared with.
	best, ref := against(0), 0
	for i := 1; i < len(cameras) && best.n < len(cameras); i++ {
		if r := against(i); r.n > best.n {
			best, ref = r, i
		}
	}
	var known []trace.Offset
	for i, o := range best.offset {
		if best.why[i] == nil {
			known = append(known, o)
		}
	}
	slices.SortFunc(known, func(x, y trace.Offset) int { return cmp.Compare(x.Time, y.Time) })
	middle := known[(len(known)-1)/2]
	least := math.Inf(1) // of the errors of the others: the reference has none against itself
	for _, o := range known {
		if o.Error > 0 {
			least = min(least, float64(o.Error))
		}
	}
	for i, c := range cameras {
		f := c.ask(asksOffset, "offset")
		f.Against, f.Predicted = "the median of all cameras", ptr(0.)
		if len(known) < 2 || best.why[i] != nil {
			a.add(refused(f, trimmed(cmp.Or(best.why[i], best.why[(ref+1)%len(cameras)]))))
			continue
		}
		v := plate.Estimate{Value: 1000 * float64(best.offset[i].Time-middle.Time), Uncertainty: 1000 * max(math.Hypot(float64(best.offset[i].Error), float64(middle.Error)), least)}
		a.add(judge(f, v, "ms", limit))
	}
}

// offset measures the time from the first frame of a to that of b: by the light of the
// whole picture, or if that does not tell, by its movement.
func offset(a, b *camera, rate timing.Rate) (trace.Offset, error) {
	x, y := trace.Trace{Rate: rate, Values: a.brightness()}, trace.Trace{Rate: rate, Values: b.brightness()}
	o, err := trace.MeasureOffset(x, y)
	if err == nil {
		return o, nil
	}
	x.Values, y.Values = a.motion(), b.motion()
	if m, motionErr := trace.MeasureOffset(x, y); motionErr == nil {
		return m, nil
	}
	return o, err
}

// clocks answers whether the clocks of the cameras drift apart.
func clocks(a *answers, cameras []*camera, limit float64, rate timing.Rate) {
	const windows = 6
	for _, c := range cameras[1:] {
		f := c.ask(asksOffset, "drift")
		f.Other, f.Predicted = cameras[0].Name, ptr(0.)
		x, y := trace.Trace{Rate: rate, Values: cameras[0].brightness()}, trace.Trace{Rate: rate, Values: c.brightness()}
		window := unit.Time(float64(min(len(x.Values), len(y.Values))) / windows / float64(rate.Frequency()))
		d, err := trace.MeasureDrift(x, y, max(window, unit.Time(64/float64(rate.Frequency())), 2))
		if err != nil {
			a.add(refused(f, trimmed(err)))
			continue
		}
		a.add(judge(f, plate.Estimate{Value: d.PPM, Uncertainty: d.Error}, "ppm", limit))
	}
}

// brightness is the light of the picture at each frame's time.
func (c *camera) brightness() []float64 {
	return c.trace(c.found.means[len(c.found.means)/2], false)
}

// motion is the change of the picture at each frame's time.
func (c *camera) motion() []float64 { return c.trace(c.found.changes, true) }

// trace puts the values of the frames that were measured at their times. Others are
// interpolated; so are those of repeated frames and, of changes, of the frames after them.
func (c *camera) trace(values []float64, changes bool) []float64 {
	total := c.at[len(c.at)-1] + 1
	out := make([]float64, total)
	have := make([]bool, total)
	for i, file := range c.found.index {
		out[c.at[file]], have[c.at[file]] = values[i], true
	}
	for _, r := range c.found.report.Findings {
		for i := r.Frame; i < r.Frame+r.Frames; i++ {
			have[c.at[c.found.index[i]]] = false
		}
		if next := r.Frame + r.Frames; changes && next < len(c.found.index) {
			have[c.at[c.found.index[next]]] = false
		}
	}
	last := -1
	for i := range out {
		if !have[i] {
			continue
		}
		for k := last + 1; k < i; k++ {
			out[k] = out[i]
			if last >= 0 {
				out[k] = out[last] + (out[i]-out[last])*float64(k-last)/float64(i-last)
			}
		}
		last = i
	}
	for k := last + 1; last >= 0 && k < total; k++ {
		out[k] = out[last]
	}
	return out
}
