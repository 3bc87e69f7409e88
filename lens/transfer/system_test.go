package transfer_test

import (
	"encoding/json"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/lens"
	"example.com/platewright/lens/transfer"
	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/unit"
)

const deg = lens.Degree

// spreadOf is the image of a point: the squared Fourier transform of a round pupil
// of pupil points across, each with the phase of its way to the sensor less that
// to the image. Lengths in mm. The edge of the pupil is drawn by the fraction of
// each cell inside.
func spreadOf(points, across int, radius, sensor, image, wavelength float64) [][]float64 {
	field := make([][]complex128, points)
	for i := range field {
		field[i] = make([]complex128, points)
	}
	const parts = 8
	for i := range across + 2 {
		for j := range across + 2 {
			u, v := float64(i-across/2-1), float64(j-across/2-1)
			inside := 0
			for a := range parts {
				for b := range parts {
					du, dv := (float64(a)+0.5)/parts-0.5, (float64(b)+0.5)/parts-0.5
					if math.Hypot(u+du, v+dv) <= float64(across)/2 {
						inside++
					}
				}
			}
			h := math.Hypot(u, v) / (float64(across) / 2) * radius
			way := math.Hypot(h, sensor) - math.Hypot(h, image)
			field[i][j] = complex(float64(inside)/parts/parts, 0) * cmplx.Rect(1, 2*math.Pi*way/wavelength)
		}
	}
	fft := fourier.NewCmplxFFT(points)
	for i := range field {
		fft.Coefficients(field[i], field[i])
	}
	light := make([][]float64, points)
	column := make([]complex128, points)
	for j := range points {
		for i := range points {
			column[i] = field[i][j]
		}
		fft.Coefficients(column, column)
		light[j] = make([]float64, points)
		for i, v := range column {
			light[j][i] = real(v)*real(v) + imag(v)*imag(v)
		}
	}
	return light // [x][y]
}

// stripes is the contrast that stripes of so many periods across and down the
// picture of a point keep if every point is drawn like it.
func stripes(light [][]float64, across, down int) float64 {
	sum, whole := 0.0, 0.0
	n := float64(len(light))
	for x, column := range light {
		for y, v := range column {
			whole += v
			sum += v * math.Cos(2*math.Pi*float64(across*x+down*y)/n)
		}
	}
	return sum / whole
}

// TestSystemAgainstASimulation draws the image of a point by a Fourier transform
// of the pupil, and then averages stripes over random places within a photosite,
// spots, moments of the exposure and displacements.
func TestSystemAgainstASimulation(t *testing.T) {
	near.NumbersOnly(t)
	const wavelength, f = 0.55e-3, 50. // mm
	for name, r := range map[string]struct {
		n, focus, object float64 // mm
		spec             transfer.SystemSpec
	}{
		"square, four spots": {4, 3000, 3050, transfer.SystemSpec{
			Pitch: 4.5 * um, LowPass: transfer.LowPass{Spots: transfer.FourSpots, Separation: 3 * um, Direction: 20 * deg},
			Motion: transfer.Motion{Length: 6 * um, Direction: 100 * deg}, Vibration: 0.5 * um,
		}},
		"round, two spots": {5.6, 2000, 1950, transfer.SystemSpec{
			Pitch: 6 * um, Aperture: transfer.RoundAperture, ApertureWidth: 5 * um,
			LowPass: transfer.LowPass{Spots: transfer.TwoSpots, Separation: 4 * um, Direction: -30 * deg},
			Motion:  transfer.Motion{Length: 3 * um, Direction: -200 * deg}, Vibration: 0.3 * um,
		}},
		"no filter": {8, 1000, 1000, transfer.SystemSpec{Pitch: 3 * um, ApertureWidth: 2 * um, Motion: transfer.Motion{Length: 4 * um}}},
	} {
		r.spec.Lens = mustLens(t, lens.Spec{FocalLength: f * mm, FNumber: r.n})
		r.spec.Wavelength = wavelength * mm
		s := mustSystem(t, r.spec)
		sensor, image, radius := imaged(f, r.focus), imaged(f, r.object), f/r.n/2
		const points, across = 512, 200
		light := spreadOf(points, across, radius, sensor, image, wavelength)
		cutoff := 2 * radius / (wavelength * sensor)
		for _, at := range [][2]int{{20, 0}, {0, 60}, {30, 30}, {-50, 40}, {100, 20}, {-10, -70}} {
			nu := math.Hypot(float64(at[0]), float64(at[1])) / across * cutoff // lp/mm
			direction := math.Atan2(float64(at[1]), float64(at[0]))
			optics := stripes(light, at[0], at[1])
			rng := rand.New(rand.NewPCG(1, uint64(1000+at[0])))
			const draws = 400_000
			var all, photosite, filter, motion, vibration float64
			for range draws {
				var p [2]float64 // the place in each of the draws, in mm
				for {
					p = [2]float64{rng.Float64() - 0.5, rng.Float64() - 0.5}
					if r.spec.Aperture == transfer.SquareAperture || math.Hypot(p[0], p[1]) <= 0.5 {
						break
					}
				}
				width := float64(r.spec.ApertureWidth / mm)
				if width == 0 {
					width = float64(r.spec.Pitch / mm)
				}
				turned := func(u, v float64, by unit.Angle) [2]float64 {
					sin, cos := math.Sincos(float64(by))
					return [2]float64{u*cos - v*sin, u*sin + v*cos}
				}
				half := float64(r.spec.LowPass.Separation/mm) / 2
				side := func() float64 { return half * float64(2*rng.IntN(2)-1) }
				spot := turned(side(), 0, r.spec.LowPass.Direction)
				if r.spec.LowPass.Spots == transfer.FourSpots {
					spot = turned(side(), side(), r.spec.LowPass.Direction)
				}
				moved := turned(float64(r.spec.Motion.Length/mm)*(rng.Float64()-0.5), 0, r.spec.Motion.Direction)
				sigma := float64(r.spec.Vibration / mm)
				shaken := [2]float64{sigma * rng.NormFloat64(), sigma * rng.NormFloat64()}
				phase := func(d [2]float64) float64 {
					return 2 * math.Pi * cutoff / across * (float64(at[0])*d[0] + float64(at[1])*d[1])
				}
				a, b, c, d := phase([2]float64{width * p[0], width * p[1]}), phase(spot), phase(moved), phase(shaken)
				all += math.Cos(a + b + c + d)
				photosite += math.Cos(a)
				filter += math.Cos(b)
				motion += math.Cos(c)
				vibration += math.Cos(d)
			}
			focus, object := unit.Length(r.focus)*mm, unit.Length(r.object)*mm
			got := has[float64](t)(s.OTF(nu, unit.Angle(direction), focus, object))
			ref.Near(t, "L-SYS", got, optics*all/draws, name, at)
			loss := has[transfer.Losses](t)(s.Losses(nu, unit.Angle(direction), focus, object))
			for i, part := range [][2]float64{
				{loss.Diffraction * loss.Defocus, optics}, {loss.Photosite, photosite / draws}, {loss.LowPass, filter / draws},
				{loss.Motion, motion / draws}, {loss.Vibration, vibration / draws},
			} {
				ref.Near(t, "L-SYSP", part[0], part[1], name, at, i)
			}
			product := loss.Diffraction * loss.Defocus * loss.Photosite * loss.LowPass * loss.Motion * loss.Vibration
			assert.InDelta(t, got, product, 1e-12, "%s, %v: roundings, and the quadrature in the quotient", name, at)
		}
	}
}

