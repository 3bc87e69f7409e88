package lens_test

import (
	"encoding/json"
	"math"
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/lens"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/unit"
)

// noNumbers is a model that gives no number for anything.
type noNumbers struct{}

func (noNumbers) Radius(unit.Angle) (float64, bool) { return math.NaN(), true }
func (noNumbers) Angle(float64) (unit.Angle, bool)  { return unit.Angle(math.NaN()), true }
func (noNumbers) Slope(unit.Angle) (float64, bool)  { return math.NaN(), true }
func (noNumbers) MaxAngle() unit.Angle              { return unit.Angle(math.NaN()) }

// unset is a model like the zero value of an enum of models.
type unset struct{ noNumbers }

func (unset) MaxAngle() unit.Angle { return 0 }

// lonely is sound on the axis alone.
type lonely struct{ noNumbers }

func (lonely) Slope(unit.Angle) (float64, bool) { return 1, true }
func (lonely) MaxAngle() unit.Angle             { return math.Pi / 2 }

func TestANilPointerIsNoModel(t *testing.T) {
	const want = "lens: model (*lens_test.closed)(nil): must not be a nil pointer; a nil interface is the rectilinear model"
	_, err := lens.New(lens.Spec{FocalLength: 8 * mm, FNumber: 4, Model: (*closed)(nil)})
	refuses(t, err, want)
	_, err = lens.FocalLengthForView((*closed)(nil), 24*mm, 1)
	refuses(t, err, want)
}

func TestABareNumberIsInMetres(t *testing.T) {
	sound := lens.Spec{FocalLength: 12 * mm, FNumber: 4, ImageCircle: 34.4 * mm}
	for want, change := range map[string]func(*lens.Spec){
		"lens: focal length 12 m: must be at least 100 µm and at most 2 m (a bare number is in metres: is 12 mm meant?)":     func(s *lens.Spec) { s.FocalLength = 12 },
		"lens: image circle 34.4 m: must be at least 100 µm and at most 1 m (a bare number is in metres: is 34.4 mm meant?)": func(s *lens.Spec) { s.ImageCircle = 34.4 },
		"lens: focal length 1 m times the model's slope on the axis 12: 12 m: must be at least 100 µm and at most 2 m (a bare number is in metres: is 12 mm meant?)": func(s *lens.Spec) {
			s.FocalLength, s.Model = 1, scaled{equidistant, 12}
		},
	} {
		spec := sound
		change(&spec)
		_, err := lens.New(spec)
		refuses(t, err, want)
	}
	l := mustNew(t, sound)
	_, err := lens.FocalLengthForView(nil, 36, 1)
	refuses(t, err, "is 36 mm meant?)")
	_, err = l.DepthOfField(4, 0.03)
	refuses(t, err, "lens: circle of confusion 30 mm: must be at least 1 nm and less than 3 mm (a bare number is in metres: is 30 µm meant?)")
	_, ok := mustNew(t, lens.Spec{FocalLength: 12 * mm, FNumber: 4}).AngleOfView(36)
	assert.False(t, ok, "the view of 36 m of an image")
}

// Results that a caller may keep are written by encoding/json, whatever went in.
func TestResultsMarshal(t *testing.T) {
	for _, m := range models {
		for _, circle := range []unit.Length{0, 20 * mm} {
			l := mustNew(t, lens.Spec{FocalLength: 8 * mm, FNumber: 4, Model: m.m, ImageCircle: circle})
			for _, a := range strange {
				for _, b := range strange {
					d, errDepth := l.DepthOfField(unit.Length(a), unit.Length(b))
					c, errFit := l.CircleFit(lens.Format{Width: unit.Length(a), Height: unit.Length(b)})
					_, err := json.Marshal(d)
					assert.True(t, errDepth != nil || err == nil, "%s, %v, %v: %v", m.name, a, b, err)
					_, err = json.Marshal(c)
					assert.True(t, errFit != nil || err == nil, "%s, %v, %v: %v", m.name, a, b, err)
				}
			}
		}
	}
}

func TestHostileArguments(t *testing.T) {
	spec := lens.Spec{FocalLength: 0.035, FNumber: 2.8, ImageCircle: 0.04, MaxAngle: 1}
	withModel := func(m lens.Model) lens.Spec { return lens.Spec{FocalLength: 0.035, FNumber: 2.8, Model: m} }
	hostile.Calls(t, []any{
		spec, mustNew(t, spec), lens.Format{Width: 0.036, Height: 0.024}, lens.CircleCutsWidth,
		noNumbers{}, lonely{}, (*closed)(nil), withModel((*closed)(nil)), withModel(noNumbers{}), withModel(lonely{}),
	},
		lens.CircleOfConfusion, lens.FNumberAt, lens.FocalLengthForView, lens.ImageDistance, lens.Magnification, lens.Stops, lens.TStop, lens.Transmission,
		lens.New, lens.Lens.AngleOfView, lens.Lens.Blur, lens.Lens.CircleFit, lens.Lens.DepthOfField, lens.Lens.FalloffStops,
		lens.Lens.FocusBetween, lens.Lens.Hyperfocal, lens.Lens.ImageCircle, lens.Lens.MaxAngle,
		lens.Lens.RelativeIllumination, lens.Lens.WorkingFNumber, lens.CircleLimit.String, lens.CircleLimit.MarshalText,
		(*lens.CircleLimit).UnmarshalText, (*lens.DepthOfField).UnmarshalJSON,
		lens.Lens.DepthOfFocus, lens.Lens.ActualFocus, lens.Lens.Breathing, lens.Lens.FocusMark, lens.Lens.FocusFromMark, lens.PlateShift,
		lens.FilterTransmission, lens.FilterStops, lens.Marks, lens.Lens.CentredWindow, lens.Lens.FreeWindow,
	)
}
