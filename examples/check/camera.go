package main

import (
	"context"
	"fmt"
	"math"
	"sync"

	"example.com/platewright/internal/plane"
	"example.com/platewright/lens"
	"example.com/platewright/projection"
	"example.com/platewright/projection/warp"
	"example.com/platewright/sensor/photosite"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

const (
	mm  = unit.Milli * unit.Metre
	deg = projection.Degree
)

// camera is a take with what the scenario says of it, and what was measured.
type camera struct {
	take
	spec *cameraSpec // nil: the scenario does not have it
	at   []int       // when each file was recorded, in frames from the first

	light                func(code float64) float64 // linear, 1 at white; nil for floating point in units of 1
	black, white, lowest float64                    // codes

	lens   *lens.Lens
	view   *projection.Camera          // of the whole frame
	circle *disc                       // where the picture is; nil: everywhere
	noise  func(light float64) float64 // predicted deviation of a sample, in light; nil: not predicted

	falling sync.Once
	fall    []float32

	found measured
}

// disc is the picture in the frame, in pixels.
type disc struct{ X, Y, Radius float64 }

// columns are those of a row that lie in the disc, made smaller by factor.
func (d *disc) columns(row, factor, width int) (from, end int) {
	if d == nil {
		return 0, width
	}
	f := float64(factor)
	dy := (float64(row)+0.5)*f - d.Y
	half := d.Radius*d.Radius - dy*dy
	if half <= 0 {
		return 0, 0
	}
	half = math.Sqrt(half)
	return max(0, int(math.Ceil((d.X-half)/f))), min(width, int(math.Floor((d.X+half)/f)))
}

// meets reports whether the picture has pixels in a frame.
func (d *disc) meets(s shape) bool {
	for y := range s.Height {
		if from, end := d.columns(y, 1, s.Width); from < end {
			return true
		}
	}
	return false
}

// isPlate and isWitness say what the scenario takes a camera for: neither, if it does not
// know it.
func (c *camera) isPlate() bool   { return c.spec != nil && c.spec.Kind == plateCamera }
func (c *camera) isWitness() bool { return c.spec != nil && c.spec.Kind == witnessCamera }

// inner shrinks the disc of the picture, since the rim of an image circle is soft.
const inner = 0.985

// prepare makes what the scenario says of a camera.
func (c *camera) prepare(ctx context.Context) error {
	if err := c.curve(ctx); err != nil {
		return err
	}
	s := c.spec
	if s == nil {
		return nil
	}
	if s.Format.Columns != c.Shape.Width || s.Format.Rows != c.Shape.Height {
		return fmt.Errorf("%s: frames of %s: the scenario has %d × %d px", c.Folder, c.Shape.size(), s.Format.Columns, s.Format.Rows)
	}
	if p := s.Photosite; p != nil {
		steps := c.white - c.black
		if c.Shape.Kind == floating {
			steps = 1 << 16 // no rounding to speak of
		}
		one, err := photosite.New(photosite.Spec{
			PitchX: s.Format.pitch(), PitchY: s.Format.pitch(), PhotonsPerLuxSecond: 1e4, QuantumEfficiency: 1,
			ReadNoise: p.ReadNoiseE, SaturationCapacity: p.FullWellE, Gain: steps / p.FullWellE,
		})
		if err != nil {
			return fmt.Errorf("camera %s: photosite: %w", s.Name, err)
		}
		full := one.SaturationExposure()
		c.noise = func(light float64) float64 {
			_, noise, _ := one.Signal(min(max(light, 0), 1) * full)
			return noise / steps
		}
	}
	if s.Lens == nil {
		return nil
	}
	model, err := s.Lens.model()
	if err != nil {
		return fmt.Errorf("camera %s: lens: %w", s.Name, err)
	}
	spec := projection.CameraSpec{
		Model: model, FocalLength: unit.Length(s.Lens.FocalLengthMm) * mm, Pitch: s.Format.pitch(),
		Width: s.Format.Columns, Height: s.Format.Rows, ImageCircle: unit.Length(s.Lens.ImageCircleMm) * mm,
	}
	centre := [2]float64{float64(spec.Width) / 2, float64(spec.Height) / 2}
	if s.Lens.CentrePx != nil {
		centre = *s.Lens.CentrePx
		spec.OffsetX, spec.OffsetY = centre[0]-float64(spec.Width)/2, centre[1]-float64(spec.Height)/2
	}
	if at := s.Place; at != nil {
		spec.Pose = projection.Pose{
			Position: vec(at.PositionM), Heading: unit.Angle(at.HeadingDeg) * deg,
			Elevation: unit.Angle(at.ElevationDeg) * deg, Roll: unit.Angle(at.RollDeg) * deg,
		}
	}
	view, err := projection.NewCamera(spec)
	if err != nil {
		return fmt.Errorf("camera %s: lens: %w", s.Name, err)
	}
	c.circle = &disc{centre[0], centre[1], inner * s.Lens.ImageCircleMm / 2 / float64(s.Format.pitch()/mm)}
	if !c.circle.meets(c.Shape) {
		return fmt.Errorf("camera %s: lens: image_circle_mm %g around (%g, %g) px: must hold pixels of the frame of %s", s.Name, s.Lens.ImageCircleMm, centre[0], centre[1], c.Shape.size())
	}
	if s.Place != nil {
		c.view = &view
	}
	one, err := lens.New(lens.Spec{
		FocalLength: spec.FocalLength, FNumber: s.Lens.FNumber, Model: model, ImageCircle: spec.ImageCircle,
	})
	if err != nil {
		return fmt.Errorf("camera %s: lens: %w", s.Name, err)
	}
	c.lens = &one
	return nil
}

// brightestHalf is the greatest number of a half.
const brightestHalf = 65504

// curve sets the codes and the light of a code.
func (c *camera) curve(ctx context.Context) error {
	full := map[sampleKind]float64{eightBit: 255, sixteenBit: 65535, floating: 1}[c.Shape.Kind]
	c.white = full
	kind := linearCurve
	if c.Shape.Kind == eightBit {
		kind = srgbCurve // what pictures of 8 bits are, if nothing says otherwise
	}
	if c.spec == nil && c.Shape.Kind == floating { // no sample says which one is white
		c.white, c.light = brightestHalf, func(code float64) float64 { return code }
		return nil
	}
	if s := c.spec; s != nil {
		c.black, c.white, c.lowest, kind = s.BlackCode, s.WhiteCode, s.LowestCode, s.Curve
		if c.white > full && c.Shape.Kind != floating {
			return fmt.Errorf("camera %s: white_code %g: must be at most %g in frames of %s", s.Name, c.white, full, c.Shape.Kind)
		}
	}
	if kind == linearCurve {
		black, scale := c.black, 1/(c.white-c.black)
		c.light = func(code float64) float64 { return (code - black) * scale }
		return nil
	}
	var table []float32
	var err error
	switch c.Shape.Kind {
	case eightBit:
		table, err = decode[uint8](ctx)
	case sixteenBit:
		table, err = decode[uint16](ctx)
	default:
		err = fmt.Errorf("curve sRGB: must be linear in frames of floating point")
	}
	if err != nil {
		return fmt.Errorf("camera %s: %w", c.Name, err)
	}
	if c.white < 1 {
		return fmt.Errorf("camera %s: white_code %g: must be at least 1 with the sRGB curve", c.Name, c.white)
	}
	scale := 1 / float64(table[int(c.white)])
	c.light = func(code float64) float64 { return float64(table[int(code)]) * scale }
	return nil
}

// decode is the linear light of all sRGB codes of a type.
func decode[T uint8 | uint16](ctx context.Context) ([]float32, error) {
	n := int(plane.FullScale[T]()) + 1
	codes, light := make([]T, n), make([]float32, n)
	for i := range codes {
		codes[i] = T(i)
	}
	from, err := warp.NewFrame(warp.FrameSpec[T]{Pix: codes, Width: n, Height: 1, Channels: 1})
	if err != nil {
		return nil, err
	}
	to, err := warp.NewFrame(warp.FrameSpec[float32]{Pix: light, Width: n, Height: 1, Channels: 1})
	if err != nil {
		return nil, err
	}
	curve, err := warp.NewTransfer[T](warp.TransferSpec{Curve: warp.SRGB})
	if err != nil {
		return nil, err
	}
	return light, curve.Linearize(ctx, to, from)
}

func (f formatSpec) pitch() unit.Length {
	return unit.Length(f.WidthMm) * mm / unit.Length(f.Columns)
}

// model is the lens's image height by field angle.
func (l *lensSpec) model() (projection.Model, error) {
	if (l.Projection == "table") != (l.TableDegMm != nil) {
		return nil, fmt.Errorf("table_deg_mm: goes with projection %q, and only with that", "table")
	}
	if l.TableDegMm != nil {
		var points []projection.TablePoint
		for _, p := range *l.TableDegMm {
			points = append(points, projection.TablePoint{Angle: unit.Angle(p[0]) * deg, Height: p[1] / l.FocalLengthMm})
		}
		return projection.NewTable(points)
	}
	var form projection.Form
	if err := form.UnmarshalText([]byte(l.Projection)); err != nil {
		return nil, fmt.Errorf("projection %q: must be table or %w", l.Projection, err)
	}
	return form, nil
}

// axis is where the camera looks.
func (c *camera) axis() r3.Vec { return c.view.Spec().Pose.ToStage(r3.Vec{Z: -1}) }

// falloff is the predicted light at a place of a frame made smaller, relative to that on
// the axis: 0 outside the lens's picture. It is kept at the corners of pixels and
// interpolated.
func (c *camera) falloff(width, height, factor int) func(x, y float64) float64 {
	c.falling.Do(func() {
		axis, f := c.axis(), float64(factor)
		for y := range height + 1 {
			for x := range width + 1 {
				light := 0.0
				if dir, ok := c.view.Unproject(float64(x)*f, float64(y)*f); ok {
					angle := math.Atan2(r3.Norm(r3.Cross(dir, axis)), r3.Dot(dir, axis))
					light, _ = c.lens.RelativeIllumination(unit.Angle(angle))
				}
				c.fall = append(c.fall, float32(light))
			}
		}
	})
	return func(x, y float64) float64 {
		if !(x >= 0 && y >= 0 && x <= float64(width) && y <= float64(height)) {
			return 0
		}
		i, k := min(int(x), width-1), min(int(y), height-1)
		u, v := x-float64(i), y-float64(k)
		upper, lower := c.fall[k*(width+1)+i:], c.fall[(k+1)*(width+1)+i:]
		if upper[0] == 0 || upper[1] == 0 || lower[0] == 0 || lower[1] == 0 {
			return 0
		}
		return (float64(upper[0])*(1-u)+float64(upper[1])*u)*(1-v) + (float64(lower[0])*(1-u)+float64(lower[1])*u)*v
	}
}

func vec(v [3]float64) r3.Vec { return r3.Vec{X: v[0], Y: v[1], Z: v[2]} }

func (s shape) size() string { return plane.Size(s.Width, s.Height) }
