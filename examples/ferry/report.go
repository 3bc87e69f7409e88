package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/lens"
	"example.com/platewright/lens/transfer"
	"example.com/platewright/projection/rig"
	"example.com/platewright/sensor"
	"example.com/platewright/sensor/photosite"
	"example.com/platewright/sensor/recording"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/banding"
	"example.com/platewright/sync/clock"
	"example.com/platewright/sync/motion"
	"example.com/platewright/wall"
	setlight "example.com/platewright/wall/light"
	"example.com/platewright/wall/stage"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

const (
	eye          = 555 * unit.Nano * unit.Metre // the wavelength at which the eye is most sensitive
	meterK       = 12.5                         // reflected-light meter constant, cd s/m²
	meterC       = 250                          // incident-light meter constant of a flat receptor, lx s
	bandFrom     = 400 * unit.Nano * unit.Metre // light that reaches photosites: what filters in front leave
	bandTo       = 700 * unit.Nano * unit.Metre
	fullyOpen    = 1.4 // f-numbers tried for the best one
	fullyClosed  = 22
	coverError   = 1e-5 // sr
	allowedError = 0.1  // sr
)

func (r *report) all(s *shoot) {
	fmt.Fprintf(r.out, "%s\n%s\n", s.Name, s.Note)
	r.coverage(s)
	r.seams(s)
	r.pushIn(s)
	r.optics(s)
	r.exposure(s)
	r.data(s)
	r.resolution(s)
	r.wallCover(s)
	r.alias(s)
	r.timing(s)
	r.clocks(s)
	r.brightness(s)
	r.cautions()
}

const sphere = 4 * math.Pi // sr

func (r *report) coverage(s *shoot) {
	r.question("Is every direction covered?")
	c, err := s.array.Coverage(coverError)
	if err != nil {
		r.none("coverage", err.Error())
		return
	}
	for k, sr := range c.AtLeast {
		if k < 3 {
			r.line(fmt.Sprintf("seen by at least %d", k+1), "%.5f sr ± %.0e, %.3f %% of the sphere", sr, c.Error, 100*sr/sphere)
		}
	}
	if !c.OK {
		r.none("coverage to "+fmt.Sprint(coverError)+" sr", fmt.Sprintf("the bound of its error is %.1g sr", c.Error))
	}
	if len(s.Plates.Boxes)+len(s.Plates.Balls) > 0 {
		open, err := s.open.Coverage(coverError)
		if err != nil {
			r.none("what the vessel hides", err.Error())
		} else if !open.OK {
			r.none("what the vessel hides", fmt.Sprintf("the bound of its error is %.1g sr", open.Error))
		} else {
			r.line("hidden from all by the vessel's own parts", "%.5f sr", open.AtLeast[0]-c.AtLeast[0])
		}
	}
	holes, unseen, err := s.array.Holes(coverError)
	for i, h := range holes {
		if i < 3 {
			r.limit(false, fmt.Sprintf("hole %d of %d", i+1, len(holes)), fmt.Sprintf("%.5f sr", h.SolidAngle),
				fmt.Sprintf("within %.1f° of %s", degrees(h.Radius), where(h.Centre)))
		}
	}
	switch {
	case err != nil:
		r.none("all holes", err.Error())
	case !unseen.OK:
		r.none("all holes", "the search ended before it had them all")
	case len(holes) == 0:
		r.limit(true, "holes", "none", fmt.Sprintf("all but %.0e sr is seen", c.Error))
	}
}

// seams reports the joins at which blends fade from one plate to another. Plates that end
// at a part of the vessel meet in a hard edge instead, which is only listed.
func (r *report) seams(s *shoot) {
	r.question("From how near does parallax break the seams?")
	nearest := unit.Length(s.Vessel.NearestM)
	seams := s.seams()
	var joins, displaced []answer
	var edges []string
	for _, seam := range seams {
		name := s.pair(seam.A, seam.B)
		if seam.Cut {
			if !slices.Contains(edges, name) {
				edges = append(edges, name)
			}
			continue
		}
		narrowest, widest := overlapAlong(seam)
		joins = append(joins, answer{what: name, value: fmt.Sprintf("%.1f° long, overlap %.1f° to %.1f° wide",
			degrees(seam.Length()), degrees(narrowest), degrees(widest))})
		p, _, ok := s.array.SeamParallax(seam, nearest)
		clear, err := s.array.ClearDistance(seam, s.Plates.ParallaxPx)
		if !ok || err != nil || clear.Limit != rig.NoLimit {
			displaced = append(displaced, answer{name, false, "no answer", "not both see the seam"})
			continue
		}
		displaced = append(displaced, answer{name, nearest >= clear.Distance,
			fmt.Sprintf("%.1f px apart, at most %.1f", p.Pixels, p.Bound),
			fmt.Sprintf("within %g px from %s on%s", s.Plates.ParallaxPx, length(clear.Distance), elevations(s.worstAlong(seam, nearest, p.Pixels)))})
	}
	if len(seams) == 0 {
		r.line("no plates join", "one camera sees each direction, or none")
	}
	r.lines(fold(joins))
	if len(displaced) > 0 {
		r.line("a thing at "+length(nearest)+" stands twice at the seams", "as far apart as the joined picture shows it, and as a bound")
		r.limits(fold(displaced))
	}
	if len(edges) > 0 {
		r.line("hard edges along parts of the vessel", "%s", strings.Join(edges, ", "))
	}
	r.note("Parallax cannot be stitched away: the cameras stand apart, so what is nearer than that is seen twice, or cut, at a seam.")
}

