package projection_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

func oddPolynomial(t testing.TB, limit unit.Angle, c ...float64) projection.Bounded {
	t.Helper()
	m, err := projection.NewOddPolynomial(projection.OddPolynomialSpec{Coefficients: c, MaxAngle: limit})
	require.NoError(t, err)
	return m
}

func tableOf(points ...float64) ([]projection.TablePoint, func(testing.TB) projection.Bounded) {
	var p []projection.TablePoint
	for i := 0; i+1 < len(points); i += 2 {
		p = append(p, projection.TablePoint{Angle: unit.Angle(points[i]), Height: points[i+1]})
	}
	return p, func(t testing.TB) projection.Bounded {
		t.Helper()
		m, err := projection.NewTable(p)
		require.NoError(t, err)
		return m
	}
}

// measuredModels are models of every kind that has an inverse of its own.
func measuredModels(t testing.TB) map[string]projection.Model {
	_, lens := tableOf(0, 0, 0.2, 0.199, 0.4, 0.39, 0.7, 0.66, 0.9, 0.81, 1.3, 1.05, 1.8, 1.2)
	_, steps := tableOf(0.1, 1e-3, 0.5, 2, 0.51, 2.001, 3, 900)
	return map[string]projection.Model{
		"measured fisheye": measuredFisheye(t),
		"one term":         oddPolynomial(t, 0, 1.3),
		"pixels":           oddPolynomial(t, 1.5, 3000, -120, 7),
		"calibrated part":  oddPolynomial(t, 0.9, 1, -0.1, 0.02, -0.01, 0.001, -0.0001),
		"nearly stopping":  oddPolynomial(t, 0, 1, -2./3, 0.2+1e-7), // slope (1 − θ²)² and a little
		"stops at once":    oddPolynomial(t, 0, 1e-6, -1e9),
		"steep":            oddPolynomial(t, 0, 1e-3, 0, 0, 0, 0, 50),
		"sixteen terms":    oddPolynomial(t, 0, 1, -0.01, 1e-3, -1e-4, 1e-5, 1e-6, 0, 1e-7, 0, 0, 0, 0, 0, 0, 0, 1e-9),
		"table":            lens(t),
		"table, uneven":    steps(t),
	}
}

// There and back at random and at both ends, to what the roundings of the radius
// allow: 1e-12 rad wherever the slope is not lost.
func TestMeasuredModelsRoundTrip(t *testing.T) {
	for name, m := range measuredModels(t) {
		end := float64(m.MaxAngle())
		rEnd, ok := m.Radius(m.MaxAngle())
		require.True(t, ok, "%s: no radius at its end", name)
		if back, ok := m.Angle(rEnd); !ok || math.Abs(float64(back)-end) > 1e-7*end {
			t.Errorf("%s: the end comes back as %v, %v, not %v", name, back, ok, end)
		}
		rng := rand.New(rand.NewPCG(3, 3))
		for i := range 20_000 {
			theta := end * rng.Float64()
			switch {
			case i%4 == 1: // near the axis
				theta = end * math.Pow(10, -20*rng.Float64())
			case i%4 == 2: // near the end
				theta = end * (1 - math.Pow(10, -12*rng.Float64()))
			}
			r, ok := m.Radius(unit.Angle(theta))
			slope, ok2 := m.Slope(unit.Angle(theta))
			back, ok3 := m.Angle(r)
			require.True(t, ok && ok2 && ok3 && back >= 0 && back <= m.MaxAngle(), "%s at %v: %v, %v, %v: %v", name, theta, ok, ok2, ok3, back)
			again, _ := m.Radius(back)
			assert.InDelta(t, r, again, 1e-15*(r+rEnd/4+theta*slope), name+": radius of the angle"+": roundings of sums of terms, and of the angle")
			if slope*end > 1e-2*rEnd {
				assert.InDelta(t, theta, float64(back), 1e-12*end, name+": angle"+": what is asked")
				assert.InDelta(t, theta, float64(back), 1e-14*(theta+end*1e-3)*max(1, rEnd/(slope*end)), name+": angle, near the axis"+": roundings over the slope")
			}
		}
		for _, theta := range []unit.Angle{-1e-300, m.MaxAngle() * (1 + 1e-15), 4, unit.Angle(math.NaN()), unit.Angle(math.Inf(1)), unit.Angle(math.Inf(-1))} {
			if r, ok := m.Radius(theta); ok || r != 0 {
				t.Errorf("%s: radius %v at %v", name, r, theta)
			}
			if s, ok := m.Slope(theta); ok || s != 0 {
				t.Errorf("%s: slope %v at %v", name, s, theta)
			}
		}
		for _, r := range []float64{-1e-300, rEnd * (1 + 1e-15), math.NaN(), math.Inf(1), math.Inf(-1)} {
			a, ok := m.Angle(r)
			assert.True(t, !ok && a == 0, "%s: angle %v at %v", name, a, r)
		}
		if r, ok := m.Radius(0); r != 0 || !ok {
			t.Errorf("%s: radius %v, %v on the axis", name, r, ok)
		}
		if a, ok := m.Angle(0); a != 0 || !ok {
			t.Errorf("%s: angle %v, %v on the axis", name, a, ok)
		}
		// Any of them serves a camera.
		trial.Camera(t, projection.CameraSpec{Model: m, FocalX: 100, FocalY: 100, Width: 100, Height: 100})
	}
}

