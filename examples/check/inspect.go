package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"example.com/platewright/examples/internal/program"
	"example.com/platewright/internal/parallel"
	"example.com/platewright/sync/banding"
	"example.com/platewright/sync/trace"
	"gonum.org/v1/gonum/spatial/r3"
)

// inspect reads the folders, measures all that is asked, and judges it.
func inspect(ctx context.Context, opts options, stderr io.Writer) (*result, error) {
	var s *scenario
	var wall *screen
	if opts.scenario != "" {
		var err error
		if s, err = readScenario(ctx, opts.scenario); err != nil {
			return nil, program.Input(err)
		}
		if s.Wall != nil {
			if wall, err = newScreen(*s.Wall); err != nil {
				return nil, program.Input(program.Prefix(opts.scenario, err))
			}
		}
	}
	cameras, err := findCameras(ctx, opts.folders, s)
	if err != nil {
		return nil, err
	}
	p := plan{}
	if s != nil {
		p.rate, p.limits = &s.Rate, s.Limits
	}
	p.moments = moments(cameras)
	if err := measureAll(ctx, cameras, p, stderr); err != nil {
		return nil, err
	}
	readable := 0
	for _, c := range cameras {
		readable += len(c.found.index)
	}
	if readable == 0 {
		first := cameras[0].Bad[0]
		return nil, program.Input(fmt.Errorf("%s: %s; no frame of any folder can be measured", cameras[0].Files[first.Index].Path, first.Why))
	}
	overlaps, err := comparePlates(ctx, cameras, p, stderr)
	if err != nil {
		return nil, err
	}
	return conclude(s, wall, cameras, overlaps), ctx.Err()
}

// findCameras lists the frames of each folder. A folder without frames, but with folders
// in it that have some, stands for these: links to folders too, and none whose name begins
// with a point.
func findCameras(ctx context.Context, folders []string, s *scenario) ([]*camera, error) {
	var cameras []*camera
	var faults []error
	add := func(folder string, files []frameFile) {
		c := &camera{take: take{Folder: folder, Files: files}}
		c.Name = filepath.Base(filepath.Clean(folder))
		if abs, err := filepath.Abs(folder); err == nil {
			c.Name = filepath.Base(abs) // of "." as well
		}
		for _, other := range cameras {
			if other.Name == c.Name {
				faults = append(faults, fmt.Errorf("%s and %s: two cameras named %q", other.Folder, folder, c.Name))
			}
		}
		cameras = append(cameras, c)
	}
	for _, folder := range folders {
		files, err := listFrames(ctx, folder)
		if err == nil {
			add(folder, files)
			continue
		}
		entries, _ := os.ReadDir(folder)
		within := 0
		for _, e := range entries {
			inner := filepath.Join(folder, e.Name())
			if info, err := os.Stat(inner); err == nil && info.IsDir() && e.Name()[0] != '.' {
				if files, err := listFrames(ctx, inner); err == nil {
					add(inner, files)
					within++
				}
			}
		}
		if within == 0 {
			faults = append(faults, err)
		}
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if err := errors.Join(faults...); err != nil {
		return nil, program.Input(err)
	}
	if s != nil { // in its order
		slices.SortStableFunc(cameras, func(a, b *camera) int { return cmp.Compare(s.place(a.Name), s.place(b.Name)) })
	}
	for _, c := range cameras {
		c.spec = s.camera(c.Name)
		if err := c.survey(ctx); err != nil {
			return nil, err
		}
		if c.Shape == (shape{}) {
			continue // no file of it is a frame
		}
		if err := c.prepare(ctx); err != nil {
			return nil, program.Input(err)
		}
	}
	return cameras, nil
}

// place is the index of a camera in the scenario; others come last.
func (s *scenario) place(name string) int {
	i := slices.IndexFunc(s.Cameras, func(c cameraSpec) bool { return c.Name == name })
	if i < 0 {
		return len(s.Cameras)
	}
	return i
}

// leastSide is the fewest columns and rows in which package trace tells repeated frames.
const leastSide = 16

// survey reads the shape of every file. That of most files is the shape of the take. It
// also finds when each frame was recorded, from the numbers in the names.
func (c *camera) survey(ctx context.Context) error {
	shapes := make([]shape, len(c.Files))
	count := map[shape]int{}
	for i, f := range c.Files {
		s, err := readShape(ctx, f.Path)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			c.Bad = append(c.Bad, badFrame{i, strings.TrimPrefix(err.Error(), f.Path+": ")})
			continue
		}
		if min(s.Width, s.Height) < leastSide {
			c.Bad = append(c.Bad, badFrame{i, fmt.Sprintf("is %s: must be at least %d px each way", s.size(), leastSide)})
			continue
		}
		shapes[i] = s
		if count[s]++; count[s] > count[c.Shape] {
			c.Shape = s
		}
	}
	for i, s := range shapes {
		if s != (shape{}) && s != c.Shape {
			c.Bad = append(c.Bad, badFrame{i, fmt.Sprintf("is %s; the others are %s", s, c.Shape)})
		}
	}
	labels, numbered := c.labels()
	last := len(c.Files) - 1
	numbered = numbered && labels[last]-labels[0] <= int64(4*len(c.Files)+16)
	if jumps, err := trace.FindJumps(labels); err == nil && !countFrames(jumps, len(labels)) {
		numbered = false
	}
	for i := range c.Files {
		at := i
		if numbered {
			at = int(labels[i] - labels[0])
		}
		c.at = append(c.at, at)
	}
	return nil
}

