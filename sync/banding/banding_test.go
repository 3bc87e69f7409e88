package banding_test

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"example.com/platewright/sync/banding"

	"example.com/platewright/sync/internal/trial"

	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

// pulses is a light in a model of its own: periods, and in each the first part on.
type pulses struct{ period, on float64 } // s, s

// mean integrates the light from time t for an exposure, in steps, at the
// middle of each.
func (p pulses) mean(t, exposure float64, steps int) float64 {
	lit := 0
	for i := range steps {
		at := t + exposure*(float64(i)+0.5)/float64(steps)
		if math.Mod(at, p.period) < p.on {
			lit++
		}
	}
	return float64(lit) / float64(steps)
}

func predicted(t *testing.T, spec banding.BandingSpec) banding.Banding {
	t.Helper()
	b, err := banding.NewBanding(spec)
	require.NoError(t, err)
	return b
}

// flashes is a spec with an exposure in periods of a light of 100 Hz.
func flashes(exposure, duty float64) banding.BandingSpec {
	return banding.BandingSpec{Camera: trial.Rate(1, 1), Refresh: trial.Rate(100, 1), DutyCycle: duty, Exposure: unit.Time(exposure / 100), Rows: 1}
}

// TestExtremesAgainstCountedSteps counts the lit steps of each exposure in a period
// of 120 steps, for all pulses and all phases.
func TestExtremesAgainstCountedSteps(t *testing.T) {
	const period = 120
	for _, exposure := range []int{1, 40, 119, 120, 121, 180, 239, 240, 300, 479, 480, 481, 1000} {
		worst, last := 0.0, 2.0
		for pulse := 1; pulse <= period; pulse++ {
			least, most := exposure, 0
			for opens := range period {
				lit := 0
				for i := range exposure {
					if (opens+i)%period < pulse {
						lit++
					}
				}
				least, most = min(least, lit), max(most, lit)
			}
			spec := flashes(float64(exposure)/period, float64(pulse)/period)
			b := predicted(t, spec)
			darkest, brightest := b.Extremes()
			ref.Near(t, "T-BAND-EXTREMES", darkest, float64(least)/float64(exposure), exposure, pulse)
			ref.Near(t, "T-BAND-EXTREMES", brightest, float64(most)/float64(exposure), exposure, pulse)
			depth := float64(most-least) / float64(most+least)
			ref.Near(t, "T-BAND-DEPTH", b.Depth(), depth, exposure, pulse)
			assert.LessOrEqual(t, b.Depth(), last+1e-12, "an exposure of %d: a pulse of %d has deeper bands than a shorter one", exposure, pulse)
			worst, last = math.Max(worst, depth), b.Depth()

			// A group is on for the same part less.
			spec.Multiplex, spec.WallRowsPerCameraRow = 4, 1
			b = predicted(t, spec)
			quarter := predicted(t, flashes(float64(exposure)/period, float64(pulse)/period/4))
			assert.Equal(t, quarter.Depth(), b.Depth())
			assert.Equal(t, quarter.WorstDepth(), b.WorstDepth())
		}
		ref.Near(t, "T-BAND-WORST", predicted(t, flashes(float64(exposure)/period, 0.3)).WorstDepth(), worst, exposure)
	}
	// The dark bands get no light.
	b := predicted(t, flashes(0.5, 0.25))
	darkest, brightest := b.Extremes()
	assert.Equal(t, [3]float64{0, 0.5, 1}, [3]float64{darkest, brightest, b.Depth()})
}

