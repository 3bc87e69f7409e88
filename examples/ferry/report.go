package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/lens"
	"example.com/platewright/projection"
	"example.com/platewright/sensor"
	"example.com/platewright/sync"
	"example.com/platewright/wall"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// report prints answers under the questions that a person asks. A line is what
// is asked, the number with its unit, and, where there is a limit, the margin
// to it.
type report struct {
	out           io.Writer
	limits, short int // how many there are, and are not met
}

const (
	eye          = 555 * unit.Nano * unit.Metre // where the eye sees best
	acuity       = deg / 60
	meterK       = 12.5 // reflected-light meter constant, cd s/m²
	meterC       = 250  // incident-light meter constant of a flat receptor, lx s
	coverError   = 1e-4 // sr
	allowedError = 0.1  // sr
)

func (r *report) question(q string) { fmt.Fprintf(r.out, "\n%s\n", q) }

// line prints an answer without a limit.
func (r *report) line(what, format string, args ...any) {
	fmt.Fprintf(r.out, "  %-50s %s\n", what, fmt.Sprintf(format, args...))
}

// limit prints an answer with the margin to its limit, which is met where met.
func (r *report) limit(met bool, what, value, margin string) {
	mark := "ok: "
	r.limits++
	if !met {
		mark = "SHORT: "
		r.short++
	}
	fmt.Fprintf(r.out, "  %-50s %-36s %s%s\n", what, value, mark, margin)
}

// none says why a question has no answer; that counts as a limit not met.
func (r *report) none(what string, reason any) { r.limit(false, what, "no answer", fmt.Sprint(reason)) }

// summary ends the report.
func (r *report) summary() {
	fmt.Fprintf(r.out, "\n%d of %d limits are not met.\n", r.short, r.limits)
}

// note prints a sentence, broken into lines.
func (r *report) note(text string) {
	line := "   "
	for _, word := range strings.Fields(text) {
		if len(line)+len(word) > 98 {
			fmt.Fprintln(r.out, line)
			line = "   "
		}
		line += " " + word
	}
	fmt.Fprintln(r.out, line)
}

func (r *report) all(s *shoot) {
	fmt.Fprintf(r.out, "%s\n%s\n", s.Name, s.Note)
	r.coverage(s)
	r.pushIn(s)
	r.optics(s)
	r.exposure(s)
	r.data(s)
	r.resolution(s)
	r.alias(s)
	r.timing(s)
	r.brightness(s)
	r.cautions()
}

func (r *report) coverage(s *shoot) {
	r.question("Is every direction covered?")
	c, _ := s.array.Coverage(coverError)
	const sphere = 4 * math.Pi
	for k, sr := range c.AtLeast {
		if k < 3 {
			r.line(fmt.Sprintf("seen by at least %d", k+1), "%.4f sr ± %.0e, %.2f %% of the sphere", sr, c.Error, 100*sr/sphere)
		}
	}
	if len(s.Plates.Boxes)+len(s.Plates.Balls) > 0 {
		if open, ok := s.open.Coverage(coverError); ok {
			r.line("hidden from all by the vessel's own parts", "%.4f sr", open.AtLeast[0]-c.AtLeast[0])
		}
	}
	holes, _ := s.array.Holes(coverError)
	for i, h := range holes {
		if i < 3 {
			r.limit(false, fmt.Sprintf("hole %d of %d", i+1, len(holes)), fmt.Sprintf("%.4f sr", h.SolidAngle),
				fmt.Sprintf("within %.1f° of %s", degrees(h.Radius), where(h.Centre)))
		}
	}
	if len(holes) == 0 {
		r.limit(true, "holes", "none", "every direction is seen")
	}

	r.question("From how near does parallax break the seams?")
	nearest := unit.Length(s.Vessel.NearestM)
	for _, seam := range s.array.Seams() {
		if seam.Cut {
			continue
		}
		name := fmt.Sprintf("%s and %s", s.Plates.Cameras[seam.A].Name, s.Plates.Cameras[seam.B].Name)
		r.line(name+", seam", "%.1f° long", degrees(seam.Length()))
		p, _, ok := s.array.SeamParallax(seam, nearest)
		clear, at, ok2 := s.array.ClearDistance(seam, s.Plates.ParallaxPx)
		if !ok || !ok2 {
			r.none(name+", parallax", "not both see the seam")
			continue
		}
		r.limit(nearest >= clear, fmt.Sprintf("%s, a thing at %s", name, length(nearest)),
			fmt.Sprintf("doubled by %.1f px, %.1f′", p.Pixels, degrees(p.Angle)*60),
			fmt.Sprintf("within %g px from %s on; worst at %s", s.Plates.ParallaxPx, length(clear), where(at)))
	}
	r.note("Parallax cannot be stitched away: the cameras stand apart, so what is nearer than that is seen twice, or cut, at a seam.")
}