func (r *report) pushIn(s *shoot) {
	r.question("How far may each shot push in?")
	for _, group := range s.groups(func(i int) any { return s.Plates.format(i) }) {
		if h, ok := raster(s.Plates.format(group.cameras[0])).Headroom(s.delivery); ok {
			r.line("a plate against the delivered raster"+group.name, "%.2f× as many pixels across", h.Factor)
		}
	}
	for _, shot := range s.Shots {
		if p, ok := s.array.PushIn(shot.direction(), s.delivery.Columns); ok {
			r.line(shot.Name, "%.1f° across; %s has %.1f px/° at its centre", shot.AcrossDeg, s.Plates.Cameras[p.Camera].Name, p.Density)
		} else {
			r.line(shot.Name, "%.1f° across; no camera sees its centre", shot.AcrossDeg)
		}
		v, err := s.array.Judge(shot.direction(), s.frame(shot))
		switch at := "at " + where(v.Dir); {
		case err != nil:
			r.none(shot.Name+", all of its frame", "the frame is out of range")
			continue
		case v.Limit == rig.Unseen:
			r.limit(false, shot.Name+", all of its frame", "part of it is unseen", "no plate has anything "+at)
		default:
			r.limit(v.OK, shot.Name+", all of its frame", fmt.Sprintf("%.2f plate px a delivered px", v.Factor), "wanted is 1; fewest "+at)
		}
		r.detail(s, shot.Name, v)
		across := unit.Angle(shot.AcrossDeg) * deg
		if whole, narrowest, err := s.array.PushInFrame(shot.direction(), s.delivery.Columns, s.delivery.Rows); err != nil || !narrowest.OK {
			r.line(shot.Name+", cannot be pushed into", "no width of frame has a plate pixel for each of its own")
		} else if v.OK {
			r.line(shot.Name+", can be pushed in to", "%.1f°, %.2f×", degrees(whole), math.Tan(float64(across/2))/math.Tan(float64(whole/2)))
		} else {
			r.line(shot.Name+", would hold from", "%.1f° on, as far as it is seen", degrees(whole))
		}
		allowed, err := s.array.Allowed(s.frame(shot), allowedError)
		switch {
		case err != nil:
			r.none(shot.Name+", where such a frame holds", err.Error())
		case !allowed.OK:
			r.none(shot.Name+", where such a frame holds", fmt.Sprintf("known only to %.2g sr", allowed.Error))
		case allowed.Value+allowed.Error < 0.005*sphere:
			r.line(shot.Name+", such a frame holds", "in no direction, or hardly any")
		default:
			r.line(shot.Name+", such a frame holds", "in %.0f %% of all directions (± %.1f)", 100*allowed.Value/sphere, 100*allowed.Error/sphere)
		}
	}
}

// detail says what lens and photosites leave of what the delivered pixels can show,
// where a frame has the fewest plate pixels.
func (r *report) detail(s *shoot, name string, v rig.Verdict) {
	if v.Camera < 0 {
		return
	}
	focus := unit.Length(s.Plates.lens(v.Camera).FocusM)
	left, err := s.plates[v.Camera].system.PushIn(transfer.PushInSpec{
		PhotositesPerPixel: v.Factor, Factors: []float64{1}, Focus: focus, Object: unit.Length(math.Inf(1)),
	})
	if err != nil {
		return
	}
	fine, coarse := left[0].Nyquist, left[0].HalfNyquist
	r.line(name+", contrast left of far things", "%s at a period of 2 delivered px, %s at 4", mosaic(fine), mosaic(coarse))
}

// mosaic is what a colour mosaic keeps of a detail.
func mosaic(l transfer.Left) string {
	if l.Least == l.Most {
		return fmt.Sprintf("%.0f %%", 100*l.Most)
	}
	return fmt.Sprintf("%.0f to %.0f %%", 100*l.Least, 100*l.Most)
}

func (r *report) optics(s *shoot) {
	for _, group := range s.groups(func(i int) any { return [2]any{s.Plates.format(i), s.Plates.lens(i)} }) {
		r.lens(s, group)
	}
}