// The radius grows throughout, and the slope is its derivative.
func TestMeasuredModelsGrow(t *testing.T) {
	for name, m := range measuredModels(t) {
		end := float64(m.MaxAngle())
		last, _ := m.Radius(0)
		rEnd, _ := m.Radius(m.MaxAngle())
		for i := 1; i <= 5000; i++ {
			theta := end * float64(i) / 5000
			r, _ := m.Radius(unit.Angle(theta))
			assert.True(t, r >= last, "%s: %v falls to %v at %v", name, last, r, theta)
			last = r
			h := end * 1e-6
			if theta+h > end {
				continue
			}
			below, _ := m.Radius(unit.Angle(theta - h))
			above, _ := m.Radius(unit.Angle(theta + h))
			slope, _ := m.Slope(unit.Angle(theta))
			assert.InDelta(t, (above-below)/(2*h)*end, slope*end, 2e-4*rEnd, name+": slope"+": differences, across a point of a table")
		}
	}
}

func TestOddPolynomialEnds(t *testing.T) {
	for _, e := range []struct {
		what  string
		limit unit.Angle
		c     []float64
		want  float64
		tol   float64
	}{
		{"straight", 0, []float64{2}, math.Pi, 0},
		{"θ − θ³/3", 0, []float64{1, -1. / 3}, 1, 1e-15},
		{"limit before the stop", 0.5, []float64{1, -1. / 3}, 0.5, 0},
		{"limit after the stop", 2, []float64{1, -1. / 3}, 1, 1e-15},
		{"stop beyond 180°", 0, []float64{1, -1. / 30.1}, math.Pi, 0},
		{"slope (1 − θ²)², which touches 0", 0, []float64{1, -2. / 3, 1. / 5}, 1, 1e-7},
		// The slope is (1 − θ²)² − 1e-12: below 0 over 1e-6 rad, which no grid of
		// angles would meet.
		{"a short stop", 0, []float64{1 - 1e-12, -2. / 3, 1. / 5}, 1 - 5e-7, 1e-9},
		{"trailing zeros", 0, []float64{1, -1. / 3, 0, 0, 0}, 1, 1e-15},
	} {
		m := oddPolynomial(t, e.limit, e.c...)
		assert.InDelta(t, e.want, float64(m.MaxAngle()), e.tol, e.what+": roundings of a root, a double one to half the digits")
	}
	for _, e := range []struct {
		spec projection.OddPolynomialSpec
		want string
	}{
		{projection.OddPolynomialSpec{}, "projection: number of coefficients 0: must be at least 1 and at most 16"},
		{projection.OddPolynomialSpec{Coefficients: make([]float64, 17)}, "number of coefficients 17"},
		{projection.OddPolynomialSpec{Coefficients: []float64{0, 1}}, "coefficient of θ^1 0: must be at least 1e-06"},
		{projection.OddPolynomialSpec{Coefficients: []float64{-1}}, "coefficient of θ^1 -1"},
		{projection.OddPolynomialSpec{Coefficients: []float64{1, math.NaN(), math.Inf(1)}, MaxAngle: -1}, "θ^3 NaN: must be at least -1e+09 and at most 1e+09\nprojection: coefficient of θ^5 +Inf: must be at least -1e+09 and at most 1e+09\nprojection: largest angle"},
		{projection.OddPolynomialSpec{Coefficients: []float64{1}, MaxAngle: 181 * deg}, "largest angle 181°: must be at least 0° and at most 180°"},
	} {
		m, err := projection.NewOddPolynomial(e.spec)
		trial.Refuses(t, projection.ErrInvalid, err, e.want)
		assert.True(t, m == nil, "%+v: %v, want %q", e.spec, err, e.want)
	}
	// At the limits themselves.
	widest := make([]float64, 16)
	widest[0], widest[15] = 1e6, 1e9
	assert.EqualValues(t, math.Pi, oddPolynomial(t, math.Pi, widest...).MaxAngle())
	oddPolynomial(t, 0, 1e-6, -1e9)
	// Coefficients are copied.
	c := []float64{1, -0.1}
	m := oddPolynomial(t, 0, c...)
	before, _ := m.Radius(1)
	c[1] = 5
	if after, _ := m.Radius(1); after != before {
		t.Error("the caller's slice changed the lens")
	}
	assert.Equal(t, "r = 1·θ − 0.25·θ^3 + 0·θ^5 + 0.5·θ^7, θ ≤ 28.6479°", fmt.Sprint(oddPolynomial(t, 0.5, 1, -0.25, 0, 0.5)))
}

