package sync_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/sync"
)

func degrees(s string) sync.ShutterAngle { return must(sync.ParseShutterAngle(s)) }

func TestShutterTimes(t *testing.T) {
	r := rate(24, 1)
	for _, tc := range []struct {
		angle string
		den   int64
	}{
		{"360", 24}, {"270", 32}, {"180", 48}, {"172.8", 50}, {"144", 60}, {"90", 96}, {"72", 120},
		// The list prints 1/198 for 45°; an eighth of 1/24 s is 1/192 s.
		{"45", 192},
	} {
		a := must(sync.ParseShutterAngle(tc.angle))
		ref.Equal(t, "sync-shutter-times", must(a.Exposure(r)), seconds(1, tc.den), tc.angle)
		ref.Equal(t, "sync-shutter-times", must(sync.ShutterAngleOf(seconds(1, tc.den), r)), a, tc.angle)
	}
}

func TestShutterAngleInRadians(t *testing.T) {
	for text, want := range map[string]float64{"360": 2 * math.Pi, "180": math.Pi, "90": math.Pi / 2, "45": math.Pi / 4, "120": 2 * math.Pi / 3} {
		ref.Near(t, "sync-shutter-radians", float64(degrees(text).Angle()), want, text)
	}
}

func TestShutterAngleText(t *testing.T) {
	for in, want := range map[string]string{
		"172.8": "172.8°", "172.8°": "172.8°", "864/5": "172.8°", "180.000": "180°", "86400/1001": "86400/1001°", "0.5": "0.5°", "360°": "360°",
	} {
		a := degrees(in)
		if a.String() != want || degrees(a.String()) != a {
			t.Errorf("%q is written %q, want %q", in, a, want)
		}
	}
	if a := must(sync.NewShutterAngle(1728, 10)); a != degrees("172.8") {
		t.Errorf("got %v", a)
	}
	for _, s := range []string{
		"", "°", "0", "0.0", "-90", "+90", "360.0001", "720", "1/0", "1//2", ".", "5.", ".5", "1.5/2", "1e2", "0x10", "90 ", "90°°", "NaN", "Inf", "1_0",
		"123456789012345678901234567890123456789012345", "0.0000000000000000000000000000000000001",
	} {
		_, err := sync.ParseShutterAngle(s)
		wantInvalid(t, s, err)
	}
	for _, x := range [][2]int64{{0, 1}, {90, 0}, {90, -1}, {-90, 1}, {361, 1}, {math.MinInt64, math.MinInt64}, {math.MaxInt64, 1}, {1, math.MaxInt64}} {
		_, err := sync.NewShutterAngle(x[0], x[1])
		wantInvalid(t, "NewShutterAngle", err)
	}
}

func TestShutterInterval(t *testing.T) {
	r, half := rate(24, 1), degrees("180")
	for _, tc := range []struct {
		n           int64
		phase       sync.ShutterPhase
		open, close int64 // in 1/96 s
	}{
		{0, sync.Leading, 0, 2}, {1, sync.Leading, 4, 6}, {-1, sync.Leading, -4, -2},
		{0, sync.Centred, -1, 1}, {1, sync.Centred, 3, 5}, {24, sync.Centred, 95, 97},
	} {
		opens, closes, err := half.Interval(r, tc.n, tc.phase)
		if err != nil {
			t.Fatal(err)
		}
		ref.Equal(t, "sync-shutter-interval", opens, seconds(tc.open, 96), tc)
		ref.Equal(t, "sync-shutter-interval", closes, seconds(tc.close, 96), tc)
	}
	// A closed shutter of 360° leaves no gap.
	_, closes, err1 := degrees("360").Interval(rate(24000, 1001), 99, sync.Centred)
	opens, _, err2 := degrees("360").Interval(rate(24000, 1001), 100, sync.Centred)
	if err1 != nil || err2 != nil || opens != closes {
		t.Errorf("closes at %v, opens at %v", closes, opens)
	}
	for _, phase := range []sync.ShutterPhase{0, 3, -1} {
		_, _, err := half.Interval(r, 0, phase)
		wantInvalid(t, "phase", err)
	}
	_, _, err := half.Interval(rate(24000, 1001), math.MaxInt64, sync.Leading)
	wantInvalid(t, "frame", err)
	_, _, err = half.Interval(sync.Rate{}, 0, sync.Leading)
	wantInvalid(t, "rate", err)
}

