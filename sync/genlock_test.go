package sync_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/sync"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

func TestWhatAnOffsetShifts(t *testing.T) {
	spec := sync.OffsetSpec{Offset: 1e-3, Speed: 60 / 3.6, Distance: 20, PixelsPerDegree: 60}
	o := must(sync.NewOffset(spec))
	ref.Near(t, "sync-displacement", float64(o.Displacement()), 16.6666666667e-3)
	spec.Offset = 1.0 / 48
	o = must(sync.NewOffset(spec))
	ref.Near(t, "sync-displacement", float64(o.Displacement()), 347.222222222e-3)
}

// TestAngleBetweenDirections sails the camera, looks at the same pile from
// both places, and measures the angle between the two lines of sight.
func TestAngleBetweenDirections(t *testing.T) {
	for _, ahead := range []float64{-89, -60, -30, 0, 10, 30, 60, 89} {
		for _, offset := range []float64{0.1, -0.1, 1.0 / 24} {
			const speed, distance, ppd = 7.0, 12.0, 44.0
			o := must(sync.NewOffset(sync.OffsetSpec{
				Offset: unit.Time(offset), Speed: speed, Distance: distance, Ahead: unit.Angle(ahead) * sync.Degree, PixelsPerDegree: ppd,
			}))
			// −Z is the course, +X abeam to starboard.
			sin, cos := math.Sincos(ahead * math.Pi / 180)
			pile := r3.Vec{X: distance * cos, Z: -distance * sin}
			from := r3.Vec{Z: -speed * offset}
			a, b := pile, r3.Sub(pile, from)
			// Turning to starboard is negative about +Y.
			want := math.Atan2(r3.Cross(b, a).Y, r3.Dot(a, b))
			ref.Near(t, "sync-offset-angle", float64(o.Angle()), want, ahead, offset)
			ref.Near(t, "sync-offset-angle", o.Pixels(), want*180/math.Pi*ppd, ahead, offset)
		}
	}
}

func TestOffsetsAtTheEnds(t *testing.T) {
	still := sync.OffsetSpec{Distance: 10, PixelsPerDegree: 50, Offset: 1}
	o := must(sync.NewOffset(still))
	if o.Angle() != 0 || o.Pixels() != 0 || o.Displacement() != 0 || o != (sync.Offset{}) {
		t.Errorf("a ferry at its pier shifts %v", o)
	}
	for _, offset := range []unit.Time{0.1, -0.1} {
		for _, ahead := range []unit.Angle{90 * sync.Degree, -90 * sync.Degree} {
			spec := sync.OffsetSpec{Offset: offset, Speed: 5, Distance: 10, Ahead: ahead, PixelsPerDegree: 50}
			if o := must(sync.NewOffset(spec)); o.Angle() != 0 || math.Signbit(o.Pixels()) {
				t.Errorf("on the course line: shift %v", o.Angle())
			}
		}
	}
	// Far away it is the path over the distance.
	far := must(sync.NewOffset(sync.OffsetSpec{Offset: 0.04, Speed: 6, Distance: 5000, PixelsPerDegree: 50}))
	near.Rel(t, "far", float64(far.Angle()), 0.24/5000, 1e-9, "(s/D)²/3")
	good := sync.OffsetSpec{Offset: 0.1, Speed: 5, Distance: 10, PixelsPerDegree: 50}
	for name, change := range map[string]func(*sync.OffsetSpec){
		"offset":         func(s *sync.OffsetSpec) { s.Offset = unit.Time(math.NaN()) },
		"offset in ms":   func(s *sync.OffsetSpec) { s.Offset = 100 },
		"speed":          func(s *sync.OffsetSpec) { s.Speed = -1 },
		"speed NaN":      func(s *sync.OffsetSpec) { s.Speed = unit.Velocity(math.NaN()) },
		"distance":       func(s *sync.OffsetSpec) { s.Distance = 0 },
		"ahead in °":     func(s *sync.OffsetSpec) { s.Ahead = 30 },
		"pixels":         func(s *sync.OffsetSpec) { s.PixelsPerDegree = 0 },
		"through it":     func(s *sync.OffsetSpec) { s.Ahead = 90 * sync.Degree; s.Distance = 0.5 },
		"through astern": func(s *sync.OffsetSpec) { s.Ahead = -90 * sync.Degree; s.Distance = 0.5; s.Offset = -0.1 },
	} {
		spec := good
		change(&spec)
		_, err := sync.NewOffset(spec)
		wantInvalid(t, name, err)
	}
}