// TestRowsAgainstExactOverlaps sums what each pulse gives to each row in
// fractions, without any rounding, and holds the error that Row states.
func TestRowsAgainstExactOverlaps(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for range 120 {
		camera, refresh := trial.Rate(24, 1), trial.Rate(22+rng.Int64N(2000), 1)
		const rows = 1080
		// Sixteenths and the like are exact in both worlds.
		duty, phase := float64(1+rng.IntN(16))/16, float64(rng.IntN(64)-32)/8
		multiplex, walls := 1<<rng.IntN(4), float64(1+rng.IntN(31))/32*float64(1-2*rng.IntN(2))
		exposure, rowTime := float64(1+rng.IntN(1706))/40960, float64(rng.IntN(40))/1048576
		b := predicted(t, banding.BandingSpec{
			Camera: camera, Refresh: refresh, DutyCycle: duty, Multiplex: multiplex, WallRowsPerCameraRow: walls, Phase: phase,
			Exposure: unit.Time(exposure), RowTime: unit.Time(rowTime), Rows: rows,
		})
		least, most := b.Extremes()
		for range 40 {
			row := rng.IntN(rows)
			got, ok := b.Row(row)
			require.True(t, ok)
			// The wall row at the camera row's centre goes on later by its turn.
			wallRow := int(math.Floor(walls * (float64(row) + 0.5)))
			turn := float64((wallRow%multiplex+multiplex)%multiplex) / float64(multiplex)
			want := exactLight(refresh, duty/float64(multiplex), phase-turn, exposure, rowTime, row)
			ref.Near(t, "T-BAND-ROW", got, want, refresh, duty, multiplex, row)
			f := float64(refresh.Frequency())
			w, p := exposure*f, float64(row)*rowTime*f
			if bound := 0x1p-50 * (1 + w + p) / w; !(math.Abs(got-want) <= bound) {
				t.Errorf("row %d: off by %v, stated %v", row, got-want, bound)
			}
			assert.True(t, got >= least-1e-12 && got <= most+1e-12, "row %d gets %v, outside %v to %v", row, got, least, most)
		}
	}
}

func exactLight(refresh timing.Rate, duty, phase, exposure, rowTime float64, row int) float64 {
	rat := func(x float64) *big.Rat { return new(big.Rat).SetFloat64(x) }
	f := trial.Rat(refresh)
	open := rat(rowTime) // in periods
	open.Mul(open, rat(float64(row))).Mul(open, f).Add(open, rat(phase))
	width := new(big.Rat).Mul(rat(exposure), f)
	closes := new(big.Rat).Add(open, width)
	first, _ := open.Float64()
	last, _ := closes.Float64()
	lit := new(big.Rat)
	for k := math.Floor(first) - 1; k <= last+1; k++ {
		on, off := rat(k), rat(k)
		off.Add(off, rat(duty))
		if on.Cmp(open) < 0 {
			on = open
		}
		if off.Cmp(closes) > 0 {
			off = closes
		}
		if d := new(big.Rat).Sub(off, on); d.Sign() > 0 {
			lit.Add(lit, d)
		}
	}
	v, _ := lit.Quo(lit, width).Float64()
	return v
}

// TestSpacingAgainstShiftedFrames renders a frame pulse by pulse, and finds by how
// many rows it must be shifted to look the same.
func TestSpacingAgainstShiftedFrames(t *testing.T) {
	rng := rand.New(rand.NewPCG(37, 38))
	for range 40 {
		const rows, hz = 400, 40_000.
		want := 3 + rng.IntN(rows/3)
		// 1/want of a period a row, and whole periods, which rows cannot tell.
		perRow := float64(rng.IntN(3)) + []float64{1, -1}[rng.IntN(2)]/float64(want)
		if perRow < 0 {
			perRow++
		}
		light := scene{rows: rows, spacing: 1 / perRow, exposure: 0.3 + 2*rng.Float64(), duty: 0.2 + 0.5*rng.Float64(), phase: rng.Float64()}
		frame := light.frame(rng)
		shift := 1
		for ; ; shift++ {
			same := true
			for i := range rows - shift {
				same = same && math.Abs(frame[i]-frame[i+shift]) < 1e-9
			}
			if same {
				break
			}
		}
		require.Equal(t, want, shift, "%+v", light)
		spec := banding.BandingSpec{
			Camera: trial.Rate(24, 1), Refresh: trial.Rate(hz, 1), DutyCycle: light.duty, Phase: light.phase,
			Exposure: unit.Time(light.exposure / hz), RowTime: unit.Time(perRow / hz), Rows: rows,
		}
		b := predicted(t, spec)
		spacing, ok := b.Spacing()
		require.True(t, ok)
		ref.Near(t, "T-BAND-FRAME", spacing, float64(shift), perRow)
		ref.Near(t, "T-BAND-FRAME", b.Bands(), rows/float64(shift), perRow)
		for i, v := range frame {
			got, _ := b.Row(i)
			assert.InDelta(t, v, got, 1e-11, "phases of up to 1000 periods")
		}
	}
}