func (r *report) pushIn(s *shoot) {
	r.question("How far may each shot push in?")
	if h, ok := raster(s.Plates.Format).Headroom(s.delivery); ok {
		r.line("a plate against the delivered raster", "%.2f× (%.2f stops)", h.Factor, h.Stops)
	}
	for _, shot := range s.Shots {
		p, ok := s.array.PushIn(shot.direction(), s.delivery.Columns)
		if !ok {
			r.limit(false, shot.Name, "no camera sees it", "move the shot or a camera")
			continue
		}
		across := unit.Angle(shot.AcrossDeg) * deg
		zoom := func(narrowest unit.Angle) float64 {
			return math.Tan(float64(across/2)) / math.Tan(float64(narrowest/2))
		}
		r.limit(across >= p.Across, shot.Name+", centre",
			fmt.Sprintf("%.1f° across, from %s", shot.AcrossDeg, s.Plates.Cameras[p.Camera].Name),
			fmt.Sprintf("at %.1f px/° the narrowest is %.1f°, zoom %.2f×", p.Density, degrees(p.Across), zoom(p.Across)))
		if whole, ok := s.array.PushInFrame(shot.direction(), s.delivery.Columns, s.delivery.Rows); ok {
			r.limit(across >= whole, shot.Name+", to the corners", fmt.Sprintf("%.1f° across", shot.AcrossDeg),
				fmt.Sprintf("the narrowest is %.1f°, zoom %.2f×", degrees(whole), zoom(whole)))
		} else {
			r.limit(false, shot.Name+", to the corners", "no view keeps a source pixel", "every delivered frame asks for more in its corners")
		}
		if sr, bound, ok := s.array.Allowed(s.frame(shot), allowedError); ok {
			r.line(shot.Name+", corners and all, may look in", "%.2f ± %.2f sr, %.0f %% of the sphere", sr, bound, 100*sr/(4*math.Pi))
		}
	}
}