// moments are the frames of which small versions are kept for comparing plates, spread
// over what all cameras recorded: no more than fit into mostKept.
func moments(cameras []*camera) []int {
	shortest, n, bytes := 0, 0, 0
	for _, c := range cameras {
		if c.isPlate() && c.Shape != (shape{}) {
			if last := c.at[len(c.at)-1] + 1; n == 0 || last < shortest {
				shortest = last
			}
			n++
			bytes += c.Shape.Width / c.factor() * (c.Shape.Height / c.factor()) * c.Shape.Channels * 4
		}
	}
	if n < 2 {
		return nil
	}
	const mostKept, most = 256 << 20, 24
	return spread(shortest, min(max(mostKept/max(1, bytes), 1), most))
}

// measureAll walks over the frames of all cameras, as many at a time as there are
// processors: each has one frame in memory.
func measureAll(ctx context.Context, cameras []*camera, p plan, stderr io.Writer) error {
	total := 0
	for _, c := range cameras {
		total += len(c.Files)
	}
	var one sync.Mutex
	done, next := 0, 0
	progress := func() {
		one.Lock()
		defer one.Unlock()
		if percent := 100 * done / total; percent >= next {
			fmt.Fprintf(stderr, "measuring %s of %s: %d %%\n", plural(total, "frame"), plural(len(cameras), "camera"), percent/10*10)
			next = percent/10*10 + 10
		}
		done++
	}
	failed := make([]error, len(cameras))
	desks := make([]desk, parallel.Workers())
	parallel.For(len(desks), len(cameras), func(worker, i int) {
		if cameras[i].Shape != (shape{}) && ctx.Err() == nil {
			failed[i] = cameras[i].measure(ctx, &desks[worker], p, progress)
		}
	})
	if err := ctx.Err(); err != nil {
		return err
	}
	return errors.Join(failed...)
}

// steadiest are the moments at which the light of the plates changes least from frame to
// frame. Rows of two plates that show the same direction are not read at the same time, so
// a light that changes would be taken for a difference of the cameras.
func steadiest(cameras []*camera, moments []int) []int {
	const most = 8
	change := map[int]float64{}
	for _, c := range cameras {
		light := c.brightness()
		for _, at := range moments {
			before, after := max(0, at-1), min(len(light)-1, at+1)
			if d := math.Abs(light[after]-light[before]) / (light[before] + light[after]); d > change[at] {
				change[at] = d
			}
		}
	}
	some := slices.Clone(moments)
	slices.SortStableFunc(some, func(a, b int) int { return cmp.Compare(change[a], change[b]) })
	some = some[:min(most, len(some))]
	slices.Sort(some)
	return some
}

// comparePlates compares all pairs of plates.
func comparePlates(ctx context.Context, cameras []*camera, p plan, stderr io.Writer) ([]overlap, error) {
	some := comparable(cameras)
	asked := p.limits.ExposureStops != nil || p.limits.TintStops != nil || p.limits.SeamPx != nil
	if len(some) < 2 || !asked {
		return nil, nil
	}
	p.moments = steadiest(some, p.moments)
	pairs := neighbours(some)
	fmt.Fprintf(stderr, "comparing %d pairs of plates\n", len(pairs))
	overlaps := make([]overlap, len(pairs))
	err := parallel.Until(ctx, len(pairs), func(i int) {
		a, b := pairs[i][0], pairs[i][1]
		overlaps[i] = compare(ctx, some[a], some[b], a, b, p)
	})
	return overlaps, err
}

