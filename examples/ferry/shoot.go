package main

import (
	"errors"
	"fmt"
	"math"
	"strconv"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/lens"
	"example.com/platewright/projection"
	"example.com/platewright/sensor"
	"example.com/platewright/sync"
	"example.com/platewright/wall"
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
	plates   rig
	photo    sensor.Photosite
	take     sensor.Recording
	cameras  []projection.Camera // one a plate, in the scenario's order
	array    projection.Array    // with what the vessel hides
	open     projection.Array    // as if it hid nothing
	alone    []projection.Array  // each camera by itself, with what the vessel hides from it
	walls    []wall.Wall
	views    [][]wall.View // by stage position, then by wall
	stage    rig
	finders  []projection.Camera // the stage camera at each of its positions
	banding  sync.Banding
	delivery sensor.Raster
	speed    float64 // saturation speed of the plate cameras' photosites
}

// rig is a camera body with a lens at one setting.
type rig struct {
	format   sensor.Format
	lens     lens.Lens
	exposure sensor.Exposure
	angle    sync.ShutterAngle
	open     unit.Time
	sharp    unit.Length // the circle of confusion
}

// gather keeps the first value of a call and notes its error with the place in
// the scenario that caused it.
type gather struct{ faults []error }

func (g *gather) note(field string, err error) {
	if err != nil {
		g.faults = append(g.faults, prefix(field, err))
	}
}

func take[T any](g *gather, field string) func(T, error) T {
	return func(v T, err error) T {
		g.note(field, err)
		return v
	}
}

// newShoot builds all that the report and the frames need, and reports every
// fault that the packages find, each with its place in the scenario.
func newShoot(s scenario) (shoot, error) {
	var g gather
	out := shoot{scenario: s}
	p := s.Plates
	out.plates = newRig(&g, "plates", p.Format, p.Lens, p.Rate, p.ShutterDeg, p.ExposureIndex)
	out.photo = take[sensor.Photosite](&g, "plates.photosite")(sensor.NewPhotosite(sensor.PhotositeSpec{
		QuantumEfficiency: p.Photosite.QuantumEfficiency,
		ReadNoise:         p.Photosite.ReadNoiseE,
		Saturation:        p.Photosite.FullWellE,
		Gain:              float64(int(1)<<p.Photosite.Bits-1) / p.Photosite.FullWellE,
	}))
	out.speed = take[float64](&g, "plates.photosite")(saturationSpeed(out.photo, p.Format))
	num, den := p.Rate.Ratio()
	out.take = take[sensor.Recording](&g, "plates")(sensor.NewRecording(sensor.RecordingSpec{
		Raster:          raster(p.Format),
		SamplesPerPixel: 1,
		BitsPerSample:   p.Photosite.Bits,
		Rate:            sensor.FrameRate{Num: num, Den: den},
		Compression:     p.Compression,
		Cameras:         len(p.Cameras),
	}))
	for i, c := range p.Cameras {
		field := fmt.Sprintf("plates.cameras[%d]", i)
		out.cameras = append(out.cameras, newCamera(&g, field, p.Format, p.Lens, c))
	}
	if len(g.faults) == 0 {
		spec := projection.ArraySpec{Cameras: out.cameras}
		out.open = take[projection.Array](&g, "plates")(projection.NewArray(spec))
		for _, b := range p.Boxes {
			spec.Boxes = append(spec.Boxes, projection.Box{
				Pose:  pose(vec(b.CentreM), b.HeadingDeg, 0, 0),
				Width: unit.Length(b.SizeM[0]), Height: unit.Length(b.SizeM[1]), Depth: unit.Length(b.SizeM[2]),
			})
		}
		for _, b := range p.Balls {
			spec.Balls = append(spec.Balls, projection.Ball{Centre: vec(b.CentreM), Radius: unit.Length(b.RadiusM)})
		}
		out.array = take[projection.Array](&g, "plates")(projection.NewArray(spec))
		for i := 0; i < len(out.cameras) && len(g.faults) == 0; i++ {
			spec.Cameras = out.cameras[i : i+1]
			out.alone = append(out.alone, take[projection.Array](&g, "plates")(projection.NewArray(spec)))
		}
	}
	for i, w := range s.Walls {
		out.walls = append(out.walls, take[wall.Wall](&g, fmt.Sprintf("walls[%d]", i))(wall.New(wall.Spec{
			PanelWidth: unit.Length(w.PanelWidthMm) * mm, PanelHeight: unit.Length(w.PanelHeightMm) * mm,
			PanelPixelsX: w.PanelColumns, PanelPixelsY: w.PanelRows,
			Columns: w.Columns, Rows: w.Rows,
			Radius:   unit.Length(w.RadiusM),
			Position: vec(w.CentreM),
			Heading:  unit.Angle(w.HeadingDeg) * deg, Elevation: unit.Angle(w.ElevationDeg) * deg, Roll: unit.Angle(w.RollDeg) * deg,
		})))
	}
	c := s.StageCamera
	out.stage = newRig(&g, "stage_camera", c.Format, c.Lens, c.Rate, c.ShutterDeg, c.ExposureIndex)
	for i, at := range c.Positions {
		field := fmt.Sprintf("stage_camera.positions[%d]", i)
		out.finders = append(out.finders, newCamera(&g, field, c.Format, c.Lens, at))
		out.views = append(out.views, nil)
		for _, w := range out.walls {
			if w == (wall.Wall{}) {
				continue // refused above
			}
			out.views[i] = append(out.views[i], take[wall.View](&g, field+".position_m")(w.View(at.position())))
		}
	}
	out.banding = take[sync.Banding](&g, "stage_camera")(sync.NewBanding(sync.BandingSpec{
		Camera: c.Rate, Refresh: s.Drive.Refresh, Duty: s.Drive.Duty,
		Exposure: out.stage.open, RowTime: unit.Time(c.RowTimeUs) * unit.Micro, Rows: c.Format.Rows,
	}))
	out.delivery = sensor.Raster(s.Delivery)
	return out, errors.Join(g.faults...)
}

