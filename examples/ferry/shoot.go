package main

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"example.com/platewright/examples/internal/program"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/lens"
	"example.com/platewright/lens/transfer"
	"example.com/platewright/projection"
	"example.com/platewright/projection/offaxis"
	"example.com/platewright/projection/rig"
	"example.com/platewright/sensor"
	"example.com/platewright/sensor/photosite"
	"example.com/platewright/sensor/recording"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/banding"
	"example.com/platewright/wall"
	"example.com/platewright/wall/stage"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

const (
	mm  = unit.Milli * unit.Metre
	deg = projection.Degree
)

// shoot is a scenario that every package has accepted.
type shoot struct {
	scenario
	plates   []kit                 // by camera
	takes    []recording.Recording // by camera
	cameras  []projection.Camera   // one a plate, in the scenario's order
	array    rig.Rig               // all cameras, with the vessel in the way
	open     rig.Rig               // all cameras, without the vessel
	seams    func() []rig.Seam     // of the array, found once
	alone    []rig.Rig             // each camera alone, with the vessel in the way
	surround offaxis.Surround      // where the things in the plates are assumed to be
	walls    []wall.Wall
	volume   stage.Stage    // all walls: each is a part, and has a raster of its own
	views    [][]stage.View // by stage position, then by wall
	grids    grids
	stage    kit
	finders  []projection.Camera // the stage camera at each of its positions
	bands    banding.Prediction  // of the wall as one light without scan groups
	delivery sensor.Raster
}

// kit is a camera body with a lens at one setting.
type kit struct {
	format   sensor.Format
	curve    projection.Model // of the lens; nil if it has a fault
	lens     lens.Lens
	optics   transfer.System // the lens alone
	system   transfer.System // lens and photosites
	exposure sensor.Exposure
	angle    timing.ShutterAngle
	open     unit.Time
	sharp    unit.Length // the circle of confusion
	tStop    float64
	photo    photosite.Photosite // of a plate camera
}

// gather collects errors, each with the place in the scenario that caused it.
type gather struct{ faults []error }

func (g *gather) note(field string, err error) {
	if err != nil && field == "" {
		g.faults = append(g.faults, err)
	} else if err != nil {
		g.faults = append(g.faults, program.Prefix(field, err))
	}
}

func take[T any](g *gather, field string) func(T, error) T {
	return func(v T, err error) T {
		g.note(field, err)
		return v
	}
}

