package transfer_test

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/lens"
	"example.com/platewright/lens/transfer"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/unit"
)

// At a wavelength of 0.9765625 µm and f/1 the cutoff is 1024 lp/mm, so that
// fractions of it are exact.
const (
	binary = 0.9765625 * um
	cutoff = 1024.
)

// diffraction is DiffractionOTF at a fraction of the cutoff.
func diffraction(t testing.TB, x float64) float64 {
	t.Helper()
	return must[float64](t)(transfer.DiffractionOTF(x*cutoff, binary, 1))
}

// defocus is DefocusOTF at a fraction of the cutoff for a path error in
// wavelengths at the edge of the pupil.
func defocus(t testing.TB, x, waves float64) float64 {
	t.Helper()
	return must[float64](t)(transfer.DefocusOTF(x*cutoff, binary, 1, 8*binary*unit.Length(waves)))
}

func TestBoxOTFIsTheMeanOfStripes(t *testing.T) {
	for _, x := range []float64{.1, .2, .25, .3, .4, .5, .6, .7, .75, .8, .9, 1.25, 1.5, 1.7, 2.5} {
		// Stripes averaged over a photosite in the middle of a bright one.
		var mean float64
		const n = 100000
		for i := range n {
			mean += math.Cos(2*math.Pi*x*((float64(i)+0.5)/n-0.5)) / n
		}
		ref.Near(t, "L-X1", must[float64](t)(transfer.BoxOTF(1000*x, um)), mean, x)
	}
	for n := 1.0; n < 9; n++ {
		got := must[float64](t)(transfer.BoxOTF(n, mm))
		assert.True(t, got == 0 && !math.Signbit(got), "zero %v: %v", n, got)
	}
}

// A picture of stripes that vibrates: the mean over its places, each counted as
// often as a normal distribution has it.
func TestJitterOTFIsTheContrastOfAVibratingPicture(t *testing.T) {
	for _, x := range []float64{0.01, 0.1, 0.25, 0.5, 0.8} { // standard deviations in periods
		var mean, total float64
		for i := -1000; i <= 1000; i++ {
			place := float64(i) / 100 // in standard deviations
			often := math.Exp(-place * place / 2)
			total += often
			mean += often * math.Cos(2*math.Pi*x*place)
		}
		ref.Near(t, "L-X2", must[float64](t)(transfer.JitterOTF(1000*x, um)), mean/total, x)
	}
}

func TestBlurOTFIsTheMeanOverADisc(t *testing.T) {
	// J1(1) = 0.4400505857, J1(2) = 0.5767248078, J1(5) = −0.3275791376, and J1 is 0 at 3.8317059702:
	// Abramowitz and Stegun, table 9.1.
	for _, r := range []struct{ z, want float64 }{
		{1, 2 * 0.4400505857}, {2, 0.5767248078}, {5, 2 * -0.3275791376 / 5}, {3.8317059702, 0},
	} {
		ref.Near(t, "L-W7", must[float64](t)(transfer.BlurOTF(10, unit.Length(r.z/math.Pi/10)*mm)), r.want, r.z)
	}
	small := must[float64](t)(transfer.BlurOTF(10, 1e-4/math.Pi/10*mm))
	assert.InDelta(t, 1-1e-8/8, small, 2e-16, "1 − z²/8: a few roundings")
	// A disc in slices: each chord carries the cosine of its place.
	for _, b := range []unit.Length{5 * um, 20 * um, 60 * um} {
		const n = 100000
		sum := 0.0
		for i := range n {
			u := 2*(float64(i)+0.5)/n - 1
			sum += math.Sqrt(1-u*u) * math.Cos(math.Pi*40*float64(b/mm)*u)
		}
		ref.Near(t, "L-W8", must[float64](t)(transfer.BlurOTF(40, b)), sum*2/n*2/math.Pi, float64(b/um))
	}
}

