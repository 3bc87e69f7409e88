package banding_test

import (
	"encoding/json"
	"math"
	"math/big"
	"math/rand/v2"
	"runtime"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/banding"
	"example.com/platewright/sync/internal/trial"
	"github.com/google/go-cmp/cmp"
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

func predicted(t *testing.T, spec banding.Spec) banding.Prediction {
	t.Helper()
	p, err := banding.New(spec)
	require.NoError(t, err)
	return p
}

func extremes(t *testing.T, spec banding.Spec) banding.Extremes {
	t.Helper()
	e, ok := predicted(t, spec).Extremes(0)
	require.True(t, ok)
	return e
}

// pulsed is a spec of a light of one pulse a period.
func pulsed(camera, light timing.Rate, duty float64, exposure, rowTime timing.Seconds, rows int) banding.Spec {
	return banding.Spec{
		Wall:   banding.Wall{Rate: light, Greys: []banding.Waveform{trial.Must(banding.Pulse(duty))}},
		Camera: timing.ReadoutSpec{Rate: camera, Exposure: exposure, Phase: timing.Leading, RowTime: rowTime, Rows: rows},
	}
}

// flashes is a spec with an exposure of num/den periods of a light of 100 Hz.
func flashes(num, den int64, duty float64) banding.Spec {
	return pulsed(trial.Rate(1, 1), trial.Rate(100, 1), duty, trial.Seconds(num, den*100), timing.Seconds{}, 1)
}

// seconds is a time in floating point to the tenth of a femtosecond.
func seconds(t float64) timing.Seconds { return trial.Must(timing.NearestSeconds(unit.Time(t), 1e16)) }

// TestExtremesAgainstCountedSteps counts the lit steps of each exposure in a period
// of 120 steps, for all pulses and all phases.
func TestExtremesAgainstCountedSteps(t *testing.T) {
	near.NumbersOnly(t)
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
			spec := flashes(int64(exposure), period, float64(pulse)/period)
			e := extremes(t, spec)
			ref.Near(t, "T-BAND-COUNTED", e.Dark.Light, float64(least)/float64(exposure), exposure, pulse)
			ref.Near(t, "T-BAND-COUNTED", e.Bright.Light, float64(most)/float64(exposure), exposure, pulse)
			depth := float64(most-least) / float64(most+least)
			ref.Near(t, "T-BAND-COUNTED-DEPTH", e.Depth, depth, exposure, pulse)
			assert.LessOrEqual(t, e.Depth, last+1e-12, "an exposure of %d: a pulse of %d has deeper bands than a shorter one", exposure, pulse)
			worst, last = math.Max(worst, depth), e.Depth

			// A group is on for the same part less, and later.
			spec.Wall.Turns = []int{2, 0, 3, 1}
			grouped := extremes(t, spec)
			quarter := extremes(t, flashes(int64(exposure), period, float64(pulse)/period/4))
			assert.InDelta(t, quarter.Depth, grouped.Depth, 1e-13, "roundings")
		}
		ref.Near(t, "T-BAND-WORST", predicted(t, flashes(int64(exposure), period, 0.3)).WorstDepth(), worst, exposure)
		k, err := banding.PeriodsFor(worst)
		if worst > 0 {
			ref.Equal(t, "T-BAND-PERIODS", k, exposure/period, worst)
			require.NoError(t, err)
		}
	}
	// The dark bands get no light.
	e := extremes(t, flashes(1, 2, 0.25))
	assert.Equal(t, [3]float64{0, 0.5, 1}, [3]float64{e.Dark.Light, e.Bright.Light, e.Depth})
}