func TestTables(t *testing.T) {
	// Every point is met exactly, with the origin given or not.
	points, build := tableOf(0.2, 0.199, 0.4, 0.39, 0.7, 0.66, 0.9, 0.81, 1.3, 1.05)
	m := build(t)
	for _, p := range points {
		r, _ := m.Radius(p.Angle)
		theta, _ := m.Angle(p.Height)
		assert.True(t, r == p.Height && theta == p.Angle, "%v: radius %v, angle %v", p, r, theta)
	}
	with, err := projection.NewTable(append([]projection.TablePoint{{}}, points...))
	require.NoError(t, err)
	for theta := unit.Angle(0); theta < 1.3; theta += 0.01 {
		a, _ := m.Radius(theta)
		b, _ := with.Radius(theta)
		assert.True(t, a == b, "the origin changes the radius at %v: %v, %v", theta, a, b)
	}
	// Denser tables of a known lens: at least four times nearer by halving.
	last := math.Inf(1)
	for n := 8; n <= 128; n *= 2 {
		var p []projection.TablePoint
		for i := 1; i <= n; i++ {
			theta := unit.Angle(1.5 * float64(i) / float64(n))
			r, _ := projection.Equisolid.Radius(theta)
			p = append(p, projection.TablePoint{Angle: theta, Height: r})
		}
		m, err := projection.NewTable(p)
		require.NoError(t, err)
		worst := 0.0
		for theta := unit.Angle(0); theta <= 1.5; theta += 1e-4 {
			got, _ := m.Radius(theta)
			want, _ := projection.Equisolid.Radius(theta)
			worst = max(worst, math.Abs(got-want))
		}
		assert.True(t, worst < last/4, "%d points: error %v, after %v", n, worst, last)
		last = worst
	}
	assert.True(t, last <= 1e-7, "128 points: error %v", last)
	// At the limits themselves.
	for _, p := range [][]float64{{1e-9, 1e-9, math.Pi, 1e6}, {1, 1, 2, 1 + 2e-9}, {1, 1, 1 + 2e-9, 2}} {
		points, _ := tableOf(p...)
		_, err := projection.NewTable(points)
		assert.NoError(t, err, "%v", p)
	}
	for want, p := range map[string][]float64{
		"angle of point 0 5.7":                                      {0.999e-9, 1, 2, 2},
		"angle of point 1 180":                                      {1, 1, math.Pi + 1e-12, 2},
		"height of point 0 9.99e-10":                                {1, 0.999e-9, 2, 2},
		"height of point 1 1.000001e+06":                            {1, 1, 2, 1.000001e6},
		"number of points besides the origin 0":                     {},
		"number of points besides the origin 1: must be at least 2": {0, 0, 1, 1},
		"angle of point 1 11.4592°: must be at least 1e-9 rad more": {0.2, 0.1, 0.2, 0.2, 0.3, 0.3},
		"angle of point 1 5.7":                                      {0.2, 0.1, 0.1, 0.2, 0.3, 0.3},
		"height of point 1 0.1":                                     {0.2, 0.1, 0.3, 0.1, 0.4, 0.3},
		"height of point 2 0.05: must be at least 1e-9 more than the one before, 0.2, and at most 1e6": {0.2, 0.1, 0.3, 0.2, 0.4, 0.05},
		"height of point 0 NaN":   {0.2, math.NaN(), 0.3, 0.2},
		"angle of point 0 NaN°":   {math.NaN(), 0.1, 0.3, 0.2},
		"height of point 1 +Inf":  {0.1, 0.1, 0.3, math.Inf(1)},
		"angle of point 1 180.0":  {0.1, 0.1, 3.1417, 3},
		"height of point 0 0: mu": {0.1, 0, 0.2, 1},
		"angle of point 0 0°: mu": {0, 0.1, 0.2, 1, 0.3, 2},
	} {
		points, _ := tableOf(p...)
		m, err := projection.NewTable(points)
		trial.Refuses(t, projection.ErrInvalid, err, want)
		assert.True(t, m == nil, "%v: %v, want %q", p, err, want)
	}
}

