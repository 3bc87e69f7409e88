package plate

import (
	"math"
	"strconv"

	"example.com/platewright/internal/plane"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// LightSpec says how samples become linear light, and where.
type LightSpec struct {
	// Region to measure; zero means the whole frame.
	Region Region
	// Linear gives the light of a code, in any unit; nil means that samples are
	// proportional to light. Whole numbers are looked up in a table, so a slow function
	// does no harm.
	Linear func(code float64) (light float64)
	// White and Black are as in LevelSpec.
	White, Black float64
}

const (
	lightSide     = 8    // blocks along each side of a region
	mostClipped   = 5e-3 // of a region
	leastInLights = 3    // a light in its uncertainties
)

// MeasureLight gives the mean linear light of a region, as of a grey card:
//
//	light = Σ linear(code) / n
//
// The uncertainty is that of the mean of 8 × 8 blocks, by their scatter. It holds noise
// of any grain, and grows where the region is not even. Where rounding hides the noise,
// it holds the step from code to code over √12 as well.
//
// A region of fewer than 16 columns or rows, with more than 0.5 % of its samples clipped
// or crushed, or with light that is not finite is an error: the mean of clipped samples
// is not that of the light.
func MeasureLight[T Sample](frame Plane[T], spec LightSpec) (light Estimate, err error) {
	c := newChecker()
	part := cut(c, frame, spec.Region, 2*lightSide)
	ends := newEnds[T](c, spec.White, spec.Black)
	if err := c.Err(); err != nil {
		return Estimate{}, err
	}
	lights := plane.NewLights[T](spec.Linear, part.Width*part.Height)
	var sums [lightSide][lightSide]float64
	var codes, squares float64 // of the distance from the first code
	clipped, crushed := 0, 0
	first := float64(part.Pix[0])
	for y := range part.Height {
		row, step := part.Row(y)
		blocks := &sums[y*lightSide/part.Height]
		for i := range blocks {
			for x := blockEnd(i, part.Width); x < blockEnd(i+1, part.Width); x++ {
				v := row[x*step]
				l, code := lights.Of(v), float64(v)
				if !(math.Abs(l) <= math.MaxFloat32 && finite(v)) {
					return Estimate{}, notFinite(x+spec.Region.X, y+spec.Region.Y)
				}
				blocks[i] += l
				codes += code - first
				squares += (code - first) * (code - first)
				if code >= ends.white {
					clipped++
				}
				if code <= ends.black {
					crushed++
				}
			}
		}
	}
	n := float64(part.Width) * float64(part.Height)
	for _, end := range []struct {
		name    string
		samples int
	}{{"clipped", clipped}, {"crushed", crushed}} {
		if float64(end.samples) > mostClipped*n {
			c.Fault("region", quantity.Number(100*float64(end.samples)/n, "%")+" "+end.name, "must be at most 0.5 %%: the light of such samples is unknown")
		}
	}
	if err := c.Err(); err != nil {
		return Estimate{}, err
	}
	total := 0.0
	for _, row := range sums {
		for _, s := range row {
			total += s
		}
	}
	light.Value = total / n
	scatter := 0.0
	for j, row := range sums {
		h := blockEnd(j+1, part.Height) - blockEnd(j, part.Height)
		for i, s := range row {
			w := blockEnd(i+1, part.Width) - blockEnd(i, part.Width)
			d := s - light.Value*float64(w*h)
			scatter += d * d
		}
	}
	const blocks = lightSide * lightSide
	light.Uncertainty = math.Sqrt(scatter*blocks/(blocks-1)) / n
	if mean := codes / n; plane.FullScale[T]() > 1 && squares/n-mean*mean < 0.25 {
		code := math.Round(first + mean)
		low, high := lights.Of(T(max(code-1, 0))), lights.Of(T(min(code+1, plane.FullScale[T]())))
		light.Uncertainty = math.Hypot(light.Uncertainty, (high-low)/2/math.Sqrt(12))
	}
	return light, nil
}

// blockEnd is where block i of a side begins: x · blocks / length ≥ i from there on.
func blockEnd(i, length int) int { return (i*length + lightSide - 1) / lightSide }

// Stops compares two lights, as of a grey card with what it should be, or of one surface
// in two plates:
//
//	stops = log2(light / reference)
//
// Both must be in the same unit and independent. A light that is not more than 3 of its
// uncertainties above 0 is an error.
func Stops(light, reference Estimate) (stops Estimate, err error) {
	c := newChecker()
	for _, l := range []struct {
		field string
		Estimate
	}{{"light", light}, {"reference", reference}} {
		c.Number(l.field, l.Value, "", valid.Above(0.0, math.MaxFloat32))
		c.Number(l.field+": uncertainty", l.Uncertainty, "", valid.Closed(0.0, math.MaxFloat32))
		if c.OK() && l.Value <= leastInLights*l.Uncertainty {
			c.Fault(l.field, quantity.Number(l.Value, "")+" ± "+quantity.Number(l.Uncertainty, ""), "must be more than %d uncertainties", leastInLights)
		}
	}
	if err := c.Err(); err != nil {
		return Estimate{}, err
	}
	u := math.Hypot(light.Uncertainty/light.Value, reference.Uncertainty/reference.Value)
	return Estimate{Value: math.Log2(light.Value) - math.Log2(reference.Value), Uncertainty: u / math.Ln2}, nil
}

// Drift is how an exposure changes through a take.
type Drift struct {
	StopsPerMinute Estimate
	// Scatter is the standard deviation of a frame about the line, in stops.
	Scatter float64
	// Correlation is that of the scatter from one frame to the next. Clouds and flicker
	// make it large, and then the uncertainty as well.
	Correlation float64
}

const (
	fewestFrames      = 24   // and groups of frames
	fewestIndependent = 8    // of a wander
	leastScatter      = 1e-9 // stops; less is rounding
)

// MeasureDrift fits a straight line to the exposures of the frames of a take, in stops,
// as Stops gives them. All frames count the same. Where one part of a scene is followed
// through the take, its own unevenness is no error of the drift: leave the uncertainties 0,
// and the scatter between frames tells.
//
// The uncertainty is the larger of two: what those of the exposures leave, and what
// the scatter s about the line shows, with the correlation ρ of neighbours:
//
//	u² = s² / Σ (t − mean t)² · n/nₑ     nₑ = n (1 − ρ)/(1 + ρ)
//
// The second is that of the frames, or of the means of 2, 4, 8 … of them, whichever is most:
// noise of single frames does not hide a slow wander. It is widened, by Student's t, so that
// three uncertainties hold as much as of a normal distribution.
//
// Fewer than 24 frames and times that do not rise are errors. So is a wander that cannot be
// told from a drift: a scatter beyond the uncertainties with fewer than 8 independent parts
// nₑ.
// Light that walks at random without end still has an answer in one take of 20 or less, and
// half of these are wrong.
func MeasureDrift(times []unit.Time, stops []Estimate) (Drift, error) {
	c := newChecker()
	c.Int("frames", len(times), "", fewestFrames, 1<<24)
	if len(stops) != len(times) {
		c.Fault("stops", strconv.Itoa(len(stops)), "must be as many as the times, %d", len(times))
	}
	for i := range min(len(times), len(stops)) {
		c.Time("time", times[i], valid.Closed[unit.Time](-1e9, 1e9))
		c.Number("stops", stops[i].Value, "", valid.Closed(-1000.0, 1000))
		c.Number("stops: uncertainty", stops[i].Uncertainty, "", valid.Closed(0.0, 1000))
		if c.OK() && i > 0 && times[i] <= times[i-1] {
			c.Fault("time", quantity.Time(times[i]), "must be after the one before, %s", quantity.Time(times[i-1]))
		}
		if !c.OK() {
			break
		}
	}
	if err := c.Err(); err != nil {
		return Drift{}, err
	}
	if span := times[len(times)-1] - times[0]; span < 1e-3 {
		return Drift{}, newChecker().Refuse("times", quantity.Time(span), "must span at least 1 ms")
	}
	n := float64(len(times))
	var mean, level float64
	for i, t := range times {
		mean += float64(t-times[0]) / 60 / n
		level += stops[i].Value / n
	}
	minutes := func(i int) float64 { return float64(times[i]-times[0])/60 - mean }
	var xx, xy, known, uncertain float64
	for i, s := range stops {
		x := minutes(i)
		xx += x * x
		xy += x * (s.Value - level)
		known += x * x * s.Uncertainty * s.Uncertainty
		uncertain += s.Uncertainty * s.Uncertainty / n
	}
	var d Drift
	d.StopsPerMinute.Value = xy / xx
	rest := func(i int) float64 { return stops[i].Value - level - d.StopsPerMinute.Value*minutes(i) }
	u := math.Sqrt(known) / xx
	independent := n
	for size := 1; size == 1 || len(stops)/size >= fewestFrames; size *= 2 {
		count := len(stops) / size
		var squares, neighbours, last, wide float64
		for g := range count {
			r, x := 0.0, 0.0
			for i := g * size; i < (g+1)*size; i++ {
				r += rest(i) / float64(size)
				x += minutes(i) / float64(size)
			}
			squares += r * r
			neighbours += r * last
			wide += x * x
			last = r
		}
		groups := float64(count)
		scatter, correlation := math.Sqrt(squares/(groups-2)), 0.0
		if squares > 0 {
			// What the fit of a line leaves is less correlated, by some (2 + 4ρ)/n.
			correlation = (neighbours/squares + 2/groups) / (1 - 4/groups)
		}
		if size == 1 {
			d.Scatter, d.Correlation = scatter, correlation
		}
		// It is not known either: one deviation more.
		correlation += math.Sqrt(max(0, 1-correlation*correlation) / groups)
		correlation = min(max(0, correlation), 1)
		parts := groups * (1 - correlation) / (1 + correlation)
		independent = min(independent, parts)
		parts = max(parts, fewestIndependent)
		u = max(u, scatter/math.Sqrt(wide)*math.Sqrt(groups/parts)*student(parts-2))
	}
	if independent < fewestIndependent && d.Scatter > max(1.25*math.Sqrt(uncertain), leastScatter) {
		return Drift{}, c.Refuse("stops", quantity.Number(independent, "independent parts"), "must be at least %d: a wander as slow as the take cannot be told from a drift; take longer", fewestIndependent)
	}
	d.StopsPerMinute.Uncertainty = u
	return d, nil
}