func TestBandsDrift(t *testing.T) {
	// 4 + 1/6 flashes a frame and 600 rows a flash: each frame begins 1/6 of a
	// period further into the light, so that what it shows lies 100 rows higher
	// up: −2400 rows a second, and after six frames all is as before.
	const perFlash = 600
	light := pulses{0.01, 0.004}
	spec := banding.BandingSpec{
		Camera: trial.Rate(24, 1), Refresh: trial.Rate(100, 1), DutyCycle: 0.4, Exposure: 0.013, RowTime: 0.01 / perFlash, Rows: 1200,
	}
	b := predicted(t, spec)
	const steps = 2000
	for row := 3; row < 1000; row += 41 {
		rowTime := float64(spec.RowTime)
		later := light.mean(1.0/24+float64(row)*rowTime, float64(spec.Exposure), steps)
		first := light.mean(float64(row+100)*rowTime, float64(spec.Exposure), steps)
		assert.InDelta(t, first, later, 5.0/steps, "four edges, each off by a step at most")
		predicted, _ := b.Row(row + 100)
		assert.InDelta(t, first, predicted, 5.0/steps, "four edges, each off by a step at most")
	}
	moves := func(spec banding.BandingSpec) (drift, cycle float64) {
		b := predicted(t, spec)
		drift, ok1 := b.Drift()
		c, ok2 := b.Cycle()
		assert.True(t, ok1 && ok2)
		return drift, float64(c)
	}
	drift, cycle := moves(spec)
	ref.Near(t, "T-BAND-DRIFT", drift, -2400)
	ref.Near(t, "T-BAND-DRIFT", cycle, 6.0/24)

	// A hair less than whole: the other way.
	spec.Refresh = trial.Rate(95, 1) // 3 + 23/24 a frame
	spec.RowTime = unit.Time(1.0 / 95 / perFlash)
	drift, cycle = moves(spec)
	ref.Near(t, "T-BAND-DRIFT", drift, 600)
	ref.Near(t, "T-BAND-DRIFT", cycle, 1)

	// Half a period a frame, where bands may be seen to go either way, and a little
	// more (1.50042 periods) and less.
	for _, tc := range []struct {
		refresh timing.Rate
		c       float64
	}{{trial.Rate(36, 1), 0.5}, {trial.Rate(3601, 100), -0.4995833333333333}, {trial.Rate(3599, 100), 0.4995833333333333}} {
		spec = banding.BandingSpec{Camera: trial.Rate(24, 1), Refresh: tc.refresh, DutyCycle: 0.5, Exposure: 0.01, RowTime: 1e-5, Rows: 1080}
		drift, cycle = moves(spec)
		assert.InEpsilon(t, 1/math.Abs(tc.c), 24*cycle, 1e-11, "roundings")
		assert.InEpsilon(t, -tc.c*24/(1e-5*float64(tc.refresh.Frequency())), drift, 1e-11, "roundings")
	}
}

func TestLockedBandsStandStill(t *testing.T) {
	spec := banding.BandingSpec{
		Camera: trial.Rate(24000, 1001), Refresh: trial.Rate(160*24000, 1001), DutyCycle: 0.5, Exposure: 0.02, RowTime: 1e-5, Rows: 2160,
	}
	b := predicted(t, spec)
	drift, ok := b.Drift()
	assert.True(t, ok && drift == 0 && !math.Signbit(drift), "drift %v, %v", drift, ok)
	cycle, ok := b.Cycle()
	assert.True(t, !ok && cycle == 0, "cycle %v, %v", cycle, ok)
	// A wall of 3840 Hz beside the same camera is not locked: 160.16 a frame.
	spec.Refresh = trial.Rate(3840, 1)
	cycle, ok = predicted(t, spec).Cycle()
	assert.True(t, ok)
	assert.InEpsilon(t, 1001/24000.0/0.16, float64(cycle), 1e-13, "exact advance")
}