// TestDefocusAgainstATable has values of Hopkins's integral by Simpson's rule.
func TestDefocusAgainstATable(t *testing.T) {
	table := map[float64][4]float64{ // waves at the edge: 0.25, 0.5, 1, 2
		0.05: {0.92603952, 0.89552084, 0.78009261, 0.41297029},
		0.1:  {0.83886027, 0.74208912, 0.42664584, -0.08395812},
	}
	for x, row := range table {
		for i, want := range row {
			ref.Near(t, "L-D15", defocus(t, x, math.Ldexp(0.25, i)), want, x, i)
		}
	}
}

func TestLossesNameTheLeast(t *testing.T) {
	for _, r := range []struct {
		losses transfer.Losses
		want   transfer.Part
	}{
		{transfer.Losses{Diffraction: .1, Defocus: .2, Photosite: .3, LowPass: .4, Motion: .5, Vibration: .6}, transfer.Diffraction},
		{transfer.Losses{Diffraction: .6, Defocus: -.5, Photosite: 0, LowPass: .4, Motion: .5, Vibration: .6}, transfer.Defocus},
		{transfer.Losses{Diffraction: 1, Defocus: 1, Photosite: .6, LowPass: .9, Motion: 1, Vibration: 1}, transfer.PhotositeAperture},
		{transfer.Losses{Diffraction: 1, Defocus: 1, Photosite: .6, LowPass: .3, Motion: 1, Vibration: 1}, transfer.LowPassFilter},
		{transfer.Losses{Diffraction: 1, Defocus: 1, Photosite: .6, LowPass: .3, Motion: -.1, Vibration: 1}, transfer.UniformMotion},
		{transfer.Losses{Diffraction: 1, Defocus: 1, Photosite: .6, LowPass: .3, Motion: .4, Vibration: .2}, transfer.Vibration},
	} {
		ref.Equal(t, "L-LEAST", r.losses.Least(), r.want)
	}
}

