package photosite_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/root"
	"example.com/platewright/sensor"
	"example.com/platewright/sensor/photosite"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
	"gonum.org/v1/gonum/unit"
)

func pixel(t testing.TB, spec photosite.PixelSpec) photosite.Pixel {
	t.Helper()
	return must[photosite.Pixel](t)(photosite.NewPixel(spec))
}

func noise(t testing.TB, p photosite.Pixel, luxSeconds float64) photosite.Noise {
	t.Helper()
	n, ok := p.Noise(luxSeconds)
	require.True(t, ok)
	return n
}

// simulated develops pixels of an even surface from photons: every photosite has a
// response and a dark level of its own, Poisson light and normal read noise; the
// charge of the binned ones is added, then rounded by a converter that spans it, and
// what the pixel covers of the colour is averaged over samples and frames. It gives
// the standard deviation between pixels by source, and of all.
func simulated(spec photosite.Spec, s photosite.PixelSpec, electrons float64, pixels int) (n photosite.Noise) {
	random := rand.New(rand.NewPCG(5, uint64(s.Binning*1000+s.Frames)))
	side := int(s.Scale)
	one := 1 / spec.Gain * float64(s.Binning*s.Binning) // of the converter, in electrons
	var shot2, dark2, pattern2, all, all2 float64
	for range pixels {
		var shot, dark, pattern, samples float64
		for row := range side {
			for column := range side {
				switch { // the colour sits at even rows and columns, or as on a chessboard
				case s.ColourFraction == 0.25 && (row%2 == 1 || column%2 == 1), s.ColourFraction == 0.5 && (row+column)%2 == 1:
					continue
				}
				samples++
				mean := make([]float64, s.Binning*s.Binning) // electrons of each photosite, with its own response
				own, darkLevel := 0.0, 0.0
				for i := range mean {
					mean[i] = electrons * (1 + spec.PRNU*random.NormFloat64())
					own += mean[i]
					darkLevel += spec.DSNU * random.NormFloat64()
				}
				pattern += own + darkLevel
				for range s.Frames {
					charge := 0.0
					for _, m := range mean {
						charge += distuv.Poisson{Lambda: m, Src: random}.Rand()
					}
					analogue := charge + darkLevel + spec.ReadNoise*random.NormFloat64()
					read := one * math.Round(analogue/one)
					shot += (charge - own) / float64(s.Frames)
					dark += (read - charge - darkLevel) / float64(s.Frames)
				}
			}
		}
		per := 1 / (samples * float64(s.Binning*s.Binning))
		shot, dark, pattern = shot*per, dark*per, pattern*per-electrons
		shot2, dark2, pattern2 = shot2+shot*shot, dark2+dark*dark, pattern2+pattern*pattern
		all += shot + dark + pattern
		all2 += (shot + dark + pattern) * (shot + dark + pattern)
	}
	count := float64(pixels)
	return photosite.Noise{
		Electrons: electrons + all/count,
		Shot:      math.Sqrt(shot2 / count), Dark: math.Sqrt(dark2 / count), Pattern: math.Sqrt(pattern2 / count),
		SNR: electrons / math.Sqrt(all2/count-all/count*all/count),
	}
}