// The spreads have in common what they do at their ends.
func TestSpreadsAtTheirEnds(t *testing.T) {
	for name, f := range map[string]func(float64, unit.Length) (float64, error){
		"transfer: width ": transfer.BoxOTF, "transfer: displacement ": transfer.JitterOTF, "transfer: diameter of the blur ": transfer.BlurOTF,
	} {
		for _, r := range []struct {
			frequency float64
			l         unit.Length
		}{{0, um}, {100, 0}, {0, 0}, {5e-324, 5e-324}, {1e-9, um}} {
			assert.Equal(t, 1., must[float64](t)(f(r.frequency, r.l)), "%s: %v", name, r)
		}
		assert.InDelta(t, 0, must[float64](t)(f(1e9, 1)), 1e-12, name)
		last := 1.0
		for i := 1; i <= 100; i++ {
			got := must[float64](t)(f(float64(i), 10*um))
			assert.True(t, got < last && got >= 0, "%s: %v after %v at %d lp/mm", name, got, last, i)
			last = got
		}
		for _, l := range []unit.Length{-um, 1.1, unit.Length(nan)} {
			_, err := f(100, l)
			refuses(t, err, name)
		}
		for _, frequency := range []float64{-1, 1.1e9, nan} {
			_, err := f(frequency, um)
			refuses(t, err, "transfer: spatial frequency ")
		}
	}
}

func TestDiffractionOTFEnds(t *testing.T) {
	// Half of the cutoff: two unit circles, each through the centre of the other.
	ref.Near(t, "L-D9c", diffraction(t, 0.5), (2*math.Pi/3-math.Sqrt(3)/2)/math.Pi)
	for _, r := range [][2]float64{{0, 1}, {math.Copysign(0, -1), 1}, {1, 0}, {1.5, 0}, {9e5, 0}} {
		assert.Equal(t, r[1], diffraction(t, r[0]), "at %v", r[0])
	}
	assert.Zero(t, must[float64](t)(transfer.DiffractionOTF(1/(2*3e-3), 0.55*um, 11)), "photosites of 3 µm at f/11")
	for _, nu := range []float64{-0.1, 1.1e9, nan} {
		_, err := transfer.DiffractionOTF(nu, binary, 1)
		refuses(t, err, "transfer: spatial frequency ")
	}
	// Near 0 the slope is −4/π, near 1 the lens of overlap is (8√2/3π) δ^1.5
	// with a next term of 3δ/20 of it less.
	assert.InEpsilon(t, 4e-6/math.Pi, 1-diffraction(t, 1e-6), 1e-9, "1 less its neighbour has 10 digits left")
	for _, d := range []float64{1e-4, 1e-8, 0x1p-53} {
		got := diffraction(t, 1-d)
		d = 1 - (1 - d)
		assert.InEpsilon(t, 8*math.Sqrt2/(3*math.Pi)*math.Pow(d, 1.5)*(1-3*d/20), got, 4e-15+d*d, "a few roundings and the next term")
	}
	// The branch of the series at 2φ = 1 leaves no step.
	x := math.Cos(0.5)
	a, b := diffraction(t, x*(1-1e-15)), diffraction(t, x*(1+1e-15))
	assert.True(t, b <= a && (a-b)/a < 1e-13, "a step of %v where the branches meet", a-b)
	last := 2.0
	for i := range 1001 {
		m := diffraction(t, float64(i)/1000)
		assert.Less(t, m, last, "at %d", i)
		last = m
	}
}

// TestDiffractionOTFInBigArithmetic compares with the power series of
// t − sin t in 200 bits, t = 2 acos x, near the cutoff where the textbook form
// cancels. x is chosen so that t is known from it: x = 1 − d, and with
// s = sin(t/4), s² = d/2.
func TestDiffractionOTFInBigArithmetic(t *testing.T) {
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
		ref.Near(t, "L-D14", must[float64](t)(transfer.DiffractionOTF((1-d)*cutoff, binary, 1)), want/math.Pi, d)
	}
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
		{0, 1. / 64, "L-W4"}, {0.1, 1. / 64, "L-W4"}, {1, 1. / 64, "L-W4"}, {7.3, 1. / 128, "L-W4"}, {30, 1. / 512, "L-W4"},
		{200, 1. / 2048, "L-W4"}, {1000, 1. / 8192, "L-W4"}, {1e4, 1. / 65536, "L-W5"},
	} {
		for _, x := range []float64{1e-4, 0.01, 0.1, 0.3, 0.5, 0.77, 0.95, 0.999} {
			want := 4 / math.Pi * tanhSinh(func(u float64) float64 {
				return math.Sqrt(math.Max(0, (1-x-u)*(1+x+u))) * math.Cos(8*math.Pi*r.waves*x*u)
			}, 1-x, r.h)
			got := must[float64](t)(transfer.DefocusOTF(x*cutoff, binary, 1, 8*binary*unit.Length(r.waves)))
			ref.Within(t, r.id, math.Abs(got-want), x, r.waves)
			if r.waves == 0 {
				ref.Within(t, r.id, math.Abs(must[float64](t)(transfer.DiffractionOTF(x*cutoff, binary, 1))-want), x)
			}
		}
	}
}

