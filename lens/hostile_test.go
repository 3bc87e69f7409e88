package lens_test

import (
	"math"
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

func TestHostileArguments(t *testing.T) {
	spec := lens.Spec{FocalLength: 0.035, FNumber: 2.8, ImageCircle: 0.04, MaxAngle: 1}
	l, _ := lens.New(spec)
	format := lens.Format{Width: 0.036, Height: 0.024}
	hostile.Calls(t, []any{spec, l, format, noNumbers{}, lonely{}, lens.Spec{FocalLength: 0.035, FNumber: 2.8, Projection: noNumbers{}}, lens.Spec{FocalLength: 0.035, FNumber: 2.8, Projection: lonely{}}},
		lens.AiryRadius, lens.BlurOTF, lens.CircleOfConfusion, lens.CutoffFrequency, lens.DefocusOTF, lens.DefocusWaves,
		lens.DiffractionMTF, lens.EncircledEnergy, lens.FNumberAt, lens.FocalLength, lens.FocalLengthForView,
		lens.ImageDistance, lens.Magnification, lens.ObjectDistance, lens.Stops, lens.TStop, lens.Transmission,
		lens.New, lens.Lens.AngleOfView, lens.Lens.Blur, lens.Lens.Coverage, lens.Lens.DepthOfField, lens.Lens.FalloffStops,
		lens.Lens.FocusBetween, lens.Lens.Hyperfocal, lens.Lens.ImageCircle, lens.Lens.MaxAngle, lens.Lens.OTF,
		lens.Lens.RelativeIllumination, lens.Lens.WorkingFNumber,
	)
}