// neighbours are the pairs of plates that are compared: each with the three whose axes are
// nearest to its own, and as many more as join all.
func neighbours(cameras []*camera) (pairs [][2]int) {
	const nearest = 3
	angle := func(p [2]int) float64 {
		a, b := cameras[p[0]].axis(), cameras[p[1]].axis()
		return math.Atan2(r3.Norm(r3.Cross(a, b)), r3.Dot(a, b))
	}
	var all [][2]int
	for i := range cameras {
		for k := i + 1; k < len(cameras); k++ {
			all = append(all, [2]int{i, k})
		}
	}
	slices.SortStableFunc(all, func(p, q [2]int) int { return cmp.Compare(angle(p), angle(q)) })
	count, group := make([]int, len(cameras)), make([]int, len(cameras))
	for i := range group {
		group[i] = i
	}
	for _, p := range all {
		a, b := group[p[0]], group[p[1]]
		if count[p[0]] >= nearest && count[p[1]] >= nearest && a == b {
			continue
		}
		count[p[0]]++
		count[p[1]]++
		for i, g := range group {
			if g == b {
				group[i] = a
			}
		}
		pairs = append(pairs, p)
	}
	return pairs
}

// comparable are the plates whose lens and place are known: those in colour, or those in
// grey if they are more.
func comparable(cameras []*camera) []*camera {
	of := map[int][]*camera{} // by channels
	for _, c := range plates(cameras) {
		if c.view != nil {
			of[c.Shape.Channels] = append(of[c.Shape.Channels], c)
		}
	}
	if len(of[1]) > len(of[3]) {
		return of[1]
	}
	return of[3]
}

// conclude answers all questions.
func conclude(s *scenario, wall *screen, cameras []*camera, overlaps []overlap) *result {
	r := &result{Name: "No scenario: nothing was predicted"}
	if s != nil {
		r.Name = s.Name
	}
	a := new(answers)
	for _, c := range cameras {
		r.takes = append(r.takes, &c.take)
		r.Cameras = append(r.Cameras, answer{c.Name, c.Folder, len(c.found.index), len(c.Bad), c.Shape.Width, c.Shape.Height, c.Shape.kind()})
		if s != nil && c.spec == nil {
			f := c.ask(asksFrames, "camera")
			f.Verdict, f.Why = notAsked, "the scenario has no camera of that name"
			a.add(f)
		}
		c.frames(a)
		if len(c.found.index) == 0 {
			continue
		}
		var limits limitsSpec
		if s != nil {
			limits = s.Limits
		}
		c.clipping(a, limits)
		if !c.isWitness() {
			c.repeats(a)
		}
		if s == nil || c.spec == nil {
			if c.found.patterns != nil {
				c.patterns(a, nil, nil, nil)
			}
			continue
		}
		c.predicted(a, s, wall)
		if caution := c.flashing(a); caution != "" {
			r.Caution = caution
		}
	}
	if s != nil {
		ofAll(a, s, cameras, overlaps)
		for _, spec := range s.Cameras {
			if !slices.ContainsFunc(cameras, func(c *camera) bool { return c.Name == spec.Name }) {
				f := finding{Question: asksFrames, What: "camera", Camera: spec.Name, Verdict: notAsked, Why: "no folder of that name"}
				a.add(f)
			}
		}
	}
	missing(a, s)
	slices.SortStableFunc(a.all, func(x, y finding) int { return cmp.Compare(x.Question, y.Question) })
	r.Findings = a.all
	return r
}

// predicted answers what the scenario asks of one camera.
func (c *camera) predicted(a *answers, s *scenario, wall *screen) {
	limits := s.Limits
	needs := func(q question, what, lacking string) {
		f := c.ask(q, what)
		f.Verdict, f.Why = notAsked, lacking+" is missing in the scenario"
		a.add(f)
	}
	if limits.DriftStops != nil && c.isPlate() {
		c.drift(a, *limits.DriftStops, s.Rate)
	}
	if limits.NoiseRatio != nil {
		if c.noise == nil {
			needs(asksNoise, "noise", "photosite")
		} else {
			c.noisy(a, *limits.NoiseRatio)
		}
	}
	if limits.VeilPercent != nil && c.isPlate() {
		c.veil(a, *limits.VeilPercent)
	}
	if limits.Defects != nil {
		c.defective(a, *limits.Defects)
	}
	if limits.ShakePx != nil && c.isPlate() {
		c.shake(a, *limits.ShakePx, s.Rate)
	}
	var bands *banding.Measurement
	if limits.BandPercent != nil {
		switch {
		case c.spec.RowTimeUs == 0:
			needs(asksBands, "bands", "row_time_us, which is 0,")
		case c.isWitness():
			bands = c.wallBands(a, wall, *limits.BandPercent, s.Rate)
		case s.Mains == nil:
			needs(asksBands, "lamps", "mains")
		default:
			c.lampBands(a, *limits.BandPercent, *s.Mains, s.Rate)
		}
	}
	if c.isWitness() {
		if limits.PatternPercent != nil {
			c.patterns(a, wall, bands, limits.PatternPercent)
		}
		if limits.EvennessPercent != nil {
			c.even(a, *limits.EvennessPercent)
		}
	}
}