func (r *report) lens(s *shoot, g group) {
	r.question("Does the lens fill the sensor, and what is sharp?" + g.name)
	kit, spec := s.plates[g.cameras[0]], s.Plates.lens(g.cameras[0])
	f, l := kit.format, kit.lens
	width, height := f.Size()
	fit := lens.Format{Width: width, Height: height}
	if c := spec.CentrePx; c != nil {
		pitch, _ := f.Pitch()
		columns, rows := s.cameras[g.cameras[0]].Size()
		fit.OffsetX, fit.OffsetY = pitch*unit.Length(float64(columns)/2-c[0]), pitch*unit.Length(float64(rows)/2-c[1])
	}
	if c, err := l.CircleFit(fit); err == nil {
		circle, _ := l.ImageCircle()
		for _, m := range []struct {
			name   string
			margin unit.Length
		}{{"width", c.Width}, {"height", c.Height}, {"corners", c.Corner}} {
			r.limit(m.margin >= 0, "image circle "+length(circle)+" against the "+m.name,
				fmt.Sprintf("%+.2f mm at each end", float64(m.margin/mm)), covers(m.margin >= 0))
		}
		r.line("photosites inside the circle", "%.1f %%", 100*c.Area)
	}
	across, down, diagonal := s.cameras[g.cameras[0]].FieldOfView()
	r.line("field of view across, down, corner to corner", "%.1f°, %.1f°, %.1f°", degrees(across), degrees(down), degrees(diagonal))
	if fall, ok := l.FalloffStops(min(l.MaxAngle(), 80*deg)); ok {
		r.line(fmt.Sprintf("natural falloff at %.0f° off axis", degrees(min(l.MaxAngle(), 80*deg))), "%.2f stops", fall)
	}
	if h, err := l.Hyperfocal(kit.sharp); err == nil {
		r.line(fmt.Sprintf("hyperfocal distance, blur of %g photosites", spec.SharpPhotosites), "%s", length(h))
	}
	focus := unit.Length(spec.FocusM)
	if d, err := l.DepthOfField(focus, kit.sharp); err == nil {
		r.line("sharp by geometry when focused at "+length(focus), "%s to %s", length(d.Near), distance(d.Far))
	}
	r.sharp(s, g, kit)
	pitch, _ := f.Pitch()
	airy, err := transfer.AiryRadius(eye, spec.FNumber)
	if err == nil {
		r.line("Airy disc, diameter, at 555 nm", "%s, %.2f photosites of %s", length(2*airy), float64(2*airy/pitch), length(pitch))
	}
	nyquist, _ := f.Nyquist()
	if left, ok := kit.system.Losses(nyquist, 0, focus, focus); ok {
		r.line(fmt.Sprintf("in focus, left at Nyquist, %.0f lp/mm", nyquist), "%.0f %% of the contrast: %.0f %% by diffraction, %.0f %% by photosites",
			100*left.Diffraction*left.Photosite, 100*left.Diffraction, 100*left.Photosite)
	}
}

// sharp says what keeps the contrast that is wanted of a detail, and which setting
// would keep most.
func (r *report) sharp(s *shoot, g group, k kit) {
	want, nearest := s.Limits.SharpPercent/100, unit.Length(s.Vessel.NearestM)
	focus := unit.Length(s.Plates.lens(g.cameras[0]).FocusM)
	frequency, ok := k.system.PixelFrequency(s.Limits.SharpPeriod, 1)
	detail := transfer.Detail{LinePairsPerMM: frequency, Contrast: want}
	d, err := k.system.Depth(focus, detail)
	if !ok || err != nil {
		r.none("sharp by contrast", "the detail is out of range")
		return
	}
	r.line("a detail counts as sharp with", "%g %% of its contrast, at a period of %g photosites", s.Limits.SharpPercent, s.Limits.SharpPeriod)
	r.keeps("nearest thing, at "+length(nearest)+", at rest", nearest, d)
	if camera, blur, ok := s.abeam(); ok && slices.Contains(g.cameras, camera) {
		pitch, _ := k.format.Pitch()
		moving, err := transfer.NewSystem(transfer.SystemSpec{
			Lens: k.lens, Wavelength: eye, Pitch: pitch, Motion: transfer.Motion{Length: unit.Length(blur.Pixels) * pitch},
		})
		what := fmt.Sprintf("the same abeam, passed at %g km/h", s.Vessel.SpeedKmH)
		if d, err2 := moving.Depth(focus, detail); cmp.Or(err, err2) == nil {
			r.keeps(what, nearest, d)
		} else {
			r.none(what, "its movement is out of range")
		}
	}
	if d.OK {
		r.line("sharp by contrast when focused at "+length(focus), "%s to %s", length(d.Field.Near), distance(d.Field.Far))
	}
	if best, err := k.system.BestSetting(nearest, unit.Length(math.Inf(1)), detail, fullyOpen, fullyClosed); err == nil {
		r.line("sharpest from there to infinity, by diffraction and focus alone", "f/%.2g, focused at %s, leaves %.0f %%", best.FNumber, length(best.Focus), 100*best.Contrast)
	}
}