func (r *report) optics(s *shoot) {
	r.question("Does the lens fill the sensor, and what is sharp?")
	f, l := s.plates.format, s.plates.lens
	width, height := f.Size()
	if c, ok := l.Coverage(lens.Format{Width: width, Height: height}); ok {
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
	across, down, diagonal := s.cameras[0].FieldOfView()
	r.line("field of view across, down, corner to corner", "%.1f°, %.1f°, %.1f°", degrees(across), degrees(down), degrees(diagonal))
	if fall, ok := l.FalloffStops(min(l.MaxAngle(), 80*deg)); ok {
		r.line(fmt.Sprintf("natural falloff at %.0f° off axis", degrees(min(l.MaxAngle(), 80*deg))), "%.2f stops", fall)
	}
	h, _ := l.Hyperfocal(s.plates.sharp)
	r.line(fmt.Sprintf("hyperfocal distance, blur of %g photosites", s.Plates.Lens.SharpPhotosites), "%s", length(h))
	focus := unit.Length(s.Plates.Lens.FocusM)
	if d, ok := l.DepthOfField(focus, s.plates.sharp); ok {
		r.line("sharp when focused at "+length(focus), "%s to %s", length(d.Near), distance(d.Far))
		nearest := unit.Length(s.Vessel.NearestM)
		r.limit(nearest >= d.Near && nearest <= d.Far, "nearest thing, at "+length(nearest),
			within(nearest, d), fmt.Sprintf("%s beyond the near limit", length(nearest-d.Near)))
	}
	pitch, _ := f.Pitch()
	airy, err := lens.AiryRadius(eye, s.Plates.Lens.FNumber)
	if err == nil {
		r.line("Airy disc, diameter, at 555 nm", "%s, %.2f photosites of %s", length(2*airy), float64(2*airy/pitch), length(pitch))
	}
	nyquist, _ := f.Nyquist()
	if mtf, ok := l.OTF(nyquist, eye, focus, focus); ok {
		r.line("diffraction leaves at the Nyquist frequency", "%.0f %% of the contrast at %.0f lp/mm", 100*mtf, nyquist)
	}
}

func (r *report) exposure(s *shoot) {
	r.question("Will the exposure hold?")
	e := s.plates.exposure
	r.line("plate cameras", "f/%g (T%.2f), %s, index %g: EV %.2f, EV at index 100 %.2f",
		s.Plates.Lens.FNumber, tStop(s.Plates.Lens), quantity.Time(s.plates.open), s.Plates.ExposureIndex, e.EV(), e.EV100())
	if l, ok := e.Luminance(meterK); ok {
		r.line("metered grey is", "%.3g cd/m² (K %g)", l, meterK)
	}
	r.line("a photosite is full at", "%d e⁻, %.3g lx s of light at 555 nm: saturation speed %.0f", int(s.Plates.Photosite.FullWellE), saturates(s.speed), s.speed)
	for _, light := range s.Light {
		name := fmt.Sprintf("%s, %g cd/m²", light.Name, light.CdM2)
		fraction, ok := e.Saturation(light.CdM2, s.speed)
		margin, ok2 := e.SaturationMargin(light.CdM2, s.speed)
		if !ok || !ok2 {
			r.none(name, "beyond what exposure is computed for")
			continue
		}
		value := fmt.Sprintf("%.3g %% of saturation", 100*fraction)
		if snr, ok := s.photo.SNR(fraction * s.photo.SaturationPhotons()); ok {
			value += fmt.Sprintf(", SNR %.0f dB", 20*math.Log10(snr))
		}
		r.limit(margin >= 0, name, value, fmt.Sprintf("%+.2f stops to saturation", margin))
	}
	r.line("photosite", "dynamic range %.1f stops, best SNR %.0f dB",
		math.Log2(s.photo.DynamicRange()), 20*math.Log10(s.photo.MaxSNR()))
}

func saturates(speed float64) float64 {
	h, err := sensor.SaturationExposure(speed)
	if err != nil {
		return math.NaN()
	}
	return h
}

func (r *report) data(s *shoot) {
	r.question("How much data?")
	r.line(fmt.Sprintf("%d cameras, compressed %g to 1", len(s.cameras), s.Plates.Compression), "%.2f GB/s (%.1f Gbit/s)",
		s.take.BytesPerSecond()/1e9, s.take.BitsPerSecond()/1e9)
	minutes := unit.Time(s.Plates.TakeMin) * 60
	need, _ := s.take.StoreBytes(minutes)
	lasts, _ := s.take.StoreTime(s.Plates.StoreTB * 1e12)
	r.line("one take of "+quantity.Time(minutes), "%.2f TB", need/1e12)
	r.limit(lasts >= minutes, fmt.Sprintf("a store of %g TB", s.Plates.StoreTB), fmt.Sprintf("lasts %.1f h", float64(lasts)/3600),
		fmt.Sprintf("%+.0f min against the take", float64(lasts-minutes)/60))
}

func (r *report) resolution(s *shoot) {
	r.question("Does the plate out-resolve the wall, and the wall the camera?")
	for i, at := range s.StageCamera.Positions {
		hit, ok := s.centreHit(i)
		if !ok {
			r.limit(false, "position "+at.Name, "sees no wall at its centre", "turn the camera")
			continue
		}
		_, plate, _ := s.array.Best(hit.dir)
		name := "position " + at.Name
		r.line(name+" to "+s.Walls[hit.wall].Name, "%.2f m; wall %.1f px/°, camera %.1f photosites/°, plate %.1f px/°",
			hit.distance, hit.density.X, hit.finder, plate)
		r.limit(plate >= hit.density.X, name+", plate against wall", fmt.Sprintf("%.2f plate px a wall px", plate/hit.density.X), "wanted is 1")
		r.line(name+", wall against camera", "%.2f photosites a wall pixel", hit.finder/hit.density.X)
	}
	for i, w := range s.walls {
		pitch, _ := w.Pitch()
		name := s.Walls[i].Name + ", pixels fuse for an eye (1′) from"
		d, err := wall.ViewingDistance(pitch, acuity)
		if err != nil {
			r.none(name, err)
			continue
		}
		nearest := s.nearest(vec(s.Actor.PositionM), i)
		r.limit(nearest >= float64(d), name, fmt.Sprintf("%.2f m, pitch %s", float64(d), length(pitch)),
			fmt.Sprintf("the actor is %.2f m from it", nearest))
	}
}

func (r *report) alias(s *shoot) {
	r.question("Will the LED grid alias?")
	pitch, _ := s.stage.format.Pitch()
	for i, w := range s.walls {
		wallPitch, _ := w.Pitch()
		if d, err := wall.NyquistDistance(wallPitch, unit.Length(s.StageCamera.Lens.FocalLengthMm)*mm, pitch, wall.EveryPhotosite); err == nil {
			r.line("square on, the grid of "+s.Walls[i].Name+" is resolved up to", "%.2f m", float64(d))
		}
		if d, err := wall.NyquistDistance(wallPitch, unit.Length(s.StageCamera.Lens.FocalLengthMm)*mm, pitch, wall.RedOrBlue); err == nil {
			r.line("the same, red and blue of a mosaic", "%.2f m", float64(d))
		}
	}
	for i, at := range s.StageCamera.Positions {
		name := "position " + at.Name
		hit, ok := s.centreHit(i)
		if !ok {
			r.none(name, "the camera sees no wall at its centre")
			continue
		}
		image := r2.Norm(hit.grid.Across)
		r.limit(image >= 2, name+": a wall pixel in the picture", fmt.Sprintf("%.2f photosites", image),
			"the Nyquist limit is 2, and 4 for red and blue of a mosaic")
		for _, focus := range []struct {
			name string
			at   unit.Length
		}{{"focus on the actor", unit.Length(s.StageCamera.Lens.FocusM)}, {"focus on the wall", hit.depth}} {
			r.line(name+", "+focus.name, "%s", s.aliases(hit, focus.at))
		}
	}
	r.note("Contrast is the ripple's amplitude over the mean. Even a fraction of a percent shows on a flat sky; " +
		"judge it on the camera's own recording.")
}

func (r *report) timing(s *shoot) {
	r.question("Is the timing clean?")
	c := s.StageCamera
	r.line("stage camera", "%s fps, %s: %s, row time %s", c.Rate, s.stage.angle, quantity.Time(s.stage.open), quantity.Time(unit.Time(c.RowTimeUs)*unit.Micro))
	b := s.banding
	clean, off, err := sync.NearestCleanAngle(c.Rate, s.Drive.Refresh, s.stage.angle)
	margin := "no clean shutter"
	if err == nil {
		margin = fmt.Sprintf("nearest clean is %s, %.3g° away", clean, math.Abs(float64(off/deg)))
	}
	stops := "black"
	if v, ok := b.Stops(); ok {
		stops = fmt.Sprintf("%.3f stops", v)
	}
	r.limit(b.Depth() < 1e-9, "bands from the wall's refresh, "+s.Drive.Refresh.String()+" Hz", fmt.Sprintf("depth %.2f %% (%s), %.1f a frame", 100*b.Depth(), stops, b.Bands()), margin)
	flash, err := sync.Mains(s.Mains)
	if err == nil {
		for _, side := range []struct {
			name  string
			rate  sync.Rate
			angle sync.ShutterAngle
			open  unit.Time
		}{{"plates under shore lamps", s.Plates.Rate, s.plates.angle, s.plates.open}, {"stage under mains light", c.Rate, s.stage.angle, s.stage.open}} {
			left, err := sync.Ripple(1, flash.Frequency(), side.open)
			clean, off, err2 := sync.NearestCleanAngle(side.rate, flash, side.angle)
			if err != nil || err2 != nil {
				continue
			}
			r.limit(left < 1e-9, side.name+", "+flash.String()+" flashes a second", fmt.Sprintf("%.2f %% of their ripple", 100*left),
				fmt.Sprintf("nearest clean is %s, %.3g° away", clean, math.Abs(float64(off/deg))))
		}
	}
	if flash, err := sync.Mains(s.Mains); err == nil {
		if both, err := sync.CommonCleanAngles(c.Rate, s.Drive.Refresh, flash, 0.002); err == nil && len(both) > 0 {
			widest := both[len(both)-1]
			r.line("widest shutter clean for both, within 0.2 %", "%s", widest)
		}
	}
	if t, ok := c.Rate.Beat(s.Drive.Rate); ok {
		r.limit(false, "camera against playback", fmt.Sprintf("%s against %s fps", c.Rate, s.Drive.Rate), "a frame slips every "+quantity.Time(t.Time()))
	} else {
		r.limit(true, "camera against playback", c.Rate.String()+" fps both", "no frame slips while both are locked")
	}
	if t, err := sync.FreeRunSlip(s.Plates.Rate, s.Plates.ClockPpm); err == nil {
		take := unit.Time(s.Plates.TakeMin) * 60
		r.limit(t >= take, fmt.Sprintf("plate clocks %g ppm apart, not locked", s.Plates.ClockPpm), fmt.Sprintf("a frame after %.1f h", float64(t)/3600), "the take lasts "+quantity.Time(take))
	}
	for _, side := range []struct {
		name    string
		heading float64
	}{{"starboard", 90}, {"port", -90}} {
		_, density, ok := s.array.Best(direction(rad(side.heading), 0))
		what := fmt.Sprintf("%g µs between plates, abeam to %s at %g m", s.Plates.OffsetUs, side.name, s.Vessel.NearestM)
		if !ok {
			r.none(what, "no camera looks there")
			continue
		}
		shift := func(t unit.Time) (sync.Offset, error) {
			return sync.NewOffset(sync.OffsetSpec{
				Offset: t, Speed: unit.Velocity(s.Vessel.SpeedKmH / 3.6),
				Distance: unit.Length(s.Vessel.NearestM), PixelsPerDegree: density,
			})
		}
		late, err := shift(unit.Time(s.Plates.OffsetUs) * unit.Micro)
		blur, err2 := shift(s.plates.open)
		if err := errors.Join(err, err2); err != nil {
			r.none(what, err)
			continue
		}
		r.limit(math.Abs(late.Pixels()) < 1, what, fmt.Sprintf("%s, %.3f px", length(late.Displacement()), late.Pixels()), "limit 1 px")
		r.line("motion blur there", "%.1f px in %s", blur.Pixels(), quantity.Time(s.plates.open))
	}
}

func (r *report) brightness(s *shoot) {
	r.question("How bright is the set?")
	actor, facing := vec(s.Actor.PositionM), direction(rad(s.Actor.HeadingDeg), rad(s.Actor.ElevationDeg))
	var total float64
	for i, w := range s.walls {
		spec := s.Walls[i]
		level := spec.CdM2
		lux, ok := w.Illuminance(actor, facing, func(int, int) float64 { return level })
		if !ok {
			r.none(spec.Name, "no light reaches the actor's position from it")
			continue
		}
		sr, _ := w.SolidAngle(actor)
		total += lux
		r.line(fmt.Sprintf("%s at %g cd/m²", spec.Name, level), "%.0f lx on the actor, %.2f sr", lux, sr)
		if ev, err := wall.EV100FromLuminance(level, meterK); err == nil {
			r.line(spec.Name+" meters as", "EV %.2f at index 100, %+.2f stops from the stage camera's setting", ev, ev-s.stage.exposure.EV100())
		}
		if margin, ok := s.stage.exposure.SaturationMargin(level, s.StageCamera.ExposureIndex); ok {
			r.limit(margin >= 0, spec.Name+" in the stage camera", fmt.Sprintf("full white at %g cd/m²", level), fmt.Sprintf("%+.2f stops to saturation", margin))
		}
	}
	if ev, err := sensor.EV100FromIlluminance(total, meterC); err == nil {
		key := s.stage.exposure.EV100()
		r.line("walls alone on the actor", "%.0f lx: EV %.2f at index 100 (C %d), %+.2f stops from the camera's setting", total, ev, meterC, ev-key)
	}
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
		ports, ok := w.Ports(s.Drive.PortPixels)
		switch {
		case err != nil:
			r.none(name, err)
		case !ok:
			r.none(name, "a port of so few pixels cannot drive one panel")
		default:
			r.line(name, "%.2f Gbit/s; links that carry %.4g Gbit/s of picture: %d (%.0f %% full); ports: %d", rate/1e9, s.Drive.LinkPictureGbitS, count, 100*share, ports)
		}
	}
}