// newShoot builds what the report and the frames need. It reports all faults that
// the packages find, each with its place in the scenario.
func newShoot(s scenario) (shoot, error) {
	var g gather
	out := shoot{scenario: s}
	p := s.Plates
	day := take[photosite.Spectrum](&g, "")(photosite.NewSpectrum(photosite.SpectrumSpec{Illuminant: photosite.IlluminantD65}))
	photons, _ := day.PhotonsPerLuxSecond(bandFrom, bandTo)
	common, tallest := len(g.faults), 0
	for i, c := range p.Cameras {
		format, lens := p.format(i), p.lens(i)
		mine := gather{}
		r := newKit(&mine, "", format, lens, p.Rate, p.ShutterDeg, p.ExposureIndex)
		r.photo = take[photosite.Photosite](&mine, "photosite")(photosite.New(photosite.Spec{
			PitchX: format.pitch(), PitchY: unit.Length(format.HeightMm) * mm / unit.Length(format.Rows),
			PhotonsPerLuxSecond: photons,
			QuantumEfficiency:   p.Photosite.QuantumEfficiency,
			ReadNoise:           p.Photosite.ReadNoiseE,
			SaturationCapacity:  p.Photosite.FullWellE,
			Gain:                float64(int(1)<<p.Photosite.Bits-1) / p.Photosite.FullWellE,
		}))
		tallest = max(tallest, format.Rows)
		out.plates = append(out.plates, r)
		out.takes = append(out.takes, take[recording.Recording](&mine, "format")(recording.New(out.take(i))))
		out.cameras = append(out.cameras, newCamera(&mine, "", r.curve, format, lens, c.place()))
		shared := c.Format == nil && c.Lens == nil
		if shared && i != firstShared(p) {
			continue // a fault that these cameras share is reported once
		}
		for _, err := range mine.faults {
			for _, line := range strings.Split(err.Error(), "\n") {
				if field, fault, _ := strings.Cut(line, ": "); shared {
					g.note("plates."+field, errors.New(fault))
				} else {
					g.note(fmt.Sprintf("plates.cameras[%d].%s", i, field), fmt.Errorf("%s: %s", c.Name, fault))
				}
			}
		}
	}
	if readout := unit.Time(p.RowTimeUs) * unit.Micro * unit.Time(tallest); float64(readout)*float64(p.Rate.Frequency()) > 1 {
		g.note("plates.row_time_us", fmt.Errorf("%g µs: %d rows take %s: must be no longer than a frame", p.RowTimeUs, tallest, quantity.Time(readout)))
	}
	if len(g.faults) == common {
		spec := rig.Spec{Cameras: out.cameras}
		out.open = take[rig.Rig](&g, "")(named(p)(rig.New(spec)))
		for _, b := range p.Boxes {
			spec.Boxes = append(spec.Boxes, rig.Box{
				Pose:  pose(vec(b.CentreM), b.HeadingDeg, 0, 0),
				Width: unit.Length(b.SizeM[0]), Height: unit.Length(b.SizeM[1]), Depth: unit.Length(b.SizeM[2]),
			})
		}
		for _, b := range p.Balls {
			spec.Balls = append(spec.Balls, rig.Ball{Centre: vec(b.CentreM), Radius: unit.Length(b.RadiusM)})
		}
		if len(g.faults) == common {
			out.array = take[rig.Rig](&g, "")(named(p)(rig.New(spec)))
			out.seams = sync.OnceValue(out.array.Seams)
		}
		for i := 0; i < len(out.cameras) && len(g.faults) == common; i++ {
			spec.Cameras = out.cameras[i : i+1]
			out.alone = append(out.alone, take[rig.Rig](&g, "plates")(rig.New(spec)))
		}
	}
	out.surround = newSurround(&g, s.Surround)
	c := s.StageCamera
	out.stage = newKit(&g, "stage_camera.", c.Format, c.Lens, c.Rate, c.ShutterDeg, c.ExposureIndex)
	for i, at := range c.Positions {
		field := fmt.Sprintf("stage_camera.positions[%d]", i)
		out.finders = append(out.finders, newCamera(&g, field+".", out.stage.curve, c.Format, c.Lens, at))
		if _, ok := out.surround.Lookup(at.position(), r3.Vec{Z: -1}); !ok && out.surround != (offaxis.Surround{}) {
			g.note(field+".position_m", errors.New("must be within the surround, and above its ground"))
		}
	}
	out.newStage(&g)
	if len(g.faults) == 0 {
		out.newGrids(&g)
	}
	out.bands = newBands(&g, s, out.stage.angle)
	out.delivery = sensor.Raster(s.Delivery)
	return out, errors.Join(g.faults...)
}

// newBands predicts what the stage camera records of the wall's pulses.
func newBands(g *gather, s scenario, angle timing.ShutterAngle) banding.Prediction {
	c := s.StageCamera
	pulse := take[banding.Waveform](g, "drive.duty")(banding.Pulse(s.Drive.Duty))
	rowTime := take[timing.Seconds](g, "stage_camera.row_time_us")(timing.NearestSeconds(unit.Time(c.RowTimeUs)*unit.Micro, 1e12))
	exposure, err := angle.Exposure(c.Rate)
	if err != nil {
		return banding.Prediction{} // the kit has said so
	}
	return take[banding.Prediction](g, "stage_camera")(banding.New(banding.Spec{
		Wall:   banding.Wall{Rate: s.Drive.Refresh, Greys: []banding.Waveform{pulse}},
		Camera: timing.ReadoutSpec{Rate: c.Rate, Exposure: exposure, Phase: timing.Leading, Rows: c.Format.Rows, RowTime: rowTime},
	}))
}