// keeps says whether a thing is within the depth of field by contrast.
func (r *report) keeps(what string, nearest unit.Length, d transfer.Depth) {
	switch near, far := d.Field.Near, d.Field.Far; {
	case !d.OK:
		r.limit(false, what, "not sharp", fmt.Sprintf("%.0f %% in focus already; most is lost by %v", 100*d.InFocus, d.Limit))
	case nearest < near:
		r.limit(false, what, "not sharp", length(near-nearest)+" short of the near limit")
	case nearest > far:
		r.limit(false, what, "not sharp", length(nearest-far)+" beyond the far limit")
	case math.IsInf(float64(far), 1) || nearest-near <= far-nearest:
		r.limit(true, what, "sharp", length(nearest-near)+" beyond the near limit")
	default:
		r.limit(true, what, "sharp", length(far-nearest)+" before the far limit")
	}
}

// abeam is the camera that sees best what is abeam, and how far the nearest thing moves
// in its picture during the exposure.
func (s *shoot) abeam() (camera int, blur motion.Displacement, ok bool) {
	dir := direction(90, 0)
	camera, _, ok = s.array.Best(dir)
	if ok {
		blur, ok = s.motion().Displacement(s.cameras[camera], dir, unit.Length(s.Vessel.NearestM), s.plates[camera].open)
	}
	return camera, blur, ok
}

func (r *report) exposure(s *shoot) {
	for _, group := range s.groups(func(i int) any {
		return [3]any{s.Plates.format(i), s.Plates.lens(i).FNumber, s.Plates.lens(i).Transmission}
	}) {
		r.lights(s, group)
	}
}

func (r *report) lights(s *shoot, g group) {
	r.question("Will the exposure hold?" + g.name)
	kit, spec := s.plates[g.cameras[0]], s.Plates.lens(g.cameras[0])
	e := kit.exposure
	r.line("plate cameras", "f/%g (T%.2f), %s, index %g: EV %.2f, EV at index 100 %.2f",
		spec.FNumber, kit.tStop, quantity.Time(kit.open), s.Plates.ExposureIndex, e.EV(), e.EV100())
	if l, ok := e.Luminance(meterK); ok {
		r.line("metered grey is", "%.3g cd/m² (K %g)", l, meterK)
	}
	speed := kit.photo.SaturationSpeed()
	r.line("a photosite is full at", "%d e⁻, %.3g lx s of daylight, 400 to 700 nm: saturation speed %.0f", int(s.Plates.Photosite.FullWellE), kit.photo.SaturationExposure(), speed)
	for _, light := range s.Light {
		name := fmt.Sprintf("%s, %g cd/m²", light.Name, light.CdM2)
		fraction, ok := e.FractionOfSaturation(light.CdM2, speed)
		margin, ok2 := e.SaturationMargin(light.CdM2, speed)
		h, ok3 := e.FocalPlane(light.CdM2)
		if !ok || !ok2 || !ok3 {
			r.none(name, "beyond what exposure is computed for")
			continue
		}
		value := fmt.Sprintf("%.3g %% of saturation", 100*fraction)
		if snr, ok := kit.photo.SNR(h); ok {
			value += fmt.Sprintf(", SNR %.0f dB", math.Round(20*math.Log10(snr))+0) // no -0
		}
		r.limit(margin >= 0, name, value, fmt.Sprintf("%+.2f stops to saturation", margin))
	}
	r.line("photosite", "dynamic range %.1f stops, best SNR %.0f dB",
		math.Log2(kit.photo.DynamicRange()), 20*math.Log10(kit.photo.MaxSNR()))
	r.reach(s, g, kit)
}

// reach holds the range of the light against that of delivered pixels, in green.
func (r *report) reach(s *shoot, g group, k kit) {
	h, ok := raster(s.Plates.format(g.cameras[0])).Headroom(s.delivery)
	if !ok {
		return
	}
	pixel, err := photosite.NewPixel(photosite.PixelSpec{Photosite: k.photo, Scale: h.Factor, ColourFraction: 0.5})
	if err != nil {
		return
	}
	byLight := func(a, b lightSpec) int { return cmp.Compare(a.CdM2, b.CdM2) }
	darkest, brightest := slices.MinFunc(s.Light, byLight), slices.MaxFunc(s.Light, byLight)
	name := fmt.Sprintf("%s at %g dB to %s", darkest.Name, s.Limits.NoiseDB, brightest.Name)
	fit, ok := pixel.Fit(k.exposure, darkest.CdM2, brightest.CdM2, math.Pow(10, s.Limits.NoiseDB/20))
	if !ok {
		r.limit(false, name, "does not fit", "this SNR is not reached")
		return
	}
	r.limit(fit.OK, name, fmt.Sprintf("%.1f stops of %.1f", fit.SceneStops, fit.SensorStops),
		fmt.Sprintf("%+.1f stops at the %v; %+.1f stops of exposure leave both ends the same", fit.SpareStops, fit.Limit, fit.BalanceStops))
}

