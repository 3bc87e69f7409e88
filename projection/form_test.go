package projection_test

import (
	"errors"
	"math"
	"math/big"
	"math/rand/v2"
	"strings"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

// Over the whole domain an angle comes back from its radius to a few ulp, as far
// as the radius, rounded, tells it.
func TestFormRoundTrip(t *testing.T) {
	for _, f := range forms {
		end := float64(f.MaxAngle())
		check := func(theta float64) {
			t.Helper()
			r, ok := f.Radius(unit.Angle(theta))
			if !ok {
				t.Errorf("%v has no radius at %v", f, theta)
				return
			}
			back, ok := f.Angle(r)
			if !ok {
				t.Errorf("%v has no angle at %v", f, r)
				return
			}
			slope, _ := f.Slope(unit.Angle(theta))
			// The radius is right to 1 ulp, and a rim is quadratic: the angle left is
			// no better than the root of what rounding has moved.
			ulp := 2.3e-16
			tol := 4*ulp*theta + min(2*ulp*r/slope, 2*math.Sqrt(2*ulp*r)) + 5e-324
			assert.InDelta(t, theta, float64(back), tol, f.String()+": rounding of the radius")
			if again, _ := f.Radius(back); true {
				tol := 4*ulp*r + 4*ulp*theta*slope + 5e-324
				assert.InDelta(t, r, again, tol, f.String()+" again"+": rounding of the angle")
			}
		}
		rng := rand.New(rand.NewPCG(1, uint64(f)))
		for range 20_000 {
			check(rng.Float64() * end)
			check(end * math.Pow(10, -300*rng.Float64()))
			// Towards the end.
			if theta := end * (1 - math.Pow(10, -1-15*rng.Float64())); theta < end {
				check(theta)
			}
		}
		for i := range 1001 {
			if theta := end * float64(i) / 1000; i < 1000 {
				check(theta)
			}
		}
		check(0)
		check(5e-324)
		check(math.Nextafter(end, 0))
	}
}

// Just inside the rim at r = R(1 − ε) the angle is short of it by
// δ = √(2ε)(1 + ε/12), twice that for the equisolid form's half angles.
func TestRimPrecision(t *testing.T) {
	for k := 20; k <= 52; k++ {
		eps := math.Pow(2, -float64(k))
		delta := math.Sqrt(2*eps) * (1 + eps/12)
		got, _ := projection.Orthographic.Angle(1 - eps)
		near.ULP(t, "orthographic", float64(got), math.Pi/2-delta, 2, "the series' next term is 1e-13 of δ")
		got, _ = projection.Equisolid.Angle(2 * (1 - eps))
		near.ULP(t, "equisolid", float64(got), math.Pi-2*delta, 2, "the series' next term is 1e-13 of δ")
	}
}

func TestFormDomainEnds(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	included := map[projection.Form]bool{projection.Equidistant: true, projection.Equisolid: true, projection.Orthographic: true}
	rim := map[projection.Form]float64{projection.Equidistant: math.Pi, projection.Equisolid: 2, projection.Orthographic: 1}
	for _, f := range append(forms, 0, 6, 255) {
		end := f.MaxAngle()
		for _, theta := range []unit.Angle{unit.Angle(nan), unit.Angle(inf), unit.Angle(-inf), -5e-324, -1, unit.Angle(math.Nextafter(float64(end), 4)), 4} {
			_, ok := f.Radius(theta)
			_, ok2 := f.Slope(theta)
			assert.True(t, !ok && !ok2, "%v images %v", f, float64(theta))
		}
		_, ok := f.Radius(end)
		_, ok2 := f.Slope(end)
		assert.True(t, ok == included[f] && ok2 == included[f], "%v at its end: %v, %v, want %v", f, ok, ok2, included[f])
		for _, r := range []float64{nan, inf, -inf, -5e-324, -1} {
			_, ok := f.Angle(r)
			assert.False(t, ok, "%v has an angle for the radius %v", f, r)
		}
		if r, ok := rim[f]; ok {
			if theta, ok := f.Angle(r); !ok || theta != end {
				t.Errorf("%v: the rim is at %v, %v", f, theta, ok)
			}
			if _, ok := f.Angle(math.Nextafter(r, 9)); ok {
				t.Errorf("%v has an angle beyond its rim", f)
			}
			for _, e := range []float64{1 - 1e-12, 1 + 1e-12} {
				theta, ok := f.Angle(r * e)
				assert.True(t, ok == (e < 1) && theta <= end, "%v at %v of its rim: %v, %v", f, e, theta, ok)
			}
		} else if f.MaxAngle() > 0 {
			theta, ok := f.Angle(math.MaxFloat64)
			assert.True(t, ok && theta < end, "%v at the largest radius: %v, %v", f, theta, ok)
		}
	}
	if end := projection.Form(0).MaxAngle(); end != 0 {
		t.Errorf("an invalid form reaches %v", end)
	}
}

// Slope is the derivative of Radius.
func TestSlopeIsTheDerivative(t *testing.T) {
	for _, f := range forms {
		for i := 1; i < 100; i++ {
			theta := float64(f.MaxAngle()) * float64(i) / 101
			const h = 1e-5
			a, _ := f.Radius(unit.Angle(theta - h))
			b, _ := f.Radius(unit.Angle(theta + h))
			slope, _ := f.Slope(unit.Angle(theta))
			assert.InEpsilon(t, (b-a)/(2*h), slope, 1e-6, f.String()+": differences over 2e-5 rad, to their third order near 90°")
		}
	}
}

func TestFormText(t *testing.T) {
	for _, f := range forms {
		text, err := f.MarshalText()
		var back projection.Form
		if err != nil || string(text) != f.String() || strings.ToLower(string(text)) != string(text) || back.UnmarshalText(text) != nil || back != f {
			t.Errorf("%v: %s, %v, %v", f, text, err, back)
		}
	}
	if _, err := projection.Form(0).MarshalText(); !errors.Is(err, projection.ErrInvalid) {
		t.Errorf("zero: %v", err)
	}
	if got := projection.Form(9).String(); got != "Form(9)" {
		t.Errorf("got %s", got)
	}
	for _, s := range []string{"", "Equisolid", "fisheye", "equisolid "} {
		f := projection.Equidistant
		if err := f.UnmarshalText([]byte(s)); !errors.Is(err, projection.ErrInvalid) || f != projection.Equidistant {
			t.Errorf("%q: %v, %v", s, err, f)
		}
	}
}

var forms = []projection.Form{projection.Rectilinear, projection.Stereographic, projection.Equidistant, projection.Equisolid, projection.Orthographic}

// The radii table: five columns in the order of the constants, NaN where the
// form has no image.
func TestRadii(t *testing.T) {
	none := math.NaN()
	for _, row := range []struct {
		degrees float64
		radii   [5]float64
	}{
		{1, [5]float64{0.0174550649282, 0.0174537355815, 0.0174532925199, 0.0174530709967, 0.0174524064373}},
		{10, [5]float64{0.176326980708, 0.174977327052, 0.174532925199, 0.174311485495, 0.173648177667}},
		{15, [5]float64{0.267949192431, 0.263304995175, 0.261799387799, 0.26105238444, 0.258819045103}},
		{20, [5]float64{0.363970234266, 0.352653961417, 0.349065850399, 0.347296355334, 0.342020143326}},
		{30, [5]float64{0.57735026919, 0.535898384862, 0.523598775598, 0.517638090205, 0.5}},
		{40, [5]float64{0.839099631177, 0.727940468532, 0.698131700798, 0.684040286651, 0.642787609687}},
		{45, [5]float64{1, 0.828427124746, 0.785398163397, 0.76536686473, 0.707106781187}},
		{50, [5]float64{1.19175359259, 0.93261531631, 0.872664625997, 0.845236523481, 0.766044443119}},
		{60, [5]float64{1.73205080757, 1.15470053838, 1.0471975512, 1, 0.866025403784}},
		{70, [5]float64{2.74747741945, 1.40041507642, 1.2217304764, 1.1471528727, 0.939692620786}},
		{80, [5]float64{5.67128181962, 1.67819926235, 1.3962634016, 1.28557521937, 0.984807753012}},
		{85, [5]float64{11.4300523028, 1.83266234803, 1.4835298642, 1.35118041523, 0.996194698092}},
		{89, [5]float64{57.2899616308, 1.96539452623, 1.55334303427, 1.4018185286, 0.999847695156}},
		{90, [5]float64{none, 2, 1.57079632679, 1.41421356237, 1}},
		{100, [5]float64{none, 2.38350718519, 1.74532925199, 1.53208888624, none}},
		{110, [5]float64{none, 2.85629601348, 1.91986217719, 1.63830408858, none}},
		{120, [5]float64{none, 3.46410161514, 2.09439510239, 1.73205080757, none}},
		{135, [5]float64{none, 4.82842712475, 2.35619449019, 1.84775906502, none}},
		{150, [5]float64{none, 7.46410161514, 2.61799387799, 1.93185165258, none}},
		{180, [5]float64{none, none, 3.14159265359, 2, none}},
	} {
		theta := unit.Angle(row.degrees) * deg
		for i, want := range row.radii {
			f := projection.Form(i + 1)
			r, ok := f.Radius(theta)
			if math.IsNaN(want) {
				assert.False(t, ok, "%v has radius %v at %v°", f, r, row.degrees)
				continue
			}
			ref.Near(t, "P-T1", r, want, f, row.degrees)
			// The printed digits of a radius give the angle to fewer where the
			// radius is flat: 89° and beyond of the orthographic.
			if slope, _ := f.Slope(theta); slope > 0.5 {
				if f == projection.Equidistant {
					want = min(want, math.Pi) // which is printed rounded up
				}
				back, ok := f.Angle(want)
				assert.True(t, ok, "%v has no angle at %v", f, want)
				ref.Near(t, "P-T1", back, theta, f, "inverse", row.degrees)
			}
		}
	}
}

func TestExactAnchors(t *testing.T) {
	for _, a := range []struct {
		f       projection.Form
		degrees float64
		r       float64
	}{
		{projection.Rectilinear, 45, 1},
		{projection.Stereographic, 90, 2},
		{projection.Equidistant, 90, math.Pi / 2},
		{projection.Equisolid, 60, 1},
		{projection.Equisolid, 90, math.Sqrt2},
		{projection.Equisolid, 180, 2},
		{projection.Orthographic, 30, 0.5},
		{projection.Orthographic, 90, 1},
	} {
		theta := unit.Angle(a.degrees) * deg
		r, _ := a.f.Radius(theta)
		ref.Near(t, "P-T2", r, a.r, a.f, a.degrees)
		back, _ := a.f.Angle(a.r)
		ref.Near(t, "P-T2", back, theta, a.f, "inverse", a.degrees)
	}
	for f, want := range map[projection.Form]unit.Angle{
		projection.Rectilinear: math.Pi / 2, projection.Orthographic: math.Pi / 2,
		projection.Stereographic: math.Pi, projection.Equidistant: math.Pi, projection.Equisolid: math.Pi,
	} {
		ref.Equal(t, "P-T3", f.MaxAngle(), want, f)
	}
}

// At one angle the bounds are the derivatives themselves.
func TestBoundsAtOneAngle(t *testing.T) {
	line := trial.Must[projection.Bounded](t)(projection.NewTable([]projection.TablePoint{{Angle: 1, Height: 0.5}, {Angle: 2, Height: 1}}))
	for _, tc := range []struct {
		model       projection.Bounded
		at          unit.Angle
		slope, bend float64
	}{
		{projection.Form(projection.Rectilinear), 45 * deg, 2, 4},
		{projection.Stereographic, 90 * deg, 2, 2},
		{projection.Equidistant, 130 * deg, 1, 0},
		{projection.Equisolid, 60 * deg, math.Sqrt(3) / 2, -0.25},
		{projection.Orthographic, 30 * deg, math.Sqrt(3) / 2, -0.5},
		{trial.Must[projection.Bounded](t)(projection.NewOddPolynomial(projection.OddPolynomialSpec{Coefficients: []float64{1, -1. / 6}})), 1, 0.5, -1},
		{line, 1.5, 0.5, 0},
	} {
		slope, low, high := tc.model.Bounds(tc.at, tc.at)
		ref.Near(t, "P-L1", slope, tc.slope, tc.model)
		ref.Near(t, "P-L1", low, tc.bend, tc.model)
		ref.Near(t, "P-L1", high, tc.bend, tc.model)
	}
}

// Over an interval the bounds hold for differences of the radius, and are reached to
// within a few per cent of their spread by what is known exactly.
func TestBoundsHold(t *testing.T) {
	rng := rand.New(rand.NewPCG(71, 72))
	models := measuredModels(t)
	for f := projection.Rectilinear; f <= projection.Orthographic; f++ {
		models[f.String()] = f
	}
	for name, m := range models {
		bounded, ok := m.(projection.Bounded)
		if !ok {
			continue
		}
		end := min(float64(m.MaxAngle()), 1.55)
		h := 1e-4 * min(1, end)
		for range 300 {
			lo := (end - 4*h) * rng.Float64()
			hi := lo + 4*h + (end-4*h-lo)*math.Pow(10, -3*rng.Float64())
			slope, low, high := bounded.Bounds(unit.Angle(lo), unit.Angle(hi))
			for range 10 {
				at := lo + h + (hi-lo-2*h)*rng.Float64()
				var r [3]float64
				for i := range r {
					r[i], _ = m.Radius(unit.Angle(at + float64(i-1)*h))
				}
				size := 1e-15 * (1 + r[2]) // of roundings
				require.GreaterOrEqual(t, (r[2]-r[0])/(2*h), slope*(1-1e-12)-size/h, "%s: slope at %v of %v…%v", name, at, lo, hi)
				bend := (r[0] - 2*r[1] + r[2]) / (h * h)
				require.GreaterOrEqual(t, bend, low-1e-9*math.Abs(low)-4*size/(h*h), "%s: r″ at %v of %v…%v", name, at, lo, hi)
				require.LessOrEqual(t, bend, high+1e-9*math.Abs(high)+4*size/(h*h), "%s: r″ at %v of %v…%v", name, at, lo, hi)
			}
		}
	}
}

func TestBoundsOutsideTheDomain(t *testing.T) {
	nan := unit.Angle(math.NaN())
	for _, m := range []projection.Bounded{
		projection.Equisolid, projection.Form(0), projection.Form(9), uneven(t, 3),
		oddPolynomial(t, 1, 1, -0.1),
	} {
		for _, ends := range [][2]unit.Angle{{-0.1, 0.1}, {0.2, 0.1}, {0.1, 4}, {nan, 0.1}, {0.1, nan}} {
			slope, low, high := m.Bounds(ends[0], ends[1])
			assert.True(t, slope == 0 && math.IsInf(low, -1) && math.IsInf(high, 1), "%v over %v: %v, %v, %v", m, ends, slope, low, high)
		}
	}
	// The ends that are not included.
	for _, f := range []projection.Form{projection.Rectilinear, projection.Stereographic} {
		slope, low, high := f.Bounds(0, f.MaxAngle())
		assert.True(t, slope == 1 && low == 0 && math.IsInf(high, 1), "%v: %v, %v, %v", f, slope, low, high)
	}
}

// exact gives functions of a float64 to some 40 digits.
type exact struct{}

func (exact) of(x float64) *big.Float        { return exact{}.zero().SetFloat64(x) }
func (exact) zero() *big.Float               { return new(big.Float).SetPrec(160) }
func (exact) mul(a, b *big.Float) *big.Float { return exact{}.zero().Mul(a, b) }

// sincos takes the series of a 64th, and doubles that six times.
func (e exact) sincos(x *big.Float) (sin, cos *big.Float) {
	x = e.zero().SetMantExp(x, -6)
	sin, cos = e.zero(), e.of(1)
	for k, term := 1, e.of(1); k < 26; k++ {
		term = e.zero().Quo(e.mul(term, x), e.of(float64(k)))
		if sum := [2]*big.Float{cos, sin}[k%2]; k%4 < 2 {
			sum.Add(sum, term)
		} else {
			sum.Sub(sum, term)
		}
	}
	for range 6 {
		twice := e.mul(e.of(2), sin)
		sin, cos = e.mul(twice, cos), e.zero().Sub(e.of(1), e.mul(twice, sin))
	}
	return sin, cos
}

// radius is that of a form, from the formulas of its doc comment.
func (e exact) radius(f projection.Form, theta *big.Float) *big.Float {
	half := e.mul(e.of(0.5), theta)
	switch f {
	case projection.Rectilinear:
		sin, cos := e.sincos(theta)
		return e.zero().Quo(sin, cos)
	case projection.Stereographic:
		sin, cos := e.sincos(half)
		return e.mul(e.of(2), e.zero().Quo(sin, cos))
	case projection.Equisolid:
		sin, _ := e.sincos(half)
		return e.mul(e.of(2), sin)
	case projection.Orthographic:
		sin, _ := e.sincos(theta)
		return sin
	}
	return theta
}

// Over the whole domain a radius is within 2 ulp, an angle within 2.5.
func TestFormsToTheUlp(t *testing.T) {
	near.NumbersOnly(t)
	var e exact
	ulp := func(x float64) float64 { return math.Nextafter(x, math.Inf(1)) - x }
	for _, f := range forms {
		rng := rand.New(rand.NewPCG(91, uint64(f)))
		end := float64(f.MaxAngle())
		var worst float64
		for i := range 6000 {
			theta := end * rng.Float64()
			switch i % 4 {
			case 1:
				theta = end * math.Pow(10, -20*rng.Float64())
			case 2:
				theta = end * (1 - math.Pow(10, -15.9*rng.Float64()))
			case 3: // where sin/cos is at its worst
				theta = [2]float64{1.0414423564788222, 2.060466042770287}[i/4%2] * (1 + 1e-3*rng.Float64())
			}
			if i < 2 { // the worst of some millions
				theta = [2]float64{1.57054536013898, 2 * 0.8328419969906832}[i]
			}
			r, ok := f.Radius(unit.Angle(theta))
			if !ok {
				continue
			}
			off, _ := e.zero().Sub(e.of(r), e.radius(f, e.of(theta))).Float64()
			worst = max(worst, math.Abs(off)/ulp(r))

			// The radii of angles 2.5 ulp less and more have the radius given between.
			back, ok := f.Angle(r)
			require.True(t, ok, "%v: the radius of %v has no angle", f, theta)
			spare := 2.5 * ulp(float64(back))
			low := e.radius(f, e.zero().Sub(e.of(float64(back)), e.of(spare)))
			high := e.radius(f, e.zero().Add(e.of(float64(back)), e.of(spare)))
			beyond := float64(back)+spare >= end // where the radius falls again, or is none
			assert.True(t, low.Cmp(e.of(r)) <= 0 && !(!beyond && high.Cmp(e.of(r)) < 0), "%v: %v comes back as %v, more than 2.5 ulp off", f, theta, back)
		}
		assert.True(t, worst <= 2, "%v: a radius is off by %.2f ulp", f, worst)
		t.Logf("%v: radii are off by up to %.2f ulp", f, worst)
	}
}

// At 90° the rectilinear form has neither an image nor a slope, though the cosine of
// the float64 nearest to 90° is not 0; just below it has both.
func TestRectilinearAtARightAngle(t *testing.T) {
	_, ok := projection.Rectilinear.Radius(math.Pi / 2)
	_, okSlope := projection.Rectilinear.Slope(math.Pi / 2)
	assert.False(t, ok || okSlope)
	slope, ok := projection.Rectilinear.Slope(unit.Angle(math.Nextafter(math.Pi/2, 0)))
	assert.True(t, ok && slope > 1e31, slope)
}
