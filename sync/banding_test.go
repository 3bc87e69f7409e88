package sync_test

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/sync"
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

func banding(t *testing.T, spec sync.BandingSpec) sync.Banding {
	t.Helper()
	b, err := sync.NewBanding(spec)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// flashes is a spec with an exposure in periods of a light of 100 Hz.
func flashes(exposure, duty float64) sync.BandingSpec {
	return sync.BandingSpec{Camera: rate(10, 1), Refresh: rate(100, 1), Duty: duty, Exposure: unit.Time(exposure / 100), Rows: 1}
}

func TestExtremesOfBands(t *testing.T) {
	for _, tc := range []struct {
		exposure, duty, min, max, stops float64
	}{
		{1.5, 0.5, 1.0 / 3, 2.0 / 3, 1},
		{0.5, 0.25, 0, 0.5, 0}, // black bands: no stops
		{1, 0.1, 0.1, 0.1, 0}, {2, 0.3, 0.3, 0.3, 0}, {5, 0.9, 0.9, 0.9, 0},
		{1.7, 1, 1, 1, 0}, // never off
	} {
		b := banding(t, flashes(tc.exposure, tc.duty))
		min, max := b.Extremes()
		ref.Near(t, "sync-band-extremes", min, tc.min, tc)
		ref.Near(t, "sync-band-extremes", max, tc.max, tc)
		ref.Near(t, "sync-band-extremes", b.Depth(), (tc.max-tc.min)/(tc.max+tc.min), tc)
		stops, ok := b.Stops()
		if ok != (tc.min > 0) {
			t.Errorf("%v: stops %v, %v", tc, stops, ok)
		}
		ref.Near(t, "sync-band-extremes", stops, tc.stops, tc)
	}
}

func TestExtremesAgainstASweepOfPhases(t *testing.T) {
	const steps = 2000
	rng := rand.New(rand.NewPCG(5, 6))
	for range 3 {
		exposure, duty := 0.1+1.9*rng.Float64(), 0.05+0.9*rng.Float64()
		light := pulses{0.01, 0.01 * duty}
		least, most := 1.0, 0.0
		for i := range steps {
			v := light.mean(0.01*float64(i)/steps, 0.01*exposure, steps)
			least, most = math.Min(least, v), math.Max(most, v)
		}
		min, max := banding(t, flashes(exposure, duty)).Extremes()
		ref.Near(t, "sync-band-sweep", min*exposure, least*exposure, exposure, duty)
		ref.Near(t, "sync-band-sweep", max*exposure, most*exposure, exposure, duty)
	}
}

// TestRowsAgainstExactOverlaps sums what each pulse gives to each row in
// fractions, without any rounding.
func TestRowsAgainstExactOverlaps(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for range 60 {
		camera, refresh := rate(24, 1), rate(22+rng.Int64N(2000), 1)
		const rows = 1080
		// Sixteenths and the like are exact in both worlds.
		duty, phase := float64(1+rng.IntN(16))/16, float64(rng.IntN(64)-32)/8
		multiplex, walls := 1<<rng.IntN(4), float64(1+rng.IntN(31))/32*float64(1-2*rng.IntN(2))
		exposure, rowTime := float64(1+rng.IntN(1706))/40960, float64(rng.IntN(40))/1048576
		if exposure*float64(refresh.Frequency()) < 0.9 {
			exposure = 1706.0 / 40960
		}
		b := banding(t, sync.BandingSpec{
			Camera: camera, Refresh: refresh, Duty: duty, Multiplex: multiplex, WallRowsPerRow: walls, Phase: phase,
			Exposure: unit.Time(exposure), RowTime: unit.Time(rowTime), Rows: rows,
		})
		least, most := b.Extremes()
		for range 40 {
			row := rng.IntN(rows)
			got, ok := b.Row(row)
			if !ok {
				t.Fatalf("row %d: no light", row)
			}
			// The wall row at the camera row's centre goes on later by its turn.
			wallRow := int(math.Floor(walls * (float64(row) + 0.5)))
			turn := float64((wallRow%multiplex+multiplex)%multiplex) / float64(multiplex)
			want := exactLight(refresh, duty/float64(multiplex), phase-turn, exposure, rowTime, row)
			ref.Near(t, "sync-band-row", got, want, refresh, duty, multiplex, row)
			if got < least-1e-12 || got > most+1e-12 {
				t.Errorf("row %d gets %v, outside %v to %v", row, got, least, most)
			}
		}
	}
}

func exactLight(refresh sync.Rate, duty, phase, exposure, rowTime float64, row int) float64 {
	rat := func(x float64) *big.Rat { return new(big.Rat).SetFloat64(x) }
	f := ratOf(refresh)
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

func TestBandsInAFrame(t *testing.T) {
	for _, tc := range []struct {
		readout float64
		flash   int64
		want    float64
	}{
		{1.0 / 60, 100, 1.66666666667}, {12.5e-3, 120, 1.5}, {8e-3, 3840, 30.72},
	} {
		const rows = 2160
		b := banding(t, sync.BandingSpec{
			Camera: rate(24, 1), Refresh: rate(tc.flash, 1), Duty: 0.5,
			Exposure: 0.002, RowTime: unit.Time(tc.readout / rows), Rows: rows,
		})
		ref.Near(t, "sync-band-frame", b.Bands(), tc.want, tc)
		spacing, ok := b.Spacing()
		if !ok {
			t.Errorf("%v: no spacing", tc)
		}
		ref.Near(t, "sync-band-frame", rows/spacing, tc.want, tc)
	}
}

func TestBandsRepeatAfterTheirSpacing(t *testing.T) {
	// 1/80 period a row; and 1 + 1/80, which the rows cannot tell from it.
	for _, perRow := range []float64{1.0 / 80, 1 + 1.0/80, 1 - 1.0/80} {
		b := banding(t, sync.BandingSpec{
			Camera: rate(24, 1), Refresh: rate(40_000, 1), Duty: 0.3,
			Exposure: 1.6 / 40_000, RowTime: unit.Time(perRow / 40_000), Rows: 400,
		})
		spacing, ok := b.Spacing()
		if !ok {
			t.Fatal("no spacing")
		}
		near.Rel(t, "spacing", spacing, 80, 1e-12, "one difference of numbers near 1 with 1/80 left")
		for row := range 320 {
			here, _ := b.Row(row)
			there, _ := b.Row(row + 80)
			near.Abs(t, "a spacing on", there, here, 1e-12, "phases of up to 400 periods")
		}
	}
}

func TestBandsDrift(t *testing.T) {
	// 4 + 1/6 flashes a frame and 600 rows a flash: each frame begins 1/6 of a
	// period further into the light, so that what it shows lies 100 rows higher
	// up: −2400 rows a second, and after six frames all is as before.
	const perFlash = 600
	light := pulses{0.01, 0.004}
	spec := sync.BandingSpec{
		Camera: rate(24, 1), Refresh: rate(100, 1), Duty: 0.4,
		Exposure: 0.013, RowTime: 0.01 / perFlash, Rows: 1200,
	}
	b := banding(t, spec)
	const steps = 2000
	for row := 3; row < 1000; row += 41 {
		rowTime := float64(spec.RowTime)
		later := light.mean(1.0/24+float64(row)*rowTime, float64(spec.Exposure), steps)
		first := light.mean(float64(row+100)*rowTime, float64(spec.Exposure), steps)
		near.Abs(t, "rendered", later, first, 5.0/steps, "four edges, each off by a step at most")
		predicted, _ := b.Row(row + 100)
		near.Abs(t, "predicted", predicted, first, 5.0/steps, "four edges, each off by a step at most")
	}
	drift, ok1 := b.Drift()
	cycle, ok2 := b.Cycle()
	if !ok1 || !ok2 {
		t.Fatal("no drift or no cycle")
	}
	ref.Near(t, "sync-band-drift", drift, -2400)
	ref.Near(t, "sync-band-drift", float64(cycle), 6.0/24)

	// A hair less than whole: the other way.
	spec.Refresh = rate(95, 1) // 3 + 23/24 a frame
	spec.RowTime = unit.Time(1.0 / 95 / perFlash)
	b = banding(t, spec)
	drift, _ = b.Drift()
	cycle, _ = b.Cycle()
	ref.Near(t, "sync-band-drift", drift, 600)
	ref.Near(t, "sync-band-drift", float64(cycle), 1)
}

func TestLockedBandsStandStill(t *testing.T) {
	spec := sync.BandingSpec{
		Camera: rate(24000, 1001), Refresh: rate(160*24000, 1001), Duty: 0.5,
		Exposure: 0.02, RowTime: 1e-5, Rows: 2160,
	}
	b := banding(t, spec)
	if drift, ok := b.Drift(); !ok || drift != 0 || math.Signbit(drift) {
		t.Errorf("drift %v, %v", drift, ok)
	}
	if cycle, ok := b.Cycle(); ok || cycle != 0 {
		t.Errorf("cycle %v, %v", cycle, ok)
	}
	// A wall of 3840 Hz beside the same camera is not locked: 160.16 a frame.
	spec.Refresh = rate(3840, 1)
	b = banding(t, spec)
	cycle, ok := b.Cycle()
	near.Rel(t, "cycle", float64(cycle), 1001/24000.0/0.16, 1e-13, "exact advance")
	if !ok {
		t.Error("no cycle")
	}
}

func TestGenlockPhaseSweep(t *testing.T) {
	// A global shutter has no bands, but its brightness hangs on the phase.
	spec := flashes(1.5, 0.5)
	spec.RowTime = 0
	least, most := 1.0, 0.0
	for i := range 64 {
		spec.Phase = float64(i)/64 - 3
		b := banding(t, spec)
		v, ok := b.Row(0)
		if !ok {
			t.Fatal("no light")
		}
		least, most = math.Min(least, v), math.Max(most, v)
		_, ok1 := b.Spacing()
		_, ok2 := b.Drift()
		if ok1 || ok2 || b.Bands() != 0 {
			t.Error("a global shutter has bands")
		}
	}
	min, max := banding(t, spec).Extremes()
	near.Abs(t, "least", least, min, 4e-15, "phase steps meet the extremes")
	near.Abs(t, "most", most, max, 4e-15, "phase steps meet the extremes")
	// Whole periods: no phase matters, to 1e-6 of a period and better.
	for k := 1; k <= 9; k++ {
		for _, err := range []float64{-1e-6, 0, 1e-6} {
			if d := banding(t, flashes(float64(k)+err, 0.3)).Depth(); !(d <= 2e-6) {
				t.Errorf("%d periods and %v: depth %v", k, err, d)
			}
		}
	}
	// A light lit in turns is on for the same part less, later by its turn.
	spec = flashes(0.6, 0.8)
	spec.Multiplex, spec.WallRowsPerRow = 4, 0.5
	min, max = banding(t, spec).Extremes()
	least, most = banding(t, flashes(0.6, 0.2)).Extremes()
	if min != least || max != most {
		t.Error("a quarter of the time is not a quarter of the duty")
	}
}

func TestBandingFaultsAreReportedTogether(t *testing.T) {
	_, err := sync.NewBanding(sync.BandingSpec{Multiplex: -1, Exposure: -1, RowTime: -1, Phase: math.NaN()})
	want := `sync: camera rate no rate: must be set
sync: refresh rate no rate: must be set
sync: duty 0: must be more than 0 and at most 1
sync: multiplex -1: must be at least 0 and at most 1024
sync: rows 0: must be at least 1 and at most 16777216
sync: phase NaN periods: must be a finite number
sync: exposure -1 s: must be at least 1 µs
sync: row time -1 s: must be at least 0 s`
	if err == nil || err.Error() != want {
		t.Errorf("got\n%v\nwant\n%s", err, want)
	}
}

func TestBandingSpecsRefused(t *testing.T) {
	good := sync.BandingSpec{Camera: rate(24, 1), Refresh: rate(3840, 1), Duty: 0.5, Exposure: 0.02, RowTime: 1e-5, Rows: 1080}
	banding(t, good)
	for name, change := range map[string]func(*sync.BandingSpec){
		"camera":             func(s *sync.BandingSpec) { s.Camera = sync.Rate{} },
		"refresh":            func(s *sync.BandingSpec) { s.Refresh = sync.Rate{} },
		"no duty":            func(s *sync.BandingSpec) { s.Duty = 0 },
		"more than on":       func(s *sync.BandingSpec) { s.Duty = 1.001 },
		"duty NaN":           func(s *sync.BandingSpec) { s.Duty = math.NaN() },
		"multiplex":          func(s *sync.BandingSpec) { s.Multiplex = -1 },
		"no exposure":        func(s *sync.BandingSpec) { s.Exposure = 0 },
		"exposure NaN":       func(s *sync.BandingSpec) { s.Exposure = unit.Time(math.NaN()) },
		"long exposure":      func(s *sync.BandingSpec) { s.Exposure = 0.042 },
		"row time":           func(s *sync.BandingSpec) { s.RowTime = -1e-9 },
		"row time in ms":     func(s *sync.BandingSpec) { s.RowTime = 1e-2 },
		"row time NaN":       func(s *sync.BandingSpec) { s.RowTime = unit.Time(math.NaN()) },
		"no rows":            func(s *sync.BandingSpec) { s.Rows = 0 },
		"phase":              func(s *sync.BandingSpec) { s.Phase = math.Inf(1) },
		"everything missing": func(s *sync.BandingSpec) { *s = sync.BandingSpec{} },
	} {
		spec := good
		change(&spec)
		b, err := sync.NewBanding(spec)
		wantInvalid(t, name, err)
		if b != (sync.Banding{}) {
			t.Errorf("%s: an error and a value", name)
		}
	}
	whole := good
	whole.Exposure = whole.Camera.Period().Time()
	banding(t, whole)
	for _, row := range []int{-1, 1080, math.MaxInt, math.MinInt} {
		if v, ok := banding(t, good).Row(row); ok || v != 0 {
			t.Errorf("row %d: got %v, %v", row, v, ok)
		}
	}
	spec := good
	spec.Phase = -1e300
	if v, ok := banding(t, spec).Row(7); !ok || !(v >= 0 && v <= 1) {
		t.Errorf("a far phase: got %v, %v", v, ok)
	}
}

func TestZeroBanding(t *testing.T) {
	var b sync.Banding
	v, ok1 := b.Row(0)
	spacing, ok2 := b.Spacing()
	drift, ok3 := b.Drift()
	cycle, ok4 := b.Cycle()
	stops, ok5 := b.Stops()
	min, max := b.Extremes()
	if ok1 || ok2 || ok3 || ok4 || ok5 || v != 0 || spacing != 0 || drift != 0 || cycle != 0 || stops != 0 || min != 0 || max != 0 ||
		b.Depth() != 0 || b.WorstDepth() != 0 || b.Bands() != 0 {
		t.Error("the zero value records something")
	}
}

func TestRipple(t *testing.T) {
	for _, tc := range []struct{ f, t, want float64 }{
		{100, 1.0 / 48, 0.0395446371786}, {120, 1.0 / 48, 0.127323954474}, {100, 1.0 / 60, 0.165398668627},
		{120, 1.0 / 50, 0.126137788107}, {100, 1.0 / 1000, 0.983631643083},
	} {
		for _, m := range []float64{1, 0.5} {
			ref.Near(t, "sync-ripple", must(sync.Ripple(m, unit.Frequency(tc.f), unit.Time(tc.t))), m*tc.want, tc, m)
		}
	}
	for k := 1; k <= 12; k++ {
		if got := must(sync.Ripple(1, 120, unit.Time(float64(k)/120))); !(got <= 1e-15) {
			t.Errorf("%d periods leave %v", k, got)
		}
	}
	for _, x := range []float64{0, 1e-300} {
		if got := must(sync.Ripple(0.7, 100, unit.Time(x))); got != 0.7 {
			t.Errorf("no exposure leaves %v of 0.7", got)
		}
	}
	bad := []float64{math.NaN(), math.Inf(1), -1}
	for _, x := range bad {
		_, err := sync.Ripple(x, 100, 0.02)
		wantInvalid(t, "modulation", err)
		_, err = sync.Ripple(1, unit.Frequency(x), 0.02)
		wantInvalid(t, "flash", err)
		_, err = sync.Ripple(1, 100, unit.Time(x))
		wantInvalid(t, "exposure", err)
	}
}

func FuzzBanding(f *testing.F) {
	f.Add(int64(24), int64(3840), 0.25, 8, 0.0021, 3.7e-6, 2160, 0.0, -0.7)
	f.Add(int64(24000), int64(100), 1.0, 0, 1e-300, 0.0, 1, -1e300, 0.0)
	f.Fuzz(func(t *testing.T, camera, refresh int64, duty float64, multiplex int, exposure, rowTime float64, rows int, phase, walls float64) {
		c, err1 := sync.NewRate(camera, 1001)
		r, err2 := sync.NewRate(refresh, 7)
		b, err := sync.NewBanding(sync.BandingSpec{
			Camera: c, Refresh: r, Duty: duty, Multiplex: multiplex, WallRowsPerRow: walls, Exposure: unit.Time(exposure), RowTime: unit.Time(rowTime), Rows: rows, Phase: phase,
		})
		if err1 != nil || err2 != nil || err != nil {
			wantInvalid(t, "spec", err)
			return
		}
		least, most := b.Extremes()
		stops, lit := b.Stops()
		if !(least >= 0 && most <= 1+1e-12 && b.Depth() >= 0 && b.Depth() <= b.WorstDepth()+1e-12 && b.WorstDepth() <= 1 && stops >= 0 && lit == (least > 0)) {
			t.Errorf("extremes %v, %v, depth %v, at worst %v, stops %v, %v", least, most, b.Depth(), b.WorstDepth(), stops, lit)
		}
		for _, row := range []int{0, rows / 2, rows - 1} {
			if v, ok := b.Row(row); !ok || !(v >= 0 && v <= 1+1e-9) {
				t.Errorf("row %d: %v, %v", row, v, ok)
			}
		}
		spacing, ok := b.Spacing()
		if drift, _ := b.Drift(); math.IsNaN(drift) || ok && !(spacing >= 2) {
			t.Errorf("spacing %v, drift %v", spacing, drift)
		}
	})
}

// TestWorstGrey counts the lit steps of each exposure in a period of 120 steps,
// for all pulses and all phases.
func TestWorstGrey(t *testing.T) {
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
			depth := float64(most-least) / float64(most+least)
			worst = math.Max(worst, depth)
			spec := flashes(float64(exposure)/period, float64(pulse)/period)
			spec.Camera = rate(1, 1)
			b := banding(t, spec)
			near.Abs(t, fmt.Sprint(exposure, pulse), b.Depth(), depth, 1e-12, "roundings")
			if b.Depth() > last+1e-12 {
				t.Errorf("an exposure of %d: a pulse of %d has deeper bands than a shorter one", exposure, pulse)
			}
			last = b.Depth()
			if pulse == 7 {
				spec.Multiplex, spec.WallRowsPerRow = 4, 1
				ref.Near(t, "sync-band-worst", banding(t, spec).WorstDepth(), b.WorstDepth(), "in turns")
			}
		}
		b := banding(t, flashesOf(exposure, period))
		ref.Near(t, "sync-band-worst", b.WorstDepth(), worst, exposure)
	}
}