func (r *report) data(s *shoot) {
	r.question("How much data?")
	var bytes float64 // a second
	for _, t := range s.takes {
		bytes += t.BytesPerSecond()
	}
	r.line(fmt.Sprintf("%d cameras, compressed %g to 1", len(s.cameras), s.Plates.Compression), "%.2f GB/s (%.1f Gbit/s)", bytes/1e9, 8*bytes/1e9)
	minutes := unit.Time(s.Plates.TakeMin) * 60
	lasts := unit.Time(s.Plates.StoreTB * 1e12 / bytes)
	r.line("one take of "+quantity.Time(minutes), "%.2f TB", bytes*float64(minutes)/1e12)
	r.limit(lasts >= minutes, fmt.Sprintf("a store of %g TB", s.Plates.StoreTB), fmt.Sprintf("lasts %.1f h", float64(lasts)/3600),
		fmt.Sprintf("%+.0f min against the take", float64(lasts-minutes)/60))
	for _, group := range s.groups(func(i int) any { return s.Plates.format(i) }) {
		r.media(s, group)
	}
	r.day(s)
}

// media says how many media a take fills.
func (r *report) media(s *shoot, g group) {
	spec := s.take(g.cameras[0])
	spec.Cameras = len(g.cameras)
	what := fmt.Sprintf("media of %g TB for a take", s.Plates.MediumTB) + g.name
	all, err := recording.New(spec)
	media, ok := all.Media(unit.Time(s.Plates.TakeMin)*60, s.Plates.MediumTB*1e12)
	if err != nil || !ok {
		r.none(what, "beyond what is computed")
		return
	}
	r.line(what, "%d a camera, %d in all", media.PerCamera, media.All)
}

// day says whether a day's takes find empty media. One station serves all cameras. Those
// of a smaller format count as the largest, which fills its media first.
func (r *report) day(s *shoot) {
	p, minute := s.Plates, unit.Time(60)
	largest := 0
	for i, t := range s.takes {
		if t.BytesPerSecond() > s.takes[largest].BytesPerSecond() {
			largest = i
		}
	}
	spec := s.take(largest)
	spec.Cameras = len(s.takes)
	all, err := recording.New(spec)
	station, err2 := recording.NewOffload(recording.OffloadSpec{
		Readers: p.Station.Readers, ReadBytesPerSecond: p.Station.ReadGBs * 1e9, Copies: p.Station.Copies,
		WriteBytesPerSecond: p.Station.WriteGBs * 1e9, VerifyBytesPerSecond: p.Station.VerifyGBs * 1e9,
	})
	bytes, ok := all.StoreBytes(unit.Time(p.TakeMin) * minute)
	media, ok2 := all.Media(unit.Time(p.TakeMin)*minute, p.MediumTB*1e12)
	copying, ok3 := station.Time(media.All, bytes)
	if err != nil || err2 != nil || !ok || !ok2 || !ok3 {
		r.none("off-load", "beyond what is computed")
		return
	}
	r.line(fmt.Sprintf("off-load of a take, %d copies", p.Station.Copies), "%.0f min, limited by %v, and %.0f min to verify, limited by %v",
		float64(copying.Copy/minute), copying.CopyLimit, float64(copying.Verify/minute), copying.VerifyLimit)
	day := recording.DaySpec{
		Recording: all, Sets: p.MediaSets, MediumBytes: p.MediumTB * 1e12, Swap: unit.Time(p.SwapMin) * minute, Offload: station,
	}
	for _, begin := range p.DayMin {
		day.Takes = append(day.Takes, recording.Take{Start: unit.Time(begin) * minute, Length: unit.Time(p.TakeMin) * minute})
	}
	what := fmt.Sprintf("%d takes with %d sets of media", len(p.DayMin), p.MediaSets)
	switch d, err := recording.Schedule(day); {
	case err != nil:
		r.none(what, err.Error())
	case d.OK:
		r.limit(true, what, fmt.Sprintf("%d on fresh media", d.Fresh), fmt.Sprintf("all is copied and verified %.0f min after the day begins", float64(d.Done/minute)))
	default:
		r.limit(false, what, fmt.Sprintf("take %d cannot be recorded", len(d.Recorded)+1), fmt.Sprintf("%v; %.0f min short", d.Limit, float64(d.Short/minute)))
	}
}