// distortions are real ones, and each kind of term made large.
var distortions = map[string]projection.BrownConradySpec{
	"none":       {},
	"board":      {K1: -0.26637260909660682, K2: -0.038588898922304653, P1: 0.0017831947042852964, P2: -0.00028122100441115472, K3: 0.23839153080878486, MaxRadius: 1},
	"tutorial":   {K1: -0.41802327176423804, K2: 0.50715244063187526, K3: -0.57843597214487474},
	"barrel":     {K1: -0.3},
	"pincushion": {K1: 0.3, K2: 0.1, MaxRadius: 3},
	"rational":   {K1: 0.9, K2: 0.05, K3: 0.001, K4: 1.2, K5: 0.2, K6: 0.01, MaxRadius: 4},
	"p1":         {P1: 0.06},
	"s2":         {S2: -0.15},
	"tangential": {P1: 0.05, P2: -0.03},
	"prism":      {S1: 0.05, S2: 0.01, S3: -0.04, S4: 0.02},
	"all":        {K1: -0.1, K2: 0.02, K3: -0.003, K4: 0.05, K5: 0.01, K6: 0.001, P1: 0.01, P2: 0.02, S1: 0.01, S2: -0.002, S3: 0.003, S4: 0.004},
}

func TestBrownConradyRoundTrip(t *testing.T) {
	for name, spec := range distortions {
		d := brownConrady(t, spec)
		end := min(maxRadius(d), 10)
		rng := rand.New(rand.NewPCG(7, 7))
		for i := range 10_000 {
			r := end * math.Sqrt(rng.Float64())
			switch {
			case i%4 == 1:
				r = end * math.Pow(10, -20*rng.Float64())
			case i%4 == 2:
				r = end * (1 - math.Pow(10, -16*rng.Float64()))
			}
			sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
			x, y := r*cos, r*sin
			u, v, ok := d.Distort(x, y)
			gx, gy, ok2 := d.Undistort(u, v)
			ux, uy, vx, vy, ok3 := d.Jacobian(x, y)
			require.True(t, ok && ok2 && ok3, "%s at (%v, %v): %v, %v, %v", name, x, y, ok, ok2, ok3)
			gu, gv, ok := d.Distort(gx, gy)
			require.True(t, ok, "%s: (%v, %v) is outside", name, gx, gy)
			assert.InDelta(t, 0, math.Hypot(gu-u, gv-v), 1e-12*max(1, math.Hypot(u, v)), name+": image of the inverse"+": what is promised")
			// The least stretch is at least that of the symmetric part.
			least := (ux+vy)/2 - math.Hypot((ux-vy)/2, (uy+vx)/2)
			if least > 1e-3 {
				assert.InDelta(t, 0, math.Hypot(gx-x, gy-y), 4e-15*(1+math.Hypot(u, v))/least, name+": inverse"+": roundings over the least stretch")
			}
			assert.True(t, least > -1e-9*(1+math.Abs(ux)+math.Abs(vy)), "%s at (%v, %v), radius %v of %v: folds, %v", name, x, y, r, end, least)
			const h = 1e-6
			if r+2*h > end || i%4 == 1 {
				continue
			}
			u1, v1, _ := d.Distort(x+h, y)
			u0, v0, _ := d.Distort(x-h, y)
			u3, v3, _ := d.Distort(x, y+h)
			u2, v2, _ := d.Distort(x, y-h)
			scale := 1 + math.Abs(ux) + math.Abs(vy)
			assert.InDelta(t, (u1-u0)/(2*h), ux, 1e-8*scale, name+": ux"+": differences")
			assert.InDelta(t, (v1-v0)/(2*h), vx, 1e-8*scale, name+": vx"+": differences")
			assert.InDelta(t, (u3-u2)/(2*h), uy, 1e-8*scale, name+": uy"+": differences")
			assert.InDelta(t, (v3-v2)/(2*h), vy, 1e-8*scale, name+": vy"+": differences")
		}
		// Outside: no answer, and none invented.
		r := maxRadius(d) * (1 + 1e-9)
		if _, _, ok := d.Distort(r, 0); ok {
			t.Errorf("%s images %v", name, r)
		}
		if _, _, _, _, ok := d.Jacobian(0, r); ok {
			t.Errorf("%s has a derivative at %v", name, r)
		}
		for _, p := range [][2]float64{{math.NaN(), 0}, {0, math.NaN()}, {math.Inf(1), 0}, {0, math.Inf(-1)}, {1e200, 1e200}} {
			if u, v, ok := d.Distort(p[0], p[1]); ok || u != 0 || v != 0 {
				t.Errorf("%s images %v at %v, %v", name, p, u, v)
			}
			if x, y, ok := d.Undistort(p[0], p[1]); ok || x != 0 || y != 0 {
				t.Errorf("%s undistorts %v to %v, %v", name, p, x, y)
			}
		}
	}
	// Beyond the fold of a barrel, 2/3 of 1/√0.9 from the axis, there is nothing.
	d := brownConrady(t, distortions["barrel"])
	rim := 2. / 3 / math.Sqrt(0.9)
	for _, k := range []float64{1 + 1e-9, 1.1, 5, 1e10} {
		x, y, ok := d.Undistort(rim*k*0.6, rim*k*0.8)
		assert.False(t, ok, "%v times the rim comes from %v, %v", k, x, y)
	}
	if _, _, ok := d.Undistort(rim*0.6*(1-1e-9), rim*0.8*(1-1e-9)); !ok {
		t.Error("nothing just inside the rim")
	}
}