// flashesOf is an exposure in steps of a period of the light.
func flashesOf(exposure, period int) sync.BandingSpec {
	spec := flashes(float64(exposure)/float64(period), 0.3)
	spec.Camera = rate(1, 1)
	return spec
}

func TestCleanIsExactlyZero(t *testing.T) {
	for _, camera := range tradeRates() {
		for _, hz := range []int64{1920, 2880, 3840, 7680} {
			for _, refresh := range []sync.Rate{rate(hz, 1), rate(hz*1000, 1001)} {
				for _, angle := range must(sync.CleanAngles(camera, refresh)) {
					exposure := must(angle.Exposure(camera)).Time()
					b := banding(t, sync.BandingSpec{
						Camera: camera, Refresh: refresh, Duty: 0.3, Multiplex: 8, WallRowsPerRow: 0.4,
						Exposure: exposure, RowTime: exposure / 4320, Rows: 2160, Phase: 0.3,
					})
					stops, ok := b.Stops()
					first, _ := b.Row(0)
					last, _ := b.Row(2159)
					if b.Depth() != 0 || b.WorstDepth() != 0 || stops != 0 || !ok || first != last {
						t.Fatalf("%v at %v under %v: depth %v, at worst %v, stops %v, %v, rows %v and %v", angle, camera, refresh, b.Depth(), b.WorstDepth(), stops, ok, first, last)
					}
					if got := must(sync.Ripple(1, refresh.Frequency(), exposure)); got != 0 {
						t.Fatalf("%v at %v under %v: ripple %v", angle, camera, refresh, got)
					}
				}
			}
		}
	}
	// A light that is never off has no bands at any exposure.
	for i := range 1000 {
		spec := flashes(0.0123*float64(i+1), 1)
		spec.Camera = rate(1, 1)
		if d := banding(t, spec).Depth(); d != 0 {
			t.Fatalf("%v periods of a steady light: depth %v", 0.0123*float64(i+1), d)
		}
	}
}

