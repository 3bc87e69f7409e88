package wide_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/root"
	"example.com/platewright/lens/wide"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// bundle is the chief ray of a field angle from the middle of the pupil, in metres, and
// the directions across it: towards the axis and around it.
type bundle struct{ along, radial, around r3.Vec }

func newBundle(theta float64) bundle {
	sin, cos := math.Sincos(theta)
	return bundle{along: r3.Vec{Y: sin, Z: cos}, radial: r3.Vec{Y: cos, Z: -sin}, around: r3.Vec{X: 1}}
}

// onSphere is the direction, from the middle of the pupil, of the point in which a ray
// from a point through a pupil point meets the sphere on which the lens is focused.
func onSphere(from, pupil r3.Vec, radius float64) r3.Vec {
	to := r3.Unit(r3.Sub(from, pupil))
	along := r3.Dot(pupil, to)
	at := r3.Add(pupil, r3.Scale(-along+math.Sqrt(along*along-r3.Dot(pupil, pupil)+radius*radius), to))
	return r3.Unit(at)
}

// The rays from a point through the ends of the pupil, as wide as the trace has it, are
// drawn where the traced lens draws the points of the sphere in focus that they meet.
func TestBlurByRaysThroughThePupil(t *testing.T) {
	for name, l := range bothTraced(t) {
		for _, deg := range []float64{5, 20, 41, 49} {
			if name == "170°" {
				deg *= 1.7
			}
			for _, r := range [][2]float64{{3, 1.5}, {1.5, 3}, {1.1, 1e6}, {1e6, 4}} {
				focus, object := r[0], r[1]
				b := newBundle(rad(deg))
				s := l.at(t, rad(deg))
				image := func(direction r3.Vec) r3.Vec {
					aside := math.Hypot(direction.X, direction.Y)
					height := l.at(t, math.Atan2(aside, direction.Z)).height / l.focal * 0.01
					return r3.Vec{X: height * direction.X / aside, Y: height * direction.Y / aside}
				}
				ends := func(across r3.Vec, width float64) (sensor, angle float64) {
					point := r3.Scale(object, b.along)
					p, q := onSphere(point, r3.Scale(width/2, across), focus), onSphere(point, r3.Scale(-width/2, across), focus)
					return r3.Norm(r3.Sub(image(p), image(q))), math.Atan2(r3.Norm(r3.Cross(p, q)), r3.Dot(p, q))
				}
				got := has[wide.Blur](t)(l.lens.Blur(unit.Angle(rad(deg)), unit.Length(focus), unit.Length(object)))
				sensor, angle := ends(b.radial, l.pupil*s.radial/l.axis.radial)
				ref.Near(t, "L-WB1", float64(got.Radial), sensor, name, deg, r, "radial")
				ref.Near(t, "L-WB1", float64(got.RadialAngle), angle, name, deg, r, "radial angle")
				sensor, angle = ends(b.around, l.pupil*s.tangential/l.axis.tangential)
				ref.Near(t, "L-WB1", float64(got.Tangential), sensor, name, deg, r, "tangential")
				ref.Near(t, "L-WB1", float64(got.TangentialAngle), angle, name, deg, r, "tangential angle")
			}
		}
		assert.Zero(t, has[wide.Blur](t)(l.lens.Blur(0.3, 2, 2)))
		assert.Zero(t, has[wide.Blur](t)(l.lens.Blur(0.3, unit.Length(inf), unit.Length(inf))))
		for _, r := range [][2]unit.Length{{l.lens.FocalLength(), 3}, {3, l.lens.FocalLength()}, {3, 9 * mm}, {unit.Length(nan), 3}, {3, 0}} {
			_, ok := l.lens.Blur(0.3, r[0], r[1])
			assert.False(t, ok, r)
		}
	}
}

// patch is how far apart two rays meet a wall that go from the ends of the pupil through
// the point in focus. The wall is tilted towards the axis by its incidence.
func patch(b bundle, across r3.Vec, width, focus, distance, incidence float64) float64 {
	normal := r3.Add(r3.Scale(math.Cos(incidence), b.along), r3.Scale(math.Sin(incidence), b.radial))
	hit := func(pupil r3.Vec) r3.Vec {
		to := r3.Sub(r3.Scale(focus, b.along), pupil)
		way := (distance*math.Cos(incidence) - r3.Dot(pupil, normal)) / r3.Dot(to, normal)
		return r3.Add(pupil, r3.Scale(way, to))
	}
	return r3.Norm(r3.Sub(hit(r3.Scale(width/2, across)), hit(r3.Scale(-width/2, across))))
}

