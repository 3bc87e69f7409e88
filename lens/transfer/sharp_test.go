package transfer_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/lens"
	"example.com/platewright/lens/transfer"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/unit"
)

// scene is a random system with a thing to look at.
type scene struct {
	spec    transfer.SystemSpec
	system  transfer.System
	focal   unit.Length
	focus   unit.Length
	detail  transfer.Detail
	fNumber float64
}

func randomScene(t testing.TB, rng *rand.Rand) scene {
	between := func(lo, hi float64) float64 { return lo * math.Pow(hi/lo, rng.Float64()) }
	pitch := unit.Length(between(2, 8)) * um
	s := scene{focal: unit.Length(between(4, 200)) * mm, fNumber: between(1.4, 22)}
	s.spec = transfer.SystemSpec{
		Lens:       mustLens(t, lens.Spec{FocalLength: s.focal, FNumber: s.fNumber}),
		Wavelength: unit.Length(between(0.4, 0.7)) * um, Pitch: pitch, Aperture: transfer.Aperture(rng.IntN(2)),
	}
	if rng.IntN(2) == 0 {
		s.spec.LowPass = transfer.LowPass{
			Spots: transfer.TwoSpots + transfer.Spots(rng.IntN(2)), Separation: pitch * unit.Length(rng.Float64()), Direction: unit.Angle(rng.Float64()),
		}
	}
	if rng.IntN(2) == 0 {
		s.spec.Motion = transfer.Motion{Length: 2 * pitch * unit.Length(rng.Float64()), Direction: unit.Angle(3 * rng.Float64())}
		s.spec.Vibration = pitch / 4 * unit.Length(rng.Float64())
	}
	s.system = mustSystem(t, s.spec)
	s.focus = s.focal * unit.Length(between(3, 3000))
	if rng.IntN(20) == 0 {
		s.focus = unit.Length(inf)
	}
	period := between(2, 20)
	s.detail = transfer.Detail{
		LinePairsPerMM: has[float64](t)(s.system.PixelFrequency(period, 1)),
		Direction:      unit.Angle(3 * rng.Float64()), Contrast: between(0.003, 0.95),
	}
	return s
}

// least is the least OTF at an object for the detail and 200 coarser ones.
func (s scene) least(t testing.TB, system transfer.System, focus, object unit.Length) float64 {
	least := 1.0
	for i := 1; i <= 200; i++ {
		otf, ok := system.OTF(s.detail.LinePairsPerMM*float64(i)/200, s.detail.Direction, focus, object)
		if !ok {
			return -1 // so far out of focus that there is no answer
		}
		least = min(least, otf)
	}
	return least
}

// TestDepthByScanning looks along the axis at everything that a Depth says: the
// contrast remains at distances all over the range, and has gone just beyond it.
func TestDepthByScanning(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(5, 6))
	sharp, dips := 0, 0
	for k := range 200 {
		s := randomScene(t, rng)
		depth := must[transfer.Depth](t)(s.system.Depth(s.focus, s.detail))
		inFocus := s.least(t, s.system, s.focus, s.focus)
		ref.Near(t, "L-DEPTHF", depth.InFocus, math.Max(inFocus, 0), k)
		assert.Equal(t, depth.InFocus >= s.detail.Contrast, depth.OK, k)
		if !depth.OK {
			assert.InDelta(t, s.detail.Contrast-depth.InFocus, depth.Shortfall, 1e-15, "a difference")
			assert.Zero(t, depth.Field)
			assert.Zero(t, depth.Confusion)
			continue
		}
		sharp++
		assert.Zero(t, depth.Shortfall)
		// In dioptres the limits lie evenly about the focus.
		at := func(i float64) unit.Length { // −1 at far, 1 at near
			step := float64(1/depth.Field.Near - 1/s.focus)
			return unit.Length(1 / (1/float64(s.focus) + i*step))
		}
		for i := range 21 {
			if object := at(float64(i-10) / 10 * (1 - 1e-9)); object > 0 {
				ref.Within(t, "L-DEPTH", math.Max(0, s.detail.Contrast-s.least(t, s.system, s.focus, object)), k, i)
			}
		}
		if depth.Field.Near > s.focal*(1+1e-9) {
			assert.Less(t, s.least(t, s.system, s.focus, at(1+1e-4)), s.detail.Contrast, "%d: nearer than the near limit", k)
			if otf, _ := s.system.OTF(s.detail.LinePairsPerMM, s.detail.Direction, s.focus, at(1+1e-4)); otf > s.detail.Contrast {
				dips++ // a coarser detail binds
			}
		}
		if far := at(-1 - 1e-4); depth.Field.Far < unit.Length(inf) && far > 0 {
			assert.Less(t, s.least(t, s.system, s.focus, far), s.detail.Contrast, "%d: farther than the far limit", k)
			assert.InEpsilon(t, float64(at(-1)), float64(depth.Field.Far), 1e-6, "%d: reciprocals lose digits", k)
		}
		blur := has[unit.Length](t)(s.spec.Lens.Blur(s.focus, depth.Field.Near))
		if depth.Field.Near > s.focal*(1+1e-9) && depth.Confusion > unit.Nano*unit.Metre {
			assert.InEpsilon(t, float64(depth.Confusion), float64(blur), 1e-6, "%d: reciprocals lose digits", k)
		}
	}
	assert.Greater(t, sharp, 150)
	assert.Greater(t, dips, 3, "coarser details that bind")
}