func TestNewBrownConradyRefuses(t *testing.T) {
	nan := math.NaN()
	for _, e := range []struct {
		spec projection.BrownConradySpec
		want string
	}{
		{projection.BrownConradySpec{K1: nan, S4: math.Inf(1)}, "projection: k1 NaN: must be at least -1e+06 and at most 1e+06\nprojection: s4 +Inf"},
		{projection.BrownConradySpec{P2: 1e7}, "p2 1e+07"},
		{projection.BrownConradySpec{MaxRadius: -1}, "largest radius -1: must be at least 0 and at most 1e+09"},
	} {
		d, err := projection.NewBrownConrady(e.spec)
		trial.Refuses(t, projection.ErrInvalid, err, e.want)
		assert.True(t, d == nil, "%+v: %v, want %q", e.spec, err, e.want)
	}
}

func TestMeasuredModelsAllocateNothing(t *testing.T) {
	models := measuredModels(t)
	d := brownConrady(t, distortions["all"])
	assert.Zero(t, testing.AllocsPerRun(100, func() {
		for _, m := range models {
			r, _ := m.Radius(m.MaxAngle() / 3)
			theta, _ := m.Angle(r)
			m.Slope(theta)
		}
		u, v, _ := d.Distort(0.3, 0.2)
		d.Undistort(u, v)
		d.Jacobian(u, v)
	}))
}