func (r *report) resolution(s *shoot) {
	r.question("Does the plate out-resolve the wall, and the wall the camera?")
	for i, at := range s.StageCamera.Positions {
		name := "position " + at.Name
		middle, err := s.chain(i, 1, 1)
		all, err2 := s.chain(i, 32, 18)
		if err := cmp.Or(err, err2); err != nil {
			r.none(name, err)
			continue
		}
		m := middle[0]
		switch {
		case m.Why != stage.Seen:
			r.limit(false, name, "sees no wall at its centre", "turn the camera")
			continue
		case m.Plate == 0:
			r.none(name, "no plate has what the wall shows there")
			continue
		}
		r.line(name+" to "+s.Walls[m.Hit.Part].Name, "%.2f m; wall %.1f px/°, camera %.1f photosites/°, plate %.1f px/°",
			float64(m.Hit.Distance), m.Wall, m.Camera, m.Plate)
		r.links(s, i, append(all, m))
	}
	for i, w := range s.walls {
		pitch, _ := w.Pitch()
		name := s.Walls[i].Name + fmt.Sprintf(", pixels fuse for an eye (%g′) from", s.Limits.AcuityArcmin)
		d, err := wall.ViewingDistance(pitch, unit.Angle(s.Limits.AcuityArcmin/60)*deg)
		from, err2 := w.Distance(vec(s.Actor.PositionM))
		if err := cmp.Or(err, err2); err != nil {
			r.none(name, err)
			continue
		}
		r.limit(from >= d, name, fmt.Sprintf("%.2f m, pitch %s", float64(d), length(pitch)),
			fmt.Sprintf("the actor is %.2f m from it", float64(from)))
	}
}

// links compares plate, wall, camera and delivery over the picture from a position.
func (r *report) links(s *shoot, position int, all []stage.Resolution) {
	name, enlarge, limit := "position "+s.StageCamera.Positions[position].Name, 0.0, stage.NoLimit
	photosites := stage.Span{Least: math.Inf(1)}
	for _, one := range all {
		if one.Why != stage.Seen {
			continue
		}
		photosites.Least = min(photosites.Least, one.PhotositesPerPixel.Least)
		photosites.Greatest = max(photosites.Greatest, one.PhotositesPerPixel.Greatest)
		if one.Enlarge > enlarge {
			enlarge, limit = one.Enlarge, one.Limit
		}
	}
	what := name + ", plate against wall, fewest in the picture"
	if plate, ok := s.fewest(position); ok {
		r.limit(plate >= s.Limits.PlatePxPerWallPx, what, fmt.Sprintf("%.2f plate px a wall px", plate), fmt.Sprintf("wanted is %g", s.Limits.PlatePxPerWallPx))
	} else {
		r.limit(false, what, "none somewhere", "no plate has what the wall shows there")
	}
	r.line(name+", wall against camera", "%.2f to %.2f photosites a wall px", photosites.Least, photosites.Greatest)
	if limit == stage.NoLimit {
		return // no plate at all
	}
	r.limit(enlarge <= 1, name+", coarsest of plate, wall and camera",
		fmt.Sprintf("%v: %.2f px a delivered px", limit, 1/enlarge), fmt.Sprintf("wanted is 1, of %d px across", s.delivery.Columns))
}

func (r *report) timing(s *shoot) {
	r.question("Is the timing clean?")
	c := s.StageCamera
	r.line("stage camera", "%s fps, %s: %s, row time %s", c.Rate, s.stage.angle, quantity.Time(s.stage.open), quantity.Time(unit.Time(c.RowTimeUs)*unit.Micro))
	worst := s.bands.WorstDepth()
	count := 0.0
	if found, _ := s.bands.Bands(0); len(found) > 0 {
		count = found[0].Count
	}
	r.limit(100*worst <= s.Limits.RipplePercent, "bands from the wall's refresh, "+s.Drive.Refresh.String()+" Hz",
		fmt.Sprintf("up to %.2g %% deep (%.2g %% at duty %g), %.1f a frame", 100*worst, 100*s.bands.Worst().Depth, s.Drive.Duty, count),
		s.clean(c.Rate, s.Drive.Refresh, s.stage.angle))
	if flash, err := timing.MainsFlicker(s.Mains); err == nil {
		plates := s.plates[0]
		for _, side := range []struct {
			name  string
			rate  timing.Rate
			angle timing.ShutterAngle
			open  unit.Time
		}{{"plates under shore lamps", s.Plates.Rate, plates.angle, plates.open}, {"stage under mains light", c.Rate, s.stage.angle, s.stage.open}} {
			what := side.name + ", " + flash.String() + " flashes a second"
			left, err := banding.ResidualModulation(1, flash.Frequency(), side.open)
			if err != nil {
				r.none(what, err)
				continue
			}
			r.limit(100*left <= s.Limits.RipplePercent, what, fmt.Sprintf("%.2f %% of their ripple", 100*left), s.clean(side.rate, flash, side.angle))
		}
		what := fmt.Sprintf("one shutter for mains and wall, to %g %%", s.Limits.ShutterPercent)
		clean, err := timing.NearestCleanAngle(timing.CleanSpec{
			Camera: c.Rate, Light: flash, Other: s.Drive.Refresh, Tolerance: s.Limits.ShutterPercent / 100,
		}, s.stage.angle)
		switch {
		case err != nil:
			r.none(what, err)
		case clean.Limit == timing.OtherMissed:
			r.line(what, "none; %s misses the wall by %.2g %%", clean.Angle, 100*clean.OtherMiss)
		case clean.Limit != timing.Clean:
			r.line(what, "none: %s", clean.Limit)
		default:
			r.line(what, "%s is nearest, %.3g° away", clean.Angle, math.Abs(float64(clean.Change/deg)))
		}
	}
	if t, ok := c.Rate.Beat(s.Drive.Rate); ok {
		r.limit(false, "camera against playback", fmt.Sprintf("%s against %s fps", c.Rate, s.Drive.Rate), "a frame slips every "+quantity.Time(t.Time()))
	} else {
		r.limit(true, "camera against playback", c.Rate.String()+" fps both", "no frame slips while both are locked")
	}
}