func TestFrequencyAtByScanning(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(7, 8))
	for k := range 200 {
		s := randomScene(t, rng)
		contrast := s.detail.Contrast
		if k%5 == 0 {
			contrast = 0
		}
		blur := float64(rng.IntN(3)) * rng.Float64() * 5 // in Airy diameters
		n := has[float64](t)(s.spec.Lens.WorkingFNumber(s.focus))
		wide := blur * float64(s.spec.Wavelength) * n
		object := unit.Length(1 / (1/float64(s.focus) + wide*s.fNumber/float64(s.focal*s.focal)*(1-float64(s.focal/s.focus))))
		got := has[float64](t)(s.system.FrequencyAt(contrast, s.detail.Direction, s.focus, object))
		cutoff := must[float64](t)(transfer.CutoffFrequency(s.spec.Wavelength, n))
		const steps = 4000
		want := cutoff
		for i := 1; i <= steps; i++ {
			nu := cutoff * float64(i) / steps
			if has[float64](t)(s.system.OTF(nu, s.detail.Direction, s.focus, object)) <= contrast {
				want = nu
				break
			}
		}
		// The scan finds the step within which the contrast falls.
		ref.Within(t, "L-FREQ", math.Abs(got-(want-cutoff/steps/2))/cutoff, k, contrast, blur)
		if got < cutoff*(1-1e-9) && contrast > 0 {
			at := has[float64](t)(s.system.OTF(got, s.detail.Direction, s.focus, object))
			assert.InDelta(t, contrast, at, 1e-6, "%d: the contrast at that frequency", k)
		}
	}
}

// TestBestSettingByScanning tries f-numbers and focus distances all over.
func TestBestSettingByScanning(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(9, 10))
	none, some := 0, 0
	for k := range 30 {
		s := randomScene(t, rng)
		nearest := s.focal * unit.Length(3*math.Pow(1000, rng.Float64()))
		far := nearest * unit.Length(1+3*math.Pow(rng.Float64(), 2))
		if rng.IntN(10) == 0 {
			far = unit.Length(inf)
		}
		set := must[transfer.Setting](t)(s.system.BestSetting(nearest, far, s.detail, 1.4, 32))
		assert.Equal(t, set.Contrast >= s.detail.Contrast, set.OK)
		best := 0.0
		const steps = 24
		for i := range steps + 1 {
			n := 1.4 * math.Pow(32/1.4, float64(i)/steps)
			spec := s.spec
			spec.Lens = mustLens(t, lens.Spec{FocalLength: s.focal, FNumber: n})
			system := mustSystem(t, spec)
			for j := range steps + 1 {
				focus := unit.Length(1 / (1/float64(nearest) + (1/float64(far)-1/float64(nearest))*float64(j)/steps))
				least := 1.0
				for _, object := range []unit.Length{nearest, far} {
					otf, ok := system.OTF(s.detail.LinePairsPerMM, s.detail.Direction, focus, object)
					if !ok {
						otf = 0
					}
					least = min(least, otf)
				}
				if least > best {
					best = max(best, min(s.least(t, system, focus, nearest), s.least(t, system, focus, far)))
				}
			}
		}
		// The setting is as good as the best of the scan, and does what it says.
		ref.Within(t, "L-BEST", math.Max(0, best-set.Contrast), k)
		spec := s.spec
		spec.Lens = mustLens(t, lens.Spec{FocalLength: s.focal, FNumber: set.FNumber})
		system := mustSystem(t, spec)
		if set.Contrast > 0 {
			some++
			least := 1.0
			for i := range 11 {
				object := unit.Length(1 / ((1/float64(nearest)*float64(10-i) + 1/float64(far)*float64(i)) / 10))
				least = min(least, s.least(t, system, set.Focus, object))
			}
			ref.Near(t, "L-BESTC", set.Contrast, least, k)
		} else {
			none++
		}
	}
	assert.Greater(t, some, 20)
	assert.Positive(t, none)
}

