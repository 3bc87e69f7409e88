package projection_test

import (
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/projection"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

func TestFieldAlong(t *testing.T) {
	along := func(c projection.Camera, x0, y0, x1, y1 float64) (between, turned unit.Angle) {
		t.Helper()
		between, turned, ok := c.FieldAlong(x0, y0, x1, y1)
		if !ok {
			t.Error("no field")
		}
		return between, turned
	}
	// Rectilinear: the triangle 3-4-5 to each side, and along the lower edge from
	// (−3, 3, 4) to (3, 3, 4), 4·5 and 3·3 making the cosine 16/34.
	c := camera(t, projection.CameraSpec{Model: projection.Rectilinear, FocalX: 400, FocalY: 400, Width: 600, Height: 600})
	between, turned := along(c, 0, 300, 600, 300)
	ref.Near(t, "P-V3", between, unit.Angle(2*math.Atan(0.75)))
	ref.Near(t, "P-V3", turned, unit.Angle(2*math.Atan(0.75)))
	between, turned = along(c, 0, 600, 600, 600)
	ref.Near(t, "P-V3", between, unit.Angle(math.Acos(16./34)))
	ref.Near(t, "P-V3", turned, unit.Angle(math.Acos(16./34))) // straight lines are great circles
	// Orthographic: the line at the height sin β is half of a circle of the radius
	// cos β on the sphere, whose ends are π − 2β apart.
	c = camera(t, projection.CameraSpec{Model: projection.Orthographic, FocalX: 100, FocalY: 100, Width: 300, Height: 300})
	for _, beta := range []float64{0, 0.2, 0.7, 1.2} {
		between, turned = along(c, -50, 150-100*math.Sin(beta), 1e4, 150-100*math.Sin(beta))
		ref.Near(t, "P-V4", between, unit.Angle(math.Pi-2*beta), beta)
		ref.Near(t, "P-V4", turned, unit.Angle(math.Pi*math.Cos(beta)), beta)
	}
	// Stereographic: scale 1/(1 + r²/4), so that along a line at the distance d
	// from the axis the turn is ∫ dx/(1 + (x² + d²)/4), however far it leads.
	for _, ends := range []float64{1, 45, 1e4, 1e8, 1e10} {
		c = camera(t, projection.CameraSpec{Model: projection.Stereographic, FocalX: 1e6 / ends, FocalY: 1e6 / ends, Width: 2e6, Height: 2e6})
		for _, d := range []float64{0, 1e-3, 0.5, 1, 3, 40} {
			if d >= ends {
				continue
			}
			y := float64(1e6 * (1 + d/ends)) // rounded, lest it be fused with the difference below
			_, turned = along(c, 0, y, 2e6, y)
			d := (y - 1e6) * ends / 1e6 // as rounded
			root := math.Sqrt(1 + d*d/4)
			ref.Near(t, "P-V5", turned, unit.Angle(4/root*math.Atan(ends/2/root)), ends, d)
			_, turned = along(c, 0, y, 1e6, y)
			ref.Near(t, "P-V5", turned, unit.Angle(2/root*math.Atan(ends/2/root)), ends, d, "half")
			_, turned = along(c, 0, y, 1.37e6, y)
			ref.Near(t, "P-V5", turned, unit.Angle(2/root*(math.Atan(ends/2/root)+math.Atan(0.37*ends/2/root))), ends, d, "uneven")
		}
	}
	// Equidistant through the axis: 220° seen, whose ends are 140° apart.
	c = camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 100, FocalY: 100, Width: 500, Height: 300, MaxAngle: 110 * deg})
	between, turned = along(c, 0, 150, 500, 150)
	ref.Near(t, "P-V3", between, 140*deg)
	ref.Near(t, "P-V3", turned, 220*deg)
}

