package projection_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"example.com/platewright/projection/rig"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// turned is a direction that has turned by small angles to the right and up.
func turned(p r3.Vec, j projection.Jacobian, right, up float64) r3.Vec {
	a := math.Hypot(right, up)
	if a == 0 {
		return p
	}
	along := r3.Add(r3.Scale(right/a, j.Right), r3.Scale(up/a, j.Up))
	return r3.Add(r3.Scale(math.Cos(a), p), r3.Scale(math.Sin(a), along))
}

// The Jacobian is what the mapping does to a small turn, for every kind of
// camera, axis included.
func TestJacobianIsTheDerivative(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 2))
	cameras := allCameras(t)
	for _, name := range slices.Sorted(maps.Keys(cameras)) {
		c := cameras[name]
		axis, _ := c.Unproject(4512, 3460)
		dirs := []r3.Vec{axis, r3.Unit(r3.Add(axis, r3.Vec{X: 1e-9}))}
		for len(dirs) < 40 {
			if d, ok := c.Unproject(4512+6000*rng.NormFloat64(), 3460+6000*rng.NormFloat64()); ok {
				dirs = append(dirs, d)
			}
		}
		for _, d := range dirs {
			j, ok := c.Jacobian(r3.Scale(3, d))
			require.True(t, ok, "%s: none at %v", name, d)
			for _, pair := range [][3]float64{
				{r3.Norm(j.Right), 1}, {r3.Norm(j.Up), 1}, {r3.Dot(j.Right, j.Up), 0}, {r3.Dot(j.Right, d), 0}, {r3.Dot(j.Up, d), 0},
				{r3.Dot(r3.Cross(j.Right, j.Up), d), -1}, // seen from the camera, up is left of right
			} {
				assert.InDelta(t, pair[1], pair[0], 1e-14, name+": frame"+": roundings; next to the axis those of its length")
			}
			const h = 1e-5
			var m [4]float64
			imaged := true
			for k := range 2 {
				r, u := h*float64(1-k), h*float64(k)
				x0, y0, ok0 := c.Project(turned(d, j, -r, -u))
				x1, y1, ok1 := c.Project(turned(d, j, r, u))
				m[k], m[2+k] = (x1-x0)/(2*h), (y1-y0)/(2*h)
				imaged = imaged && ok0 && ok1
			}
			size := max(math.Abs(j.XRight), math.Abs(j.XUp), math.Abs(j.YRight), math.Abs(j.YUp))
			x, y, _ := c.Project(d)
			if far := math.Hypot(x-4512, y-3460); !imaged || far > 30000 || size > 50000 {
				continue // a rim between, or an angle to which differences are coarse
			}
			det := j.XRight*j.YUp - j.XUp*j.YRight
			// The third derivative, relative, is some 1/δ² at δ from a rim.
			tol := size*1e-7 + 1e-6
			for k, got := range []float64{j.XRight, j.XUp, j.YRight, j.YUp} {
				assert.InDelta(t, m[k], got, tol, fmt.Sprint(name, k)+": differences over 2e-5 rad")
			}
			assert.True(t, det < 0, "%s: det %v: mirrored", name, det)
			// Density is the same told otherwise: the radius and across it, and the
			// least of all directions.
			density, _ := c.Density(d)
			least, most := math.Inf(1), 0.0
			for i := range 720 {
				s, co := math.Sincos(float64(i) * math.Pi / 720)
				v := math.Hypot(j.XRight*co+j.XUp*s, j.YRight*co+j.YUp*s) * math.Pi / 180
				least, most = min(least, v), max(most, v)
			}
			assert.InEpsilon(t, least, density.Least, 3e-6*(most/least)*(most/least), name+": least"+": half steps of 1/4°")
			assert.True(t, density.Least <= min(density.Radial, density.Tangential)*(1+1e-12) && max(density.Radial, density.Tangential) <= most*(1+1e-5), "%s: %+v, but %v … %v", name, density, least, most)
		}
	}
}