// TestFirstLobe walks from focus to the first zero of DefocusOTF: it falls all the
// way, and the zero lies where the search for limits expects it.
func TestFirstLobe(t *testing.T) {
	for i := range 200 {
		x := (float64(i) + 0.5) / 200
		last := 2.0
		for phase := 0.0; last > 0; phase += 0.01 { // π ν b (1 − x)
			blur := unit.Length(phase/math.Pi/(1-x)/(x*cutoff)) * mm
			otf := must[float64](t)(transfer.DefocusOTF(x*cutoff, binary, 1, blur))
			if otf >= last || phase > 4.2+0.01 {
				t.Fatalf("x = %v: %v after %v at a phase of %v", x, otf, last, phase)
			}
			if last = otf; otf <= 0 && phase < 3.83 {
				t.Fatalf("x = %v: a zero at a phase of %v", x, phase)
			}
		}
	}
}

func TestSharpnessRefuses(t *testing.T) {
	l := mustLens(t, lens.Spec{FocalLength: 50 * mm, FNumber: 2.8})
	s := mustSystem(t, transfer.SystemSpec{Lens: l, Wavelength: green, Pitch: 5 * um})
	sound := transfer.Detail{LinePairsPerMM: 50, Contrast: 0.3}
	for want, change := range map[string]func(*transfer.Detail){
		"transfer: spatial frequency 0 lp/mm: must be more than 0":  func(d *transfer.Detail) { d.LinePairsPerMM = 0 },
		"transfer: contrast 1: must be more than 0 and less than 1": func(d *transfer.Detail) { d.Contrast = 1 },
		"transfer: contrast 0:":      func(d *transfer.Detail) { d.Contrast = 0 },
		"transfer: direction 401.07": func(d *transfer.Detail) { d.Direction = 7 },
	} {
		d := sound
		change(&d)
		_, err := s.Depth(4, d)
		refuses(t, err, want)
		_, err = s.BestSetting(2, 8, d, 1.4, 22)
		refuses(t, err, want)
	}
	_, err := s.Depth(50*mm, sound)
	refuses(t, err, "transfer: focus distance 50 mm: must be more than 50 mm")
	_, err = transfer.System{}.Depth(4, sound)
	refuses(t, err, "transfer: system System{}: must come from NewSystem")
	for want, r := range map[string][4]float64{
		"transfer: near limit 50 mm":                             {0.05, 8, 1.4, 22},
		"transfer: far limit 2 m: must be more than 2 m":         {2, 2, 1.4, 22},
		"transfer: widest f-number 0.4":                          {2, 8, 0.4, 22},
		"transfer: narrowest f-number 1.3: must be at least 1.4": {2, 8, 1.4, 1.3},
		"transfer: narrowest f-number NaN":                       {2, 8, 1.4, nan},
	} {
		_, err := s.BestSetting(unit.Length(r[0]), unit.Length(r[1]), sound, r[2], r[3])
		refuses(t, err, want)
	}
	for _, r := range []struct{ contrast, direction, focus float64 }{{-0.1, 0, 4}, {1, 0, 4}, {nan, 0, 4}, {0.5, 7, 4}, {0.5, 0, 0.05}} {
		_, ok := s.FrequencyAt(r.contrast, unit.Angle(r.direction), unit.Length(r.focus), 4)
		assert.False(t, ok, "%v", r)
	}
	_, ok := transfer.System{}.FrequencyAt(0.5, 0, 4, 4)
	assert.False(t, ok)
}

