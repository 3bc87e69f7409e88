package lens_test

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/lens"
	"gonum.org/v1/gonum/unit"
)

func diffraction(t testing.TB, x float64) float64 {
	t.Helper()
	m, err := lens.DiffractionMTF(x)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func defocus(t testing.TB, x, waves float64) float64 {
	t.Helper()
	m, err := lens.DefocusOTF(x, waves)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestDiffractionMTFTable(t *testing.T) {
	for x, want := range map[float64]float64{0.25: 0.685038, 0.5: 0.391002, 0.75: 0.144294} {
		m, err := lens.DiffractionMTF(x)
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, "L-D9", m, want, x)
	}
	half, _ := lens.DiffractionMTF(0.5)
	ref.Near(t, "L-D9c", half, 2/math.Pi*(math.Pi/3-math.Sqrt(3)/4), "closed form at half the cutoff")
	for i, want := range []float64{
		0.936364558543, 0.87288857157, 0.809732702338, 0.747060078105, 0.685037642474,
		0.623837664781, 0.563639482173, 0.504631575469, 0.447014120183, 0.391002218956,
		0.336830128749, 0.284756979865, 0.235074814462, 0.188120404374, 0.144293612814,
		0.104088038662, 0.0681474400327, 0.0373860734685, 0.0133200110101, 0,
	} {
		x := float64(i+1) / 20
		m, err := lens.DiffractionMTF(x)
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, "L-D9t", m, want, x)
		z, err := lens.DefocusOTF(x, 0)
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, "L-D9t", z, want, x, "no defocus")
	}
}

func TestDiffractionMTFEnds(t *testing.T) {
	for _, r := range []struct{ x, want float64 }{{0, 1}, {math.Copysign(0, -1), 1}, {1, 0}, {1.5, 0}, {1e300, 0}} {
		if m := diffraction(t, r.x); m != r.want {
			t.Errorf("at %v: %v, want %v", r.x, m, r.want)
		}
	}
	for _, x := range []float64{-0.1, nan, inf} {
		if m, err := lens.DiffractionMTF(x); err == nil {
			t.Errorf("at %v: %v", x, m)
		}
	}
	// Near 0 the slope is −4/π, near 1 the lens of overlap is (8√2/3π) δ^1.5
	// with a next term of 3δ/20 of it less.
	near.Rel(t, "near 0", 1-diffraction(t, 1e-6), 4e-6/math.Pi, 1e-9, "1 less its neighbour has 10 digits left")
	for _, d := range []float64{1e-4, 1e-8, 0x1p-53} {
		got := diffraction(t, 1-d)
		d = 1 - (1 - d)
		near.Rel(t, "near the cutoff", got, 8*math.Sqrt2/(3*math.Pi)*math.Pow(d, 1.5)*(1-3*d/20), 4e-15+d*d, "a few roundings and the next term")
	}
	// The branch of the series at 2φ = 1 leaves no step.
	x := math.Cos(0.5)
	a, b := diffraction(t, x*(1-1e-15)), diffraction(t, x*(1+1e-15))
	if !(b <= a) || (a-b)/a > 1e-13 {
		t.Errorf("a step of %v where the branches meet", a-b)
	}
	last := 2.0
	for i := range 1001 {
		m := diffraction(t, float64(i)/1000)
		if !(m < last) {
			t.Errorf("at %d: %v after %v", i, m, last)
		}
		last = m
	}
}