func TestShutterRefuses(t *testing.T) {
	r := rate(24, 1)
	_, err := sync.ShutterAngle{}.Exposure(r)
	wantInvalid(t, "no angle", err)
	_, err = degrees("180").Exposure(sync.Rate{})
	wantInvalid(t, "no rate", err)
	_, err = must(sync.NewShutterAngle(1, math.MaxInt64/360)).Exposure(rate(math.MaxInt32, 1))
	wantInvalid(t, "overflow", err)
	for _, e := range []sync.Seconds{{}, seconds(-1, 48), seconds(1001, 24000), seconds(1, math.MaxInt64)} {
		if e == seconds(1, math.MaxInt64) {
			_, err = sync.ShutterAngleOf(e, rate(math.MaxInt32, math.MaxInt32-1))
		} else {
			_, err = sync.ShutterAngleOf(e, r)
		}
		wantInvalid(t, e.String(), err)
	}
	_, err = sync.ShutterAngleOf(seconds(1, 48), sync.Rate{})
	wantInvalid(t, "no rate", err)
	if a := (sync.ShutterAngle{}); a.Angle() != 0 || a.String() != "no angle" {
		t.Errorf("got %v, %v", a.Angle(), a)
	}
}

func TestCleanAnglesOfTheNote(t *testing.T) {
	flash := must(sync.Mains(rate(60, 1)))
	got := must(sync.CleanAngles(rate(25, 1), flash))
	ref.Equal(t, "sync-clean-note", len(got), 4)
	for i, want := range []string{"75", "150", "225", "300"} {
		ref.Equal(t, "sync-clean-note", got[i], degrees(want))
	}
}

func TestCleanAnglesAtTheRatesOfTheTrade(t *testing.T) {
	for _, tc := range []struct {
		camera sync.Rate
		mains  int64
		want   []float64
	}{
		{rate(24, 1), 50, []float64{86.4, 172.8, 259.2, 345.6}},
		{rate(24, 1), 60, []float64{72, 144, 216, 288, 360}},
		{rate(24000, 1001), 50, []float64{86.3136863137, 172.627372627, 258.941058941, 345.254745255}},
		{rate(24000, 1001), 60, []float64{71.9280719281, 143.856143856, 215.784215784, 287.712287712, 359.64035964}},
		{rate(30, 1), 50, []float64{108, 216, 324}},
		{rate(48, 1), 50, []float64{172.8, 345.6}},
		{rate(50, 1), 50, []float64{180, 360}},
		{rate(60, 1), 50, []float64{216}},
		{rate(30000, 1001), 50, []float64{107.892107892, 215.784215784, 323.676323676}},
	} {
		flash := must(sync.Mains(rate(tc.mains, 1)))
		got := must(sync.CleanAngles(tc.camera, flash))
		if len(got) != len(tc.want) {
			t.Errorf("%v at %d Hz: got %v", tc.camera, tc.mains, got)
			continue
		}
		for i, a := range got {
			ref.Near(t, "sync-clean-table", float64(a.Angle()/sync.Degree), tc.want[i], tc.camera, tc.mains)
			clean, off, err := sync.NearestCleanAngle(tc.camera, flash, a)
			if err != nil || clean != a || off != 0 {
				t.Errorf("%v: nearest is %v, off by %v, %v", a, clean, off, err)
			}
			// Exactly a whole number of flashes.
			if n := must(flash.Frame(must(a.Exposure(tc.camera)), sync.Ceil)); n != int64(i)+1 {
				t.Errorf("%v at %v holds %d flashes of %d Hz, want %d", a, tc.camera, n, tc.mains, i+1)
			}
		}
	}
}

func TestNearestCleanAngle(t *testing.T) {
	camera, flash := rate(24, 1), rate(100, 1)
	for _, tc := range []struct {
		angle, clean string
		off          float64 // degrees
	}{
		{"180", "172.8", 7.2}, {"172", "172.8", -0.8}, {"10", "86.4", -76.4}, {"360", "345.6", 14.4}, {"129.6", "172.8", -43.2},
	} {
		clean, off, err := sync.NearestCleanAngle(camera, flash, degrees(tc.angle))
		if err != nil || clean != degrees(tc.clean) {
			t.Errorf("%s: got %v, %v; want %s", tc.angle, clean, err, tc.clean)
		}
		near.Abs(t, tc.angle, float64(off/sync.Degree), tc.off, 1e-13, "exact difference, few roundings")
	}
	// It is in the list, and none of the list is nearer.
	camera, flash = rate(30000, 1001), rate(3840, 1)
	list := must(sync.CleanAngles(camera, flash))
	for i := int64(1); i <= 360*7; i++ {
		a := must(sync.NewShutterAngle(i, 7))
		clean, off, err := sync.NearestCleanAngle(camera, flash, a)
		if err != nil || !slices.Contains(list, clean) || math.Abs(float64(off/sync.Degree)) > 360*30000/1001.0/3840/2+1e-9 && a.Angle() > list[0].Angle() {
			t.Fatalf("%v: got %v, off by %v, %v", a, clean, off, err)
		}
	}
	for _, tc := range []struct {
		camera, flash sync.Rate
		angle         sync.ShutterAngle
	}{
		{sync.Rate{}, flash, degrees("180")}, {camera, sync.Rate{}, degrees("180")}, {camera, flash, sync.ShutterAngle{}},
		{rate(50, 1), rate(48, 1), degrees("180")}, // no whole flash in a frame
	} {
		_, _, err := sync.NearestCleanAngle(tc.camera, tc.flash, tc.angle)
		wantInvalid(t, "NearestCleanAngle", err)
	}
}

