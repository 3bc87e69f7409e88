package trace_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/sync/trace"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// motion is where a camera looks in the photograph at a time in frames, in pixels. A
// steady one pans at an even or a slowly changing speed, and shakes by a small part of
// it.
func motion(r *rand.Rand, seed int) (at func(t float64) (x, y float64), steady bool) {
	x0, y0 := 20+20*r.Float64(), 40+20*r.Float64()
	vx, vy := 1.2+1.8*r.Float64(), 4*r.Float64()-1
	phase, hz := 2*math.Pi*r.Float64(), 0.02+0.45*r.Float64() // periods a frame
	shake := func(size, t float64) (x, y float64) {
		a := 2*math.Pi*hz*t + phase
		return size * math.Sin(a), size * math.Cos(1.3*a)
	}
	pan := func(t, sx, sy float64) (x, y float64) { return x0 + vx*t + sx, y0 + vy*t + sy }
	switch seed % 6 {
	case 0: // even
		return func(t float64) (float64, float64) { return pan(t, 0, 0) }, true
	case 1: // faster, or slower
		a := 0.3 * vx / 28 * (2*r.Float64() - 1)
		return func(t float64) (float64, float64) { return pan(t, a*t*t/2, a*t*t/4) }, true
	case 2: // on a road
		size := 0.03 * vx
		return func(t float64) (float64, float64) { x, y := shake(size, t); return pan(t, x, y) }, true
	case 3: // a camera that stands and shakes
		size := 0.3 + 2*r.Float64()
		return func(t float64) (float64, float64) { x, y := shake(size, t); return x0 + x, y0 + y }, false
	case 4: // starts and stops, all at once
		from := 8 + 8*r.Float64()
		to := from + 4 + 16*r.Float64()
		return func(t float64) (float64, float64) { return pan(min(max(t, from), to), 0, 0) }, false
	default: // by hand, with bumps
		var x, y [64]float64
		for i := 1; i < len(x); i++ {
			x[i], y[i] = x[i-1]+vx*(0.5+r.Float64()), y[i-1]+2*r.NormFloat64()
		}
		return func(t float64) (float64, float64) {
			i := int(t)
			f := t - float64(i)
			return x0 + x[i]*(1-f) + x[i+1]*f, y0 + 40 + y[i]*(1-f) + y[i+1]*f
		}, false
	}
}

// shiftsOf films a motion with noise of 40 dB, and leaves out some frames.
func shiftsOf(t testing.TB, r *rand.Rand, at func(t float64) (x, y float64), frames int, left func(frame int) int) (out []trace.Shift) {
	var m trace.ShiftMeter[uint16]
	out = make([]trace.Shift, frames)
	time := 0
	for n := range frames {
		time += left(n)
		x, y := at(float64(time))
		s, err := m.Add(noisy(r, crop(x, y), 0.01))
		require.NoError(t, err)
		out[n] = s
		time++
	}
	return out
}

func TestGapsInMotions(t *testing.T) {
	near.NumbersOnly(t)
	const frames = 28
	motions := *seeds
	if motions == 20 {
		motions = 6
	}
	var alarms, tried, found, unclear int
	for seed := range motions {
		r := rand.New(rand.NewPCG(uint64(seed), 50))
		at, steady := motion(r, seed)
		if got, err := trace.FindGaps(shiftsOf(t, r, at, frames, func(int) int { return 0 })); err == nil && len(got.Found) > 0 {
			alarms++
			t.Logf("seed %d: alarm %+v", seed, got)
		} else if steady {
			unclear += got.Unclear - 8
		}
		if !steady {
			continue
		}
		tried++
		gap := 5 + r.IntN(frames-10)
		got, err := trace.FindGaps(shiftsOf(t, r, at, frames, func(n int) int {
			if n == gap {
				return 1
			}
			return 0
		}))
		if err == nil && len(got.Found) == 1 && got.Found[0].Frame == gap && got.Found[0].Missing == 1 {
			found++
			assert.Greater(t, got.Found[0].Significance, 5.0)
		} else {
			t.Logf("seed %d: gap at %d: %+v, %v", seed, gap, got, err)
		}
	}
	t.Logf("of %d motions %d alarms; of %d gaps %d found; %d frames of steady motions unclear", motions, alarms, tried, found, unclear)
	ref.Within(t, "T-GAPS-ALARMS", float64(alarms)/float64(motions))
	ref.Within(t, "T-GAPS-MISSED", 1-float64(found)/float64(tried))
}

// panned are shifts of a steady pan.
func panned(n int) []trace.Shift {
	out := make([]trace.Shift, n)
	for i := 1; i < n; i++ {
		out[i] = trace.Shift{X: -3, Y: 1.5, Known: true}
	}
	return out
}

func TestGapsByHand(t *testing.T) {
	pan := panned(48)
	got, err := trace.FindGaps(pan)
	require.NoError(t, err)
	assert.Equal(t, trace.Gaps{Judged: 39, Unclear: 8}, got, "the first and last four")
	for n, steps := range map[int]float64{10: 2, 14: 4, 30: 2, 35: 2.5, 40: -2} {
		pan[n].X *= steps
		pan[n].Y *= steps
	}
	pan[20].Known = false
	got, err = trace.FindGaps(pan)
	require.NoError(t, err)
	length := math.Hypot(3, 1.5) / 0.02 // over the least unevenness
	ref.Near(t, "T-GAPS", got.Found[1].Significance, 3*length)
	want := []trace.Gap{{Frame: 10, Missing: 1, Significance: length}, {Frame: 14, Missing: 3, Significance: 3 * length}, {Frame: 30, Missing: 1, Significance: length}}
	assert.Empty(t, cmp.Diff(want, got.Found[:min(3, len(got.Found))], cmpopts.EquateApprox(1e-9, 0)))
	assert.Len(t, got.Found, 3, "no half step, and none back")

	// Every fifth frame is missing: 30 a second shown at 24.
	pan = panned(48)
	for n := 4; n < 48; n += 4 {
		pan[n].X, pan[n].Y = 2*pan[n].X, 2*pan[n].Y
	}
	got, err = trace.FindGaps(pan)
	require.NoError(t, err)
	assert.Len(t, got.Found, 9, "frames 8 to 40; those at the ends have too few frames beside them")

	// A frame that was shown twice, in place of the next: the take is as long as before.
	pan = panned(48)
	pan[20].X, pan[20].Y = 0, 0
	pan[21].X, pan[21].Y = -6, 3
	got, err = trace.FindGaps(pan)
	require.NoError(t, err)
	assert.Empty(t, got.Found)
}

func TestGapsRefused(t *testing.T) {
	still := panned(40)
	for i := range still {
		still[i].X, still[i].Y = 0.01*float64(i%2), 0
	}
	_, err := trace.FindGaps(still)
	assert.ErrorIs(t, err, trace.ErrInvalid)
	assert.ErrorContains(t, err, "shifts 39 of 40 known: must be those of a picture that moves steadily")
	_, err = trace.FindGaps(make([]trace.Shift, 20))
	assert.ErrorContains(t, err, "shifts 0 of 20 known")
	_, err = trace.FindGaps(panned(15))
	assert.ErrorContains(t, err, "shifts 15")
	bad := panned(20)
	bad[7].X = math.NaN()
	_, err = trace.FindGaps(bad)
	assert.ErrorContains(t, err, "shifts[7] not a shift: must be within ±1e6 px")
}