func TestNoiseOfSimulatedPixels(t *testing.T) {
	spec := photosite.Spec{QuantumEfficiency: 0.5, ReadNoise: 3, SaturationCapacity: 2000, Gain: 0.3, PRNU: 0.02, DSNU: 1.5}
	site := made(t, spec)
	for _, s := range []photosite.PixelSpec{
		{Binning: 1, Scale: 1, ColourFraction: 1, Frames: 1},
		{Binning: 2, Scale: 1, ColourFraction: 1, Frames: 1},
		{Binning: 1, Scale: 3, ColourFraction: 1, Frames: 1},
		{Binning: 1, Scale: 4, ColourFraction: 0.25, Frames: 1},
		{Binning: 1, Scale: 2, ColourFraction: 0.5, Frames: 1},
		{Binning: 1, Scale: 1, ColourFraction: 1, Frames: 8},
		{Binning: 2, Scale: 2, ColourFraction: 0.5, Frames: 3},
	} {
		s.Photosite = site
		p := pixel(t, s)
		for _, electrons := range []float64{20, 1500} {
			want := simulated(spec, s, electrons, 12000)
			got := noise(t, p, electrons/0.5/perLux)
			ref.Near(t, "S-PIXEL-SIMULATED", got.Electrons/want.Electrons, 1, s, electrons)
			ref.Near(t, "S-PIXEL-SIMULATED", got.Shot/want.Shot, 1, s, electrons, "shot")
			ref.Near(t, "S-PIXEL-SIMULATED", got.Dark/want.Dark, 1, s, electrons, "dark")
			ref.Near(t, "S-PIXEL-SIMULATED", got.Pattern/want.Pattern, 1, s, electrons, "pattern")
			ref.Near(t, "S-PIXEL-SIMULATED", got.SNR/want.SNR, 1, s, electrons, "SNR")
		}
	}
}

// A picture of independent samples, scaled down by averaging over the area of each
// pixel: where pixels cut samples in two, the noise is less than that of as many
// whole ones. Enlarged by repeating samples, the noise stays and its grain grows.
func TestScaledPictures(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 9))
	const width, electrons = 300, 100.0
	samples := make([][]float64, width)
	for y := range samples {
		for range width {
			samples[y] = append(samples[y], distuv.Poisson{Lambda: electrons, Src: random}.Rand())
		}
	}
	deviation := func(picture []float64) float64 {
		var sum, squares float64
		for _, v := range picture {
			sum += v
			squares += v * v
		}
		n := float64(len(picture))
		return math.Sqrt(squares/n - sum/n*sum/n)
	}
	area := func(scale float64) (picture []float64) {
		count := int(width / scale)
		overlap := func(pixel, sample int) float64 {
			return max(0, min(scale*float64(pixel+1), float64(sample+1))-max(scale*float64(pixel), float64(sample)))
		}
		for y := range count {
			for x := range count {
				sum := 0.0
				for sy := int(scale * float64(y)); sy < min(width, int(scale*float64(y+1))+1); sy++ {
					for sx := int(scale * float64(x)); sx < min(width, int(scale*float64(x+1))+1); sx++ {
						sum += overlap(y, sy) * overlap(x, sx) * samples[sy][sx]
					}
				}
				picture = append(picture, sum/(scale*scale))
			}
		}
		return picture
	}
	site := made(t, photosite.Spec{QuantumEfficiency: 1, SaturationCapacity: 1000, Gain: 100})
	of := func(scale float64) photosite.Noise {
		return noise(t, pixel(t, photosite.PixelSpec{Photosite: site, Scale: scale}), electrons/perLux)
	}
	for _, scale := range []float64{1, 2, 3} {
		assert.InEpsilon(t, of(scale).Shot, deviation(area(scale)), 0.03, "%v: 10000 pixels at least: 0.7 %%", scale)
	}
	for _, scale := range []float64{1.5, 2.4} {
		got := deviation(area(scale))
		assert.True(t, got < of(scale).Shot && got > 0.7*of(scale).Shot, "%v: %v against %v", scale, got, of(scale).Shot)
	}
	assert.Equal(t, of(1).Shot, of(0.25).Shot, "an enlarged picture repeats samples")
	for scale, grain := range map[float64]float64{3: 1, 1: 1, 0.25: 4} {
		assert.InDelta(t, grain, pixel(t, photosite.PixelSpec{Photosite: site, Scale: scale}).Grain(), 1e-12, "a root")
	}
}