func BenchmarkMeasuredModels(b *testing.B) {
	models := map[string]projection.Model{"equisolid": projection.Equisolid, "odd polynomial": measuredFisheye(b), "table": measuredModels(b)["table"]}
	for name, m := range models {
		var thetas [1024]unit.Angle
		var radii [1024]float64
		for i := range thetas {
			thetas[i] = m.MaxAngle() * unit.Angle(i) / 1024
			radii[i], _ = m.Radius(thetas[i])
		}
		trial.Benchmark(b, "radius/"+name, "directions", func(i int) { m.Radius(thetas[i%1024]) })
		trial.Benchmark(b, "angle/"+name, "directions", func(i int) { m.Angle(radii[i*397%1024]) })
	}
	for _, name := range []string{"board", "rational", "all"} {
		d := brownConrady(b, distortions[name])
		var at [1024][4]float64
		rng := rand.New(rand.NewPCG(1, 1))
		for i := range at {
			r := min(maxRadius(d), 0.7) * math.Sqrt(rng.Float64())
			sin, cos := math.Sincos(float64(i))
			u, v, _ := d.Distort(r*cos, r*sin)
			at[i] = [4]float64{r * cos, r * sin, u, v}
		}
		trial.Benchmark(b, "distort/"+name, "positions", func(i int) { d.Distort(at[i%1024][0], at[i%1024][1]) })
		trial.Benchmark(b, "undistort/"+name, "positions", func(i int) { d.Undistort(at[i%1024][2], at[i%1024][3]) })
	}
}

// What is measured is written to JSON as its spec.
func TestMeasuredModelsInJSON(t *testing.T) {
	table := trial.Must[projection.Bounded](t)(projection.NewTable([]projection.TablePoint{{Angle: 1, Height: 0.5}, {Angle: 2, Height: 1}}))
	for want, v := range map[string]any{
		`{"Coefficients":[1,-0.125],"MaxAngle":0.5}`:                                                              oddPolynomial(t, 0.5, 1, -0.125),
		`[{"Angle":0,"Height":0},{"Angle":1,"Height":0.5},{"Angle":2,"Height":1}]`:                                table,
		`{"K1":-0.25,"K2":0,"K3":0,"K4":0,"K5":0,"K6":0,"P1":0,"P2":0,"S1":0,"S2":0,"S3":0,"S4":0,"MaxRadius":1}`: brownConrady(t, projection.BrownConradySpec{K1: -0.25, MaxRadius: 1}),
	} {
		text, err := json.Marshal(v)
		require.NoError(t, err)
		assert.JSONEq(t, want, string(text))
	}

	// Read back into the spec, the JSON gives the same model, to the last bit.
	again := func(from any, into any) {
		t.Helper()
		text, err := json.Marshal(from)
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(text, into))
	}
	for _, p := range []projection.Bounded{oddPolynomial(t, 0, 1, -0.125, 1.0/3), oddPolynomial(t, 0.7, 1, -0.1)} {
		var spec projection.OddPolynomialSpec
		again(p, &spec)
		assert.Equal(t, p, trial.Must[projection.Bounded](t)(projection.NewOddPolynomial(spec)))
	}
	var points []projection.TablePoint
	again(table, &points)
	assert.Equal(t, table, trial.Must[projection.Bounded](t)(projection.NewTable(points)))
	for _, want := range []projection.BrownConradySpec{{K1: -0.25}, {K1: 0.1, K2: -0.03, K3: 0.004, K4: 0.2, K5: 0.05, K6: 0.006, P1: 1e-3, P2: -2e-3, S1: 3e-4, S2: 4e-4, S3: -5e-4, S4: 6e-4, MaxRadius: 1.5}} {
		var spec projection.BrownConradySpec
		again(brownConrady(t, want), &spec)
		assert.Equal(t, want, spec)
	}
	assert.Contains(t, fmt.Sprint(brownConrady(t, projection.BrownConradySpec{K1: -0.25})), "K1:-0.25")
}