// ofAll answers what takes several cameras.
func ofAll(a *answers, s *scenario, cameras []*camera, overlaps []overlap) {
	limits, some := s.Limits, comparable(cameras)
	lack := func(q question, what, why string) {
		a.add(finding{Question: q, What: what, Verdict: notAsked, Why: why})
	}
	exposure, seam := limits.ExposureStops != nil || limits.TintStops != nil, limits.SeamPx != nil
	if len(some) < 2 {
		why := "fewer than two plate cameras with lens and place"
		if exposure {
			lack(asksExposure, "exposure", why)
		}
		if seam {
			lack(asksSeams, "seam", why)
		}
	} else {
		for _, c := range plates(cameras) {
			if (exposure || seam) && !slices.Contains(some, c) {
				f := c.ask(asksExposure, "against the others")
				f.Verdict, f.Why = notAsked, "lens or place is missing in the scenario"
				if c.view != nil {
					f.Why = "one is grey and the others are in colour, or the other way round"
				}
				a.add(f)
			}
		}
		if exposure {
			exposures(a, some, overlaps, limits)
		}
		if seam {
			seams(a, overlaps, *limits.SeamPx)
		}
	}
	all := plates(cameras)
	for _, q := range []struct {
		what  string
		limit *float64
		ask   func(*answers, []*camera)
	}{
		{"offset", limits.OffsetMs, func(a *answers, all []*camera) { offsets(a, all, *limits.OffsetMs, s.Rate) }},
		{"drift", limits.ClockPpm, func(a *answers, all []*camera) { clocks(a, all, *limits.ClockPpm, s.Rate) }},
	} {
		switch {
		case q.limit == nil:
		case len(all) < 2:
			lack(asksOffset, q.what, "fewer than two plate cameras")
		default:
			q.ask(a, all)
		}
	}
}

const noLimit = "no limit in the scenario: "

// missing lists the questions that were not asked since there is no limit.
func missing(a *answers, s *scenario) {
	if s == nil {
		for _, q := range []question{asksExposure, asksNoise, asksSeams, asksOffset, asksBands, asksFlashes} {
			a.add(finding{Question: q, What: q.String(), Verdict: notAsked, Why: "there is no scenario"})
		}
		return
	}
	l := s.Limits
	hasWall := s.Wall != nil
	for _, one := range []struct {
		q     question
		what  string
		field string
		given bool
		bears bool // on what the scenario has
	}{
		{asksExposure, "exposure", "exposure_stops", l.ExposureStops != nil, true},
		{asksExposure, "tint", "tint_stops", l.TintStops != nil, true},
		{asksExposure, "drift", "drift_stops_per_min", l.DriftStops != nil, true},
		{asksNoise, "noise", "noise_ratio", l.NoiseRatio != nil, true},
		{asksVeil, "veil", "veil_percent", l.VeilPercent != nil, true},
		{asksDefects, "defects", "defects", l.Defects != nil, true},
		{asksSeams, "seam", "seam_px", l.SeamPx != nil, true},
		{asksShake, "vibration", "shake_px", l.ShakePx != nil, true},
		{asksOffset, "offset", "offset_ms", l.OffsetMs != nil, true},
		{asksOffset, "drift", "clock_ppm", l.ClockPpm != nil, true},
		{asksBands, "bands", "band_percent", l.BandPercent != nil, true},
		{asksPatterns, "pattern", "pattern_percent", l.PatternPercent != nil, hasWall},
		{asksEvenness, "evenness", "evenness_percent", l.EvennessPercent != nil, hasWall},
	} {
		if one.bears && !one.given {
			a.add(finding{Question: one.q, What: one.what, Verdict: notAsked, Why: noLimit + one.field})
		}
	}
}

// trimmed is the text of an error of a package, without the name of the package.
func trimmed(err error) string {
	if err == nil {
		return "no frame of the take served"
	}
	line, _, _ := strings.Cut(err.Error(), "\n")
	if pkg, rest, ok := strings.Cut(line, ": "); ok && !strings.ContainsAny(pkg, " /") {
		return rest
	}
	return line
}