// One sample covers as many pixels of an enlarged picture as its grain squared.
func TestGrainByCounting(t *testing.T) {
	site := made(t, photosite.Spec{QuantumEfficiency: 1, SaturationCapacity: 1000, Gain: 1})
	const pixels = 240
	for _, tc := range []struct{ scale, fraction float64 }{{0.5, 1}, {0.25, 0.25}, {1, 0.25}, {0.1, 0.5}} {
		samples := 0
		for y := 0.0; y < tc.scale*pixels; y++ {
			for x := 0.0; x < tc.scale*pixels; x++ {
				if tc.fraction == 1 || tc.fraction == 0.5 && int(x+y)%2 == 0 || int(x)%2 == 0 && int(y)%2 == 0 {
					samples++
				}
			}
		}
		grain := pixel(t, photosite.PixelSpec{Photosite: site, Scale: tc.scale, ColourFraction: tc.fraction}).Grain()
		ref.Near(t, "S-PIXEL-GRAIN", grain*grain, pixels*pixels/float64(samples), tc)
	}
}

func TestLimitsOfNoise(t *testing.T) {
	site := made(t, photosite.Spec{QuantumEfficiency: 1, ReadNoise: 4, SaturationCapacity: 20000, Gain: 1, PRNU: 0.01, DSNU: 0.5})
	one := pixel(t, photosite.PixelSpec{Photosite: site})
	for electrons, want := range map[float64]photosite.Source{
		0: photosite.DarkNoise, 10: photosite.DarkNoise, 100: photosite.ShotNoise, 9900: photosite.ShotNoise, 10100: photosite.FixedPattern,
	} {
		assert.Equal(t, want, noise(t, one, electrons/perLux).Limit, electrons)
	}
	assert.Zero(t, noise(t, one, 0).SNR)
	// However many frames: 1/PRNU is the cap, and as much more as samples are averaged.
	still := pixel(t, photosite.PixelSpec{Photosite: site, Frames: 1e6})
	assert.InEpsilon(t, 100, noise(t, still, 20).SNR, 1e-3, "DSNU is 0.5 in 200")
	assert.InEpsilon(t, 200, noise(t, pixel(t, photosite.PixelSpec{Photosite: site, Frames: 1e6, Scale: 2}), 20).SNR, 1e-3, "four samples")
	_, ok := still.ExposureForSNR(100)
	assert.False(t, ok, "the cap is not reached")
	_, ok = still.ExposureForSNR(99)
	assert.True(t, ok)
	// Without a fixed pattern the pixel of one photosite is that of the standard.
	plain := made(t, photosite.Spec{QuantumEfficiency: 0.5, ReadNoise: 3, SaturationCapacity: 10000, Gain: 0.7})
	assert.InEpsilon(t, known(t)(plain.SNR(1.5)), noise(t, pixel(t, photosite.PixelSpec{Photosite: plain}), 1.5).SNR, 1e-14, "roundings")
}

// A real camera, as measured and printed: the variance of the temporal noise in DN², of
// the pattern, and that between pixels of the mean of 50 frames.
func TestPrintedNoiseOfStackedFrames(t *testing.T) {
	const (
		gain, capacity            = 0.280769280926, 13972.6302563
		darkTemporal, darkStacked = 9.49749533243, 0.213951679236
		temporal, stacked         = 553.573746657, 83.4962165406
		dsnu                      = 0.551787767644                   // e⁻
		pattern                   = 72.4247416075                    // DN², at about half of saturation
		signal                    = (temporal - darkTemporal) / gain // DN: shot noise alone adds to the temporal one
	)
	site := made(t, photosite.Spec{
		QuantumEfficiency: 0.451356082834, SaturationCapacity: capacity, Gain: gain,
		ReadNoise: math.Sqrt(darkTemporal-1./12) / gain, DSNU: dsnu,
		PRNU: math.Sqrt(pattern-dsnu*dsnu*gain*gain) / signal,
	})
	p := pixel(t, photosite.PixelSpec{Photosite: site, Frames: 50})
	variance := func(electrons float64) float64 {
		n := noise(t, p, electrons/0.451356082834/perLux)
		return gain * gain * (n.Shot*n.Shot + n.Dark*n.Dark + n.Pattern*n.Pattern)
	}
	ref.Near(t, "S-PIXEL-PRINTED", variance(0), darkStacked)
	ref.Near(t, "S-PIXEL-PRINTED", variance(signal/gain), stacked)
}