// TestFramesAgainstExactOverlaps sums what each pulse gives to each row in
// fractions, without any rounding, and holds the error that Frame states.
func TestFramesAgainstExactOverlaps(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(7, 8))
	for range 40 {
		camera, light := trial.Rate(24, 1), trial.Rate(22+rng.Int64N(2000), 1)
		const rows = 1080
		// Sixteenths and the like are exact in both worlds.
		duty, phase := float64(1+rng.IntN(16))/16, float64(rng.IntN(64)-32)/8
		groups := 1 << rng.IntN(4)
		exposure, rowTime := float64(1+rng.IntN(1706))/40960, float64(rng.IntN(40))/1048576
		spec := pulsed(camera, light, duty, trial.Seconds(int64(exposure*40960), 40960), trial.Seconds(int64(rowTime*1048576), 1048576), rows)
		spec.Wall.Turns = rng.Perm(groups)
		spec.View = banding.View{WallRowsPerCameraRow: float64(1+rng.IntN(31)) / 32 * float64(1-2*rng.IntN(2)), Offset: float64(rng.IntN(99)) / 4}
		frame, ok := predicted(t, spec).Frame(0, phase)
		require.True(t, ok)
		for range 20 {
			row := rng.IntN(rows)
			// The wall row at the camera row's centre goes on later by its turn.
			wallRow := int(math.Floor(spec.View.WallRowsPerCameraRow*(float64(row)+0.5) + spec.View.Offset))
			turn := float64(spec.Wall.Turns[(wallRow%groups+groups)%groups]) / float64(groups)
			want := exactLight(light, duty/float64(groups), phase-turn, exposure, rowTime, row)
			ref.Near(t, "T-BAND-ROW", frame[row], want, light, duty, groups, row)
			f := float64(light.Frequency())
			w, p := exposure*f, float64(row)*rowTime*f
			if bound := 0x1p-49 * (1 + w + p) / w; !(math.Abs(frame[row]-want) <= bound) {
				t.Errorf("row %d: off by %v, stated %v", row, frame[row]-want, bound)
			}
		}
	}
}

func exactLight(light timing.Rate, duty, phase, exposure, rowTime float64, row int) float64 {
	rat := func(x float64) *big.Rat { return new(big.Rat).SetFloat64(x) }
	f := trial.Rat(light)
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
		const rows, hz = 400, 40_000
		want := 3 + rng.IntN(rows/3)
		// 1/want of a period a row, and whole periods, which rows cannot tell.
		num := rng.IntN(3)*want + 1 - 2*rng.IntN(2)
		if num < 0 {
			num += want
		}
		perRow := float64(num) / float64(want)
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
		p := predicted(t, pulsed(trial.Rate(24, 1), trial.Rate(hz, 1), light.duty, trial.Must(timing.NearestSeconds(unit.Time(light.exposure/hz), 1e18)), trial.Seconds(int64(num), int64(want*hz)), rows))
		bands, ok := p.Bands(0)
		require.True(t, ok)
		// A harmonic may be stronger than the fundamental.
		fundamental := bands[0]
		for _, b := range bands {
			if b.Spacing > fundamental.Spacing {
				fundamental = b
			}
		}
		ref.Near(t, "T-BAND-SHIFTED", fundamental.Spacing, float64(shift), perRow)
		ref.Near(t, "T-BAND-SHIFTED", fundamental.Count, rows/float64(shift), perRow)
		got, _ := p.Frame(0, light.phase)
		for i, v := range frame {
			assert.InDelta(t, v, got[i], 1e-11, "phases of up to 1000 periods")
		}
	}
}