// In Snyder's worked examples the scale along the radius and across it is
// printed; the axes of the Jacobian there are turned by the azimuth.
func TestJacobianOfPublishedScales(t *testing.T) {
	for _, e := range []struct {
		f        projection.Form
		lon, lat float64
		k        float64 // printed k′: across the radius
		radial   func(k float64) float64
	}{
		{projection.Rectilinear, -110, 30, 1.0259262, func(k float64) float64 { return k * k }},
		{projection.Stereographic, -75, 30, 1.0402304, func(k float64) float64 { return k }},
		{projection.Equidistant, 100, -20, 6.0477621, func(k float64) float64 { return 1 }},
		{projection.Equisolid, 100, -20, 4.3912175, func(k float64) float64 { return 1 / k }},
	} {
		c := mapCamera(t, e.f, 1, -100, 40)
		j, ok := c.Jacobian(trial.Toward(e.lon, e.lat))
		assert.True(t, ok, "%v: no Jacobian", e.f)
		// Frobenius norm and determinant are those of the diagonal of scales.
		h := e.radial(e.k)
		norm := math.Hypot(math.Hypot(j.XRight, j.XUp), math.Hypot(j.YRight, j.YUp))
		ref.Near(t, "P-J1", norm, math.Hypot(h, e.k), e.f, "norm")
		ref.Near(t, "P-J1", j.XUp*j.YRight-j.XRight*j.YUp, h*e.k, e.f, "determinant")
	}
}

// On the axis a turn to the right moves the image right, a turn up moves it up,
// where y is smaller.
func TestJacobianSigns(t *testing.T) {
	for _, f := range forms {
		c := trial.Camera(t, projection.CameraSpec{Model: f, FocalX: 100, FocalY: 120, Width: 10, Height: 10, Pose: projection.Pose{Heading: 1}})
		pose := projection.Pose{Heading: 1}
		j, _ := c.Jacobian(pose.ToStage(r3.Vec{Z: -1}))
		assert.InDelta(t, 100, j.XRight, 1e-13, "x right: roundings")
		assert.InDelta(t, -120, j.YUp, 1e-13, "y up: roundings")
		assert.InDelta(t, 0, math.Abs(j.XUp)+math.Abs(j.YRight), 1e-12, "across: roundings")
		assert.InDelta(t, 0, r3.Norm(r3.Sub(j.Right, pose.ToStage(r3.Vec{X: 1}))), 1e-15, "right: roundings")
		assert.InDelta(t, 0, r3.Norm(r3.Sub(j.Up, r3.Vec{Y: 1})), 1e-15, "up: roundings")
	}
	// Carried along to the right, Right leads behind; Up stays.
	c := trial.Camera(t, projection.CameraSpec{Model: projection.Stereographic, FocalX: 100, FocalY: 100, Width: 10, Height: 10})
	j, _ := c.Jacobian(r3.Vec{X: 1})
	assert.InDelta(t, 0, r3.Norm(r3.Sub(j.Right, r3.Vec{Z: 1}))+r3.Norm(r3.Sub(j.Up, r3.Vec{Y: 1})), 1e-15, "right at the right: roundings")
}

func TestNoJacobian(t *testing.T) {
	var zero projection.Camera
	nan := math.NaN()
	if _, ok := zero.Jacobian(r3.Vec{Z: -1}); ok {
		t.Error("the zero Camera has a Jacobian")
	}
	c := mapCamera(t, projection.Orthographic, 1, 0, 0)
	for _, d := range []r3.Vec{{}, {X: nan}, {Z: math.Inf(1)}, {Z: 1}} {
		_, ok := c.Jacobian(d)
		assert.False(t, ok, "a Jacobian at %v", d)
	}

}