func TestExposureForSNR(t *testing.T) {
	// The exact roots of SNR = 1 of a converter of 1 DN an electron.
	for readNoise, electrons := range map[float64]float64{2: 2.58166599947, 3: 3.5550504633, 2.5: 3.06580071972} {
		site := made(t, photosite.Spec{QuantumEfficiency: 0.5, ReadNoise: readNoise, SaturationCapacity: 10000, Gain: 1})
		h := known(t)(pixel(t, photosite.PixelSpec{Photosite: site}).ExposureForSNR(1))
		ref.Near(t, "S-PIXEL-SNR-ONE", h*perLux*0.5, electrons)
	}
	site := made(t, photosite.Spec{QuantumEfficiency: 0.5, ReadNoise: 3, SaturationCapacity: 10000, Gain: 0.2, PRNU: 0.01, DSNU: 2})
	for _, s := range []photosite.PixelSpec{{}, {Scale: 3}, {Binning: 2, Frames: 4}, {Scale: 0.5}} {
		s.Photosite = site
		p := pixel(t, s)
		most := noise(t, p, site.SaturationExposure()).SNR
		for _, snr := range []float64{1e-6, 1, 10, 0.999 * most} {
			found, ok := root.Find(func(h float64) float64 { n, _ := p.Noise(h); return n.SNR - snr }, 0, site.SaturationExposure())
			require.True(t, ok)
			ref.Near(t, "S-PIXEL-SNR-ROOT", known(t)(p.ExposureForSNR(snr)), found, s, snr)
		}
		for _, snr := range []float64{1.0001 * most, 0, -1, 1e-10, 1e10, math.NaN(), math.Inf(1)} {
			h, ok := p.ExposureForSNR(snr)
			assert.False(t, ok, snr)
			assert.Zero(t, h, snr)
		}
	}
}

// The exposure for an SNR has that SNR, whatever the photosite.
func FuzzExposureForSNR(f *testing.F) {
	f.Add(0.5, 3.0, 20000.0, 0.2, 0.006, 0.5, 3.0, 1, 1, 10.0)
	f.Add(1e-6, 1e9, 1e12, 1e-9, 1.0, 1e9, 1e-3, 16, 1000000, 1e-9)
	f.Add(1.0, 0.0, 1.0, 1e9, 0.0, 0.0, 1e3, 1, 1, 1e9)
	f.Fuzz(func(t *testing.T, eta, read, capacity, gain, prnu, dsnu, scale float64, binning, frames int, snr float64) {
		site, err := photosite.New(photosite.Spec{
			PitchX: 3 * um, PitchY: 4 * um, PhotonsPerLuxSecond: 1e4, QuantumEfficiency: eta, ReadNoise: read,
			SaturationCapacity: capacity, Gain: gain, PRNU: prnu, DSNU: dsnu,
		})
		if err != nil {
			return
		}
		p, err := photosite.NewPixel(photosite.PixelSpec{Photosite: site, Binning: binning, Frames: frames, Scale: scale})
		if err != nil {
			return
		}
		most, ok := p.Noise(site.SaturationExposure())
		require.True(t, ok)
		h, ok := p.ExposureForSNR(snr)
		if !ok {
			if snr >= 1e-9 && snr <= 1e9 && snr < most.SNR*(1-1e-12) {
				t.Errorf("no exposure for an SNR of %v, though saturation has %v", snr, most.SNR)
			}
			return
		}
		n, ok := p.Noise(min(h, site.SaturationExposure()))
		require.True(t, ok)
		assert.InEpsilon(t, snr, n.SNR, 1e-12, "a few roundings")
	})
}

// metered is K of a meter after which a grey receives 10/index lx·s through a lens
// that loses nothing: π/4 of K/index.
const metered = 40 / math.Pi