func TestFreeRun(t *testing.T) {
	r := rate(24, 1)
	for _, tc := range []struct{ ppm, frames, slip, perMinute float64 }{
		{1, 0.0864, 41666.6666667, 60e-6}, {10, 0.864, 4166.66666667, 600e-6}, {50, 4.32, 833.333333333, 3000e-6},
	} {
		ref.Near(t, "sync-free-run", must(sync.FreeRunFrames(r, tc.ppm, 3600)), tc.frames, tc.ppm)
		ref.Near(t, "sync-free-run", must(sync.FreeRunFrames(r, -tc.ppm, 3600)), -tc.frames, tc.ppm)
		ref.Near(t, "sync-free-run", float64(must(sync.FreeRunSlip(r, tc.ppm))), tc.slip, tc.ppm)
		ref.Near(t, "sync-free-run", float64(must(sync.FreeRunSlip(r, -tc.ppm))), tc.slip, tc.ppm)
		ref.Near(t, "sync-free-run", must(sync.FreeRunFrames(r, tc.ppm, 60))/24, tc.perMinute, tc.ppm)
	}
	for _, ppm := range []float64{math.NaN(), math.Inf(1), 1e6} {
		_, err := sync.FreeRunFrames(r, ppm, 1)
		wantInvalid(t, "ppm", err)
		_, err = sync.FreeRunSlip(r, ppm)
		wantInvalid(t, "ppm", err)
	}
	_, err := sync.FreeRunSlip(r, 0)
	wantInvalid(t, "never", err)
	_, err = sync.FreeRunFrames(r, 1, unit.Time(math.NaN()))
	wantInvalid(t, "elapsed", err)
	_, err = sync.FreeRunFrames(sync.Rate{}, 1, 1)
	wantInvalid(t, "no rate", err)
	_, err = sync.FreeRunSlip(sync.Rate{}, 1)
	wantInvalid(t, "no rate", err)
}

func TestAlignmentToTheEpoch(t *testing.T) {
	for _, r := range tradeRates() {
		a := must(r.Align(sync.Seconds{}))
		ref.Equal(t, "sync-epoch", a, sync.Alignment{Next: r.Period()}, r)
	}
	// 625 lines: H V T is 864 · 625 / 13.5 MHz, 1/25 s.
	r := rate(13_500_000, 864*625)
	a := must(r.Align(seconds(170000000001, 100)))
	ref.Equal(t, "sync-align-next", a.Next, seconds(170000000004, 100))
	a = must(r.Align(seconds(170000000004, 100)))
	ref.Equal(t, "sync-align-next", a.Next, seconds(170000000008, 100))

	at := seconds(1_700_000_000, 1)
	for _, tc := range []struct {
		r           sync.Rate
		n           int64
		phase, next sync.Seconds
	}{
		{rate(24000, 1001), 40759240759, seconds(241, 24000), seconds(1020000000019, 600)},
		{rate(60000, 1001), 101898101898, seconds(17, 10000), seconds(102000000000899, 60000)},
		{rate(24, 1), 24 * 1_700_000_000, sync.Seconds{}, seconds(24*1_700_000_000+1, 24)},
		{rate(25, 1), 25 * 1_700_000_000, sync.Seconds{}, seconds(25*1_700_000_000+1, 25)},
		{rate(48, 1), 48 * 1_700_000_000, sync.Seconds{}, seconds(48*1_700_000_000+1, 48)},
		{rate(50, 1), 50 * 1_700_000_000, sync.Seconds{}, seconds(50*1_700_000_000+1, 50)},
	} {
		ref.Equal(t, "sync-align", must(tc.r.Align(at)), sync.Alignment{Frame: tc.n, Phase: tc.phase, Next: tc.next}, tc.r)
	}
}