func newKit(g *gather, field string, f formatSpec, l lensSpec, rate timing.Rate, shutterDeg, index float64) kit {
	var r kit
	r.format = take[sensor.Format](g, field+"format")(sensor.NewFormat(sensor.FormatSpec{
		Raster: raster(f), Width: unit.Length(f.WidthMm) * mm, Height: unit.Length(f.HeightMm) * mm,
	}))
	r.curve = curve(g, field+"lens", l)
	r.lens = take[lens.Lens](g, field+"lens")(lens.New(lens.Spec{
		FocalLength: l.focalLength(f), FNumber: l.FNumber,
		Model: r.curve, ImageCircle: unit.Length(l.ImageCircleMm) * mm,
		MaxAngle: l.maxAngle(),
	}))
	if r.lens != (lens.Lens{}) {
		spec := transfer.SystemSpec{Lens: r.lens, Wavelength: eye}
		r.optics = take[transfer.System](g, field+"lens")(transfer.NewSystem(spec))
		spec.Pitch = f.pitch()
		r.system = take[transfer.System](g, field+"lens")(transfer.NewSystem(spec))
	}
	r.tStop = take[float64](g, field+"lens")(lens.TStop(l.FNumber, l.Transmission))
	// Through text, so that 172.8 stays the fraction 864/5.
	r.angle = take[timing.ShutterAngle](g, field+"shutter_deg")(timing.ParseShutterAngle(strconv.FormatFloat(shutterDeg, 'f', -1, 64)))
	open, err := r.angle.Exposure(rate)
	g.note(field+"shutter_deg", err)
	r.open = open.Time()
	if err == nil {
		r.exposure = take[sensor.Exposure](g, field+"lens")(sensor.NewExposure(sensor.ExposureSpec{
			FNumber: l.FNumber, Time: r.open, Index: index, Transmission: l.Transmission,
		}))
	}
	if len(g.faults) == 0 {
		r.sharp = unit.Length(l.SharpPhotosites) * f.pitch()
		_, err := r.lens.DepthOfField(unit.Length(l.FocusM), r.sharp)
		g.note(field+"lens", err)
	}
	pitch, down := r.format.Pitch()
	if d := float64(pitch - down); math.Abs(d) > 1e-6*float64(pitch) {
		g.note(field+"format", fmt.Errorf("photosites of %s × %s: must be square", quantity.Length(pitch), quantity.Length(down)))
	}
	return r
}

func newCamera(g *gather, field string, curve projection.Model, f formatSpec, l lensSpec, at placeSpec) projection.Camera {
	if curve == nil {
		return projection.Camera{} // newKit has noted why
	}
	spec := projection.CameraSpec{
		Model: curve, FocalLength: unit.Length(l.FocalLengthMm) * mm,
		Pitch: f.pitch(),
		Width: f.Columns, Height: f.Rows,
		ImageCircle: unit.Length(l.ImageCircleMm) * mm,
		MaxAngle:    l.maxAngle(),
		Pose:        pose(at.position(), at.HeadingDeg, at.ElevationDeg, at.RollDeg),
	}
	if px := l.FocalPx; px != nil {
		if l.TableDegMm != nil {
			g.note(field+"lens.focal_px", errors.New("has no use beside table_deg_mm, whose heights in mm set the scale"))
		}
		mean := float64(l.focalLength(f) / mm)
		if math.Abs(mean/l.FocalLengthMm-1) > 0.1 {
			g.note(field+"lens.focal_px", fmt.Errorf("%g × %g px, %.4g mm: must be within 10 %% of focal_length_mm", px[0], px[1], mean))
		}
		spec.FocalX, spec.FocalY, spec.FocalLength = px[0], px[1], 0
	}
	if c := l.CentrePx; c != nil {
		spec.OffsetX, spec.OffsetY = c[0]-float64(f.Columns)/2, c[1]-float64(f.Rows)/2
	}
	if b := l.Distortion; b != nil {
		d := take[projection.Distortion](g, field+"lens.distortion")(projection.NewBrownConrady(projection.BrownConradySpec{
			K1: b.K1, K2: b.K2, K3: b.K3, P1: b.P1, P2: b.P2,
		}))
		if l.Projection != projection.Rectilinear.String() {
			g.note(field+"lens.distortion", errors.New("goes with the rectilinear projection"))
		}
		spec.Distortion = d
	}
	return take[projection.Camera](g, field+"lens")(projection.NewCamera(spec))
}