// Greys of metered exposures, and what lies stops above and below them, one by one.
func TestLatitudeAndIndicesByExposures(t *testing.T) {
	site := made(t, photosite.Spec{QuantumEfficiency: 0.5, ReadNoise: 3, SaturationCapacity: 20000, Gain: 0.2, PRNU: 0.005, DSNU: 0.5})
	p := pixel(t, photosite.PixelSpec{Photosite: site, Scale: 2})
	const snr = 10
	at := func(index, stops float64) (luxSeconds float64) {
		e := must[sensor.Exposure](t)(sensor.NewExposure(sensor.ExposureSpec{FNumber: 2.8, Time: 0.02, Index: index}))
		return known(t)(e.FocalPlane(known(t)(e.Luminance(metered)) * math.Exp2(stops)))
	}
	for _, tc := range []struct{ above, below float64 }{{2, 3}, {5, 1}, {4, 6.5}} {
		i, ok := p.Indices(tc.above, tc.below, snr)
		require.True(t, ok)
		ref.Near(t, "S-PIXEL-INDICES", at(i.Least, tc.above), site.SaturationExposure(), tc)
		ref.Near(t, "S-PIXEL-INDICES", noise(t, p, at(i.Greatest, -tc.below)).SNR, snr, tc)
		ref.Near(t, "S-PIXEL-INDICES", i.Least*math.Exp2(i.SpareStops), i.Greatest, tc)

		l, ok := p.Latitude(at(i.Least, 0), snr)
		require.True(t, ok)
		ref.Near(t, "S-PIXEL-LATITUDE", l.AboveStops, tc.above, tc)
		ref.Near(t, "S-PIXEL-LATITUDE", l.BelowStops, tc.below+i.SpareStops, tc)
		ref.Near(t, "S-PIXEL-LATITUDE", noise(t, p, at(i.Least, -l.BelowStops)).SNR, snr, tc)
	}
	for _, bad := range []float64{-1, 101, math.NaN(), math.Inf(1)} {
		i, ok := p.Indices(bad, 1, snr)
		assert.True(t, !ok && i == photosite.Indices{}, bad)
		i, ok = p.Indices(1, bad, snr)
		assert.True(t, !ok && i == photosite.Indices{}, bad)
	}
	for _, bad := range []float64{0, -1, 1e31, math.NaN(), math.Inf(1)} {
		l, ok := p.Latitude(bad, snr)
		assert.True(t, !ok && l == photosite.Latitude{}, bad)
	}
}

