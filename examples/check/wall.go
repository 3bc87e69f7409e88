package main

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"example.com/platewright/examples/internal/program"
	"example.com/platewright/lens/transfer"
	"example.com/platewright/sensor/plate"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/banding"
	"example.com/platewright/wall"
	"example.com/platewright/wall/alias"
	"example.com/platewright/wall/pattern"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// screen is the wall of the scenario.
type screen struct {
	spec  wallSpec
	wall  wall.Wall
	scene alias.Scene
}

func newScreen(s wallSpec) (*screen, error) {
	w, err := wall.New(wall.Spec{
		PanelWidth: unit.Length(s.PanelWidthMm) * mm, PanelHeight: unit.Length(s.PanelHeightMm) * mm,
		PanelPixelsX: s.PanelColumns, PanelPixelsY: s.PanelRows, Columns: s.Columns, Rows: s.Rows,
		Radius: unit.Length(s.RadiusM), Position: vec(s.CentreM), Heading: unit.Angle(s.HeadingDeg) * deg,
	})
	if err != nil {
		return nil, program.Prefix("wall", err)
	}
	const harmonics = 8
	scene, err := alias.NewScene(alias.SceneSpec{
		Surfaces: []alias.Surface{{Wall: w, Emitters: alias.Emitters{Width: s.LitSide, Height: s.LitSide}}}, Order: harmonics,
	})
	if err != nil {
		return nil, program.Prefix("wall", err)
	}
	return &screen{s, w, scene}, nil
}

// grid is the aliases of the wall's pixel grid at a place of the frame, as a perfect lens
// would show them. predicted is the contrast that the scenario's lens and focus leave of
// each.
func (s *screen) grid(c *camera, x, y float64) (all []alias.Alias, predicted []float64) {
	if s == nil || c.view == nil {
		return nil, nil
	}
	pose := c.view.Spec().Pose
	shot := alias.Shot{Eye: pose.Position, Camera: *c.view, Photosites: alias.Photosites{Width: 1}}
	sharp, _, err := s.scene.Aliases(shot, x, y)
	if err != nil {
		return nil, nil
	}
	optics, err := transfer.NewSystem(transfer.SystemSpec{Lens: *c.lens, Wavelength: 555 * unit.Nano * unit.Metre})
	axis := pose.ToStage(r3.Vec{Z: -1})
	pitch := float64(c.spec.Format.pitch() / mm)
	dir, _ := c.view.Unproject(x, y)
	u, v, ok := s.wall.Pixel(pose.Position, dir)
	at, _ := s.wall.Point(u, v)
	for _, one := range sharp {
		if one.Contrast < 0.003 {
			break // by falling contrast
		}
		left := one.Contrast
		if err == nil && ok {
			depth := unit.Length(r3.Dot(r3.Sub(at, pose.Position), axis))
			if otf, known := optics.OTF(r2.Norm(one.Source)/pitch, 0, unit.Length(c.spec.Lens.FocusM), depth); known {
				left *= math.Abs(otf)
			}
		}
		all, predicted = append(all, one), append(predicted, left)
	}
	return all, predicted
}

// bandsOf are the systems of bands that a light leaves in a camera at an exposure that is
// not clean, and how deep bands are at the exposure of the scenario.
func (c *camera) bandsOf(light banding.Wall, view banding.View, rate timing.Rate) (bands []banding.Band, depth float64, err error) {
	readout, err := c.readout(rate)
	if err != nil {
		return nil, 0, err
	}
	p, err := banding.New(banding.Spec{Wall: light, View: view, Camera: readout})
	if err != nil {
		return nil, 0, err
	}
	depth = p.Worst().Depth
	// Spacing and drift do not depend on the exposure; a third of a period shows all.
	if readout.Exposure, err = light.Rate.Period().Scale(1, 3); err != nil {
		return nil, 0, err
	}
	if p, err = banding.New(banding.Spec{Wall: light, View: view, Camera: readout}); err != nil {
		return nil, 0, err
	}
	bands, _ = p.Bands(0)
	return bands, depth, nil
}

// readout is when the camera exposes its rows, as the scenario says.
func (c *camera) readout(rate timing.Rate) (timing.ReadoutSpec, error) {
	angle, err := timing.ParseShutterAngle(fmt.Sprintf("%g", c.spec.ShutterDeg))
	if err != nil {
		return timing.ReadoutSpec{}, err
	}
	exposure, err := angle.Exposure(rate)
	if err != nil {
		return timing.ReadoutSpec{}, err
	}
	row, err := timing.NearestSeconds(unit.Time(c.spec.RowTimeUs)*unit.Micro, 1e12)
	return timing.ReadoutSpec{Rate: rate, Exposure: exposure, Phase: timing.Leading, Rows: c.Shape.Height, RowTime: row}, err
}