func TestBandsDrift(t *testing.T) {
	// 4 + 1/6 flashes a frame and 600 rows a flash: each frame begins 1/6 of a
	// period further into the light, so that what it shows lies 100 rows higher
	// up: −2400 rows a second, and after six frames all is as before.
	const perFlash = 600
	light := pulses{0.01, 0.004}
	spec := pulsed(trial.Rate(24, 1), trial.Rate(100, 1), 0.4, seconds(0.013), trial.Seconds(1, 100*perFlash), 1200)
	frame, _ := predicted(t, spec).Frame(0, 0)
	const steps = 2000
	for row := 3; row < 1000; row += 41 {
		rowTime := float64(spec.Camera.RowTime.Time())
		later := light.mean(1.0/24+float64(row)*rowTime, float64(spec.Camera.Exposure.Time()), steps)
		first := light.mean(float64(row+100)*rowTime, float64(spec.Camera.Exposure.Time()), steps)
		assert.InDelta(t, first, later, 5.0/steps, "four edges, each off by a step at most")
		assert.InDelta(t, first, frame[row+100], 5.0/steps, "four edges, each off by a step at most")
	}
	moves := func(spec banding.Spec) (drift, cycle float64) {
		p := predicted(t, spec)
		bands, ok1 := p.Bands(0)
		c, ok2 := p.Cycle()
		require.True(t, ok1 && ok2 && len(bands) > 0)
		return bands[0].Drift, float64(c)
	}
	drift, cycle := moves(spec)
	ref.Near(t, "T-BAND-DRIFT", drift, -2400)
	ref.Near(t, "T-BAND-DRIFT", cycle, 6.0/24)

	// A hair less than whole: the other way.
	spec.Wall.Rate = trial.Rate(95, 1) // 3 + 23/24 a frame
	spec.Camera.RowTime = trial.Seconds(1, 95*perFlash)
	drift, cycle = moves(spec)
	ref.Near(t, "T-BAND-DRIFT", drift, 600)
	ref.Near(t, "T-BAND-DRIFT", cycle, 1)

	// Half a period a frame, where bands may be seen to go either way, and a little
	// more (1.50042 periods) and less.
	for _, tc := range []struct {
		light timing.Rate
		c     float64
	}{{trial.Rate(36, 1), 0.5}, {trial.Rate(3601, 100), -0.4995833333333333}, {trial.Rate(3599, 100), 0.4995833333333333}} {
		drift, cycle = moves(pulsed(trial.Rate(24, 1), tc.light, 0.5, seconds(0.01), seconds(1e-5), 1080))
		assert.InEpsilon(t, 1/math.Abs(tc.c), 24*cycle, 1e-11, "roundings")
		assert.InEpsilon(t, -tc.c*24/(1e-5*float64(tc.light.Frequency())), drift, 1e-11, "roundings")
	}
}

func TestLockedBandsStandStill(t *testing.T) {
	spec := pulsed(trial.Rate(24000, 1001), trial.Rate(160*24000, 1001), 0.5, seconds(0.02), seconds(1e-5), 2160)
	p := predicted(t, spec)
	bands, _ := p.Bands(0)
	require.NotEmpty(t, bands)
	assert.True(t, bands[0].Drift == 0 && !math.Signbit(bands[0].Drift), "drift %v", bands[0].Drift)
	cycle, ok := p.Cycle()
	assert.True(t, !ok && cycle == 0, "cycle %v, %v", cycle, ok)
	// A wall of 3840 Hz beside the same camera is not locked: 160.16 a frame.
	spec.Wall.Rate = trial.Rate(3840, 1)
	cycle, ok = predicted(t, spec).Cycle()
	assert.True(t, ok)
	assert.InEpsilon(t, 1001/24000.0/0.16, float64(cycle), 1e-13, "exact advance")
}

func TestGenlockPhaseSweep(t *testing.T) {
	// A global shutter has no bands, but its brightness depends on the phase.
	p := predicted(t, flashes(3, 2, 0.5))
	for phase, want := range map[float64]float64{-3: 2. / 3, -2.5: 1. / 3, 1e9: 2. / 3} {
		light, ok := p.Frame(0, phase)
		require.True(t, ok)
		assert.InDelta(t, want, light[0], 4e-15, "roundings")
	}
	bands, ok := p.Bands(0)
	assert.True(t, ok && len(bands) == 0, "a global shutter has bands")
	// Whole periods: no phase matters, to 1e-6 of a period and better.
	for k := 1; k <= 9; k++ {
		for _, off := range []int64{-1, 0, 1} {
			assert.LessOrEqual(t, extremes(t, flashes(int64(k)*1e6+off, 1e6, 0.3)).Depth, 2e-6)
		}
	}
}