// The brightest surface that does not clip and the darkest that has the SNR, by a
// scan of surfaces; the stray light shines on all of them.
func TestFitByScanning(t *testing.T) {
	near.NumbersOnly(t)
	site := made(t, photosite.Spec{QuantumEfficiency: 0.5, ReadNoise: 3, SaturationCapacity: 20000, Gain: 0.2, PRNU: 0.005, DSNU: 0.5})
	p := pixel(t, photosite.PixelSpec{Photosite: site})
	full := site.SaturationExposure()
	const snr, step = 5, 1e-3
	for _, flare := range []float64{0, 0.05, 1} {
		e := must[sensor.Exposure](t)(sensor.NewExposure(sensor.ExposureSpec{FNumber: 2.8, Time: 0.02, Index: 100, FlareExposure: flare}))
		var least, greatest float64
		for stop := -10.0; stop < 20; stop += step {
			h := known(t)(e.FocalPlane(math.Exp2(stop)))
			if h > full {
				break
			}
			greatest = stop
			n := noise(t, p, h)
			signal := n.Electrons - noise(t, p, known(t)(e.FocalPlane(0))).Electrons
			if signal < snr*math.Hypot(math.Hypot(n.Shot, n.Dark), n.Pattern) {
				least = stop
			}
		}
		require.Greater(t, greatest, least+1)
		for _, surfaces := range []struct{ dark, bright float64 }{
			{least + 1, greatest - 2}, {least + 2, greatest - 0.5}, {least - 1, greatest - 0.5}, {least + 1, greatest + 2},
		} {
			f, ok := p.Fit(e, math.Exp2(surfaces.dark), math.Exp2(surfaces.bright), snr)
			require.True(t, ok)
			above, below := greatest-surfaces.bright, surfaces.dark-least
			ref.Near(t, "S-PIXEL-FIT", f.AboveStops, above, flare, surfaces)
			ref.Near(t, "S-PIXEL-FIT", f.BelowStops, below, flare, surfaces)
			ref.Near(t, "S-PIXEL-FIT", f.SceneStops, surfaces.bright-surfaces.dark, flare, surfaces)
			ref.Near(t, "S-PIXEL-FIT", f.SensorStops, greatest-least, flare, surfaces)
			want := photosite.Fit{OK: above > 0 && below > 0, Limit: photosite.Highlights, SpareStops: above, BalanceStops: (above - below) / 2}
			if below < above {
				want.Limit, want.SpareStops = photosite.Shadows, below
			}
			diff := cmp.Diff(want, f, cmpopts.EquateApprox(0, 2*step), cmpopts.IgnoreFields(photosite.Fit{}, "AboveStops", "BelowStops", "SceneStops", "SensorStops"))
			assert.Empty(t, diff, "%v %v", flare, surfaces)
		}
	}

	// The balanced exposure leaves both ends the same.
	at := func(seconds float64) photosite.Fit {
		e := must[sensor.Exposure](t)(sensor.NewExposure(sensor.ExposureSpec{FNumber: 2.8, Time: unit.Time(seconds), Index: 100}))
		f, ok := p.Fit(e, 1, 20, snr)
		require.True(t, ok)
		return f
	}
	balanced := at(0.02 * math.Exp2(at(0.02).BalanceStops))
	assert.InDelta(t, balanced.AboveStops, balanced.BelowStops, 1e-12, "roundings")

	e := must[sensor.Exposure](t)(sensor.NewExposure(sensor.ExposureSpec{FNumber: 2.8, Time: 0.02, Index: 100}))
	veiled := must[sensor.Exposure](t)(sensor.NewExposure(sensor.ExposureSpec{FNumber: 2.8, Time: 0.02, Index: 100, FlareExposure: full}))
	for name, ask := range map[string]func() (photosite.Fit, bool){
		"a black surface":     func() (photosite.Fit, bool) { return p.Fit(e, 0, 1, snr) },
		"the wrong way round": func() (photosite.Fit, bool) { return p.Fit(e, 2, 1, snr) },
		"NaN":                 func() (photosite.Fit, bool) { return p.Fit(e, math.NaN(), 1, snr) },
		"too bright":          func() (photosite.Fit, bool) { return p.Fit(e, 1, 1e13, snr) },
		"no such SNR":         func() (photosite.Fit, bool) { return p.Fit(e, 1, 2, 1e4) },
		"nothing but flare":   func() (photosite.Fit, bool) { return p.Fit(veiled, 1, 2, snr) },
		"no exposure":         func() (photosite.Fit, bool) { return p.Fit(sensor.Exposure{}, 1, 2, snr) },
		"no pixel":            func() (photosite.Fit, bool) { return photosite.Pixel{}.Fit(e, 1, 2, snr) },
	} {
		f, ok := ask()
		assert.True(t, !ok && f == photosite.Fit{}, name)
	}
	f, ok := p.Fit(e, 1, 1, snr)
	assert.True(t, ok && f.SceneStops == 0, "a scene of one luminance")
	text := must[[]byte](t)(json.Marshal(f))
	assert.Contains(t, string(text), `"Limit":"shadows"`)
}

// Results without an answer are part of what callers write.
func TestEmptyResultsGoToJSON(t *testing.T) {
	for _, v := range []any{photosite.Noise{}, photosite.Fit{}} {
		text, err := json.Marshal(v)
		require.NoError(t, err)
		assert.NotContains(t, string(text), "Limit")
	}
}