func TestGenlockPhaseSweep(t *testing.T) {
	// A global shutter has no bands, but its brightness depends on the phase.
	spec := flashes(1.5, 0.5)
	for phase, want := range map[float64]float64{-3: 2. / 3, -2.5: 1. / 3} {
		spec.Phase = phase
		b := predicted(t, spec)
		light, _ := b.Row(0)
		assert.InDelta(t, want, light, 4e-15, "roundings")
		_, ok1 := b.Spacing()
		_, ok2 := b.Drift()
		assert.False(t, ok1 || ok2 || b.Bands() != 0, "a global shutter has bands")
	}
	// Whole periods: no phase matters, to 1e-6 of a period and better.
	for k := 1; k <= 9; k++ {
		for _, err := range []float64{-1e-6, 0, 1e-6} {
			assert.LessOrEqual(t, predicted(t, flashes(float64(k)+err, 0.3)).Depth(), 2e-6)
		}
	}
}

func TestBandingFaultsAreReportedTogether(t *testing.T) {
	_, err := banding.NewBanding(banding.BandingSpec{Multiplex: -1, Exposure: -1, RowTime: -1, Phase: math.NaN()})
	assert.EqualError(t, err, `banding: camera rate: must be set
banding: refresh rate: must be set
banding: duty cycle 0: must be more than 0 and at most 1
banding: multiplex -1: must be at least 0 and at most 1024
banding: rows 0: must be at least 1 and at most 16777216
banding: phase NaN periods: must be a finite number
banding: exposure -1 s: must be at least 1 µs
banding: row time -1 s: must be at least 0 s`)
}

// TestTooManyRows holds the error for a digit too many: 40000 rows for 4000.
func TestTooManyRows(t *testing.T) {
	spec := banding.BandingSpec{Camera: trial.Rate(24, 1), Refresh: trial.Rate(3840, 1), DutyCycle: 0.5, Exposure: 0.02, RowTime: 4e-6, Rows: 40000}
	assert.EqualError(t, trial.Second(banding.NewBanding(spec)),
		"banding: rows 40000 of 4 µs: must fit in the camera's period, 41.6667 ms: at most 10416 rows, or a row time of at most 1.04167 µs")
	spec.Rows = 10416
	assert.NoError(t, trial.Second(banding.NewBanding(spec)))
	spec.Rows++
	assert.ErrorContains(t, trial.Second(banding.NewBanding(spec)), "rows 10417")
	spec.Rows, spec.RowTime = 1080, 4
	assert.EqualError(t, trial.Second(banding.NewBanding(spec)), "banding: row time 4 s: must be at least 0 s and at most 41.6667 ms")
}