// clean names the nearest shutter angle that shows no bands of a light.
func (s *shoot) clean(rate, flash timing.Rate, angle timing.ShutterAngle) string {
	clean, err := timing.NearestCleanAngle(timing.CleanSpec{Camera: rate, Light: flash}, angle)
	switch {
	case err != nil || clean.Limit != timing.Clean:
		return "no shutter is clean"
	case clean.Change == 0:
		return "this shutter is clean"
	}
	return fmt.Sprintf("nearest clean is %s, %.3g° away", clean.Angle, math.Abs(float64(clean.Change/deg)))
}

// clocks reports how far a thing is displaced between two plates because their clocks
// differ and their rows are read one after the other.
func (r *report) clocks(s *shoot) {
	nearest := unit.Length(s.Vessel.NearestM)
	r.question(fmt.Sprintf("Do the plates agree in time? (a thing %s away, at %g km/h)", length(nearest), s.Vessel.SpeedKmH))
	take := unit.Time(s.Plates.TakeMin) * 60
	offset, drift := unit.Time(s.Plates.OffsetUs)*unit.Micro, unit.Time(s.Plates.ClockPpm*1e-6)*take
	worst := s.slips(nearest, offset, drift, unit.Time(s.Plates.RowTimeUs)*unit.Micro)
	for k, what := range []string{
		fmt.Sprintf("clocks %g µs apart", s.Plates.OffsetUs),
		fmt.Sprintf("clocks %g ppm apart, not locked, after %s", s.Plates.ClockPpm, quantity.Time(take)),
		fmt.Sprintf("rows read %g µs apart", s.Plates.RowTimeUs),
		"all of these together",
	} {
		w := worst[k]
		if w.pair == "" {
			r.line(what, "no plates join")
		} else {
			r.limit(w.px <= s.Limits.ClockPx, what, fmt.Sprintf("%.3g px, %s", w.px, quantity.Time(unit.Time(rounded(float64(w.time))))),
				fmt.Sprintf("limit %g px; worst at %s", s.Limits.ClockPx, w.pair))
		}
	}
	free := clock.DriftSpec{Rate: s.Plates.Rate, Recorders: []clock.Recorder{{PPM: s.Plates.ClockPpm}, {}}, Limits: clock.DriftLimits{Frames: 1}}
	if drift, err := clock.DriftTime(free); err == nil && drift.State == clock.Drifts {
		r.limit(drift.After >= take, "a whole frame apart", fmt.Sprintf("after %.1f h", float64(drift.After)/3600), "the take lasts "+quantity.Time(take))
	}
	if camera, blur, ok := s.abeam(); ok {
		r.line("motion blur abeam", "%.1f px in %s", blur.Pixels, quantity.Time(s.plates[camera].open))
	}
}

// wallCover reports how well the plates fill each wall, and how far near things are out
// of place. They are, because the surround assumes that they are farther away.
func (r *report) wallCover(s *shoot) {
	r.question("Do the plates fill the walls, and is each thing where it should be?")
	var covers, places []answer
	for i, at := range s.StageCamera.Positions {
		for k := range s.walls {
			c := s.coverOf(i, k)
			what := fmt.Sprintf("%s from position %s", s.Walls[k].Name, at.Name)
			if c.total == 0 {
				r.none(what, "none of it faces the camera")
				continue
			}
			percent := func(n int) float64 { return 100 * float64(n) / float64(c.total) }
			value := "a plate for all of it"
			if c.unseen > 0 {
				value = fmt.Sprintf("no plate for %.1f %%", percent(c.unseen))
			}
			if c.vessel > 0 {
				value += fmt.Sprintf(", the vessel itself on %.1f %%", percent(c.vessel))
			}
			covers = append(covers, answer{what, percent(c.unseen+c.vessel) <= s.Limits.WallUnseenPercent, value,
				fmt.Sprintf("limit %g %%", s.Limits.WallUnseenPercent)})
			places = append(places, answer{what: "near things on " + what, value: fmt.Sprintf("up to %.2f° (%.0f wall px) out of place", c.off/float64(deg), c.offPx)})
		}
	}
	r.limits(fold(covers))
	stands := "at infinity"
	if s.Surround.RadiusM != nil {
		stands = fmt.Sprintf("on a %s with a radius of %s", s.Surround.Shape, length(unit.Length(*s.Surround.RadiusM)))
	}
	r.line("a near thing, at "+length(unit.Length(s.Vessel.NearestM)), "is taken to stand %s", stands)
	r.lines(places)
}