func TestCleanAnglesAtTheEnds(t *testing.T) {
	if got, err := sync.CleanAngles(rate(60, 1), rate(50, 1)); len(got) != 0 || err != nil {
		t.Errorf("a light slower than the frames: got %v, %v", got, err)
	}
	_, err := sync.CleanAngles(rate(1, math.MaxInt32), rate(math.MaxInt32, 1))
	wantInvalid(t, "too many", err)
	_, err = sync.CleanAngles(sync.Rate{}, sync.Rate{})
	wantInvalid(t, "no rates", err)
	_, err = sync.Mains(sync.Rate{})
	wantInvalid(t, "no mains", err)
	_, err = sync.Mains(rate(math.MaxInt32, 1))
	wantInvalid(t, "too fast", err)
	// The largest numbers that a rate takes: exact and no overflow.
	camera, flash := rate(math.MaxInt32-1, math.MaxInt32), rate(math.MaxInt32, math.MaxInt32-2)
	got := must(sync.CleanAngles(camera, flash))
	if len(got) != 1 || got[0].Angle() >= 360*sync.Degree || got[0].Angle() < 359.999*sync.Degree {
		t.Errorf("got %v", got)
	}
}

func TestCommonCleanAngles(t *testing.T) {
	// By search: thousandths of a degree whose exposure is whole in both.
	camera, mains, wall := rate(4, 1), rate(100, 1), rate(240, 1)
	var want []sync.ShutterAngle
	for i := int64(1); i <= 360_000; i++ {
		// Exposure i/360000/4 s; flashes in it are whole where 1.44e6 divides.
		if i*100%1_440_000 == 0 && i*240%1_440_000 == 0 {
			want = append(want, must(sync.NewShutterAngle(i, 1000)))
		}
	}
	got := must(sync.CommonCleanAngles(camera, mains, wall, 0))
	ref.Equal(t, "sync-clean-common", len(want), 5) // one each 1/20 s
	ref.Equal(t, "sync-clean-common", len(got), len(want))
	for i := range want {
		ref.Equal(t, "sync-clean-common", got[i], want[i])
	}
	// 120 flashes of the mains and a wall of 3840 Hz: 32 periods a flash, all
	// are common. With 1000 Hz, 1, 2, 4 and 5 flashes are 8⅓, 16⅔, 33⅓ and 41⅔
	// periods: they miss by 1/25, 1/50, 1/100 and 1/125 of the exposure.
	camera, mains = rate(24, 1), rate(120, 1)
	for _, tc := range []struct {
		wall      int64
		tolerance float64
		want      int
	}{
		{3840, 0, 5},
		{1000, 0, 1}, {1000, 0.0079, 1}, {1000, 0.0081, 2}, {1000, 0.0101, 3}, {1000, 0.0201, 4}, {1000, 0.0401, 5},
		{50, 0.999, 4}, // a light of less than half a period in the first
	} {
		got := must(sync.CommonCleanAngles(camera, mains, rate(tc.wall, 1), tc.tolerance))
		if len(got) != tc.want {
			t.Errorf("%d Hz within %v: got %v, want %d", tc.wall, tc.tolerance, got, tc.want)
		}
	}
	for _, tolerance := range []float64{math.NaN(), -0.1, 1, math.Inf(1)} {
		_, err := sync.CommonCleanAngles(camera, mains, wall, tolerance)
		wantInvalid(t, "tolerance", err)
	}
	_, err := sync.CommonCleanAngles(camera, mains, sync.Rate{}, 0)
	wantInvalid(t, "other", err)
	_, err = sync.CommonCleanAngles(camera, sync.Rate{}, wall, 0)
	wantInvalid(t, "flash", err)
	fast := rate(math.MaxInt32, 1)
	if _, err := sync.CommonCleanAngles(rate(4000, 1), fast, rate(math.MaxInt32-1, math.MaxInt32), 0.5); err != nil {
		t.Errorf("the ends of the range: %v", err)
	}
}

func TestSteadyRates(t *testing.T) {
	for i, want := range []float64{120, 60, 40, 30, 24, 20, 17.143, 15, 13.333, 12} {
		ref.Near(t, "sync-clean-steady", float64(must(sync.SteadyRate(rate(120, 1), int64(i)+1)).Frequency()), want, i+1)
	}
	for _, k := range []int64{0, -1, math.MinInt64, math.MaxInt64} {
		_, err := sync.SteadyRate(rate(100, 1), k)
		wantInvalid(t, "periods", err)
	}
	_, err := sync.SteadyRate(sync.Rate{}, 1)
	wantInvalid(t, "no rate", err)
}

