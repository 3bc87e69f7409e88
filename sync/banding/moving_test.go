package banding_test

import (
	"math"
	"math/rand/v2"
	"testing"

	timing "example.com/platewright/sync"
	"example.com/platewright/sync/banding"

	"example.com/platewright/internal/ref"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// lampTake renders the rows of a take under a lamp whose light is 1 + m sin(2π f t). The
// light is integrated over each row's exposure. The scene has random rows, and changes from
// frame to frame.
type lampTake struct {
	frames, rows                       int
	light, camera                      float64 // Hz
	rowTime, exposure, modulation, lag float64
	noise, change                      float64
}

func (l lampTake) render(rng *rand.Rand) [][]float64 {
	scene, trend := make([]float64, l.rows), make([]float64, l.rows)
	level, slope := 0.3, 0.0
	for y := range scene {
		level = 0.1 + math.Abs(level-0.1+0.05*rng.NormFloat64())
		slope = 0.9*slope + 0.4*rng.NormFloat64()
		scene[y], trend[y] = level, slope
	}
	out := make([][]float64, l.frames)
	for n := range out {
		whole := 1 + 0.003*rng.NormFloat64()
		for y := range l.rows {
			opens := float64(n)/l.camera + float64(y)*l.rowTime + l.lag
			const steps = 64
			light := 0.0
			for i := range steps {
				light += (1 + l.modulation*math.Sin(2*math.Pi*l.light*(opens+(float64(i)+0.5)/steps*l.exposure))) / steps
			}
			v := scene[y] * math.Exp(l.change*trend[y]*float64(n)) * whole * light
			out[n] = append(out[n], v*(1+l.noise*rng.NormFloat64()))
		}
	}
	return out
}

// bandOf is the band of the lamp, by the definitions of Band.
func (l lampTake) bandOf() banding.Band {
	perRow := l.light * l.rowTime
	perRow -= math.Round(perRow)
	perFrame := l.light / l.camera
	perFrame -= math.Round(perFrame)
	return banding.Band{Spacing: 1 / math.Abs(perRow), Drift: -perFrame * l.camera / perRow}
}

func TestMovingBands(t *testing.T) {
	rate, err := timing.NewRate(24, 1)
	require.NoError(t, err)
	takes, beyond, bias, missed := sample(400), 0, 0.0, 0
	for seed := range takes {
		rng := rand.New(rand.NewPCG(28, uint64(seed)))
		l := lampTake{
			frames: 48, rows: 150 + rng.IntN(200), light: 100, camera: 24, rowTime: 20e-6 + 60e-6*rng.Float64(),
			exposure: (2 + 14*rng.Float64()) * 1e-3, modulation: 0.02 * rng.Float64(), lag: 0.01 * rng.Float64(), noise: 0.002, change: 3e-4,
		}
		if seed%4 == 0 {
			l.light, l.rowTime = 1890, (20+60*rng.Float64())*1e-6
			l.exposure = (1 + rng.Float64()) / 1890
		}
		x := l.light * l.exposure
		want := l.modulation * math.Abs(math.Sin(math.Pi*x)/(math.Pi*x))
		m, err := banding.MeasureMoving(l.render(rng), l.bandOf(), rate)
		require.NoError(t, err, "%+v", l)
		off := (m.Amplitude - want) / (m.AmplitudeError / 2)
		// Of noise alone the amplitude is Rayleigh's, which is beyond three deviations in
		// 1.1 %, and never below 0.
		most := 3.0
		if want > 2*m.AmplitudeError {
			bias += off / float64(takes)
		} else {
			most = 3.4 // 0.3 %
		}
		if math.Abs(off) > most {
			beyond++
		}
		if want > 3*m.AmplitudeError && m.Amplitude < m.AmplitudeError {
			missed++
		}
		if seed == 1 {
			ref.Near(t, "T-MOVING", m.Amplitude, want)
		}
	}
	t.Logf("%d of %d beyond three deviations, bias %.2f of one, %d missed", beyond, takes, bias, missed)
	assert.LessOrEqual(t, beyond, 1+takes/100)
	assert.Less(t, math.Abs(bias), 0.5)
	assert.Zero(t, missed)
}

// The brightest row is where the light is, also if the bands move up, and the direction of
// the movement matters.
func TestMovingBandsWhereTheyAre(t *testing.T) {
	rate, err := timing.NewRate(24, 1)
	require.NoError(t, err)
	for _, light := range []float64{99.8e0 + 0.2, 92, 150} {
		l := lampTake{frames: 60, rows: 300, light: light, camera: 24, rowTime: 40e-6, exposure: 3e-3, modulation: 0.1, lag: 1.7e-3, noise: 1e-4}
		band := l.bandOf()
		frames := l.render(rand.New(rand.NewPCG(1, 2)))
		m, err := banding.MeasureMoving(frames, band, rate)
		require.NoError(t, err)
		// The light is brightest a quarter of a period after it rises, in the middle of the
		// exposure.
		opens := 0.25/light - l.exposure/2 - l.lag
		want := math.Mod(math.Mod(opens/l.rowTime, band.Spacing)+band.Spacing, band.Spacing)
		assert.InDelta(t, want, m.Brightest, 0.02*band.Spacing, "light at %g Hz, noise of the rows", light)
		assert.Positive(t, m.Amplitude-10*m.AmplitudeError)
		if band.Drift != 0 && light != 92 {
			band.Drift = -band.Drift
			if wrong, err := banding.MeasureMoving(frames, band, rate); err == nil {
				assert.Less(t, wrong.Amplitude, m.Amplitude/2, "the other way")
			}
		}
	}
}

func TestMovingBandsRefused(t *testing.T) {
	rate, err := timing.NewRate(24, 1)
	require.NoError(t, err)
	l := lampTake{frames: 24, rows: 100, light: 100, camera: 24, rowTime: 40e-6, exposure: 3e-3, modulation: 0.1, noise: 1e-3}
	good := l.render(rand.New(rand.NewPCG(3, 4)))
	with := func(n, y int, v float64) [][]float64 {
		bad := l.render(rand.New(rand.NewPCG(3, 4)))
		bad[n][y] = v
		return bad
	}
	for _, tc := range []struct {
		want   string
		frames [][]float64
		change func(*banding.Band)
	}{
		{"spacing 1 rows: must be", good, func(b *banding.Band) { b.Spacing = 1 }},
		{"spacing NaN", good, func(b *banding.Band) { b.Spacing = math.NaN() }},
		{"drift +Inf", good, func(b *banding.Band) { b.Drift = math.Inf(1) }},
		{"drift 0 rows/s: must bring the bands round in 2 to 64 frames", good, func(b *banding.Band) { b.Drift = 0 }},
		{"rows/s: must bring the bands round", good, func(b *banding.Band) { b.Drift *= 6 }},
		{"frames 23: must be 4 cycles of 6 frames at least", good[:23], nil},
		{"frames 0: must be four cycles", nil, nil},
		{"rows 31: must be at least 32", [][]float64{good[0][:31], good[1][:31]}, nil},
		{"frame 1 99 rows: must be 100 rows", [][]float64{good[0], good[1][:99]}, nil},
		{"frame 3, row 7 0: must be more than 0", with(3, 7, 0), nil},
		{"frame 3, row 7 NaN: must be more than 0", with(3, 7, math.NaN()), nil},
		{"rows 100: must tell bands 1e+05 rows apart from a slope", good, func(b *banding.Band) { b.Drift *= 1e5 / b.Spacing; b.Spacing = 1e5 }},
	} {
		band := l.bandOf()
		if tc.change != nil {
			tc.change(&band)
		}
		_, err := banding.MeasureMoving(tc.frames, band, rate)
		assert.ErrorContains(t, err, tc.want)
		assert.ErrorIs(t, err, banding.ErrInvalid)
	}
	_, err = banding.MeasureMoving(good, l.bandOf(), timing.Rate{})
	assert.ErrorContains(t, err, "rate: must be set")
}