// focalLength is the focal length of the lens on a format: as calibrated in px, if
// the scenario has that.
func (l lensSpec) focalLength(f formatSpec) unit.Length {
	if px := l.FocalPx; px != nil {
		return unit.Length(math.Sqrt(px[0]*px[1])) * f.pitch()
	}
	return unit.Length(l.FocalLengthMm) * mm
}

// maxAngle is the field angle where the lens's measurement ends; 0 imposes no limit.
func (l lensSpec) maxAngle() unit.Angle {
	if l.MaxAngleDeg == nil {
		return 0
	}
	return unit.Angle(*l.MaxAngleDeg) * deg
}

// curve is the model of a lens. It is nil, and a fault is noted, if the scenario
// names none.
func curve(g *gather, field string, l lensSpec) projection.Model {
	one := func(name string, has, wanted bool) bool {
		if has != wanted {
			g.note(field+"."+name, fmt.Errorf("goes with projection %q, and only with that", map[string]string{"coefficients": "polynomial", "table_deg_mm": "table"}[name]))
		}
		return has == wanted
	}
	if a, b := one("coefficients", l.Coefficients != nil, l.Projection == "polynomial"), one("table_deg_mm", l.TableDegMm != nil, l.Projection == "table"); !a || !b {
		return nil
	}
	switch l.Projection {
	case "polynomial":
		m, err := projection.NewOddPolynomial(projection.OddPolynomialSpec{Coefficients: *l.Coefficients, MaxAngle: l.maxAngle()})
		g.note(field+".coefficients", err)
		if err != nil {
			return nil
		}
		return m
	case "table":
		var points []projection.TablePoint
		for _, p := range *l.TableDegMm {
			points = append(points, projection.TablePoint{Angle: unit.Angle(p[0]) * deg, Height: p[1] / l.FocalLengthMm})
		}
		m, err := projection.NewTable(points)
		g.note(field+".table_deg_mm", err)
		if err != nil {
			return nil
		}
		return m
	}
	var names []string
	for form := projection.Rectilinear; form <= projection.Orthographic; form++ {
		if names = append(names, form.String()); form.String() == l.Projection {
			return form
		}
	}
	g.note(field+".projection", fmt.Errorf("%q: must be %s, polynomial or table", l.Projection, strings.Join(names, ", ")))
	return nil
}

func newSurround(g *gather, s surroundSpec) offaxis.Surround {
	spec := offaxis.SurroundSpec{Shape: s.Shape, Centre: vec(s.CentreM)}
	before := len(g.faults)
	if (s.RadiusM != nil) != (spec.Shape != offaxis.AtInfinity) {
		g.note("surround.radius_m", errors.New("goes with a sphere, a cylinder and a dome, and only with these"))
	} else if (s.GroundM != nil) != (spec.Shape == offaxis.Dome) {
		g.note("surround.ground_m", errors.New("goes with a dome, and only with that"))
	}
	if len(g.faults) > before {
		return offaxis.Surround{}
	}
	if s.RadiusM != nil {
		spec.Radius = unit.Length(*s.RadiusM)
	}
	if s.GroundM != nil {
		spec.Ground = unit.Length(*s.GroundM)
	}
	return take[offaxis.Surround](g, "surround")(offaxis.NewSurround(spec))
}

// firstShared is the index of the first camera without a format or lens of its own.
func firstShared(p plateSpec) int {
	return slices.IndexFunc(p.Cameras, func(c cameraSpec) bool { return c.Format == nil && c.Lens == nil })
}

// arrayPart is how errors of package rig name a part of a rig.
var arrayPart = regexp.MustCompile(`\b(camera|box|ball) (\d+)`)