func TestCleanIsExactlyZero(t *testing.T) {
	near.NumbersOnly(t)
	for _, camera := range trial.Rates() {
		for _, hz := range []int64{1920, 7680} {
			for _, light := range []timing.Rate{trial.Rate(hz, 1), trial.Rate(hz*1000, 1001)} {
				for i, angle := range trial.Must(timing.CleanAngles(timing.CleanSpec{Camera: camera, Light: light})) {
					if i%5 != 0 {
						continue
					}
					exposure := trial.Must(angle.Exposure(camera))
					spec := pulsed(camera, light, 0.3, exposure, trial.Must(exposure.Scale(1, 4320)), 216)
					spec.Wall.Turns, spec.View = []int{3, 1, 2, 0}, banding.View{WallRowsPerCameraRow: 0.4, Blur: float64(i % 3)}
					p := predicted(t, spec)
					frame, _ := p.Frame(0, 0.3)
					bands, _ := p.Bands(0)
					if p.Worst().Depth != 0 || p.WorstDepth() != 0 || math.Abs(frame[0]-frame[215]) > 1e-15 || bands != nil {
						t.Fatalf("%v at %v under %v: depth %v, at worst %v, rows %v and %v, bands %v", angle, camera, light, p.Worst(), p.WorstDepth(), frame[0], frame[215], bands)
					}
					if got := trial.Must(banding.ResidualModulation(1, light.Frequency(), exposure.Time())); got != 0 {
						t.Fatalf("%v at %v under %v: modulation %v", angle, camera, light, got)
					}
				}
			}
		}
	}
	// One period, and a hair more or less than one, which is not clean.
	for hz := int64(22); hz < 200; hz++ {
		for _, off := range []int64{-1, 0, 1} {
			exposure := trial.Must(trial.Seconds(1, hz).Add(trial.Must(trial.Seconds(1, hz).Scale(off, 1e16))))
			p := predicted(t, pulsed(trial.Rate(20, 1), trial.Rate(hz, 1), 0.3, exposure, timing.Seconds{}, 1))
			if (p.WorstDepth() == 0) != (off == 0) || off == 0 && p.Worst().Depth != 0 {
				t.Fatalf("%d Hz, %d parts in 10¹⁶ off: depth %v, at worst %v", hz, off, p.Worst().Depth, p.WorstDepth())
			}
		}
	}
	// A light that is never off has no bands at any exposure, and gives no row more
	// light than there is.
	for i := range 1000 {
		p := predicted(t, flashes(123*int64(i+1), 10000, 1))
		light, _ := p.Frame(0, 0.377*float64(i))
		assert.InDelta(t, 0, p.Worst().Depth, 1e-14, "roundings")
		assert.InDelta(t, 1, light[0], 1e-14, "roundings")
	}
}

func TestNoBandsButRounding(t *testing.T) {
	// A row lasts a whole period of the light, but for rounding.
	for _, hz := range []int64{48_611, 51_000, 77_777, 90_001} {
		p := predicted(t, pulsed(trial.Rate(24, 1), trial.Rate(hz, 1), 0.5, seconds(0.01), trial.Seconds(1, hz), 1080))
		bands, ok := p.Bands(0)
		assert.True(t, ok && len(bands) == 0, "%d Hz: %v", hz, bands)
	}
	// Half a band a frame is there, though long; a millionth and a hair is too, and no less.
	for hundredths, want := range map[int64]bool{50_000_000: true, 101: true, 99: false} { // of a millionth
		bands, _ := predicted(t, pulsed(trial.Rate(24, 1), trial.Rate(50, 1), 0.5, seconds(0.01), trial.Seconds(hundredths, 1e8*50*1080), 1080)).Bands(0)
		require.Equal(t, want, len(bands) > 0, hundredths)
		if want {
			assert.InEpsilon(t, 1080e8/float64(hundredths), bands[0].Spacing, 1e-12, "roundings")
		}
	}
	// Exactly a millionth.
	bands, _ := predicted(t, pulsed(trial.Rate(24, 1), trial.Rate(1, 1), 0.5, seconds(0.01), trial.Seconds(1, 1e6), 1)).Bands(0)
	assert.NotEmpty(t, bands)
}

// TestCountByHand is readout times rate: 8 ms of 3840 Hz, and so on.
func TestCountByHand(t *testing.T) {
	for _, tc := range []struct {
		readout timing.Seconds
		hz      int64
		want    float64
	}{{trial.Seconds(1, 60), 100, 5. / 3}, {trial.Seconds(125, 10_000), 120, 1.5}, {trial.Seconds(8, 1000), 3840, 30.72}} {
		bands, _ := predicted(t, pulsed(trial.Rate(24, 1), trial.Rate(tc.hz, 1), 0.4, trial.Seconds(1, 200), trial.Must(tc.readout.Scale(1, 1080)), 1080)).Bands(0)
		require.NotEmpty(t, bands)
		ref.Near(t, "T-BAND-SHIFTED", bands[0].Count, tc.want, tc.hz)
	}
}

