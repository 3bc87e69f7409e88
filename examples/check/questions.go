package main

import (
	"cmp"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"example.com/platewright/sensor/plate"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/trace"
	"gonum.org/v1/gonum/unit"
)

// answers collects what is found.
type answers struct{ all []finding }

// add leaves out numbers that JSON does not have.
func (a *answers) add(f finding) {
	for _, v := range []**float64{&f.Value, &f.Uncertainty, &f.Margin, &f.Predicted} {
		if *v != nil && math.IsNaN(**v-**v) {
			*v = nil
		}
	}
	a.all = append(a.all, f)
}

// ask is a finding to be filled in.
func (c *camera) ask(q question, what string) finding {
	return finding{Question: q, What: what, Camera: c.Name}
}

// frames answers whether all frames can be read, and whether one is missing.
func (c *camera) frames(a *answers) {
	f := c.ask(asksFrames, "bad frames")
	slices.SortFunc(c.Bad, func(x, y badFrame) int { return cmp.Compare(x.Index, y.Index) })
	for first := 0; first < len(c.Bad); {
		last := first
		for last+1 < len(c.Bad) && c.Bad[last+1].Index == c.Bad[last].Index+1 && c.Bad[last+1].Why == c.Bad[first].Why {
			last++
		}
		one := c.ask(asksFrames, "bad frame")
		one.Frames, one.Why = c.span(c.Bad[first].Index, c.Bad[last].Index), c.Bad[first].Why
		a.add(judge(one, plate.Estimate{Value: float64(last - first + 1)}, "frames", 0))
		first = last + 1
	}
	if len(c.Bad) == 0 {
		a.add(judge(f, plate.Estimate{}, "frames", 0))
	}
	if len(c.Files) < 2 {
		return
	}
	labels, ok := c.labels()
	if !ok {
		f = c.ask(asksFrames, "missing")
		f.Verdict, f.Why = notAsked, "the file names are not one name with numbers"
		a.add(f)
		return
	}
	found, err := trace.FindJumps(labels)
	if err != nil {
		a.add(refused(c.ask(asksFrames, "missing"), trimmed(err)))
		return
	}
	if !countFrames(found, len(labels)) {
		f = c.ask(asksFrames, "missing")
		if f.Why = "the numbers in the names do not count the frames"; found.Counts != 0 {
			f.Why = fmt.Sprintf("the numbers count %d in %s, which are taken to follow one another", found.Counts, plural(int(found.Frames), "frame"))
		}
		f.Verdict = noted
		a.add(f)
		return
	}
	for _, j := range found.Jumps {
		f = c.ask(asksFrames, "missing")
		f.Frames = c.span(j.Frame-1, j.Frame)
		a.add(judge(f, plate.Estimate{Value: float64(j.Step - 1)}, "frames", 0))
	}
	if len(found.Jumps) == 0 {
		a.add(judge(c.ask(asksFrames, "missing"), plate.Estimate{}, "frames", 0))
	}
}

// countFrames reports whether numbers count frames: not at another rate, and not times of
// day, say, of which none follows the one before.
func countFrames(l trace.Labels, frames int) bool {
	return l.Counts == 0 && (len(l.Jumps) < 4 || len(l.Jumps) < frames-1)
}

// labels are the numbers in the names of the files. ok is false if the names differ in
// anything else.
func (c *camera) labels() (labels []int64, ok bool) {
	stem := ""
	for i, file := range c.Files {
		name := strings.TrimSuffix(file.Name, filepath.Ext(file.Name))
		end := strings.LastIndexAny(name, digits) + 1
		name = strings.TrimRight(name[:end], digits) + "|" + name[end:]
		if stem == "" {
			stem = name
		}
		if !file.Known || name != stem || i > 0 && file.Number <= labels[i-1] {
			return nil, false
		}
		labels = append(labels, file.Number)
	}
	return labels, true
}

// clipping answers whether something is clipped or crushed.
func (c *camera) clipping(a *answers, limits limitsSpec) {
	for k, l := range c.found.levels {
		for _, side := range []struct {
			what   string
			extent plate.Extent
			limit  *float64
		}{{"clipped", l.Clipped, limits.ClippedPercent}, {"crushed", l.Crushed, limits.CrushedPercent}} {
			f := c.ask(asksLevels, side.what)
			f.Channel = c.channel(k)
			for i, area := range side.extent.Areas {
				r := region{area.X, area.Y, area.Width, area.Height}
				if i == 0 {
					f.Where = &r
					first := c.found.index[area.Frame]
					f.Frames = c.span(first, first)
				}
				if i < 64 {
					f.draw.Areas = append(f.draw.Areas, r)
				}
			}
			v := plate.Estimate{Value: 100 * side.extent.Fraction}
			if side.limit == nil && c.white == brightestHalf && side.what == "clipped" {
				f.Verdict, f.Why = notAsked, "the scenario says which sample of floating point is white"
				a.add(f)
				continue
			}
			if side.limit == nil {
				f.Value, f.Uncertainty, f.Unit, f.Verdict, f.Confidence = ptr(v.Value), ptr(0.), "%", noted, 1
				f.Why = "no limit"
				a.add(f)
				continue
			}
			if f = judge(f, v, "%", *side.limit); f.Verdict == within {
				f.Frames, f.Where, f.draw = nil, nil, drawing{}
			}
			a.add(f)
		}
	}
}