// What is turned through is the length of the path, which a finer and slower sum
// of chords approaches from below; the ends are the first and the last that the
// camera sees.
func TestFieldAlongAnyLine(t *testing.T) {
	rng := rand.New(rand.NewPCG(77, 1))
	cameras := allCameras(t)
	for _, name := range slices.Sorted(maps.Keys(cameras)) {
		c := cameras[name]
		for range 3 {
			x0, y0, x1, y1 := 9000*rng.Float64(), 7000*rng.Float64(), 9000*rng.Float64(), 7000*rng.Float64()
			between, turned, ok := c.FieldAlong(x0, y0, x1, y1)
			back, turnedBack, ok2 := c.FieldAlong(x1, y1, x0, y0)
			const n = 5000
			sum, parts, open := 0.0, 0, false
			var first, last r3.Vec
			for i := range n + 1 {
				s := float64(i) / n
				d, seen := c.Unproject(x0+s*(x1-x0), y0+s*(y1-y0))
				switch {
				case seen && !open:
					parts++
					if parts == 1 {
						first = d
					}
				case seen:
					sum += math.Atan2(r3.Norm(r3.Cross(d, last)), r3.Dot(d, last))
				}
				if open = seen; seen {
					last = d
				}
			}
			if parts != 1 {
				if ok && parts == 0 {
					t.Errorf("%s: a field where nothing is seen", name)
				}
				continue
			}
			if !ok || !ok2 {
				t.Errorf("%s: no field along %v, %v to %v, %v", name, x0, y0, x1, y1)
				continue
			}
			step := 4e-3
			if strings.Contains(name, "orthographic") || strings.Contains(name, "measured") || strings.Contains(name, "stopping") {
				step = 4e-2 // at a rim
			}
			near.Abs(t, name+": turned", float64(turned), sum, step, "steps at the ends")
			near.Abs(t, name+": between", float64(between), math.Atan2(r3.Norm(r3.Cross(first, last)), r3.Dot(first, last)), 2*step, "steps at the ends")
			near.Abs(t, name+": back", float64(turnedBack+back), float64(turned+between), 1e-7, "the root of rounding at a rim")
			if turned < between-1e-12 {
				t.Errorf("%s: %v turned, %v between", name, turned, between)
			}
		}
	}
	// Where a distortion stretches the image, MaxAngle ends it farther out: at
	// 1·(1 + 0.3·1) focal lengths.
	bent := distorted(t, shear{0.3, 0, 2}, func(s *projection.CameraSpec) { s.MaxAngle = 1 })
	_, wide, ok := bent.FieldAlong(0, 970, 3000, 970)
	if !ok {
		t.Error("no field along a stretched row")
	}
	near.Abs(t, "stretched", float64(wide), 2, 1e-12, "roundings")

	// The stated error, without a rim: chords of a ten thousandth of the line.
	c := allCameras(t)["polynomial measured"]
	_, got, _ := c.FieldAlong(3000, 2000, 6000, 2100)
	sum := [2]float64{}
	for k, n := range []int{10000, 20000} {
		last, _ := c.Unproject(3000, 2000)
		for i := 1; i <= n; i++ {
			s := float64(i) / float64(n)
			d, _ := c.Unproject(3000+s*3000, 2000+s*100)
			sum[k] += math.Atan2(r3.Norm(r3.Cross(d, last)), r3.Dot(d, last))
			last = d
		}
	}
	near.Rel(t, "turned", float64(got), sum[1]+(sum[1]-sum[0])/3, 1e-9, "stated")
}

func TestNoFieldAlong(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	c := camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 100, FocalY: 100, Width: 500, Height: 300, MaxAngle: 1})
	for _, e := range [][4]float64{
		{nan, 0, 1, 1}, {0, 0, 1, inf}, {0, 0, 0, 1e10}, {10, 10, 10, 10},
		{0, 0, 40, 0}, {0, 0, 0, 300}, {-10, 5, -10, 295}, {0, 400, 500, 400},
	} {
		if a, b, ok := c.FieldAlong(e[0], e[1], e[2], e[3]); ok || a != 0 || b != 0 {
			t.Errorf("%v: %v, %v", e, a, b)
		}
	}
	if _, _, ok := (projection.Camera{}).FieldAlong(0, 0, 1, 1); ok {
		t.Error("the zero Camera has a field")
	}
	// From a point of the image outwards.
	if _, turned, ok := c.FieldAlong(250, 150, 1000, 150); !ok || math.Abs(float64(turned)-1) > 1e-12 {
		t.Errorf("to the rim: %v, %v", turned, ok)
	}
	// A vertical and a horizontal line, and one that misses the image by little.
	if _, turned, ok := c.FieldAlong(250, 0, 250, 300); !ok || math.Abs(float64(turned)-2) > 1e-12 {
		t.Errorf("down: %v, %v", turned, ok)
	}
	if _, _, ok := c.FieldAlong(0, 49.999, 500, 49.999); ok {
		t.Error("a line beside the image circle is seen")
	}
	if _, _, ok := c.FieldAlong(0, 50.001, 500, 50.001); !ok {
		t.Error("a line that cuts the image circle is not seen")
	}
}