// TestDiffractionMTFInBigArithmetic compares with the power series of
// t − sin t in 200 bits, t = 2 acos x, near the cutoff where the textbook form
// cancels. x is chosen so that t is known from it: x = 1 − d, and with
// s = sin(t/4), s² = d/2.
func TestDiffractionMTFInBigArithmetic(t *testing.T) {
	for _, d := range []float64{0x1p-4, 0x1p-10, 0x1p-20, 0x1p-40} {
		// asin s = Σ C s^(2k+1), C from its recurrence.
		bf := func(x float64) *big.Float { return new(big.Float).SetPrec(200).SetFloat64(x) }
		s2 := bf(d / 2)
		s := new(big.Float).SetPrec(200).Sqrt(s2)
		asin, term := bf(0), new(big.Float).Copy(s)
		for k := 0.0; k < 200; k++ {
			asin.Add(asin, new(big.Float).Quo(term, bf(2*k+1)))
			term.Mul(term, s2).Mul(term, bf(2*k+1)).Quo(term, bf(2*k+2))
		}
		angle := asin.Mul(asin, bf(4))
		square := new(big.Float).Mul(angle, angle)
		sum, term := bf(0), new(big.Float).Mul(angle, square)
		term.Quo(term, bf(6))
		for k := 4.0; k < 80; k += 2 {
			sum.Add(sum, term)
			term.Mul(term, square).Quo(term, bf(-k*(k+1)))
		}
		want, _ := sum.Float64()
		m, err := lens.DiffractionMTF(1 - d)
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, "L-D14", m, want/math.Pi, d)
	}
}

func TestDefocusTable(t *testing.T) {
	waves := []float64{0.25, 0.5, 1.0}
	for i, row := range [][3]float64{
		{0.8388602729, 0.7420891249, 0.4266458386},
		{0.6585794801, 0.4348189599, -0.0144136909},
		{0.5015695847, 0.2292644888, -0.0695150290},
		{0.3794217302, 0.1256908176, -0.0368869797},
		{0.2874682758, 0.0846088206, -0.0200724574},
		{0.2152869066, 0.0741105794, -0.0190380583},
		{0.1524892204, 0.0728076164, -0.0173027102},
		{0.0923859822, 0.0626933976, 0.0020279012},
		{0.0360281041, 0.0321611330, 0.0194870211},
	} {
		x := float64(i+1) / 10
		for j, want := range row {
			m, err := lens.DefocusOTF(x, waves[j])
			if err != nil {
				t.Fatal(err)
			}
			ref.Near(t, "L-W1", m, want, x, waves[j], "waves")

			// The same from a lens at f/4 focused at infinity: an object at 78.125 m
			// blurs to 8 µm, which at 0.5 µm is half a wave, and 150 lp/mm are 0.3 of
			// the cutoff.
			l := mustNew(t, lens.Spec{FocalLength: 50 * mm, FNumber: 4})
			object := unit.Length(78.125*0.5/waves[j]) * unit.Metre
			o, ok := l.OTF(500*x, 0.5*um, unit.Length(inf), object)
			if !ok {
				t.Fatal(object)
			}
			ref.Near(t, "L-W2", o, want, x, waves[j], "waves")
		}
	}
}

func TestDefocusWavesOfDepthOfFocus(t *testing.T) {
	// A quarter of a wave is a shift of the sensor by 2 λ N²: 70.4 µm for 0.55 µm
	// at f/8, and a blur of 8.8 µm.
	w, err := lens.DefocusWaves(70.4/8*um, 0.55*um, 8)
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "L-W3", w, 0.25)
}

// tanhSinh integrates f over [0, b] by the double exponential rule, which
// stands roots at the ends: another quadrature than the package's.
func tanhSinh(f func(float64) float64, b, h float64) float64 {
	sum := 0.0
	for k := -int(3.6 / h); k <= int(3.6/h); k++ {
		u := float64(k) * h
		g := math.Pi / 2 * math.Sinh(u)
		// b/(1 + e^(−2g)) keeps its distance from 0 near that end.
		x := b / (1 + math.Exp(-2*g))
		w := b * math.Pi / 4 * math.Cosh(u) / (math.Cosh(g) * math.Cosh(g))
		if w > 0 {
			sum += w * f(x)
		}
	}
	return sum * h
}

