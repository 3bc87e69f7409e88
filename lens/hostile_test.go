package lens_test

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/lens"
	"gonum.org/v1/gonum/unit"
)

// noNumbers is a projection that gives no number for anything.
type noNumbers struct{}

func (noNumbers) Radius(unit.Angle) (float64, bool) { return math.NaN(), true }
func (noNumbers) Angle(float64) (unit.Angle, bool)  { return unit.Angle(math.NaN()), true }
func (noNumbers) Slope(unit.Angle) (float64, bool)  { return math.NaN(), true }
func (noNumbers) MaxAngle() unit.Angle              { return unit.Angle(math.NaN()) }

// lonely is sound on the axis alone.
type lonely struct{ noNumbers }

func (lonely) Slope(unit.Angle) (float64, bool) { return 1, true }
func (lonely) MaxAngle() unit.Angle             { return math.Pi / 2 }

// byPointer is a projection whose methods need what it points at.
type byPointer struct{ equal closed }

func (p *byPointer) Radius(theta unit.Angle) (float64, bool) { return p.equal.Radius(theta) }
func (p *byPointer) Angle(r float64) (unit.Angle, bool)      { return p.equal.Angle(r) }
func (p *byPointer) Slope(theta unit.Angle) (float64, bool)  { return p.equal.Slope(theta) }
func (p *byPointer) MaxAngle() unit.Angle                    { return p.equal.MaxAngle() }

func TestANilPointerIsNoProjection(t *testing.T) {
	const want = "lens: projection (*lens_test.byPointer)(nil): must not be a nil pointer; a nil interface is the rectilinear projection"
	spec := lens.Spec{FocalLength: 8 * mm, FNumber: 4, Projection: (*byPointer)(nil)}
	_, err := lens.New(spec)
	refuses(t, err, want)
	_, err = lens.FocalLengthForView(spec.Projection, 24*mm, 1)
	refuses(t, err, want)
	spec.Projection = &byPointer{equidistant}
	mustNew(t, spec)
}

// refuses fails the test where an error does not say what is wanted.
func refuses(t *testing.T, err error, want string) {
	t.Helper()
	if !errors.Is(err, lens.ErrInvalid) || !strings.HasSuffix(err.Error(), want) {
		t.Errorf("got\n%v\nwant\n%s", err, want)
	}
}

func TestABareNumberIsInMetres(t *testing.T) {
	sound := lens.Spec{FocalLength: 12 * mm, FNumber: 4, ImageCircle: 34.4 * mm}
	for want, change := range map[string]func(*lens.Spec){
		"lens: focal length 12 m: must be at least 100 µm and at most 2 m (a bare number is in metres: is 12 mm meant?)":     func(s *lens.Spec) { s.FocalLength = 12 },
		"lens: image circle 34.4 m: must be at least 100 µm and at most 1 m (a bare number is in metres: is 34.4 mm meant?)": func(s *lens.Spec) { s.ImageCircle = 34.4 },
		"lens: focal length 1 m times the projection's slope on the axis 12: 12 m: must be at least 100 µm and at most 2 m (a bare number is in metres: is 12 mm meant?)": func(s *lens.Spec) {
			s.FocalLength, s.Projection = 1, scaled{equidistant, 12}
		},
	} {
		spec := sound
		change(&spec)
		_, err := lens.New(spec)
		refuses(t, err, want)
	}
	_, err := lens.AiryRadius(0.55, 4)
	refuses(t, err, "is 550 nm meant?)")
	_, err = lens.FocalLengthForView(nil, 36, 1)
	refuses(t, err, "is 36 mm meant?)")
	if c, ok := mustNew(t, sound).Coverage(lens.Format{Width: 36, Height: 24}); ok {
		t.Errorf("a format of 36 m: %+v", c)
	}
	if a, ok := mustNew(t, lens.Spec{FocalLength: 12 * mm, FNumber: 4}).AngleOfView(36); ok {
		t.Errorf("36 m of an image show %v", a)
	}
}

// Results that a caller may keep are written by encoding/json, whatever went in.
func TestResultsMarshal(t *testing.T) {
	for _, p := range projections {
		for _, circle := range []unit.Length{0, 20 * mm} {
			l := mustNew(t, lens.Spec{FocalLength: 8 * mm, FNumber: 4, Projection: p.p, ImageCircle: circle})
			for _, a := range strange {
				for _, b := range strange {
					d, _ := l.DepthOfField(unit.Length(a), unit.Length(b))
					c, _ := l.Coverage(lens.Format{Width: unit.Length(a), Height: unit.Length(b)})
					if _, err := json.Marshal([]any{d, c}); err != nil {
						t.Errorf("%s, %v, %v: %v", p.name, a, b, err)
					}
				}
			}
		}
	}
}

func TestHostileArguments(t *testing.T) {
	spec := lens.Spec{FocalLength: 0.035, FNumber: 2.8, ImageCircle: 0.04, MaxAngle: 1}
	l, _ := lens.New(spec)
	format := lens.Format{Width: 0.036, Height: 0.024}
	hostile.Calls(t, []any{spec, l, format, noNumbers{}, lonely{}, (*byPointer)(nil),
		lens.Spec{FocalLength: 0.035, FNumber: 2.8, Projection: (*byPointer)(nil)}, lens.Spec{FocalLength: 0.035, FNumber: 2.8, Projection: noNumbers{}}, lens.Spec{FocalLength: 0.035, FNumber: 2.8, Projection: lonely{}}},
		lens.AiryRadius, lens.BlurOTF, lens.CircleOfConfusion, lens.CutoffFrequency, lens.DefocusOTF, lens.DefocusWaves,
		lens.DiffractionMTF, lens.EncircledEnergy, lens.FNumberAt, lens.FocalLength, lens.FocalLengthForView,
		lens.ImageDistance, lens.Magnification, lens.ObjectDistance, lens.Stops, lens.TStop, lens.Transmission,
		lens.New, lens.Lens.AngleOfView, lens.Lens.Blur, lens.Lens.Coverage, lens.Lens.DepthOfField, lens.Lens.FalloffStops,
		lens.Lens.FocusBetween, lens.Lens.Hyperfocal, lens.Lens.ImageCircle, lens.Lens.MaxAngle, lens.Lens.OTF,
		lens.Lens.RelativeIllumination, lens.Lens.WorkingFNumber,
	)
}