func (r *report) cautions() {
	r.question("Before anything rolls")
	r.note("These are numbers for planning, from invented data unless you gave your own. Rigs on vehicles, hung walls and " +
		"ceilings, and power are for licensed riggers and electricians under the codes of the place. Bright walls dazzle and " +
		"warm; flicker and strobing can harm photosensitive people: warn cast and crew, and keep a dark place to go.")
}

// hit is where a ray of a stage camera meets a wall.
type hit struct {
	wall     int
	x, y     float64 // px
	dir      r3.Vec
	distance float64     // from the camera, m
	depth    unit.Length // the same along the lens's axis
	density  wall.Density
	finder   float64   // photosites per degree of the camera there
	grid     wall.Grid // the wall's pixel grid in the picture
}

// centreHit is what the stage camera at a position sees in the middle of its
// frame.
func (s *shoot) centreHit(position int) (hit, bool) {
	w, h := s.finders[position].Size()
	return s.hitAt(position, float64(w)/2, float64(h)/2)
}

// hitAt is the nearest wall under a raster position of the stage camera.
func (s *shoot) hitAt(position int, x, y float64) (best hit, found bool) {
	camera, at := s.finders[position], s.StageCamera.Positions[position]
	dir, ok := camera.Unproject(x, y)
	if !ok {
		return hit{}, false
	}
	for i, w := range s.walls {
		wx, wy, ok := w.Pixel(at.position(), dir)
		if !ok {
			continue
		}
		p, ok := w.Point(wx, wy)
		if d := r3.Norm(r3.Sub(p, at.position())); ok && (!found || d < best.distance) {
			best, found = hit{wall: i, x: wx, y: wy, dir: dir, distance: d}, true
		}
	}
	if !found {
		return hit{}, false
	}
	axis := direction(rad(at.HeadingDeg), rad(at.ElevationDeg))
	best.depth = unit.Length(best.distance * r3.Dot(axis, dir))
	view := s.views[position][best.wall]
	density, ok1 := view.Density(best.x, best.y)
	finder, ok2 := camera.Density(dir)
	grid, ok3 := view.ImageGrid(camera, best.x, best.y)
	best.density, best.finder, best.grid = density, finder.Tangential, grid
	return best, ok1 && ok2 && ok3
}