// drift answers whether the light of the picture drifts through the take.
func (c *camera) drift(a *answers, limit float64, rate timing.Rate) {
	f := c.ask(asksExposure, "drift")
	var times []unit.Time
	var stops []plate.Estimate
	means := c.found.means[len(c.found.means)/2]
	for i, file := range c.found.index {
		if means[i] <= 0 || means[0] <= 0 {
			a.add(refused(f, "frames without light"))
			return
		}
		times = append(times, unit.Time(float64(c.at[file])/float64(rate.Frequency())))
		// What the mean of a frame leaves uncertain shows in the scatter from frame to frame.
		stops = append(stops, plate.Estimate{Value: math.Log2(means[i] / means[0]), Uncertainty: 1e-6})
	}
	d, err := plate.MeasureDrift(times, stops)
	if err != nil {
		a.add(refused(f, trimmed(err)))
		return
	}
	a.add(judge(f, d.StopsPerMinute, "stops/min", limit))
}

// noisy compares the noise with that of the photosite.
func (c *camera) noisy(a *answers, limit float64) {
	if p := c.found.patterns; p != nil && len(p.Found) > 0 {
		a.add(refused(c.ask(asksNoise, "noise"), "the pattern on the wall would be taken for noise"))
		return
	}
	for k := range c.Shape.Channels {
		f := c.ask(asksNoise, "noise")
		f.Channel, f.Against = c.channel(k), "the photosite's noise at the same light"
		var ratios []plate.Estimate
		if k < len(c.found.noise) {
			for _, n := range c.found.noise[k] {
				ratios = append(ratios, c.noiseRatio(n))
			}
		}
		if len(ratios) == 0 {
			a.add(refused(f, trimmed(c.found.noiseWhy)))
			continue
		}
		slices.SortFunc(ratios, func(x, y plate.Estimate) int { return cmp.Compare(x.Value, y.Value) })
		f.Predicted = ptr(1.)
		a.add(judge(f, ratios[len(ratios)/2], "× predicted", limit))
	}
}

// noiseRatio is the noise of a frame over that predicted, as the weighted mean of its
// levels of light.
func (c *camera) noiseRatio(n plate.Noise) plate.Estimate {
	var sum, weights, least float64
	for i, l := range n.Levels {
		predicted := c.noise(l.Light)
		u := l.Noise.Uncertainty / predicted
		weight := 1 / (u*u + 1e-12)
		sum, weights = sum+weight*l.Noise.Value/predicted, weights+weight
		if i == 0 || u < least {
			least = u
		}
	}
	// Levels share what detail of the scene adds, so many are no surer than the best.
	return plate.Estimate{Value: sum / weights, Uncertainty: least}
}

// veil bounds the flare.
func (c *camera) veil(a *answers, limit float64) {
	f := c.ask(asksVeil, "veil")
	f.Against = "the darkest part over the mean light: the veil is no more than that"
	if len(c.found.flare) == 0 {
		a.add(refused(f, trimmed(c.found.flareWhy)))
		return
	}
	best := slices.MinFunc(c.found.flare, func(x, y plate.Flare) int {
		return cmp.Compare(x.FractionOfMean, y.FractionOfMean)
	})
	u := 0.0
	if best.AtMost.Value != 0 {
		u = math.Abs(best.FractionOfMean * best.AtMost.Uncertainty / best.AtMost.Value)
	}
	r := best.Darkest
	f.Where = &region{r.X, r.Y, r.Width, r.Height}
	if f = judge(f, plate.Estimate{Value: 100 * best.FractionOfMean, Uncertainty: 100 * u}, "%", limit); f.Verdict == over {
		f = refused(f, "the darkest part may be lit: look whether it is black")
	}
	a.add(f)
}

// defective counts defective photosites.
func (c *camera) defective(a *answers, limit int) {
	f := c.ask(asksDefects, "defects")
	if len(c.found.defects) < c.Shape.Channels {
		a.add(refused(f, trimmed(c.found.defectWhy)))
		return
	}
	n, unsure := 0, 0
	for k, d := range c.found.defects {
		unsure += d.Unconfirmed
		for _, s := range d.Sites {
			if clips(c.found.levels[k].Clipped, s.X, s.Y) {
				unsure++ // the rim of a lamp
				continue
			}
			n++
			if len(f.draw.Areas) < 64 {
				f.draw.Areas = append(f.draw.Areas, region{s.X, s.Y, 1, 1})
			}
		}
	}
	if len(f.draw.Areas) > 0 {
		f.Where = &f.draw.Areas[0]
	}
	if unsure > 0 {
		f.Why = fmt.Sprintf("%d more may be details of the scene", unsure)
	}
	a.add(judge(f, plate.Estimate{Value: float64(n)}, "photosites", float64(limit)))
}