// mainsLight is the light of lamps on mains: it swings like a sine, all the way to dark.
func mainsLight(mains timing.Rate) (banding.Wall, error) {
	rate, err := timing.MainsFlicker(mains)
	if err != nil {
		return banding.Wall{}, err
	}
	levels := make([]float64, 64)
	for i := range levels {
		levels[i] = 1 - math.Cos(2*math.Pi*(float64(i)+0.5)/float64(len(levels)))
	}
	wave, err := banding.Sampled(levels)
	return banding.Wall{Rate: rate, Greys: []banding.Waveform{wave}}, err
}

// lampBands answers whether lamps leave bands.
func (c *camera) lampBands(a *answers, limit float64, mains, rate timing.Rate) {
	f := c.ask(asksBands, "lamps")
	light, err := mainsLight(mains)
	var bands []banding.Band
	var depth float64
	if err == nil {
		bands, depth, err = c.bandsOf(light, banding.View{}, rate)
	}
	switch {
	case err != nil:
		a.add(refused(f, trimmed(err)))
		return
	case len(bands) == 0:
		a.add(refused(f, "the readout is too fast for bands"))
		return
	}
	f.Against = fmt.Sprintf("lamps at %s Hz, bands %.2f rows apart, %s at the shutter of the scenario", light.Rate, bands[0].Spacing, deep(depth))
	f.Predicted = ptr(100 * depth)
	c.moving(a, f, bands[0], limit, rate)
}

// deep says how deep bands are.
func deep(depth float64) string {
	if depth < 1e-6 {
		return "none"
	}
	return fmt.Sprintf("at most %.2g %% deep", 100*depth)
}

// moving measures bands that move over the scene.
func (c *camera) moving(a *answers, f finding, band banding.Band, limit float64, rate timing.Rate) {
	rows := c.consecutive()
	m, err := banding.MeasureMoving(rows, band, rate)
	if err != nil {
		a.add(refused(f, trimmed(err)))
		return
	}
	f.draw.Bands = &bandMarks{float64(c.found.firstRow) + m.Brightest, band.Spacing}
	a.add(judge(f, plate.Estimate{Value: 100 * m.Amplitude, Uncertainty: 100 * m.AmplitudeError / 2}, "%", limit))
}

// consecutive are the rows of the longest run of frames in which none is missing.
func (c *camera) consecutive() [][]float64 {
	var best [][]float64
	for first := 0; first < len(c.found.rows); {
		last := first + 1
		for last < len(c.found.rows) && c.found.rowsAt[last] == c.found.rowsAt[last-1]+1 {
			last++
		}
		if last-first > len(best) {
			best = c.found.rows[first:last]
		}
		first = last
	}
	return best
}

// wallBands answers whether the wall's refresh leaves bands.
func (c *camera) wallBands(a *answers, s *screen, limit float64, rate timing.Rate) (found *banding.Measurement) {
	f := c.ask(asksBands, "wall")
	pulse, err := banding.Pulse(s.spec.Duty)
	if err != nil {
		a.add(refused(f, trimmed(err)))
		return nil
	}
	light := banding.Wall{Rate: s.spec.Refresh, Greys: []banding.Waveform{pulse}}
	var view banding.View
	if s.spec.ScanGroups > 1 {
		if light.Turns, err = banding.InOrder(s.spec.ScanGroups); err == nil {
			view, err = s.rows(c)
		}
	}
	var bands []banding.Band
	var depth float64
	if err == nil {
		bands, depth, err = c.bandsOf(light, view, rate)
	}
	if err != nil {
		a.add(refused(f, trimmed(err)))
		return nil
	}
	f.Predicted = ptr(100 * depth)
	f.Against = fmt.Sprintf("refresh at %s Hz, %s at the shutter of the scenario", s.spec.Refresh, deep(depth))
	rows := steadied(c.consecutive(), s.spec.Refresh, rate)
	var all []banding.Measurement
	var why error
	for _, r := range rows {
		m, err := banding.MeasureBands(r)
		if err != nil {
			why = err
			continue
		}
		all = append(all, m)
	}
	if len(all) == 0 {
		a.add(refused(f, trimmed(why)))
		return nil
	}
	slices.SortFunc(all, func(x, y banding.Measurement) int { return cmp.Compare(x.Depth, y.Depth) })
	// One frame in a thousand shows bands by chance, so the middle one is taken.
	m := all[len(all)/2]
	if m.Depth > 0 {
		f.draw.Bands = &bandMarks{float64(c.found.firstRow) + brightestRow(rows[0], m.Spacing), m.Spacing}
		nearest := 0.0
		for _, b := range bands {
			if math.Abs(b.Spacing-m.Spacing) < math.Abs(nearest-m.Spacing) {
				nearest = b.Spacing
			}
		}
		f.Against += fmt.Sprintf(", bands %.2f rows apart", nearest)
		f.Why = fmt.Sprintf("bands %.2f ± %.2f rows apart", m.Spacing, m.SpacingError/2)
		if math.Abs(nearest-m.Spacing) > 2*m.SpacingError+0.01*m.Spacing {
			f.Why += ", which the wall's refresh does not explain"
		}
	}
	a.add(judge(f, plate.Estimate{Value: 100 * m.Depth, Uncertainty: 100 * m.DepthError / 2}, "%", limit))
	return &m
}