func TestAlignmentHoldsTogether(t *testing.T) {
	for _, r := range tradeRates() {
		for _, ns := range []int64{1_700_000_000_123_456_789, 1, -1, -1_000_000_007, 9_000_000_000_000_000_001} {
			at := seconds(ns, 1e9)
			a, err := r.Align(at)
			if err != nil {
				t.Fatalf("%v at %v: %v", r, at, err)
			}
			begin := must(r.Time(a.Frame))
			sum := ratOf(begin)
			if sum.Add(sum, ratOf(a.Phase)).Cmp(ratOf(at)) != 0 || a.Next != must(r.Time(a.Frame+1)) ||
				a.Phase.Time() < 0 || ratOf(a.Phase).Cmp(ratOf(r.Period())) >= 0 || ratOf(a.Next).Cmp(ratOf(at)) <= 0 {
				t.Errorf("%v at %v: %+v", r, at, a)
			}
		}
	}
	_, err := rate(120, 1).Align(seconds(math.MaxInt64, 1))
	wantInvalid(t, "too far", err)
	_, err = rate(1, 1).Align(seconds(math.MaxInt64, 1))
	wantInvalid(t, "no next", err)
}

func TestPTPTime(t *testing.T) {
	// 2017-01-01 is 17167 days after the beginning of 1970.
	first := time.Date(2017, 1, 1, 0, 0, 0, 0, time.UTC)
	ref.Equal(t, "sync-tai", must(sync.PTPTime(first)), seconds(17167*86400+37, 1))
	inZone := time.Date(2024, 2, 29, 12, 0, 0, 500, time.FixedZone("harbour", 3600))
	ref.Equal(t, "sync-tai", must(sync.PTPTime(inZone)), seconds((19782*86400+11*3600+37)*1e9+500, 1e9))
	for _, bad := range []time.Time{{}, first.Add(-1), time.Date(2263, 1, 1, 0, 0, 0, 0, time.UTC), time.Unix(math.MaxInt64, 0), time.Unix(math.MinInt64, 0)} {
		_, err := sync.PTPTime(bad)
		wantInvalid(t, bad.String(), err)
	}
	if _, err := sync.PTPTime(time.Date(2261, 12, 31, 0, 0, 0, 0, time.UTC)); err != nil {
		t.Error(err)
	}
}

func TestEndsOfOffsetsAndClocks(t *testing.T) {
	up := func(x float64) float64 { return math.Nextafter(x, math.Inf(1)) }
	r := rate(24, 1)
	offset := func(offset, speed, distance, ahead, pixels float64) error {
		_, err := sync.NewOffset(sync.OffsetSpec{
			Offset: unit.Time(offset), Speed: unit.Velocity(speed), Distance: unit.Length(distance),
			Ahead: unit.Angle(ahead) * sync.Degree, PixelsPerDegree: pixels,
		})
		return err
	}
	frames := func(ppm, elapsed float64) error {
		_, err := sync.FreeRunFrames(r, ppm, unit.Time(elapsed))
		return err
	}
	slip := func(ppm float64) error { _, err := sync.FreeRunSlip(r, ppm); return err }
	for i, err := range []error{
		offset(60, 1000, 1e9, 90, 1e6), offset(-60, 0, 5e-324, -90, 5e-324),
		frames(1e5, 1e10), frames(-1e5, 0), slip(1e5), slip(-1e5), slip(1e-9), slip(-1e-9),
	} {
		if err != nil {
			t.Errorf("end %d: %v", i, err)
		}
	}
	for i, err := range []error{
		offset(up(60), 1, 1, 0, 1), offset(-up(60), 1, 1, 0, 1), offset(1, up(1000), 1, 0, 1), offset(1, -5e-324, 1, 0, 1),
		offset(1, 1, up(1e9), 0, 1), offset(1, 1, 0, 0, 1), offset(1, 1, 1, up(90), 1), offset(1, 1, 1, -up(90), 1),
		offset(1, 1, 1, 0, up(1e6)), offset(1, 1, 1, 0, 0),
		frames(up(1e5), 1), frames(-up(1e5), 1), frames(1, up(1e10)), frames(1, -5e-324),
		slip(up(1e5)), slip(-up(1e5)), slip(0.99e-9), slip(-0.99e-9),
	} {
		wantInvalid(t, fmt.Sprint("beyond ", i), err)
	}
}