// saturationSpeed is the ISO saturation speed at which the light that fills a
// photosite saturates, if all of it is of the wavelength that the eye sees
// best: there a lux second brings the fewest photons.
func saturationSpeed(p sensor.Photosite, f formatSpec) (float64, error) {
	const lumensPerWatt = 683
	perLuxSecond, err := sensor.Photons(1./lumensPerWatt, eye,
		f.pitch(), unit.Length(f.HeightMm)*mm/unit.Length(f.Rows), 1)
	if err != nil {
		return 0, err
	}
	return sensor.SaturationSpeed(p.SaturationPhotons() / perLuxSecond)
}

func newRig(g *gather, field string, f formatSpec, l lensSpec, rate sync.Rate, shutterDeg, index float64) rig {
	var r rig
	r.format = take[sensor.Format](g, field+".format")(sensor.NewFormat(sensor.FormatSpec{
		Raster: raster(f), Width: unit.Length(f.WidthMm) * mm, Height: unit.Length(f.HeightMm) * mm,
	}))
	r.lens = take[lens.Lens](g, field+".lens")(lens.New(lens.Spec{
		FocalLength: unit.Length(l.FocalLengthMm) * mm, FNumber: l.FNumber,
		Projection: l.Projection, ImageCircle: unit.Length(l.ImageCircleMm) * mm,
	}))
	// Through text, so that 172.8 stays the fraction 864/5.
	r.angle = take[sync.ShutterAngle](g, field+".shutter_deg")(sync.ParseShutterAngle(strconv.FormatFloat(shutterDeg, 'f', -1, 64)))
	open, err := r.angle.Exposure(rate)
	g.note(field+".shutter_deg", err)
	r.open = open.Time()
	if err == nil {
		r.exposure = take[sensor.Exposure](g, field)(sensor.NewExposure(sensor.ExposureSpec{
			FNumber: l.FNumber, Time: r.open, Index: index, Transmittance: l.Transmission,
		}))
	}
	if len(g.faults) == 0 {
		r.sharp = unit.Length(l.SharpPhotosites) * f.pitch()
		if _, ok := r.lens.DepthOfField(unit.Length(l.FocusM), r.sharp); !ok {
			g.note(field+".lens", errors.New("focus_m must be beyond the focal length, and sharp_photosites less than the width of the aperture"))
		}
	}
	pitch, down := r.format.Pitch()
	if d := float64(pitch - down); math.Abs(d) > 1e-6*float64(pitch) {
		g.note(field+".format", fmt.Errorf("photosites of %s × %s: must be square", quantity.Length(pitch), quantity.Length(down)))
	}
	return r
}

func newCamera(g *gather, field string, f formatSpec, l lensSpec, at placeSpec) projection.Camera {
	return take[projection.Camera](g, field)(projection.NewCamera(projection.CameraSpec{
		Model: l.Projection, FocalLength: unit.Length(l.FocalLengthMm) * mm,
		Pitch: f.pitch(),
		Width: f.Columns, Height: f.Rows,
		ImageCircle: unit.Length(l.ImageCircleMm) * mm,
		Pose:        pose(at.position(), at.HeadingDeg, at.ElevationDeg, at.RollDeg),
	}))
}

func pose(position r3.Vec, headingDeg, elevationDeg, rollDeg float64) projection.Pose {
	return projection.Pose{
		Position: position,
		Heading:  unit.Angle(headingDeg) * deg, Elevation: unit.Angle(elevationDeg) * deg, Roll: unit.Angle(rollDeg) * deg,
	}
}

// pitch is from photosite to photosite along a row.
func (f formatSpec) pitch() unit.Length {
	return unit.Length(f.WidthMm) * mm / unit.Length(f.Columns)
}

func raster(f formatSpec) sensor.Raster { return sensor.Raster{Columns: f.Columns, Rows: f.Rows} }