// At the contrast that is left in focus, and no less, only the focus distance is
// sharp.
func TestDepthOfNothing(t *testing.T) {
	s := mustSystem(t, transfer.SystemSpec{
		Lens: mustLens(t, lens.Spec{FocalLength: 50 * mm, FNumber: 2.8}), Wavelength: green, Pitch: 5 * um,
	})
	for _, focus := range []unit.Length{4, unit.Length(inf)} {
		detail := transfer.Detail{LinePairsPerMM: 50, Contrast: 0.01}
		detail.Contrast = must[transfer.Depth](t)(s.Depth(focus, detail)).InFocus
		depth := must[transfer.Depth](t)(s.Depth(focus, detail))
		assert.True(t, depth.OK)
		assert.Equal(t, focus, depth.Field.Far)
		assert.Equal(t, min(focus, math.MaxFloat64), depth.Field.Near)
		assert.Less(t, depth.Confusion, unit.Nano*unit.Metre)
		_, err := json.Marshal(depth)
		assert.NoError(t, err)
	}
	// A coarse detail stays wherever a thing can be: in front of the focal length.
	depth := must[transfer.Depth](t)(s.Depth(4, transfer.Detail{LinePairsPerMM: 0.001, Contrast: 0.01}))
	assert.InEpsilon(t, 0.05, float64(depth.Field.Near), 1e-9, "the focal length")
	assert.True(t, math.IsInf(float64(depth.Field.Far), 1))
}

// TestWhatBinds holds the reasons against scenes where they are plain.
func TestWhatBinds(t *testing.T) {
	at := func(spec transfer.SystemSpec, n float64) transfer.System {
		spec.Lens = mustLens(t, lens.Spec{FocalLength: 50 * mm, FNumber: n})
		spec.Wavelength = green
		return mustSystem(t, spec)
	}
	plain := transfer.SystemSpec{Pitch: 3 * um}
	nyquist := transfer.Detail{LinePairsPerMM: 1 / (2 * 0.003), Contrast: 0.3}
	depth := must[transfer.Depth](t)(at(plain, 11).Depth(4, nyquist))
	assert.False(t, depth.OK)
	assert.Equal(t, transfer.Diffraction, depth.Limit, "f/11 takes all of 3 µm")
	assert.Equal(t, 0.3, depth.Shortfall)
	depth = must[transfer.Depth](t)(at(plain, 2).Depth(4, nyquist))
	assert.True(t, depth.OK)
	assert.Equal(t, transfer.PhotositeAperture, depth.Limit)
	// A foreground too near for any stop, a system that moves too far, and one that
	// is held still.
	set := must[transfer.Setting](t)(at(plain, 2).BestSetting(1, 10, nyquist, 2, 22))
	assert.Equal(t, transfer.Setting{Focus: set.Focus, FNumber: 2, Shortfall: 0.3, Limit: transfer.Defocus}, set)
	assert.InDelta(t, 20./11, float64(set.Focus), 1e-12, "a few roundings")
	moved := plain
	moved.Motion.Length = 7 * um
	set = must[transfer.Setting](t)(at(moved, 2).BestSetting(3.9, 4.1, nyquist, 2, 22))
	assert.Equal(t, transfer.UniformMotion, set.Limit)
	assert.Zero(t, set.Contrast)
	set = must[transfer.Setting](t)(at(plain, 2).BestSetting(3.99, 4.01, nyquist, 2, 22))
	assert.True(t, set.OK)
	assert.Zero(t, set.Shortfall)
	long := mustSystem(t, transfer.SystemSpec{Lens: mustLens(t, lens.Spec{FocalLength: 2, FNumber: 0.5}), Wavelength: green})
	set = must[transfer.Setting](t)(long.BestSetting(2.001, unit.Length(inf), nyquist, 0.5, 1))
	assert.Equal(t, transfer.Defocus, set.Limit, "a blur beyond what DefocusOTF takes")
	set = must[transfer.Setting](t)(at(plain, 2).BestSetting(3.99, 4.01, nyquist, 16, 22))
	assert.Equal(t, transfer.Diffraction, set.Limit)
}

func BenchmarkSystem(b *testing.B) {
	s := mustSystem(b, transfer.SystemSpec{
		Lens: mustLens(b, lens.Spec{FocalLength: 12 * mm, FNumber: 2.8}), Wavelength: green, Pitch: 3 * um,
	})
	detail := transfer.Detail{LinePairsPerMM: 80, Contrast: 0.3}
	b.Run("256 of OTF out of focus", func(b *testing.B) {
		for b.Loop() {
			for nu := range 256 {
				s.OTF(float64(nu), 0, 3, 5)
			}
		}
	})
	b.Run("Depth", func(b *testing.B) {
		for b.Loop() {
			s.Depth(4, detail)
		}
	})
	b.Run("BestSetting", func(b *testing.B) {
		for b.Loop() {
			s.BestSetting(2, 10, detail, 1.4, 32)
		}
	})
}