// TestDefocusFromPathLengths sums the overlap of two pupils over a plane grid,
// each with its wave: how much longer the way to the sensor is from there than
// the way to the image of the object, where all waves arrive in step. Nothing in
// it knows of blur, waves of defocus or working f-numbers.
func TestDefocusFromPathLengths(t *testing.T) {
	const wavelength = 0.5e-3 // mm, as all lengths here
	for _, r := range []struct{ f, n, focus, object float64 }{
		{50, 64, 1e7, 310}, {50, 64, 400, 310}, {50, 45, 310, 420}, {35, 32, 5000, 5000},
	} {
		l := mustLens(t, lens.Spec{FocalLength: unit.Length(r.f) * mm, FNumber: r.n})
		system := mustSystem(t, transfer.SystemSpec{Lens: l, Wavelength: wavelength * mm})
		pupil := r.f / r.n / 2
		sensor := imaged(r.f, r.focus)
		image := imaged(r.f, r.object)
		for _, nu := range []float64{3, 7, 12} {
			const n = 750
			shift := wavelength * sensor * nu / pupil / 2 // in radii of the pupil, each way
			way := func(u, v float64) float64 {
				h := pupil * math.Hypot(u, v)
				return math.Hypot(h, sensor) - math.Hypot(h, image)
			}
			sum, whole := 0.0, 0
			for i := range n { // a quarter: both pupils are symmetric
				for j := range n {
					u, v := (float64(i)+0.5)/n, (float64(j)+0.5)/n
					if u*u+v*v <= 1 {
						whole++
					}
					if (u+shift)*(u+shift)+v*v <= 1 && (u-shift)*(u-shift)+v*v <= 1 {
						sum += math.Cos(2 * math.Pi / wavelength * (way(u+shift, v) - way(u-shift, v)))
					}
				}
			}
			want := sum / float64(whole)
			focus, object := unit.Length(r.focus)*mm, unit.Length(r.object)*mm
			ref.Near(t, "L-W6", has[float64](t)(system.OTF(nu, 1, focus, object)), want, r, nu)
			blur := unit.Length(cone(r.f, r.n, r.focus, r.object)) * mm
			ref.Near(t, "L-W6", must[float64](t)(transfer.DefocusOTF(nu, wavelength*mm, sensor/pupil/2, blur)), want, r, nu)
		}
	}
}

func TestDefocusProperties(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	for range 3000 {
		x, waves := rng.Float64(), 20*rng.ExpFloat64()
		m := defocus(t, x, waves)
		assert.LessOrEqual(t, math.Abs(m), diffraction(t, x)+1e-12, "defocus raises no contrast: %v, %v", x, waves)
		g := must[float64](t)(transfer.BlurOTF(x*cutoff, 8*binary*unit.Length(waves)))
		assert.InDelta(t, g, m, 1.3*x, "diffraction takes 4/π of the fraction of the cutoff: %v, %v", x, waves)
	}
	// The contrast is reversed from somewhere between 0.1 and 0.2.
	assert.True(t, defocus(t, 0.1, 1) > 0 && defocus(t, 0.2, 1) < 0, "no reversal of contrast at one wave")
	for _, r := range []struct{ x, waves, want float64 }{{0, 3, 1}, {1e-12, 3, 1}, {0, 0, 1}, {1, 3, 0}, {2, 3, 0}, {1, 1e5, 0}} {
		m := defocus(t, r.x, r.waves)
		assert.InDelta(t, r.want, m, 1e-11, "sum of 32 weights, and the slope: %+v", r)
		assert.LessOrEqual(t, m, 1., "%+v", r)
	}
	for _, r := range []struct {
		nu   float64
		blur unit.Length
		want string
	}{
		{-1, um, "transfer: spatial frequency -1 lp/mm"}, {nan, um, "spatial frequency NaN"}, {1.1e9, um, "spatial frequency "},
		{512, -um, "transfer: blur -1 µm"}, {512, unit.Length(nan), "blur NaN m"}, {512, 1.1, "blur 1.1 m"},
		{512, 80.01e3 * binary, "transfer: blur 78.1348 mm: must be at most 78.125 mm at this wavelength and f-number"},
	} {
		_, err := transfer.DefocusOTF(r.nu, binary, 1, r.blur)
		refuses(t, err, r.want)
	}
	must[float64](t)(transfer.DefocusOTF(512, binary, 1, 79.99e3*binary))
}