func TestSolidAngles(t *testing.T) {
	// On-axis rectangles by the closed form, 12 digits.
	for _, e := range []struct{ w, h, d, want float64 }{
		{1, 1, 1, 0.805431683161}, {10, 5, 3, 2.32444728037}, {6, 3, 2, 2.0908403519}, {12, 4, 4, 1.52509995154}, {2, 2, 1, 2.09439510239},
	} {
		c := trial.Camera(t, projection.CameraSpec{Model: projection.Rectilinear, FocalX: 100 * e.d, FocalY: 100 * e.d, Width: int(100 * e.w), Height: int(100 * e.h)})
		got, ok := c.SolidAngle(0, 0, 100*e.w, 100*e.h)
		assert.True(t, ok, "none")
		ref.Near(t, "P-J2", got, e.want, e)
	}
	for _, f := range forms {
		// Caps: the raster and more than it, round and cut by MaxAngle.
		for _, limit := range []float64{0.3, 1, 1.5, 2, 3} {
			if limit >= float64(f.MaxAngle()) {
				continue
			}
			c := trial.Camera(t, projection.CameraSpec{Model: f, FocalX: 100, FocalY: 130, Width: 1000, Height: 900, OffsetX: 20, MaxAngle: unit.Angle(limit)})
			got, ok := c.SolidAngle(-1e5, 1e5, 1e5, -1e5)
			assert.True(t, ok, "%v: none", f)
			ref.Near(t, "P-J3", got, 2*math.Pi*(1-math.Cos(limit)), f, limit)
			// A quadrant of it.
			got, _ = c.SolidAngle(520, 450, 1e5, -1e5)
			ref.Near(t, "P-J3", got, math.Pi/2*(1-math.Cos(limit)), f, limit, "quadrant")
			if got, ok = c.SolidAngle(520+130*31, 0, 520+130*32, 900); f != projection.Rectilinear && f != projection.Stereographic && (!ok || got > 1e-15) {
				t.Errorf("%v: %v sr beside the image", f, got)
			}
		}
		if f.MaxAngle() == 180*deg && f != projection.Stereographic {
			got, _ := mapCamera(t, f, 1, 0, 0).SolidAngle(-9, -9, 9, 9)
			ref.Near(t, "P-J3", got, 4*math.Pi, f, "the sphere")
		}
	}
	// Equal areas: pixels, and the raster.
	c := trial.Camera(t, projection.CameraSpec{Model: projection.Equisolid, FocalX: 2000, FocalY: 2500, Width: 6000, Height: 6000, MaxAngle: 2})
	for _, e := range [][4]float64{{3000, 3000, 3001, 3001}, {2999, 2999, 3001, 3001}, {2999.5, 2999.5, 3000.5, 3000.5}, {5400, 3300, 5401, 3301}, {600, 4000, 601, 4001}, {3001, 3010, 3002, 3011}, {2000, 1000, 5000, 4000}, {3000, 3000, 3000, 3001}} {
		got, ok := c.SolidAngle(e[0], e[1], e[2], e[3])
		assert.True(t, ok, "none")
		ref.Near(t, "P-J4", got, (e[2]-e[0])*(e[3]-e[1])/(2000*2500), e)
	}
}

// Pixels add up to the tile, tiles to the raster, and that to what the array
// measures, for every kind of camera; a pixel is the inverse of the determinant.
func TestSolidAnglesAddUp(t *testing.T) {
	cameras := allCameras(t)
	for _, name := range slices.Sorted(maps.Keys(cameras)) {
		c := cameras[name]
		whole, ok := c.SolidAngle(0, 0, 9000, 7000)
		if !ok {
			continue // a distortion that ends within
		}
		sum := 0.0
		for i := range 3 {
			for k := range 2 {
				w, ok := c.SolidAngle(3000*float64(i), 3500*float64(k), 3000*float64(i+1), 3500*float64(k+1))
				assert.True(t, ok, "%s: a tile has none", name)
				sum += w
			}
		}
		assert.InEpsilon(t, whole, sum, 2e-11, name+": stated")
		if a, err := rig.New(rig.Spec{Cameras: []projection.Camera{c}}); err == nil {
			cov, _ := a.Coverage(1e-3)
			assert.InDelta(t, cov.AtLeast[0], whole, cov.Error, name+": coverage"+": its bound")
		}
		for _, p := range [][2]float64{{4600, 3500}, {6000, 3000}, {3000, 5000}, {4511.5, 3459.5}} {
			d, ok := c.Unproject(p[0]+0.5, p[1]+0.5)
			if !ok {
				continue
			}
			j, _ := c.Jacobian(d)
			w, _ := c.SolidAngle(p[0], p[1], p[0]+1, p[1]+1)
			assert.InEpsilon(t, 1/(j.XUp*j.YRight-j.XRight*j.YUp), w, 1e-7, name+": pixel"+": curvature within a pixel of 3e-4 rad")
		}
	}
	// A raster of which every pixel is summed, the distorted one by the midpoint.
	c := distorted(t, shear{-0.05, 0.01, 3}, func(s *projection.CameraSpec) {
		s.FocalX, s.FocalY, s.Width, s.Height, s.OffsetX, s.OffsetY = 40, 44, 60, 50, 2, -3
	})
	whole, ok := c.SolidAngle(0, 0, 60, 50)
	pixels, midpoints := 0.0, 0.0
	for i := range 60 {
		for k := range 50 {
			x, y := float64(i), float64(k)
			w, _ := c.SolidAngle(x, y, x+1, y+1)
			pixels += w
			for _, u := range []float64{0.25, 0.75} {
				for _, v := range []float64{0.25, 0.75} {
					d, _ := c.Unproject(x+u, y+v)
					j, _ := c.Jacobian(d)
					midpoints += 0.25 / (j.XUp*j.YRight - j.XRight*j.YUp)
				}
			}
		}
	}
	assert.True(t, ok, "none")
	assert.InEpsilon(t, whole, pixels, 1e-12, "pixels: stated")
	assert.InEpsilon(t, whole, midpoints, 1e-5, "midpoints: midpoint rule at half a pixel of 1/40 rad")
}