// nearest is the distance from a point to a wall, over the corners of an even
// lattice on it.
func (s *shoot) nearest(from r3.Vec, i int) float64 {
	const steps = 128
	w, h := s.walls[i].Size()
	least := math.Inf(1)
	for j := range steps + 1 {
		for k := range steps + 1 {
			if p, ok := s.walls[i].Point(float64(w)*float64(j)/steps, float64(h)*float64(k)/steps); ok {
				least = min(least, r3.Norm(r3.Sub(p, from)))
			}
		}
	}
	return least
}

// harmonics of the grid that are looked at for aliases.
const harmonics = 4

// moire is the strongest ripple that the wall's grid leaves, on all photosites,
// in the stage camera's picture at a hit, with the lens focused at a distance
// along its axis. ok is false where the lens gives no answer.
func (s *shoot) moire(h hit, focus unit.Length) (m wall.Moire, ok bool) {
	pitch, _ := s.stage.format.Pitch()
	lit, lensOK := s.Walls[h.wall].LitSide, true
	all, err := wall.PredictMoire(wall.MoireSpec{
		Grid: h.grid, EmittingX: lit, EmittingY: lit, Aperture: 1, Order: harmonics,
		Transfer: func(cycles float64) float64 {
			otf, ok := s.stage.lens.OTF(cycles/float64(pitch/mm), eye, focus, h.depth)
			lensOK = lensOK && ok
			return otf
		},
	})
	if err != nil || !lensOK {
		return wall.Moire{}, false
	}
	return all[0], true
}