// TestSquareWaveContrastOfAveragedStripes averages stripes, of which bright ones
// count 1 and dark ones −1, about the middle of a bright one: over a box by the
// overlap of intervals, over a disc by the area of its segments.
func TestSquareWaveContrastOfAveragedStripes(t *testing.T) {
	segment := func(u float64) float64 { // fraction of a disc left of u radii
		u = math.Max(-1, math.Min(1, u))
		return 0.5 + (u*math.Sqrt(1-u*u)+math.Asin(u))/math.Pi
	}
	box := func(u float64) float64 { return math.Max(0, math.Min(1, (u+1)/2)) }
	for _, width := range []float64{0.2, 0.5, 0.75, 1, 1.25, 1.7, 2.3, 4.4} { // in periods of the stripes
		mean := func(left func(u float64) float64) (sum float64) {
			for k := -10.; k <= 10; k++ {
				lo, hi := (k/2-0.25)/(width/2), (k/2+0.25)/(width/2)
				sum += (left(hi) - left(lo)) * math.Cos(math.Pi*k)
			}
			return sum
		}
		for name, r := range map[string]struct {
			left func(float64) float64
			otf  func(float64, unit.Length) (float64, error)
		}{"box": {box, transfer.BoxOTF}, "disc": {segment, transfer.BlurOTF}} {
			got := must[float64](t)(transfer.SquareWaveContrast(100, 1e7, func(nu float64) float64 {
				value, err := r.otf(nu, unit.Length(width)*10*um)
				if err != nil {
					t.Fatal(err)
				}
				return value
			}))
			ref.Near(t, "L-Q2", got, mean(r.left), name, width)
		}
	}
	// A system that leaves all leaves a square wave: 4/π (1 − 1/3 + 1/5 − …) = 1.
	got := must[float64](t)(transfer.SquareWaveContrast(1, 1e6, func(float64) float64 { return 1 }))
	assert.InDelta(t, 1, got, 1e-6, "the next term is 4/π 1e-6, and the sum lies half of it off")
	// The harmonic at the cutoff itself counts.
	got = must[float64](t)(transfer.SquareWaveContrast(1, 3, func(nu float64) float64 { return map[float64]float64{1: -0.1, 3: -0.06}[nu] }))
	assert.InDelta(t, 4/math.Pi*(-0.1+0.02), got, 1e-15, "a few roundings")
	one := func(float64) float64 { return 1 }
	for _, r := range []struct {
		nu, cutoff float64
		otf        func(float64) float64
		want       string
	}{
		{0, 1, one, "transfer: spatial frequency 0 lp/mm"}, {nan, 1, one, "spatial frequency NaN"}, {1.1e9, 1, one, "spatial frequency "},
		{1, inf, one, "transfer: cutoff +Inf lp/mm"}, {1e-7, 1, one, "cutoff 1 lp/mm"}, {1, 0, one, "cutoff 0 lp/mm"},
		{0.1, 1, nil, "transfer: transfer function nil: must be a function"},
		{0.1, 1, func(float64) float64 { return nan }, "transfer: value of the transfer function NaN"},
		{0.1, 1, func(float64) float64 { return -1.1 }, "value of the transfer function -1.1"},
	} {
		_, err := transfer.SquareWaveContrast(r.nu, r.cutoff, r.otf)
		refuses(t, err, r.want)
	}
}