func TestFaultsAreReportedTogether(t *testing.T) {
	_, err := banding.New(banding.Spec{
		Wall:   banding.Wall{Greys: []banding.Waveform{{{From: 0.5, Level: 1}, {From: 0.5}}, {{Level: -1}}, {{}}, {}}, Turns: []int{0, 2, 2}, Refreshes: -1},
		View:   banding.View{WallRowsPerCameraRow: math.NaN(), Offset: 2e6, Blur: -1, Kernel: []float64{0}},
		Camera: timing.ReadoutSpec{Rate: trial.Rate(24, 1), Exposure: seconds(0.02), Phase: timing.Leading, Rows: 4000, RowTime: seconds(4e-5)},
	})
	assert.EqualError(t, err, `banding: light rate: must be set
banding: grey 0, step 1 from 0.5 periods: must be at least 0, less than 1, and after the step before it
banding: grey 1, step 0 level -1: must be at least 0 and at most 1e6
banding: grey 2 black: must hold some light
banding: grey 3 0 steps: must be at least 1 and at most 4096
banding: refreshes -1: must be at least 0 and at most 2048
banding: turn of group 2 2: must be a permutation of 0 to 2
banding: wall rows per camera row NaN: must be at least -1024 and at most 1024
banding: offset 2e+06 wall rows: must be at least -1e+06 wall rows and at most 1e+06 wall rows
banding: blur, if it is not 0, -1 wall rows: must be at least 0.001 wall rows and at most 10000 wall rows
banding: kernel all 0: must have a weight above 0
camera: sync: rows 4000 of 1/25000 s: must be read within the period of a frame, 1/24 s`)
	assert.ErrorIs(t, err, banding.ErrInvalid)
}

// TestTooMuchWork holds the errors for what would take seconds.
func TestTooMuchWork(t *testing.T) {
	spec := pulsed(trial.Rate(24, 1), trial.Rate(3840, 1), 0.5, seconds(0.02), timing.Seconds{}, 65536)
	spec.Wall.Turns, spec.Wall.Refreshes = trial.Must(banding.InOrder(32)), 512
	assert.EqualError(t, trial.Second(banding.New(spec)), "banding: rows 65536: must be at most 32768, with 16384 steps of all greys, times groups")
	spec.Camera.Rows = 32768
	assert.NoError(t, trial.Second(banding.New(spec)))
	spec.Wall.Turns, spec.Wall.Refreshes = trial.Must(banding.InOrder(1024)), 2048
	assert.EqualError(t, trial.Second(banding.New(spec)), "banding: steps of all greys, times groups: 2097152: must be at least 0 and at most 1048576")
	spec.Wall.Turns = []int{0, 1}
	spec.Wall.Greys[0] = trial.Must(banding.Sampled(rising(4096)))
	assert.ErrorContains(t, trial.Second(banding.New(spec)), "grey 0 with 2048 refreshes: steps 6144: must be at least 0 and at most 4096")
}

// TestTooManyGreys holds that a short spec with more greys than can be judged is refused
// before the light of all of them is worked out, which would take 2.6 GB.
func TestTooManyGreys(t *testing.T) {
	spec := pulsed(trial.Rate(24, 1), trial.Rate(3840, 1), 0.5, seconds(0.02), timing.Seconds{}, 1)
	spec.Wall.Turns, spec.Wall.Refreshes = []int{0, 1}, 2048
	for len(spec.Wall.Greys) < 4096 {
		spec.Wall.Greys = append(spec.Wall.Greys, banding.Waveform{{From: 0, Level: 1}})
	}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	err := trial.Second(banding.New(spec))
	runtime.ReadMemStats(&after)
	assert.ErrorContains(t, err, "steps of all greys, times groups")
	assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(100<<20), "bytes")
}

// rising is a light that is never the same twice.
func rising(n int) []float64 {
	levels := make([]float64, n)
	for i := range levels {
		levels[i] = float64(i + 1)
	}
	return levels
}