// aliases describes the strongest ripple.
func (s *shoot) aliases(h hit, focus unit.Length) string {
	m, ok := s.moire(h, focus)
	if !ok {
		return "no answer at that focus"
	}
	period, ok := m.Period()
	if !ok {
		return fmt.Sprintf("harmonic %v: %s, a flat field, contrast %.3g %%", m.Harmonic, m.Kind, 100*m.Contrast)
	}
	return fmt.Sprintf("harmonic %v: %s, every %.1f photosites, contrast %.3g %%", m.Harmonic, m.Kind, period, 100*m.Contrast)
}

// frame is the delivered frame of a shot, wherever it looks.
func (s *shoot) frame(shot shotSpec) projection.Shot {
	return projection.Shot{Width: s.delivery.Columns, Height: s.delivery.Rows, Across: unit.Angle(shot.AcrossDeg) * deg}
}

func (shot shotSpec) direction() r3.Vec {
	return direction(rad(shot.HeadingDeg), rad(shot.ElevationDeg))
}

func rad(degrees float64) float64 { return degrees * math.Pi / 180 }

// angles are the heading and elevation of a direction, in degrees.
func angles(d r3.Vec) (heading, elevation float64) {
	return math.Atan2(d.X, -d.Z) / float64(deg), math.Atan2(d.Y, math.Hypot(d.X, d.Z)) / float64(deg)
}