func TestSystemEnds(t *testing.T) {
	l := mustLens(t, lens.Spec{FocalLength: 50 * mm, FNumber: 1})
	s := mustSystem(t, transfer.SystemSpec{Lens: l, Wavelength: green})
	assert.InDelta(t, 1, has[float64](t)(s.OTF(0, 0, 3, 5)), 1e-14, "an even grey")
	assert.Zero(t, has[float64](t)(s.OTF(2000, 0, 3, 3)), "beyond the cutoff")
	assert.Zero(t, has[float64](t)(s.OTF(2000, 0, 3, 1*mm)), "beyond the cutoff, however blurred")
	n := has[float64](t)(l.WorkingFNumber(3))
	in := has[float64](t)(s.OTF(100, 0, 3, 3))
	assert.InDelta(t, must[float64](t)(transfer.DiffractionOTF(100, green, n)), in, 1e-14, "in focus: a few roundings")
	beyond := has[transfer.Losses](t)(s.Losses(2000, 0, 3, 3))
	assert.Equal(t, transfer.Losses{Defocus: 1, Photosite: 1, LowPass: 1, Motion: 1, Vibration: 1}, beyond)
	for _, r := range []struct {
		nu, direction float64
		s, d          unit.Length
	}{
		{100, 0, 3, 1 * mm}, // an object on the glass
		{-1, 0, 3, 3}, {nan, 0, 3, 3}, {1.1e9, 0, 3, 3}, {10, 7, 3, 3}, {10, nan, 3, 3}, {10, 0, 50 * mm, 3}, {10, 0, 3, 0},
	} {
		_, ok := s.OTF(r.nu, unit.Angle(r.direction), r.s, r.d)
		assert.False(t, ok, "%+v", r)
		_, ok = s.Losses(r.nu, unit.Angle(r.direction), r.s, r.d)
		assert.False(t, ok, "%+v", r)
	}
	// A nameless direction: turned by a half turn, stripes are the same.
	full := mustSystem(t, transfer.SystemSpec{
		Lens: l, Wavelength: green, Pitch: 5 * um, Motion: transfer.Motion{Length: 7 * um, Direction: 0.4},
		LowPass: transfer.LowPass{Spots: transfer.FourSpots, Separation: 5 * um, Direction: 0.3},
	})
	for a := 0.0; a < 3; a += 0.25 {
		one, other := has[float64](t)(full.OTF(60, unit.Angle(a), 3, 3.1)), has[float64](t)(full.OTF(60, unit.Angle(a-math.Pi), 3, 3.1))
		assert.InDelta(t, one, other, 1e-14, "roundings of the angle")
	}
}

func TestSystemSpecsAreChecked(t *testing.T) {
	l := mustLens(t, lens.Spec{FocalLength: 12 * mm, FNumber: 4})
	sound := transfer.SystemSpec{Lens: l, Wavelength: green, Pitch: 3 * um}
	assert.Equal(t, mustSystem(t, sound), mustSystem(t, sound))
	for want, change := range map[string]func(*transfer.SystemSpec){
		"transfer: lens Lens{}: must come from lens.New":                func(s *transfer.SystemSpec) { s.Lens = lens.Lens{} },
		"transfer: wavelength 0 m":                                      func(s *transfer.SystemSpec) { s.Wavelength = 0 },
		"transfer: pitch -3 µm":                                         func(s *transfer.SystemSpec) { s.Pitch = -3 * um },
		"transfer: width of the aperture 6.1 µm":                        func(s *transfer.SystemSpec) { s.ApertureWidth = 6.1 * um },
		"transfer: aperture Aperture(7): must be square or round":       func(s *transfer.SystemSpec) { s.Aperture = 7 },
		"transfer: low-pass filter Spots(3): must be none":              func(s *transfer.SystemSpec) { s.LowPass.Spots = 3 },
		"transfer: number of spots of the low-pass filter: must be set": func(s *transfer.SystemSpec) { s.LowPass.Separation = um },
		"transfer: separation of the spots -1 µm":                       func(s *transfer.SystemSpec) { s.LowPass = transfer.LowPass{transfer.TwoSpots, -um, 0} },
		"transfer: direction of the low-pass filter 458.366°":           func(s *transfer.SystemSpec) { s.LowPass.Direction = 8 },
		"transfer: length of the motion 2 m":                            func(s *transfer.SystemSpec) { s.Motion.Length = 2 },
		"transfer: direction of the motion NaN":                         func(s *transfer.SystemSpec) { s.Motion.Direction = unit.Angle(nan) },
		"transfer: vibration -1 µm":                                     func(s *transfer.SystemSpec) { s.Vibration = -um },
	} {
		spec := sound
		change(&spec)
		_, err := transfer.NewSystem(spec)
		refuses(t, err, want)
	}
}

func TestNamesInJSON(t *testing.T) {
	type names struct {
		A transfer.Aperture
		S transfer.Spots
		P transfer.Part
	}
	want := names{transfer.RoundAperture, transfer.FourSpots, transfer.LowPassFilter}
	text := must[[]byte](t)(json.Marshal(want))
	assert.JSONEq(t, `{"A": "round", "S": "four spots", "P": "low-pass filter"}`, string(text))
	var got names
	assert.NoError(t, json.Unmarshal(text, &got))
	assert.Empty(t, cmp.Diff(want, got))
	for _, p := range []transfer.Part{transfer.Diffraction, transfer.Defocus, transfer.PhotositeAperture, transfer.LowPassFilter, transfer.UniformMotion, transfer.Vibration} {
		assert.NotContains(t, p.String(), "(")
	}
	assert.Equal(t, "square", transfer.SquareAperture.String())
	assert.Equal(t, "none", transfer.NoSpots.String())
}