func TestDefocusQuadratureError(t *testing.T) {
	for _, r := range []struct {
		waves, h float64
		id       string
	}{
		{0.1, 1. / 64, "L-W4"}, {1, 1. / 64, "L-W4"}, {7.3, 1. / 128, "L-W4"}, {-30, 1. / 512, "L-W4"},
		{200, 1. / 2048, "L-W4"}, {1000, 1. / 8192, "L-W4"}, {1e4, 1. / 65536, "L-W5"},
	} {
		for _, x := range []float64{1e-4, 0.01, 0.1, 0.3, 0.5, 0.77, 0.95, 0.999} {
			want := 4 / math.Pi * tanhSinh(func(u float64) float64 {
				return math.Sqrt(math.Max(0, (1-x-u)*(1+x+u))) * math.Cos(8*math.Pi*r.waves*x*u)
			}, 1-x, r.h)
			got, err := lens.DefocusOTF(x, r.waves)
			if err != nil {
				t.Fatal(err)
			}
			ref.Within(t, r.id, math.Abs(got-want), x, r.waves)
		}
	}
}

// TestDefocusByPupilOverlap sums the defining overlap of two pupils over a
// plane grid, in both directions.
func TestDefocusByPupilOverlap(t *testing.T) {
	const n = 1500
	for _, r := range []struct{ x, waves float64 }{{0.2, 0.5}, {0.35, 1}, {0.6, 0.25}} {
		sum := 0.0
		for i := range n {
			for j := range n {
				u, v := 2*(float64(i)+0.5)/n-1, 2*(float64(j)+0.5)/n-1
				a, b := (u+r.x)*(u+r.x)+v*v, (u-r.x)*(u-r.x)+v*v
				if a <= 1 && b <= 1 {
					sum += math.Cos(2 * math.Pi * r.waves * (a - b))
				}
			}
		}
		want := sum * 4 / n / n / math.Pi
		got, err := lens.DefocusOTF(r.x, r.waves)
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, "L-W6", got, want, r.x, r.waves)
	}
}

func TestDefocusProperties(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	for range 300 {
		x, w := rng.Float64(), 20*rng.NormFloat64()
		m := defocus(t, x, w)
		if m != defocus(t, x, -w) {
			t.Errorf("before and behind the focus differ at %v, %v", x, w)
		}
		if math.Abs(m) > diffraction(t, x)+1e-12 {
			t.Errorf("defocus raises the contrast at %v, %v: %v", x, w, m)
		}
	}
	// The contrast is reversed from somewhere between 0.1 and 0.2.
	if !(defocus(t, 0.1, 1) > 0 && defocus(t, 0.2, 1) < 0) {
		t.Error("no reversal of contrast at one wave")
	}
	for _, r := range []struct{ x, w, want float64 }{{0, 3, 1}, {0, 0, 1}, {1, 3, 0}, {2, 3, 0}} {
		near.Abs(t, "end", defocus(t, r.x, r.w), r.want, 1e-14, "sum of 32 weights")
	}
	for _, r := range [][2]float64{{-0.1, 1}, {nan, 1}, {inf, 1}, {0.5, nan}, {0.5, inf}, {0.5, 10001}} {
		if m, err := lens.DefocusOTF(r[0], r[1]); err == nil {
			t.Errorf("%v: %v", r, m)
		}
	}
}