// counting is an equisolid Model that counts how often it is inverted.
type counting struct {
	projection.Form
	n *int
}

func (c counting) Angle(r float64) (unit.Angle, bool) {
	*c.n++
	return c.Form.Angle(r)
}

// Rectangles far off the axis take no more work the smaller they are: roundings end the
// halving.
func TestSolidAngleOfSmallRectanglesIsQuick(t *testing.T) {
	n := 0
	c := trial.Camera(t, projection.CameraSpec{Model: counting{projection.Equisolid, &n}, FocalX: 2048, FocalY: 2048, Width: 6000, Height: 6000})
	for size := 1.0; size > 1e-4; size /= 2 {
		n = 0
		for i := range 10 {
			x, y := 200+float64(550*i), 700.0
			got, ok := c.SolidAngle(x, y, x+size, y+size)
			require.True(t, ok)
			assert.InDelta(t, size*size/(2048*2048), got, 1e-11*got+1e-15, "equal areas: stated")
		}
		assert.Less(t, n, 10*4*100, "inversions for sides of %v px: ten nodes on few parts of each edge", size)
	}
}

func TestNoSolidAngle(t *testing.T) {
	nan := math.NaN()
	c := mapCamera(t, projection.Equidistant, 1, 0, 0)
	whole, ok := c.SolidAngle(-1e9, -1e9, 1e9, 1e9)
	assert.True(t, ok, "corners at the limit")
	assert.InEpsilon(t, 4*math.Pi, whole, 1e-11, "the sphere: stated")
	for _, e := range [][4]float64{{nan, 0, 1, 1}, {0, nan, 1, 1}, {0, 0, math.Inf(1), 1}, {0, 0, 1, -1e300}, {-1.001e9, 0, 1, 1}, {0, 0, 1, 1.001e9}} {
		w, ok := c.SolidAngle(e[0], e[1], e[2], e[3])
		assert.True(t, !ok && w == 0, "%v: %v sr", e, w)
	}
	if _, ok := (projection.Camera{}).SolidAngle(0, 0, 1, 1); ok {
		t.Error("the zero Camera has a solid angle")
	}
	if w, ok := distorted(t, shear{0, 0, 0.5}, nil).SolidAngle(0, 0, 3000, 2000); ok {
		t.Errorf("%v sr where the distortion ends", w)
	}
}

// uneven is a table of an equisolid lens at so many angles, unevenly apart and
// off by a fifth of a step to either side, so that its curvature jumps.
func uneven(t testing.TB, n int) projection.Bounded {
	points := make([]projection.TablePoint, n)
	for i := range points {
		s := float64(i+1) / float64(n)
		theta := 1.4 * s * (1 + 0.3*math.Sin(2*s)) / (1 + 0.3*math.Sin(2))
		off := 0.2 / float64(n) * float64(i%2*2-1)
		points[i] = projection.TablePoint{Angle: unit.Angle(theta), Height: 2 * math.Sin((theta+off)/2)}
	}
	m, err := projection.NewTable(points)
	require.NoError(t, err)
	return m
}