// rows says how the wall's rows lie on those of the camera, in the middle of the frame.
func (s *screen) rows(c *camera) (banding.View, error) {
	if c.view == nil {
		return banding.View{}, errors.New("lens and place are missing: the rows of the wall are not known")
	}
	eye := c.view.Spec().Pose.Position
	dir, ok := c.view.Unproject(float64(c.Shape.Width)/2, float64(c.Shape.Height)/2)
	if !ok {
		return banding.View{}, errors.New("the middle of the frame is outside the lens's picture")
	}
	x, y, ok := s.wall.Pixel(eye, dir)
	if !ok {
		return banding.View{}, errors.New("the middle of the frame does not show the wall")
	}
	seen, err := s.wall.View(eye)
	if err != nil {
		return banding.View{}, err
	}
	grid, why := seen.ImageGrid(*c.view, x, y)
	if why != wall.Seen || grid.Down.Y == 0 {
		return banding.View{}, fmt.Errorf("the pixel grid of the wall: %s", why)
	}
	return banding.View{WallRowsPerCameraRow: 1 / grid.Down.Y}, nil
}

// steadied divides the rows of each frame by their mean over the frames in which the
// bands come round. If they stand still, it is the rows as they are, and their mean alone:
// the wall must then show an even field.
func steadied(frames [][]float64, light, rate timing.Rate) [][]float64 {
	_, den := light.Per(rate)
	cycle := int(min(den, 64))
	if cycle == 1 {
		return [][]float64{means(frames)}
	}
	if len(frames) < cycle {
		return frames
	}
	var out [][]float64
	for first := 0; first+cycle <= len(frames) && len(out) < 32; first += cycle {
		mean := means(frames[first : first+cycle])
		for _, f := range frames[first : first+cycle] {
			ratio := make([]float64, len(f))
			for y, v := range f {
				ratio[y] = v / mean[y]
			}
			out = append(out, ratio)
		}
	}
	return out
}

// means are those of each row over some frames.
func means(frames [][]float64) []float64 {
	out := make([]float64, len(frames[0]))
	for _, f := range frames {
		for y, v := range f {
			out[y] += v / float64(len(frames))
		}
	}
	return out
}

// brightestRow is the first row in the middle of a bright band.
func brightestRow(rows []float64, spacing float64) float64 {
	var re, im float64
	for y, v := range rows {
		sin, cos := math.Sincos(2 * math.Pi * float64(y) / spacing)
		re, im = re+v*cos, im+v*sin
	}
	phase := math.Atan2(im, re) / (2 * math.Pi)
	return (phase - math.Floor(phase)) * spacing
}

