package main

import (
	"fmt"
	"math"
	"math/rand/v2"

	"example.com/platewright/lens"
	"example.com/platewright/projection"
	"example.com/platewright/projection/rig"
	"example.com/platewright/sensor"
	"example.com/platewright/sensor/photosite"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// vesselTint is the light of the vessel's own parts.
var vesselTint = rgb{0.024, 0.022, 0.020}

// What the demonstration's scenario has no field for.
const (
	skyCdM2           = 38   // cd/m² of the brightest part of the sky
	transmission      = 0.85 // of a lens
	quantumEfficiency = 0.6
	blackCode         = 1024
	whiteCode         = 65535
)

// plateView is a plate camera as the demonstration records with it: one that may be set
// otherwise than the scenario says.
type plateView struct {
	width, height int
	rows          [][]sight
	model         projection.Camera
	axis          r3.Vec // where the lens looks
	lens          lens.Lens
	own           rig.Rig // the camera alone with the vessel's parts
	hasParts      bool
	photositeRad  float64 // angular width of a photosite on the axis

	electrons rgb     // of light 1 on the axis
	fullWell  float64 // electrons
	readNoise float64

	exposure, rowTime, period float64 // seconds
	offset                    float64 // of frame 0
}

// sight is what a photosite sees: a direction of the vessel's frame, and what falloff
// leaves of the light from there and from the vessel's parts in front of it.
type sight struct {
	dir          r3.Vec
	open, hidden float64
}

// newPlateView makes the camera of a spec, with the vessel's parts in its way.
func newPlateView(s *scenario, spec *cameraSpec, parts rig.Spec) (*plateView, error) {
	l, f := spec.Lens, spec.Format
	var model projection.Model = projection.Equisolid
	if l.TableDegMm != nil {
		var points []projection.TablePoint
		for _, p := range *l.TableDegMm {
			points = append(points, projection.TablePoint{Angle: unit.Angle(p[0]) * deg, Height: p[1] / l.FocalLengthMm})
		}
		table, err := projection.NewTable(points)
		if err != nil {
			return nil, err
		}
		model = table
	}
	pitch := unit.Length(f.WidthMm/float64(f.Columns)) * unit.Milli
	camera := projection.CameraSpec{
		Model: model, FocalLength: unit.Length(l.FocalLengthMm) * unit.Milli, Pitch: pitch,
		Width: f.Columns, Height: f.Rows, ImageCircle: unit.Length(l.ImageCircleMm) * unit.Milli,
		Pose: projection.Pose{
			Position: r3.Vec{X: spec.Place.PositionM[0], Y: spec.Place.PositionM[1], Z: spec.Place.PositionM[2]},
			Heading:  unit.Angle(spec.Place.HeadingDeg) * deg, Elevation: unit.Angle(spec.Place.ElevationDeg) * deg, Roll: unit.Angle(spec.Place.RollDeg) * deg,
		},
	}
	if c := l.CentrePx; c != nil {
		camera.OffsetX, camera.OffsetY = c[0]-float64(f.Columns)/2, c[1]-float64(f.Rows)/2
	}
	v := &plateView{width: f.Columns, height: f.Rows, period: 1 / float64(s.Rate.Frequency()), rowTime: spec.RowTimeUs * 1e-6, hasParts: len(parts.Boxes)+len(parts.Balls) > 0}
	var err error
	if v.model, err = projection.NewCamera(camera); err != nil {
		return nil, err
	}
	v.axis = camera.Pose.ToStage(r3.Vec{Z: -1})
	if v.lens, err = lens.New(lens.Spec{FocalLength: camera.FocalLength, FNumber: l.FNumber, Model: model, ImageCircle: camera.ImageCircle}); err != nil {
		return nil, err
	}
	parts.Cameras = []projection.Camera{v.model}
	if v.own, err = rig.New(parts); err != nil {
		return nil, err
	}
	v.photositeRad = float64(pitch / camera.FocalLength)
	v.exposure = spec.ShutterDeg / 360 * v.period
	v.fullWell, v.readNoise = spec.Photosite.FullWellE, spec.Photosite.ReadNoiseE
	e, err := electronsOf(spec, skyCdM2, unit.Time(v.exposure))
	if err != nil {
		return nil, err
	}
	v.electrons = rgb{e, e, e}
	return v, nil
}

// electronsOf is how many electrons a surface of a luminance in cd/m² frees in a
// photosite on the axis.
func electronsOf(spec *cameraSpec, cdM2 float64, exposure unit.Time) (float64, error) {
	p, err := photositeOf(spec)
	if err != nil {
		return 0, err
	}
	e, err := sensor.NewExposure(sensor.ExposureSpec{FNumber: spec.Lens.FNumber, Time: exposure, Index: 100, Transmission: transmission})
	if err != nil {
		return 0, err
	}
	lx, ok := e.FocalPlane(cdM2)
	if !ok {
		return 0, fmt.Errorf("%g cd/m²: beyond the range of luminances", cdM2)
	}
	// The response is linear: a thousandth of the light does not reach saturation.
	electrons, ok := p.Electrons(lx / 1000)
	if !ok {
		return 0, fmt.Errorf("%g cd/m²: saturates the photosite a thousand times over", cdM2)
	}
	return 1000 * electrons, nil
}

// photositeOf is the photosite of a camera in daylight.
func photositeOf(spec *cameraSpec) (photosite.Photosite, error) {
	day, err := photosite.NewSpectrum(photosite.SpectrumSpec{Illuminant: photosite.IlluminantD65})
	if err != nil {
		return photosite.Photosite{}, err
	}
	const nm = unit.Nano * unit.Metre
	photons, _ := day.PhotonsPerLuxSecond(400*nm, 700*nm)
	f := spec.Format
	return photosite.New(photosite.Spec{
		PitchX: unit.Length(f.WidthMm/float64(f.Columns)) * unit.Milli, PitchY: unit.Length(f.HeightMm/float64(f.Rows)) * unit.Milli,
		PhotonsPerLuxSecond: photons, QuantumEfficiency: quantumEfficiency,
		ReadNoise: spec.Photosite.ReadNoiseE, SaturationCapacity: spec.Photosite.FullWellE,
		Gain: (whiteCode - blackCode) / spec.Photosite.FullWellE,
	})
}

// look finds what all photosites see.
func (v *plateView) look() {
	v.rows = make([][]sight, v.height)
	for y := range v.rows {
		v.rows[y] = make([]sight, v.width)
		for x := range v.rows[y] {
			v.rows[y][x] = v.sight(float64(x)+0.5, float64(y)+0.5)
		}
	}
}

// sight is what a photosite sees around a position. The vessel's parts are taken at four
// points of it.
func (v *plateView) sight(x, y float64) sight {
	d, ok := v.model.Unproject(x, y)
	if !ok {
		return sight{}
	}
	light, ok := v.lens.RelativeIllumination(v.fieldAngle(d))
	if !ok {
		return sight{}
	}
	s := sight{dir: d, open: light}
	if !v.hasParts {
		return s
	}
	for k := range 4 {
		if near, ok := v.model.Unproject(x+float64(k%2)/2-0.25, y+float64(k/2)/2-0.25); ok && v.own.Count(near) == 0 && v.model.Sees(near) {
			s.open -= light / 4
			s.hidden += light / 4
		}
	}
	return s
}

func (v *plateView) fieldAngle(d r3.Vec) unit.Angle {
	return unit.Angle(math.Atan2(r3.Norm(r3.Cross(v.axis, d)), r3.Dot(v.axis, d)))
}

// moment is what changes from row to row.
type moment struct {
	turn rotation
	veil rgb
}

// opens is when a row of a frame opens.
func (v *plateView) opens(frame, y int) float64 {
	return v.offset + float64(frame)*v.period + float64(y)*v.rowTime
}

// moment is that of a row's exposure. The vessel's attitude is that of its middle.
func (v *plateView) moment(frame, y int) (m moment) {
	from := v.opens(frame, y)
	m.turn = rotationOf(attitude(from + v.exposure/2))
	lamps, sweep := lamp(from, v.exposure), swept(from, v.exposure)
	for c := range m.veil {
		m.veil[c] = lamps*lampTint[c] + sweep*hazeTint[c]
	}
	return m
}

// row gives the mean electrons of the photosites of a row that see sights, three a
// photosite.
func (v *plateView) row(world *sphere, q *quayLamp, frame, y int, sights []sight, out []float64) {
	m := v.moment(frame, y)
	for x, s := range sights {
		p := out[3*x : 3*x+3 : 3*x+3]
		if s.open == 0 && s.hidden == 0 {
			p[0], p[1], p[2] = 0, 0, 0
			continue
		}
		d := m.turn.apply(s.dir)
		light := world.at(d)
		part := q.cover(d, v.photositeRad)
		for c := range p {
			l := light[c] + (q.light[c]-light[c])*part + m.veil[c]
			p[c] = v.electrons[c] * (s.open*l + s.hidden*vesselTint[c])
		}
	}
}

// converter turns electrons into codes.
type converter struct{ fullWell, readNoise, variance, gain float64 }

func newConverter(fullWell, readNoise float64) converter {
	return converter{fullWell, readNoise, readNoise * readNoise, (whiteCode - blackCode) / fullWell}
}

// code draws the photons and the noise of reading, and converts.
func (k converter) code(r *rand.Rand, mean float64) uint16 {
	var e float64
	if mean == 0 {
		e = k.readNoise * r.NormFloat64()
	} else if mean < 40 {
		e = poisson(r, mean) + k.readNoise*r.NormFloat64()
	} else {
		// The sum of both is nearly normal.
		e = mean + math.Sqrt(mean+k.variance)*r.NormFloat64()
	}
	e = min(e, k.fullWell)
	return uint16(min(max(blackCode+e*k.gain+0.5, 0), whiteCode))
}

// poisson draws a count with a small mean.
//
// Source: D. E. Knuth, The Art of Computer Programming, vol. 2, 3.4.1, from memory.
func poisson(r *rand.Rand, mean float64) float64 {
	limit, product, n := math.Exp(-mean), 1.0, -1.0
	for product > limit || n < 0 {
		product *= r.Float64()
		n++
	}
	return n
}

// seen is how many photosites lie within the picture.
func (v *plateView) seen() (n int) {
	for _, row := range v.rows {
		for _, s := range row {
			if s.open+s.hidden > 0 {
				n++
			}
		}
	}
	return n
}

// bandDepth is the depth of the lamps' bands in green, the mean over all rows: the part
// of a row's light that comes from the lamps, times what the exposure leaves of their
// modulation.
func (v *plateView) bandDepth(world *sphere, q *quayLamp) float64 {
	const steps = 1000 // of a period of the lamps
	low, high := math.Inf(1), math.Inf(-1)
	for i := range steps {
		l := lamp(float64(i)/steps/lampRate, v.exposure)
		low, high = min(low, l), max(high, l)
	}
	// Other light comes and goes: the share is the mean of a frame in six.
	var share float64
	out := make([]float64, 3*v.width)
	const every = 6
	for frame := 0; frame < plateFrames; frame += every {
		for y := range v.height {
			v.row(world, q, frame, y, v.rows[y], out)
			var all, lamps float64
			now := lamp(v.opens(frame, y), v.exposure)
			for x, s := range v.rows[y] {
				steady := s.open * v.electrons[1] * lampTint[1]
				lamps += steady
				all += out[3*x+1] + (1-now)*steady
			}
			share += lamps / all / float64(v.height*plateFrames/every)
		}
	}
	return (high - low) / 2 * share
}