// named replaces the numbers in the errors of a rig by the scenario's names.
func named(p plateSpec) func(rig.Rig, error) (rig.Rig, error) {
	name := func(part string) string {
		kind, number, _ := strings.Cut(part, " ")
		i, _ := strconv.Atoi(number)
		switch {
		case kind == "camera" && i < len(p.Cameras):
			return fmt.Sprintf("plates.cameras[%d] %q", i, p.Cameras[i].Name)
		case kind == "box" && i < len(p.Boxes):
			return fmt.Sprintf("plates.boxes[%d] %q", i, p.Boxes[i].Name)
		case kind == "ball" && i < len(p.Balls):
			return fmt.Sprintf("plates.balls[%d] %q", i, p.Balls[i].Name)
		}
		return part
	}
	return func(a rig.Rig, err error) (rig.Rig, error) {
		if err == nil {
			return a, nil
		}
		var faults []error
		for _, fault := range strings.Split(err.Error(), "\n") {
			fault = arrayPart.ReplaceAllStringFunc(strings.TrimPrefix(fault, "rig: "), name)
			if !strings.HasPrefix(fault, "plates.") {
				fault = "plates: " + fault
			}
			faults = append(faults, errors.New(fault))
		}
		return a, errors.Join(faults...)
	}
}

func pose(position r3.Vec, headingDeg, elevationDeg, rollDeg float64) projection.Pose {
	return projection.Pose{
		Position: position,
		Heading:  unit.Angle(headingDeg) * deg, Elevation: unit.Angle(elevationDeg) * deg, Roll: unit.Angle(rollDeg) * deg,
	}
}

// direction is the unit vector of a heading and an elevation in degrees.
func direction(heading, elevation float64) r3.Vec {
	return projection.Direction(unit.Angle(heading)*deg, unit.Angle(elevation)*deg)
}

// angles are the heading and elevation of a direction, in degrees.
func angles(d r3.Vec) (heading, elevation float64) {
	h, e, _ := projection.HeadingElevation(d)
	return degrees(h), degrees(e)
}

// pitch is the distance between photosites along a row.
func (f formatSpec) pitch() unit.Length {
	return unit.Length(f.WidthMm) * mm / unit.Length(f.Columns)
}

func raster(f formatSpec) sensor.Raster { return sensor.Raster{Columns: f.Columns, Rows: f.Rows} }

// group is a set of cameras that have something in common.
type group struct {
	cameras []int
	name    string // empty if there is only one group
}

// groups puts cameras of equal values into groups.
func (s *shoot) groups(of func(camera int) any) []group {
	var groups []group
	for i := range s.plates {
		same := func(g group) bool { return reflect.DeepEqual(of(g.cameras[0]), of(i)) }
		if k := slices.IndexFunc(groups, same); k >= 0 {
			groups[k].cameras = append(groups[k].cameras, i)
		} else {
			groups = append(groups, group{cameras: []int{i}})
		}
	}
	for k := range groups {
		if len(groups) > 1 {
			var names []string
			for _, i := range groups[k].cameras {
				names = append(names, s.Plates.Cameras[i].Name)
			}
			groups[k].name = " (" + strings.Join(names, ", ") + ")"
		}
	}
	return groups
}

// take is what one camera records.
func (s *shoot) take(camera int) recording.Spec {
	num, den := s.Plates.Rate.Ratio()
	return recording.Spec{
		Raster: raster(s.Plates.format(camera)), SamplesPerPixel: 1, BitsPerSample: s.Plates.Photosite.Bits,
		Rate: recording.Rate{Num: num, Den: den}, Compression: s.Plates.Compression, Cameras: 1,
	}
}

// frame is the delivered frame of a shot, wherever it looks.
func (s *shoot) frame(shot shotSpec) rig.Shot {
	return rig.Shot{Width: s.delivery.Columns, Height: s.delivery.Rows, Across: unit.Angle(shot.AcrossDeg) * deg}
}

func (shot shotSpec) direction() r3.Vec { return direction(shot.HeadingDeg, shot.ElevationDeg) }
