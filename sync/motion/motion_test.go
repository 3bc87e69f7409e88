package motion_test

import (
	"math"
	"testing"

	"example.com/platewright/sync/internal/trial"
	"example.com/platewright/sync/motion"

	"example.com/platewright/internal/ref"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// TestMotionOfAPile sails the camera, looks at the same pile from both places, and
// measures the angle between the two lines of sight.
func TestMotionOfAPile(t *testing.T) {
	for _, ahead := range []float64{-89, -60, -30, 0, 10, 30, 60, 89} {
		for _, time := range []float64{0.1, -0.1, 1.0 / 24} {
			const speed, distance, density = 7.0, 12.0, 44.0
			got := trial.Must(motion.ImageMotion(motion.MotionSpec{
				Time: unit.Time(time), Speed: speed, Distance: distance, Ahead: unit.Angle(ahead) * motion.Degree, Density: density,
			}))
			// −Z is the course, +X abeam to starboard.
			sin, cos := math.Sincos(ahead * math.Pi / 180)
			pile := r3.Vec{X: distance * cos, Z: -distance * sin}
			var boat r3.Vec
			for range 1000 {
				boat.Z -= speed * time / 1000
			}
			a, b := pile, r3.Sub(pile, boat)
			// Turning to starboard is negative about +Y.
			want := math.Atan2(r3.Cross(b, a).Y, r3.Dot(a, b))
			ref.Near(t, "T-MOTION", float64(got.Displacement), math.Copysign(r3.Norm(boat), time), ahead, time)
			ref.Near(t, "T-MOTION", float64(got.Angle), want, ahead, time)
			ref.Near(t, "T-MOTION", got.Pixels, want*180/math.Pi*density, ahead, time)
		}
	}
	// Far away it is the path over the distance.
	far := trial.Must(motion.ImageMotion(motion.MotionSpec{Time: 0.04, Speed: 6, Distance: 5000, Density: 50}))
	assert.InEpsilon(t, 0.24/5000, float64(far.Angle), 1e-9, "(s/D)²/3")
}

func TestMotionAtTheEnds(t *testing.T) {
	still := trial.Must(motion.ImageMotion(motion.MotionSpec{Distance: 10, Density: 50, Time: 1}))
	assert.Zero(t, still, "a ferry at its pier")
	for _, time := range []unit.Time{0.1, -0.1} {
		for _, ahead := range []unit.Angle{90 * motion.Degree, -90 * motion.Degree} {
			got := trial.Must(motion.ImageMotion(motion.MotionSpec{Time: time, Speed: 5, Distance: 10, Ahead: ahead, Density: 50}))
			assert.Zero(t, got.Angle, "on the course line")
			assert.False(t, math.Signbit(got.Pixels))
		}
	}
	moved := func(time, speed, distance, ahead, density float64) error {
		return trial.Second(motion.ImageMotion(motion.MotionSpec{
			Time: unit.Time(time), Speed: unit.Velocity(speed), Distance: unit.Length(distance),
			Ahead: unit.Angle(ahead) * motion.Degree, Density: density,
		}))
	}
	up := func(x float64) float64 { return math.Nextafter(x, math.Inf(1)) }
	for i, err := range []error{
		moved(60, 1000, 1e9, 90, 1e6), moved(-60, 0, 5e-324, -90, 5e-324),
		moved(0.1, 5, up(0.5), 90, 50), moved(-0.1, 5, up(0.5), -90, 50), // just not through it
	} {
		assert.NoError(t, err, i)
	}
	trial.Refused(t, motion.ErrInvalid,
		moved(up(60), 1, 1, 0, 1), moved(-up(60), 1, 1, 0, 1), moved(1, up(1000), 1, 0, 1), moved(1, -5e-324, 1, 0, 1),
		moved(1, 1, up(1e9), 0, 1), moved(1, 1, 0, 0, 1), moved(1, 1, 1, up(90), 1), moved(1, 1, 1, -up(90), 1),
		moved(1, 1, 1, 0, up(1e6)), moved(1, 1, 1, 0, 0),
		moved(math.NaN(), 1, 1, 0, 1), moved(1, math.NaN(), 1, 0, 1), moved(1, 1, math.NaN(), 0, 1), moved(1, 1, 1, math.NaN(), 1), moved(1, 1, 1, 0, math.NaN()),
		moved(0.1, 5, 0.5, 90, 50), moved(-0.1, 5, 0.5, -90, 50), // through it
		trial.Second(motion.ImageMotion(motion.MotionSpec{Time: 1, Speed: 1, Distance: 1, Ahead: 30, Density: 1})), // 30 rad
	)
	assert.EqualError(t, moved(-0.1, 5, 0.4, -90, 50), "motion: distance 400 mm: must be more than the 500 mm that the camera goes towards the object")
}