func TestNoBandsButRounding(t *testing.T) {
	// A row lasts a whole period of the light, but for rounding.
	for _, hz := range []int64{48_611, 51_000, 77_777, 90_001} {
		b := banding(t, sync.BandingSpec{
			Camera: rate(24, 1), Refresh: rate(hz, 1), Duty: 0.5, Exposure: 0.01, RowTime: unit.Time(1/float64(hz)) * (1 + 3e-16), Rows: 1080,
		})
		spacing, ok := b.Spacing()
		drift, ok2 := b.Drift()
		if ok || ok2 || spacing != 0 || drift != 0 || b.Bands() != 0 {
			t.Errorf("%d Hz: spacing %v, %v, drift %v, %v, %v bands", hz, spacing, ok, drift, ok2, b.Bands())
		}
	}
	// Half a band a frame is there, though long.
	b := banding(t, sync.BandingSpec{Camera: rate(24, 1), Refresh: rate(50, 1), Duty: 0.5, Exposure: 0.01, RowTime: 0.01 / 1080, Rows: 1080})
	spacing, ok := b.Spacing()
	near.Rel(t, "half a band", spacing, 2160, 1e-12, "roundings")
	if !ok {
		t.Error("no spacing")
	}
}

func TestHalfAPeriodAFrame(t *testing.T) {
	spec := sync.BandingSpec{Camera: rate(24, 1), Refresh: rate(36, 1), Duty: 0.5, Exposure: 0.01, RowTime: 1e-5, Rows: 1080}
	cycle := func(spec sync.BandingSpec) (frames, drift float64) {
		b := banding(t, spec)
		c, _ := b.Cycle()
		drift, _ = b.Drift()
		return float64(c) * 24, drift
	}
	frames, drift := cycle(spec)
	near.Rel(t, "cycle", frames, 2, 1e-14, "roundings")
	near.Rel(t, "drift of bands that may go either way", drift, -0.5*24/(1e-5*36), 1e-12, "roundings")
	spec.Refresh = rate(3601, 100) // 1.50042 periods a frame: −0.49958
	frames, drift = cycle(spec)
	near.Rel(t, "cycle above", frames, 1/0.4995833333333333, 1e-11, "roundings")
	near.Rel(t, "drift above", drift, 0.4995833333333333*24/(1e-5*36.01), 1e-11, "roundings")
	spec.Refresh = rate(3599, 100) // 1.49958 periods a frame
	frames, drift = cycle(spec)
	near.Rel(t, "cycle below", frames, 1/0.4995833333333333, 1e-11, "roundings")
	near.Rel(t, "drift below", drift, -0.4995833333333333*24/(1e-5*35.99), 1e-11, "roundings")
}

func TestEndsOfRipple(t *testing.T) {
	for _, ends := range [][3]float64{{0, 0, 0}, {1, 1e9, 1e6}} {
		if _, err := sync.Ripple(ends[0], unit.Frequency(ends[1]), unit.Time(ends[2])); err != nil {
			t.Errorf("%v: %v", ends, err)
		}
	}
	up := func(x float64) float64 { return math.Nextafter(x, math.Inf(1)) }
	for _, beyond := range [][3]float64{{up(1), 100, 1}, {-5e-324, 100, 1}, {1, up(1e9), 1}, {1, -5e-324, 1}, {1, 100, up(1e6)}, {1, 100, -5e-324}} {
		_, err := sync.Ripple(beyond[0], unit.Frequency(beyond[1]), unit.Time(beyond[2]))
		wantInvalid(t, fmt.Sprint(beyond), err)
	}
}