// clips reports whether a place lies in a clipped area, or beside one.
func clips(e plate.Extent, x, y int) bool {
	const beside = 16
	return slices.ContainsFunc(e.Areas, func(a plate.Area) bool {
		return x >= a.X-beside && x < a.X+a.Width+beside && y >= a.Y-beside && y < a.Y+a.Height+beside
	})
}

// repeats answers whether frames are repeated, stuck or torn.
func (c *camera) repeats(a *answers) {
	r := c.found.report
	for _, one := range r.Findings {
		f := c.ask(asksRepeats, one.Kind.String())
		f.Frames = c.span(c.found.index[one.Frame], c.found.index[one.Frame+one.Frames-1])
		if one.Kind == trace.Torn {
			f.Why = fmt.Sprintf("at row %d ± %d", one.Row, one.RowError)
			f.Where = &region{0, one.Row, c.Shape.Width, 1}
		}
		a.add(judge(f, plate.Estimate{Value: float64(one.Frames)}, "frames", 0))
	}
	f := c.ask(asksRepeats, "repeated or torn")
	switch {
	case r.Frames < 3:
		a.add(refused(f, tooFew(r.Frames, 3)))
	case r.Unclear > 0:
		a.add(refused(f, fmt.Sprintf("%d of %d frames hardly differ from the one before: the scene stands still", r.Unclear, r.Frames)))
	case len(r.Findings) == 0:
		a.add(judge(f, plate.Estimate{}, "frames", 0))
	}
}

// seriesFrames is the number of frames from which on package trace compares series.
const seriesFrames = 64

func tooFew(frames, least int) string {
	return fmt.Sprintf("%s: it takes %d", plural(frames, "frame"), least)
}

// shake answers how the camera vibrates.
func (c *camera) shake(a *answers, limit float64, rate timing.Rate) {
	f := c.ask(asksShake, "vibration")
	if n := len(c.found.index); n <= seriesFrames {
		a.add(refused(f, tooFew(n, seriesFrames+1)))
		return
	}
	v, err := trace.MeasureVibration(c.shifts(), rate)
	if err != nil {
		err = cmp.Or(c.found.shiftWhy, err)
		a.add(refused(f, trimmed(err)))
		return
	}
	if len(v.Peaks) == 0 {
		rest := math.Hypot(v.RestX, v.RestY)
		f.Why = "no frequency stands out; that is the movement from frame to frame"
		if f = judge(f, plate.Estimate{Value: rest, Uncertainty: rest / math.Sqrt(float64(len(c.found.shifts)))}, "px", limit); f.Verdict == over {
			f = refused(f, "it may be the movement of the scene")
		}
		a.add(f)
		return
	}
	worst := slices.MaxFunc(v.Peaks, func(x, y trace.Peak) int {
		return cmp.Compare(math.Hypot(x.X, x.Y), math.Hypot(y.X, y.Y))
	})
	f.Why = fmt.Sprintf("at %.2f Hz, or folded from above half the frame rate", float64(worst.Frequency))
	a.add(judge(f, plate.Estimate{Value: math.Hypot(worst.X, worst.Y), Uncertainty: math.Hypot(worst.ErrorX, worst.ErrorY)}, "px", limit))
}

// shifts are those from frame to frame at each frame's time. They are not known where a
// frame is missing or could not be measured.
func (c *camera) shifts() []trace.Shift {
	out := make([]trace.Shift, c.at[len(c.at)-1]+1)
	for i, s := range c.found.shifts {
		if at := c.at[c.found.index[i]]; i > 0 && c.at[c.found.index[i-1]] == at-1 {
			out[at] = s
		}
	}
	return out
}

// flashing answers whether the take flashes.
func (c *camera) flashing(a *answers) (caution string) {
	if c.found.flashWhy != nil {
		a.add(refused(c.ask(asksFlashes, "flashes"), trimmed(c.found.flashWhy)))
	}
	for _, one := range c.found.flashes.Findings {
		f := c.ask(asksFlashes, one.Criterion.String())
		if one.Flashes > 0 {
			f.Frames = c.span(c.found.index[one.From], c.found.index[one.To])
		}
		f = judge(f, plate.Estimate{Value: one.Flashes}, "flashes/s", mostFlashes)
		if !one.WithinLimits {
			f.Verdict = over
			if one.Flashes <= mostFlashes {
				f.Why = fmt.Sprintf("blocks with more than 3 flashes of their own fill %.0f %% of the field", 100*one.Repeated)
			}
		}
		a.add(f)
	}
	return c.found.flashes.Caution
}

// mostFlashes is the limit of WCAG 2.2 in a second.
const mostFlashes = 3