// Tables bend at every point, and models of a user's own may bend anywhere: the
// error stated holds, or ok is false. The peer is Simpson's rule along each edge
// in the angle about the axis, many steps from bend to bend.
func TestSolidAngleOfDenseTables(t *testing.T) {
	for _, n := range []int{3, 20, 200, 2000} {
		m := uneven(t, n)
		spec := projection.CameraSpec{Model: m, FocalX: 2000, FocalY: 2000, Width: 2000, Height: 2000}
		c := trial.Camera(t, spec)
		got, ok := c.SolidAngle(0, 0, 2000, 2000)
		assert.True(t, ok, "%d points: none", n)
		// An eighth: ∫ (1 − cos θ(r)) dφ along x = 1/2, y = tan φ/2, with dφ = ½ dy/r².
		f := func(y float64) float64 {
			r2 := 0.25 + y*y
			theta, _ := m.Angle(math.Sqrt(r2))
			s := math.Sin(float64(theta) / 2)
			return 2 * s * s * 0.5 / r2
		}
		bends := []float64{0}
		for i := range n {
			s := float64(i+1) / float64(n)
			r, _ := m.Radius(unit.Angle(1.4 * s * (1 + 0.3*math.Sin(2*s)) / (1 + 0.3*math.Sin(2))))
			if y2 := r*r - 0.25; y2 > 0 && y2 < 0.25 {
				bends = append(bends, math.Sqrt(y2))
			}
		}
		bends = append(bends, 0.5)
		eighth := 0.0
		for i := 1; i < len(bends); i++ {
			steps := 60 + 2000/n
			h := (bends[i] - bends[i-1]) / float64(steps)
			for k := range steps {
				y := bends[i-1] + h*float64(k)
				eighth += h / 6 * (f(y) + 4*f(y+h/2) + f(y+h))
			}
		}
		assert.InEpsilon(t, 8*eighth, got, 1e-11, fmt.Sprint(n, " points")+": stated")

		// The same lens with a distortion that does nothing, and as a model of
		// which nothing is known.
		spec.Distortion = shear{0, 0, 2}
		if w, ok := trial.Camera(t, spec).SolidAngle(0, 0, 2000, 2000); !ok || math.Abs(w-got) > 1e-11*got {
			t.Errorf("%d points, distorted: %v, %v, not %v", n, w, ok, got)
		}
		spec.Distortion, spec.Model = nil, struct{ projection.Model }{m}
		if w, ok := trial.Camera(t, spec).SolidAngle(0, 0, 2000, 2000); ok && (n == 2000 || math.Abs(w-got) > 1e-11*got) {
			t.Errorf("%d points, unknown: %v, %v, not %v", n, w, ok, got)
		}
	}
}

// opening is a Model whose radius grows as a root towards its end at 1 rad: its
// slope is infinite there.
type opening struct{}

func (opening) MaxAngle() unit.Angle { return 1 }
func (opening) Radius(a unit.Angle) (float64, bool) {
	return 1 - math.Sqrt(float64(1-a)), a >= 0 && a <= 1
}
func (opening) Angle(r float64) (unit.Angle, bool) {
	return unit.Angle(r * (2 - r)), r >= 0 && r <= 1
}
func (opening) Slope(a unit.Angle) (float64, bool) {
	return 0.5 / math.Sqrt(float64(1-a)), a >= 0 && a <= 1
}

// No density and no Jacobian is infinite, nor any place in a picture.
func TestNoInfiniteDensity(t *testing.T) {
	c := trial.Camera(t, projection.CameraSpec{Model: opening{}, FocalX: 100, FocalY: 100, Width: 300, Height: 300})
	sin, cos := math.Sincos(1)
	seen := 0
	for _, out := range []float64{0, 1e-17, 1e-16, 3e-16, 1e-12, 1e-3} {
		dir := r3.Vec{X: sin - out, Z: -cos}
		if _, _, ok := c.Project(dir); ok {
			seen++
		}
		d, ok := c.Density(dir)
		assert.False(t, ok && math.IsInf(d.Radial, 0), "%+v", d)
		j, okJ := c.Jacobian(dir)
		assert.Equal(t, ok, okJ)
		_, err := json.Marshal([]any{d, j})
		assert.NoError(t, err)
	}
	assert.Equal(t, 6, seen)
}