func TestBlurOTFTextbook(t *testing.T) {
	// J1(1) = 0.4400505857, J1(2) = 0.5767248078, J1(5) = −0.3275791376, and J1 is 0 at 3.8317059702:
	// Abramowitz and Stegun, table 9.1.
	for _, r := range []struct{ z, want float64 }{
		{1, 2 * 0.4400505857}, {2, 0.5767248078}, {5, 2 * -0.3275791376 / 5}, {3.8317059702, 0},
	} {
		m, err := lens.BlurOTF(10, unit.Length(r.z/math.Pi/10)*mm)
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, "L-W7", m, r.want, r.z)
	}
	// The transfer of a disc by slicing it: each chord carries its cosine.
	for _, b := range []unit.Length{5 * um, 20 * um, 60 * um} {
		const n = 100000
		sum := 0.0
		for i := range n {
			u := 2*(float64(i)+0.5)/n - 1
			sum += math.Sqrt(1-u*u) * math.Cos(math.Pi*40*float64(b/mm)*u)
		}
		m, err := lens.BlurOTF(40, b)
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, "L-W8", m, sum*2/n*2/math.Pi, float64(b/um))
	}
	for _, r := range []struct {
		nu   float64
		b    unit.Length
		want float64
	}{{0, 1 * mm, 1}, {40, 0, 1}, {1e308, 0, 1}, {1e-9, 1 * um, 1}} {
		if m, err := lens.BlurOTF(r.nu, r.b); err != nil || m != r.want {
			t.Errorf("%v lp/mm, %v: %v, %v", r.nu, r.b, m, err)
		}
	}
	if m, err := lens.BlurOTF(1e308, 1); err != nil || m != 0 {
		t.Errorf("the finest pattern: %v, %v", m, err)
	}
}

// TestWideDefocusIsGeometrical compares the two models where they meet: coarse
// patterns, many waves.
func TestWideDefocusIsGeometrical(t *testing.T) {
	const wave = 0.55 * um
	l := mustNew(t, lens.Spec{FocalLength: 35 * mm, FNumber: 2})
	for _, object := range []unit.Length{1.5, 2, 6, 30} {
		b, _ := l.Blur(3, object)
		n, _ := l.WorkingFNumber(3)
		waves, err := lens.DefocusWaves(b, wave, n)
		if err != nil || waves < 5 {
			t.Fatalf("%v waves, %v", waves, err)
		}
		for _, nu := range []float64{0.5, 1, 2, 5, 10} {
			o, ok := l.OTF(nu, wave, 3, object)
			if !ok {
				t.Fatal(object)
			}
			g, err := lens.BlurOTF(nu, b)
			if err != nil {
				t.Fatal(err)
			}
			cut, _ := lens.CutoffFrequency(wave, n)
			near.Abs(t, "coarse pattern", o, g, 2*nu/cut, "diffraction takes about 4/π of the part of the cutoff")
			d, err := lens.DefocusOTF(nu/cut, waves)
			if err != nil {
				t.Fatal(err)
			}
			near.Abs(t, "through its parts", o, d, 1e-12, "the stated error")
		}
	}
}

func TestOTFEnds(t *testing.T) {
	l := mustNew(t, lens.Spec{FocalLength: 50 * mm, FNumber: 1})
	const wave = 0.55 * um
	if o, ok := l.OTF(0, wave, 3, 5); !ok || math.Abs(o-1) > 1e-14 {
		t.Errorf("an even grey: %v, %v", o, ok)
	}
	if o, ok := l.OTF(2000, wave, 3, 3); !ok || o != 0 {
		t.Errorf("beyond the cutoff: %v, %v", o, ok)
	}
	o, ok := l.OTF(100, wave, 3, 3)
	n, _ := l.WorkingFNumber(3)
	if !ok {
		t.Fatal("no answer in focus")
	}
	near.Abs(t, "in focus", o, diffraction(t, 100*0.55e-3*n), 1e-14, "a few roundings")
	if o, ok := l.OTF(100, wave, 3, 1*mm); ok {
		t.Errorf("an object on the glass: %v", o)
	}
	for _, r := range []struct {
		nu      float64
		w, s, d unit.Length
	}{{-1, wave, 3, 3}, {nan, wave, 3, 3}, {inf, wave, 3, 3}, {10, 0, 3, 3}, {10, 550, 3, 3}, {10, wave, 50 * mm, 3}, {10, wave, 3, 0}} {
		if o, ok := l.OTF(r.nu, r.w, r.s, r.d); ok {
			t.Errorf("%+v: %v", r, o)
		}
	}
}