// patterns answers whether the wall's grid, or anything else, leaves a pattern.
func (c *camera) patterns(a *answers, s *screen, bands *banding.Measurement, limit *float64) {
	f := c.ask(asksPatterns, "pattern")
	f.Channel = c.channel(c.Shape.Channels / 2)
	if c.found.patterns == nil {
		a.add(refused(f, trimmed(c.found.patternWhy)))
		return
	}
	const most = 4
	listed := 0
	for i, p := range c.found.patterns.Found {
		if bands != nil && bands.Depth > 0 && isHarmonic(p, bands) {
			continue // answered with the bands
		}
		if listed == most {
			break
		}
		listed++
		f := f
		f.Where = &region{p.Region.X, p.Region.Y, p.Region.Width, p.Region.Height}
		f.Why = fmt.Sprintf("%s every %.3f ± %.3f px", stripesOf(p), p.Period().Value, p.Period().Uncertainty)
		f.draw.Pattern = &patternMark{*f.Where, p.Frequency.X, p.Frequency.Y, c.found.insets[i]}
		v := plate.Estimate{Value: 100 * p.Contrast.Value, Uncertainty: 100 * p.Contrast.Uncertainty}
		explained := false
		grid, left := s.grid(c, float64(f.Where.X)+float64(f.Where.Width)/2, float64(f.Where.Y)+float64(f.Where.Height)/2)
		for k, g := range grid {
			if isNear(p, g.Frequency) || isNear(p, r2.Scale(-1, g.Frequency)) {
				f.Against = fmt.Sprintf("harmonic (%d, %d) of the wall's grid, %s; the lens and focus of the scenario leave %.2g %%", g.Harmonic[0], g.Harmonic[1], g.Kind, 100*left[k])
				f.Predicted, explained = ptr(100*left[k]), true
				break
			}
		}
		if limit == nil || !explained && !c.isWitness() {
			f.Value, f.Uncertainty, f.Unit, f.Verdict = ptr(v.Value), ptr(v.Uncertainty), "%", noted
			f.Confidence = min(1-p.FalseAlarm, mostSure)
			f.Why = joined(f.Why, "nothing predicts it: it may be in the scene, as railings are")
			a.add(f)
			continue
		}
		if !explained {
			f.Why = joined(f.Why, "nothing predicts it")
		}
		a.add(judge(f, v, "%", *limit))
	}
	if listed == 0 {
		f.Why = "no periodic pattern stands out"
		if limit == nil {
			f.Verdict, f.Confidence = noted, mostSure
			a.add(f)
			return
		}
		// What is not listed is below half the limit, or hidden in the scene.
		a.add(judge(f, plate.Estimate{Value: 0, Uncertainty: *limit / 2 / sure}, "%", *limit))
	}
}

// stripesOf says how the stripes of a pattern lie.
func stripesOf(p pattern.Pattern) string {
	direction, _ := p.Direction()
	switch lean := math.Abs(float64(direction / deg)); {
	case lean < 20:
		return "upright stripes"
	case lean > 70:
		return "level stripes"
	}
	return "slanting stripes"
}

// isNear reports whether a pattern has a frequency, to a bin of its tiles or three
// uncertainties.
func isNear(p pattern.Pattern, f r2.Vec) bool {
	d := r2.Sub(p.Frequency, f)
	return math.Abs(d.X) <= max(1./128, 3*p.Spread.X) && math.Abs(d.Y) <= max(1./128, 3*p.Spread.Y)
}

// isHarmonic reports whether a pattern is the bands, or a harmonic of theirs.
func isHarmonic(p pattern.Pattern, bands *banding.Measurement) bool {
	for h := 1.; h <= 4; h++ {
		for _, sign := range []float64{1, -1} {
			if isNear(p, r2.Vec{Y: sign * h / bands.Spacing}) {
				return true
			}
		}
	}
	return false
}

// even answers how even the wall is.
func (c *camera) even(a *answers, limit float64) {
	f := c.ask(asksEvenness, "evenness")
	u := c.found.evenness
	if u == nil {
		a.add(refused(f, trimmed(c.found.evennessWhy)))
		return
	}
	k := c.Shape.Channels / 2
	f.Channel = c.channel(k)
	total, n := 0.0, 0
	for _, row := range u.Regions {
		for _, one := range row {
			total, n = total+one.Mean[k].Value, n+1
		}
	}
	mean := total / float64(n)
	switch {
	case n < 2:
		a.add(refused(f, fmt.Sprintf("frames of %s hold one region, and it takes two", c.Shape.size())))
		return
	case !(mean > 0):
		a.add(refused(f, "frames without light"))
		return
	}
	var worst plate.Estimate
	for _, row := range u.Regions {
		for _, one := range row {
			v := plate.Estimate{Value: 100 * (one.Mean[k].Value/mean - 1), Uncertainty: 100 * one.Mean[k].Uncertainty / mean}
			if f.Where == nil || math.Abs(v.Value) > math.Abs(worst.Value) {
				worst = v
				f.Where = &region{one.Region.X, one.Region.Y, one.Region.Width, one.Region.Height}
			}
		}
	}
	f.Why = "falloff of the lens included"
	f = judge(f, worst, "%", limit)
	if f.Verdict == over {
		f.draw.Areas = []region{*f.Where}
	}
	a.add(f)
}