func FuzzParseShutterAngle(f *testing.F) {
	for _, s := range []string{"172.8", "864/5", "360°", "0", "1/0", "1.5/2", "86400/1001°"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		a, err := sync.ParseShutterAngle(s)
		if err != nil {
			wantInvalid(t, s, err)
			return
		}
		if again, err := sync.ParseShutterAngle(a.String()); err != nil || again != a {
			t.Errorf("%q: %v comes back as %v, %v", s, a, again, err)
		}
		r := rate(24000, 1001)
		if e, err := a.Exposure(r); err == nil {
			if back, err := sync.ShutterAngleOf(e, r); err == nil && back != a {
				t.Errorf("%v: comes back as %v", a, back)
			}
		}
	})
}

func TestIntervalsWithOneEndThatFits(t *testing.T) {
	r := rate(1, 1)
	for _, tc := range []struct {
		n     int64
		phase sync.ShutterPhase
	}{
		{math.MaxInt64, sync.Leading},  // opens at 2⁶³ − 1 s, closes at 2⁶³ s
		{1 << 62, sync.Centred},        // closes at (2⁶³ + 1)/2 s
		{-1 << 62, sync.Centred},       // opens at −(2⁶³ + 1)/2 s
		{1<<62 + 1<<61, sync.Centred},  // neither fits
		{-1<<62 - 1<<61, sync.Centred}, // neither fits
	} {
		opens, closes, err := degrees("360").Interval(r, tc.n, tc.phase)
		wantInvalid(t, fmt.Sprint(tc), err)
		if opens != (sync.Seconds{}) || closes != (sync.Seconds{}) {
			t.Errorf("%v: an error and %v, %v", tc, opens, closes)
		}
	}
}

func TestNearestCommonCleanAngle(t *testing.T) {
	// By search over thousandths of a degree: exposures of i/360000 of 1/4 s
	// that hold whole flashes of 100 Hz and of 240 Hz.
	camera, mains, wall := rate(4, 1), rate(100, 1), rate(240, 1)
	var list []int64
	for i := int64(1); i <= 360_000; i++ {
		if i*100%1_440_000 == 0 && i*240%1_440_000 == 0 {
			list = append(list, i)
		}
	}
	try := func(i int64) {
		want := list[0]
		for _, c := range list {
			if a, b := max(i-c, c-i), max(i-want, want-i); a <= b { // of two, the wider
				want = c
			}
		}
		clean, off, err := sync.NearestCommonCleanAngle(camera, mains, wall, 0, must(sync.NewShutterAngle(i, 1000)))
		if err != nil {
			t.Fatal(err)
		}
		ref.Equal(t, "sync-clean-nearest-common", clean, must(sync.NewShutterAngle(want, 1000)), i)
		near.Abs(t, "off", float64(off/sync.Degree), float64(i-want)/1000, 1e-12, "exact difference, few roundings")
	}
	for i := int64(1); i <= 360_000; i += 1111 {
		try(i)
	}
	for _, c := range list {
		try(c)
	}
	try((list[0] + list[1]) / 2)
	try(360_000)

	// The present 180° at 24, mains of 100 Hz: 172.8° is nearer than the widest.
	clean, off, err := sync.NearestCommonCleanAngle(rate(24, 1), mains, rate(3840, 1), 0.005, degrees("180"))
	if err != nil || clean != degrees("172.8") {
		t.Errorf("got %v, %v", clean, err)
	}
	near.Abs(t, "off", float64(off/sync.Degree), 7.2, 1e-12, "exact difference, few roundings")
	// 23 and 29 flashes of each other: none in common in 1/24 s.
	_, _, err = sync.NearestCommonCleanAngle(rate(24, 1), rate(101, 1), rate(97, 1), 0, degrees("180"))
	want := "sync: tolerance 0: must be more: at 24 frames no exposure holds whole flashes of both 101 and 97 a second"
	if err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
	for i, err := range []error{
		third(sync.NearestCommonCleanAngle(sync.Rate{}, mains, wall, 0, degrees("180"))),
		third(sync.NearestCommonCleanAngle(camera, sync.Rate{}, wall, 0, degrees("180"))),
		third(sync.NearestCommonCleanAngle(camera, mains, sync.Rate{}, 0, degrees("180"))),
		third(sync.NearestCommonCleanAngle(camera, mains, wall, math.NaN(), degrees("180"))),
		third(sync.NearestCommonCleanAngle(camera, mains, wall, 0, sync.ShutterAngle{})),
	} {
		wantInvalid(t, fmt.Sprint(i), err)
	}
}

func third[A, B, C any](_ A, _ B, c C) C { return c }