func TestSpecsRefused(t *testing.T) {
	good := pulsed(trial.Rate(24, 1), trial.Rate(3840, 1), 0.5, seconds(0.02), seconds(1e-5), 1080)
	p := predicted(t, good)
	for name, change := range map[string]func(*banding.Spec){
		"camera":             func(s *banding.Spec) { s.Camera = timing.ReadoutSpec{} },
		"light":              func(s *banding.Spec) { s.Wall.Rate = timing.Rate{} },
		"no greys":           func(s *banding.Spec) { s.Wall.Greys = nil },
		"many greys":         func(s *banding.Spec) { s.Wall.Greys = make([]banding.Waveform, 4097) },
		"step at the end":    func(s *banding.Spec) { s.Wall.Greys = []banding.Waveform{{{From: 1, Level: 1}}} },
		"step NaN":           func(s *banding.Spec) { s.Wall.Greys = []banding.Waveform{{{From: math.NaN(), Level: 1}}} },
		"level NaN":          func(s *banding.Spec) { s.Wall.Greys = []banding.Waveform{{{Level: math.NaN()}}} },
		"level":              func(s *banding.Spec) { s.Wall.Greys = []banding.Waveform{{{Level: 1.1e6}}} },
		"many refreshes":     func(s *banding.Spec) { s.Wall.Refreshes = 2049 },
		"many groups":        func(s *banding.Spec) { s.Wall.Turns = make([]int, 1025) },
		"turn":               func(s *banding.Spec) { s.Wall.Turns = []int{-1} },
		"pitch":              func(s *banding.Spec) { s.View.WallRowsPerCameraRow = 1025 },
		"offset":             func(s *banding.Spec) { s.View.Offset = math.Inf(1) },
		"blur":               func(s *banding.Spec) { s.View.Blur = 1.1e4 },
		"little blur":        func(s *banding.Spec) { s.View.Blur = 0.9e-3 },
		"kernel":             func(s *banding.Spec) { s.View.Kernel = make([]float64, 1025) },
		"weight":             func(s *banding.Spec) { s.View.Kernel = []float64{1, -1} },
		"no exposure":        func(s *banding.Spec) { s.Camera.Exposure = timing.Seconds{} },
		"short exposure":     func(s *banding.Spec) { s.Camera.Exposure = trial.Seconds(999, 1e9) },
		"no rows":            func(s *banding.Spec) { s.Camera.Rows = 0 },
		"many rows":          func(s *banding.Spec) { s.Camera.Rows, s.Camera.RowTime = 1<<16+1, timing.Seconds{} },
		"everything missing": func(s *banding.Spec) { *s = banding.Spec{} },
	} {
		spec := good
		change(&spec)
		got, err := banding.New(spec)
		assert.ErrorIs(t, err, banding.ErrInvalid, name)
		assert.Zero(t, got, name)
	}
	ends := good
	ends.Camera.Exposure, ends.Camera.RowTime, ends.Camera.Rows = trial.Seconds(1, 24), trial.Seconds(1, 24<<16), 1<<16
	predicted(t, ends)
	ends.Camera.Exposure = trial.Seconds(1, 1e6)
	predicted(t, ends)
	for _, grey := range []int{-1, 1, math.MaxInt, math.MinInt} {
		_, ok1 := p.Frame(grey, 0)
		_, ok2 := p.Extremes(grey)
		_, ok3 := p.Bands(grey)
		assert.False(t, ok1 || ok2 || ok3, grey)
	}
	for _, phase := range []float64{math.NaN(), math.Inf(-1), 1.1e9} {
		assert.False(t, trial.Second(p.Frame(0, phase)), phase)
	}
	var none banding.Prediction
	_, ok := none.Cycle()
	assert.True(t, !ok && none.Worst() == banding.Extremes{} && none.WorstDepth() == 0)
	assert.EqualError(t, trial.Second(none.Phases(0.5)), "banding: prediction: must be set")
}