func covers(yes bool) string {
	if yes {
		return "covered"
	}
	return "the circle ends inside"
}

func distance(d unit.Length) string {
	if math.IsInf(float64(d), 1) {
		return "infinity"
	}
	return length(d)
}

// length prints three digits, all that a plan needs.
func length(l unit.Length) string {
	if l == 0 || math.IsInf(float64(l), 0) {
		return quantity.Length(l)
	}
	step := math.Pow(10, math.Floor(math.Log10(math.Abs(float64(l))))-2)
	return quantity.Length(unit.Length(math.Round(float64(l)/step) * step))
}

func degrees(a unit.Angle) float64 { return float64(a / deg) }

// where names a direction.
func where(d r3.Vec) string {
	switch heading, elevation := angles(d); {
	case elevation < -89:
		return "straight down"
	case elevation > 89:
		return "straight up"
	default:
		if heading = math.Round(heading); heading == -180 {
			heading = 180
		}
		return fmt.Sprintf("heading %.0f°, elevation %.0f°", heading, elevation)
	}
}

func within(d unit.Length, f lens.DepthOfField) string {
	if d >= f.Near && d <= f.Far {
		return "sharp"
	}
	return "not sharp"
}

func tStop(l lensSpec) float64 {
	t, err := lens.TStop(l.FNumber, l.Transmission)
	if err != nil {
		return l.FNumber
	}
	return t
}