func TestBandingSpecsRefused(t *testing.T) {
	up := func(x unit.Time) unit.Time { return unit.Time(math.Nextafter(float64(x), 1)) }
	good := banding.BandingSpec{Camera: trial.Rate(24, 1), Refresh: trial.Rate(3840, 1), DutyCycle: 0.5, Exposure: 0.02, RowTime: 1e-5, Rows: 1080}
	predicted(t, good)
	for name, change := range map[string]func(*banding.BandingSpec){
		"camera":             func(s *banding.BandingSpec) { s.Camera = timing.Rate{} },
		"refresh":            func(s *banding.BandingSpec) { s.Refresh = timing.Rate{} },
		"no duty":            func(s *banding.BandingSpec) { s.DutyCycle = 0 },
		"more than on":       func(s *banding.BandingSpec) { s.DutyCycle = math.Nextafter(1, 2) },
		"duty NaN":           func(s *banding.BandingSpec) { s.DutyCycle = math.NaN() },
		"multiplex":          func(s *banding.BandingSpec) { s.Multiplex = -1 },
		"many groups":        func(s *banding.BandingSpec) { s.Multiplex, s.WallRowsPerCameraRow = 1025, 1 },
		"no exposure":        func(s *banding.BandingSpec) { s.Exposure = 0 },
		"short exposure":     func(s *banding.BandingSpec) { s.Exposure = 0.999e-6 },
		"exposure NaN":       func(s *banding.BandingSpec) { s.Exposure = unit.Time(math.NaN()) },
		"long exposure":      func(s *banding.BandingSpec) { s.Exposure = 1.0 / 24 * (1 + 2e-12) },
		"row time":           func(s *banding.BandingSpec) { s.RowTime = -1e-9 },
		"long rows":          func(s *banding.BandingSpec) { s.RowTime = 1.0 / 24 / 1080 * (1 + 2e-12) },
		"row time NaN":       func(s *banding.BandingSpec) { s.RowTime = unit.Time(math.NaN()) },
		"no rows":            func(s *banding.BandingSpec) { s.Rows = 0 },
		"many rows":          func(s *banding.BandingSpec) { s.Rows, s.RowTime = 1<<24+1, 0 },
		"phase":              func(s *banding.BandingSpec) { s.Phase = math.Inf(1) },
		"everything missing": func(s *banding.BandingSpec) { *s = banding.BandingSpec{} },
	} {
		spec := good
		change(&spec)
		b, err := banding.NewBanding(spec)
		assert.ErrorIs(t, err, banding.ErrInvalid, name)
		assert.Zero(t, b, name)
	}
	ends := good
	ends.Exposure, ends.DutyCycle, ends.Multiplex, ends.WallRowsPerCameraRow = up(ends.Camera.Period().Time()), 1, 1024, 1
	ends.RowTime, ends.Rows = up(1.0/24/(1<<24)), 1<<24
	predicted(t, ends)
	ends.Exposure = 1e-6
	predicted(t, ends)
	for _, row := range []int{-1, 1080, math.MaxInt, math.MinInt} {
		v, ok := predicted(t, good).Row(row)
		assert.True(t, !ok && v == 0, "row %d: got %v, %v", row, v, ok)
	}
	for _, row := range []int{0, 1079} {
		_, ok := predicted(t, good).Row(row)
		assert.True(t, ok, row)
	}
	far := good
	far.Phase = -1e300
	v, ok := predicted(t, far).Row(7)
	assert.True(t, ok && v >= 0 && v <= 1, "a far phase: got %v, %v", v, ok)
}

func TestZeroBanding(t *testing.T) {
	var b banding.Banding
	v, ok1 := b.Row(0)
	spacing, ok2 := b.Spacing()
	drift, ok3 := b.Drift()
	cycle, ok4 := b.Cycle()
	min, max := b.Extremes()
	assert.False(t, ok1 || ok2 || ok3 || ok4)
	assert.Zero(t, [9]float64{v, spacing, drift, float64(cycle), min, max, b.Depth(), b.WorstDepth(), b.Bands()})
}

func FuzzBanding(f *testing.F) {
	f.Add(int64(24), int64(3840), 0.25, 8, 0.0021, 3.7e-6, 2160, 0.0, -0.7)
	f.Add(int64(24000), int64(100), 1.0, 0, 1e-300, 0.0, 1, -1e300, 0.0)
	f.Fuzz(func(t *testing.T, camera, refresh int64, duty float64, multiplex int, exposure, rowTime float64, rows int, phase, walls float64) {
		c, err1 := timing.NewRate(camera, 1001)
		r, err2 := timing.NewRate(refresh, 7)
		b, err := banding.NewBanding(banding.BandingSpec{
			Camera: c, Refresh: r, DutyCycle: duty, Multiplex: multiplex, WallRowsPerCameraRow: walls, Exposure: unit.Time(exposure), RowTime: unit.Time(rowTime), Rows: rows, Phase: phase,
		})
		if err1 != nil || err2 != nil || err != nil {
			require.ErrorIs(t, err, banding.ErrInvalid)
			return
		}
		least, most := b.Extremes()
		assert.True(t, least >= 0 && most <= 1+1e-12 && b.Depth() >= 0 && b.Depth() <= b.WorstDepth()+1e-12 && b.WorstDepth() <= 1,
			"extremes %v, %v, depth %v, at worst %v", least, most, b.Depth(), b.WorstDepth())
		for _, row := range []int{0, rows / 2, rows - 1} {
			v, ok := b.Row(row)
			assert.True(t, ok && v >= 0 && v <= 1+1e-9, "row %d: %v, %v", row, v, ok)
		}
		spacing, ok := b.Spacing()
		drift, _ := b.Drift()
		assert.False(t, math.IsNaN(drift) || ok && !(spacing >= 2), "spacing %v, drift %v", spacing, drift)
	})
}