// TestJSON reads back what it has written, and holds the text.
func TestJSON(t *testing.T) {
	spec := pulsed(trial.Rate(24000, 1001), trial.Rate(3840, 1), 0.5, seconds(0.02), seconds(1e-5), 1080)
	text := string(trial.Must(json.Marshal(spec)))
	assert.Equal(t, `{"Wall":{"Rate":"3840","Greys":[[{"From":0,"Level":1},{"From":0.5,"Level":0}]]},"Camera":{"Rate":"24000/1001","Exposure":"1/50 s","Phase":"leading","Rows":1080,"RowTime":"1/100000 s","Direction":"top down","Offset":"0 s"}}`, text)
	spec.Wall.Turns, spec.Wall.Refreshes = []int{1, 0}, 3
	spec.View = banding.View{WallRowsPerCameraRow: -0.5, Offset: 3, Blur: 2, Kernel: []float64{1, 2}}
	var back banding.Spec
	require.NoError(t, json.Unmarshal(trial.Must(json.Marshal(spec)), &back))
	assert.Empty(t, cmp.Diff(spec, back, cmp.Comparer(func(a, b timing.ReadoutSpec) bool { return a == b }), cmp.Comparer(func(a, b timing.Rate) bool { return a == b })))
	assert.Equal(t, `{"Grey":0,"Dark":{"Light":0.5,"Row":0,"Phase":0},"Bright":{"Light":0.5,"Row":0,"Phase":0},"Depth":0}`,
		string(trial.Must(json.Marshal(predicted(t, flashes(2, 1, 0.5)).Worst()))))
	found := trial.Must(predicted(t, flashes(2, 1, 0.5)).LightRates(0.1, 12.5, 25))
	assert.Equal(t, `{"Ranges":null,"Reason":"light too slow","Best":25,"Depth":1}`, string(trial.Must(json.Marshal(found))))
	var reason banding.Reason
	require.NoError(t, reason.UnmarshalText([]byte("every phase too deep")))
	assert.Equal(t, banding.TooDeep, reason)
	assert.ErrorIs(t, reason.UnmarshalText([]byte("dark")), banding.ErrInvalid)
	assert.ErrorIs(t, trial.Second(banding.Reason(9).MarshalText()), banding.ErrInvalid)
	assert.Equal(t, "Reason(9)", banding.Reason(9).String())
}

func FuzzNew(f *testing.F) {
	f.Add(int64(24), int64(3840), []byte{0, 9, 64, 0}, []byte{0, 1, 2}, 2, 0.0021, 3.7e-6, 216, 0.0, -0.7, 1.5)
	f.Add(int64(24000), int64(100), []byte{0, 1}, []byte{}, 0, 1e-6, 0.0, 1, -1e9, 0.0, 0.0)
	f.Fuzz(func(t *testing.T, camera, light int64, steps, order []byte, refreshes int, exposure, rowTime float64, rows int, phase, walls, blur float64) {
		c, err1 := timing.NewRate(camera, 1001)
		r, err2 := timing.NewRate(light, 7)
		var w banding.Waveform
		for i := 0; i+1 < len(steps); i += 2 {
			w = append(w, banding.Step{From: float64(steps[i]) / 256, Level: float64(steps[i+1])})
		}
		var turns []int
		for _, turn := range order {
			turns = append(turns, int(turn))
		}
		e, err3 := timing.NearestSeconds(unit.Time(exposure), 1e12)
		rt, err4 := timing.NearestSeconds(unit.Time(rowTime), 1e12)
		p, err := banding.New(banding.Spec{
			Wall:   banding.Wall{Rate: r, Greys: []banding.Waveform{w}, Turns: turns, Refreshes: refreshes % 64},
			View:   banding.View{WallRowsPerCameraRow: walls, Offset: phase, Blur: blur},
			Camera: timing.ReadoutSpec{Rate: c, Exposure: e, Phase: timing.Centred, RowTime: rt, Rows: rows % 4096, Direction: timing.ReadDirection(uint8(rows) & 1)},
		})
		if err1 != nil || err2 != nil || err3 != nil || err4 != nil || err != nil {
			require.ErrorIs(t, err, banding.ErrInvalid)
			return
		}
		x := p.Worst()
		assert.True(t, x.Dark.Light >= -1e-6 && x.Bright.Light >= x.Dark.Light && x.Depth >= 0 && x.Depth <= p.WorstDepth()+1e-6, "extremes %+v, at worst %v", x, p.WorstDepth())
		frame, ok := p.Frame(0, phase)
		if !ok {
			return
		}
		for r, v := range frame {
			if !(v >= x.Dark.Light-1e-6 && v <= x.Bright.Light+1e-6) {
				t.Fatalf("row %d gets %v, outside %+v", r, v, x)
			}
		}
		bands, _ := p.Bands(0)
		for _, b := range bands {
			assert.False(t, math.IsNaN(b.Drift) || !(b.Spacing >= 2) || !(b.Amplitude >= 0), "%+v", b)
		}
	})
}