func TestWallBlurByRaysToTheWall(t *testing.T) {
	for name, l := range bothTraced(t) {
		for _, deg := range []float64{8, 30, 48} {
			b, s := newBundle(rad(deg)), l.at(t, rad(deg))
			radial, tangential := l.pupil*s.radial/l.axis.radial, l.pupil*s.tangential/l.axis.tangential
			for _, r := range []struct{ focus, distance, pitch, incidence float64 }{
				{2, 5, 2.6e-3, 0}, {7, 5, 2.6e-3, 0.6}, {1e6, 4, 1.5e-3, 1.1}, {3.9, 4, 1.5e-3, 1.4},
			} {
				wall := wide.Wall{Distance: unit.Length(r.distance), Pitch: unit.Length(r.pitch), Incidence: unit.Angle(r.incidence)}
				seen := func(focus float64) (radially, around float64) {
					return patch(b, b.radial, radial, focus, r.distance, r.incidence) / r.pitch,
						patch(b, b.around, tangential, focus, r.distance, r.incidence) / r.pitch
				}
				got := must[wide.WallBlur](t)(l.lens.WallBlur(unit.Angle(rad(deg)), unit.Length(r.focus), wall))
				wantRadial, wantAround := seen(r.focus)
				ref.Near(t, "L-WB2", got.Radial, wantRadial, name, deg, r)
				ref.Near(t, "L-WB2", got.Tangential, wantAround, name, deg, r)

				const pixels = 1.2
				f := must[wide.WallFocus](t)(l.lens.FocusForWallBlur(unit.Angle(rad(deg)), wall, pixels))
				least := func(focus float64) float64 { return math.Min(seen(focus)) - pixels }
				near := has[float64](t)(root.Find(least, 0.02, r.distance))
				ref.Near(t, "L-WB3", float64(f.Near), near, name, deg, r)
				if beyond, ok := root.Find(least, r.distance, 1e7); ok {
					ref.Near(t, "L-WB3", float64(f.Beyond), beyond, name, deg, r)
				} else {
					assert.Zero(t, f.Beyond, "%s at %v°, %v", name, deg, r)
				}
			}
		}
	}
}

func TestWallsThatCannotBe(t *testing.T) {
	l := must[wide.Lens](t)(wide.New(wideView()))
	sound := wide.Wall{Distance: 3, Pitch: 2 * mm, Incidence: 0.5}
	for want, change := range map[string]func(*wide.Wall){
		"wide: distance of the wall 8 mm: must be more than 8 mm": func(w *wide.Wall) { w.Distance = 8 * mm },
		"wide: distance of the wall NaN m":                        func(w *wide.Wall) { w.Distance = unit.Length(nan) },
		"is 2 mm meant?":                                          func(w *wide.Wall) { w.Pitch = 2 },
		"wide: pitch of the wall 9 µm":                            func(w *wide.Wall) { w.Pitch = 9 * um },
		"wide: incidence 89°":                                     func(w *wide.Wall) { w.Incidence = unit.Angle(rad(89)) },
		"wide: incidence -1":                                      func(w *wide.Wall) { w.Incidence = -0.02 },
	} {
		wall := sound
		change(&wall)
		_, err := l.WallBlur(0.3, 2, wall)
		refuses(t, err, want)
		_, err = l.FocusForWallBlur(0.3, wall, 2)
		refuses(t, err, want)
	}
	_, err := l.WallBlur(2, 2, sound)
	refuses(t, err, "wide: field angle 114.592°: must be at least 0° and at most 110°")
	_, err = l.WallBlur(1, 8*mm, sound)
	refuses(t, err, "wide: focus distance 8 mm: must be more than 8 mm")
	for _, n := range []float64{0, -1, 1e7, nan} {
		_, err = l.FocusForWallBlur(1, sound, n)
		refuses(t, err, "wide: number of pixels ")
	}
	_, err = l.FocusForWallBlur(1, sound, 1000)
	refuses(t, err, "wide: number of pixels 1000: would need a focus nearer than the focal length, 8 mm")
	_, err = wide.Lens{}.WallBlur(0, 2, sound)
	refuses(t, err, "wide: lens Lens{}: must come from New")
	_, err = wide.Lens{}.Seam(wide.SeamSpec{})
	refuses(t, err, "wide: lens Lens{}: must come from New")
}