func TestCleanIsExactlyZero(t *testing.T) {
	for _, camera := range trial.Rates() {
		for _, hz := range []int64{1920, 2880, 3840, 7680} {
			for _, refresh := range []timing.Rate{trial.Rate(hz, 1), trial.Rate(hz*1000, 1001)} {
				for _, angle := range trial.Must(timing.CleanAngles(timing.CleanSpec{Camera: camera, Light: refresh})) {
					exposure := trial.Must(angle.Exposure(camera)).Time()
					b := predicted(t, banding.BandingSpec{
						Camera: camera, Refresh: refresh, DutyCycle: 0.3, Multiplex: 8, WallRowsPerCameraRow: 0.4,
						Exposure: exposure, RowTime: exposure / 4320, Rows: 2160, Phase: 0.3,
					})
					first, _ := b.Row(0)
					last, _ := b.Row(2159)
					if b.Depth() != 0 || b.WorstDepth() != 0 || first != last {
						t.Fatalf("%v at %v under %v: depth %v, at worst %v, rows %v and %v", angle, camera, refresh, b.Depth(), b.WorstDepth(), first, last)
					}
					if got := trial.Must(banding.ResidualModulation(1, refresh.Frequency(), exposure)); got != 0 {
						t.Fatalf("%v at %v under %v: modulation %v", angle, camera, refresh, got)
					}
				}
			}
		}
	}
	// A light that is never off has no bands at any exposure, and gives no row more
	// light than there is.
	for i := range 1000 {
		spec := flashes(0.0123*float64(i+1), 1)
		spec.Phase = 0.377 * float64(i)
		b := predicted(t, spec)
		light, _ := b.Row(0)
		assert.Zero(t, b.Depth(), i)
		assert.InDelta(t, 1, light, 1e-14, "roundings")
		assert.LessOrEqual(t, light, 1.0)
	}
}

func TestNoBandsButRounding(t *testing.T) {
	// A row lasts a whole period of the light, but for rounding.
	for _, hz := range []int64{48_611, 51_000, 77_777, 90_001} {
		b := predicted(t, banding.BandingSpec{
			Camera: trial.Rate(24, 1), Refresh: trial.Rate(hz, 1), DutyCycle: 0.5, Exposure: 0.01, RowTime: unit.Time(1/float64(hz)) * (1 + 3e-16), Rows: 1080,
		})
		spacing, ok := b.Spacing()
		drift, ok2 := b.Drift()
		assert.False(t, ok || ok2 || spacing != 0 || drift != 0 || b.Bands() != 0, "%d Hz: spacing %v, drift %v, %v bands", hz, spacing, drift, b.Bands())
	}
	// Half a band a frame is there, though long; a millionth and a hair is too.
	for bands, want := range map[float64]bool{0.5: true, 1.01e-6: true, 0.99e-6: false} {
		b := predicted(t, banding.BandingSpec{Camera: trial.Rate(24, 1), Refresh: trial.Rate(50, 1), DutyCycle: 0.5, Exposure: 0.01, RowTime: unit.Time(bands / 50 / 1080), Rows: 1080})
		spacing, ok := b.Spacing()
		require.Equal(t, want, ok, bands)
		if ok {
			assert.InEpsilon(t, 1080/bands, spacing, 1e-12, "roundings")
		}
	}
	// No less than a millionth: 1 µs at 1 Hz, exactly.
	b := predicted(t, banding.BandingSpec{Camera: trial.Rate(24, 1), Refresh: trial.Rate(1, 1), DutyCycle: 0.5, Exposure: 0.01, RowTime: 1e-6, Rows: 1})
	assert.Equal(t, 1e-6, b.Bands())
	assert.True(t, trial.Second(b.Spacing()))
}