func (r *report) brightness(s *shoot) {
	r.question("How bright is the set?")
	actor, facing := vec(s.Actor.PositionM), direction(s.Actor.HeadingDeg, s.Actor.ElevationDeg)
	var total float64
	for i, w := range s.walls {
		spec := s.Walls[i]
		level := spec.CdM2
		lux, err := illuminance(w, level, actor, facing)
		if err != nil {
			r.none(spec.Name, err)
			continue
		}
		total += lux
		r.line(fmt.Sprintf("%s at %g cd/m²", spec.Name, level), "%.0f lx on the actor", lux)
		if ev, err := sensor.EV100FromLuminance(level, meterK); err == nil {
			r.line(spec.Name+" meters as", "EV %.2f at index 100, %+.2f stops from the stage camera's setting", ev, ev-s.stage.exposure.EV100())
		}
		if margin, ok := s.stage.exposure.SaturationMargin(level, s.StageCamera.ExposureIndex); ok {
			r.limit(margin >= 0, spec.Name+" in the stage camera", fmt.Sprintf("full white at %g cd/m²", level), fmt.Sprintf("%+.2f stops, if its saturation speed is %g", margin, s.StageCamera.ExposureIndex))
		}
	}
	if ev, err := sensor.EV100FromIlluminance(total, meterC); err == nil {
		key := s.stage.exposure.EV100()
		r.line("walls alone on the actor", "%.0f lx: EV %.2f at index 100 (C %d), %+.2f stops from the camera's setting", total, ev, meterC, ev-key)
	}
	r.softness(s, actor)
	for i, w := range s.walls {
		width, height := w.Size()
		num, den := s.Drive.Rate.Ratio()
		name := fmt.Sprintf("%s, %d × %d px, feed", s.Walls[i].Name, width, height)
		rate, err := wall.PayloadRate(width, height, 3*s.Drive.Bits, num, den)
		if err != nil {
			r.none(name, err)
			continue
		}
		count, share, err := wall.LinksNeeded(rate, s.Drive.LinkPictureGbitS*1e9)
		ports, portsErr := w.Ports(s.Drive.PortPixels)
		if err := cmp.Or(err, portsErr); err != nil {
			r.none(name, err)
			continue
		}
		r.line(name, "%.2f Gbit/s; links that carry %.4g Gbit/s of picture: %d (%.0f %% full); ports: %d", rate/1e9, s.Drive.LinkPictureGbitS, count, 100*share, ports)
	}
}

// white is a wall that shows full white.
func white(w wall.Wall, cdM2 float64) []setlight.Panel {
	each := cdM2 / 3
	return setlight.Panels(w, setlight.Panel{Peak: setlight.RGB{each, each, each}})
}

// illuminance is that of a white wall on a receiver.
func illuminance(w wall.Wall, cdM2 float64, point, normal r3.Vec) (lux float64, err error) {
	scene, err := setlight.New(setlight.Spec{Panels: white(w, cdM2)})
	if err != nil {
		return 0, err
	}
	l, err := scene.Illuminance(point, normal)
	return l.RGB.Sum(), err
}

// softness says from where the light of full white walls comes, and how hard it is.
func (r *report) softness(s *shoot, actor r3.Vec) {
	var spec setlight.Spec
	for i, w := range s.walls {
		spec.Panels = append(spec.Panels, white(w, s.Walls[i].CdM2)...)
	}
	scene, err := setlight.New(spec)
	if err != nil {
		r.none("light around the actor", err)
		return
	}
	cube, err := scene.Cube(actor)
	if err != nil {
		r.none("light around the actor", err)
		return
	}
	if cube.Vector == (r3.Vec{}) {
		r.line("light around the actor", "none")
		return
	}
	hardness := fmt.Sprintf("vector to scalar %.1f, of 0 (from all around) to 4 (a beam)", cube.VectorToScalar)
	if stops, ok := cube.KeyToFill(); ok {
		hardness += fmt.Sprintf("; key to fill %.1f stops", stops)
	}
	r.line("light around the actor comes from", "%s; %s", where(cube.Vector), hardness)
}

func (r *report) cautions() {
	r.question("Before anything rolls")
	r.note("These are numbers for planning, from invented data unless you gave your own. Rigs on vehicles, hung walls and " +
		"ceilings, and power are for licensed riggers and electricians under the codes of the place. Bright walls dazzle and " +
		"warm; flicker and strobing can harm photosensitive people: warn cast and crew, and keep a dark place to go.")
}
