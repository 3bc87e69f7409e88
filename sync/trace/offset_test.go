package trace_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/internal/trial"
	"example.com/platewright/sync/trace"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var seeds = flag.Int("seeds", 20, "random scenes a closed loop")

// light is a scene whose brightness changes in time: waves and passing shadows.
type light struct{ waves, shadows [][3]float64 }

func newLight(r *rand.Rand, length float64) (l light) {
	for range 20 {
		l.waves = append(l.waves, [3]float64{r.Float64() * 2 * math.Pi, 0.05 * math.Pow(60, r.Float64()), 0.3 * r.Float64()})
	}
	for range int(length / 4) {
		l.shadows = append(l.shadows, [3]float64{r.Float64()*length*1.4 - 0.2*length, 0.06 + 0.3*r.Float64(), r.Float64()})
	}
	return l
}

// record integrates the light over the exposures of a camera whose frame n begins at
// (from + n/fps)·(1 + ppm): frames a second, exposure in seconds.
func (l light) record(from, fps, exposure, ppm float64, frames int) []float64 {
	rows := make([]float64, frames)
	for n := range rows {
		t := from + float64(n)/fps*(1+ppm*1e-6)
		sum := 2.0
		for _, w := range l.waves { // the integral of sin over the exposure, in closed form
			k := 2 * math.Pi * w[1]
			sum += w[2] * (math.Cos(k*(t-exposure/2)+w[0]) - math.Cos(k*(t+exposure/2)+w[0])) / (k * exposure)
		}
		for _, s := range l.shadows {
			f := func(t float64) float64 { return math.Erf((t - s[0]) / s[1] * math.Sqrt2) }
			sum -= s[2] * s[1] * math.Sqrt(math.Pi/8) * (f(t+exposure/2) - f(t-exposure/2)) / exposure
		}
		rows[n] = sum
	}
	return rows
}

func deviation(v []float64) float64 {
	var sum, square float64
	for _, x := range v {
		sum += x
		square += x * x
	}
	n := float64(len(v))
	return math.Sqrt(square/n - sum/n*sum/n)
}

// spoil gives a recording a gain, an offset, a slow drift and noise.
func spoil(r *rand.Rand, v []float64, noise float64) {
	gain, offset, drift := 0.1+3*r.Float64(), r.NormFloat64(), r.NormFloat64()
	sd := deviation(v)
	for i := range v {
		u := 2*float64(i)/float64(len(v)) - 1
		v[i] = gain*(v[i]+drift*sd*(u+u*u)+noise*sd*r.NormFloat64()) + offset
	}
}

// score counts how often a measured value lies within its uncertainty.
type score struct {
	n, within, refused int
	sum                float64
}

func (s *score) add(got, want, err float64) {
	z := (got - want) / err
	s.n++
	s.sum += z
	if math.Abs(z) <= 3 {
		s.within++
	}
}

func (s *score) check(t *testing.T, what string) {
	t.Helper()
	t.Logf("%s: %d of %d within three standard deviations, mean %.2f of one, %d refused", what, s.within, s.n, s.sum/float64(s.n), s.refused)
	assert.LessOrEqual(t, s.n-s.within, s.n/100, "%s: within three standard deviations in 99 %%", what)
	assert.Less(t, math.Abs(s.sum/float64(s.n)), 0.5, "%s: bias, in standard deviations", what)
}

func TestOffsetClosedLoop(t *testing.T) {
	near.NumbersOnly(t)
	rates := []timing.Rate{trial.Rate(24, 1), trial.Rate(24000, 1001), trial.Rate(25, 1), trial.Rate(60000, 1001), trial.Rate(120, 1)}
	for _, noise := range []float64{0.01, 0.2} {
		var all score
		for seed := range *seeds {
			r := rand.New(rand.NewPCG(uint64(seed), 1))
			ra := rates[r.IntN(len(rates))]
			rb := ra
			if seed%2 == 1 {
				rb = rates[r.IntN(len(rates))]
			}
			fa, fb := float64(ra.Frequency()), float64(rb.Frequency())
			scene := newLight(r, 40)
			from := r.Float64()*20 - 10
			a := scene.record(5, fa, 0.5/fa, 0, int((20+10*r.Float64())*fa))
			b := scene.record(5+from, fb, 0.5/fa, 0, int((20+10*r.Float64())*fb))
			spoil(r, a, noise)
			spoil(r, b, noise)
			o, err := trace.MeasureOffset(trace.Trace{Rate: ra, Values: a}, trace.Trace{Rate: rb, Values: b})
			if err != nil {
				all.refused++
				t.Logf("seed %d: %v (%v, %v, from %.2f)", seed, err, ra, rb, from)
				continue
			}
			all.add(float64(o.Time), from, float64(o.Error))
			if math.Abs(float64(o.Time)-from) > 3*float64(o.Error) {
				t.Logf("seed %d: rates %v %v: %.5f ± %.5f, want %.5f, corr %.4f", seed, ra, rb, float64(o.Time), float64(o.Error), from, o.Correlation)
			}
		}
		all.check(t, fmt.Sprintf("noise %g", noise))
		assert.LessOrEqual(t, all.refused, *seeds/10)
	}
}

// Recordings of different scenes have no offset.
func TestOffsetRefusesStrangers(t *testing.T) {
	near.NumbersOnly(t)
	found := 0
	for seed := range 2 * *seeds {
		r := rand.New(rand.NewPCG(uint64(seed), 2))
		a := newLight(r, 40).record(0, 24, 1./48, 0, 600)
		b := newLight(r, 40).record(0, 25, 1./50, 0, 700)
		spoil(r, a, 0.01)
		spoil(r, b, 0.01)
		if o, err := trace.MeasureOffset(trace.Trace{Rate: trial.Rate(24, 1), Values: a}, trace.Trace{Rate: trial.Rate(25, 1), Values: b}); err == nil {
			found++
			t.Logf("seed %d: %+v", seed, o)
		}
	}
	assert.LessOrEqual(t, found, *seeds/50, "at most 1 %")
}

// bursts of light, each of 30 ms to 230 ms, in a world of so many milliseconds.
func bursts(r *rand.Rand, n int) []float64 {
	world := make([]float64, n)
	for range n / 3000 {
		at, height := r.IntN(n-300), 0.5+r.Float64()
		for i := range 30 + r.IntN(200) {
			world[at+i] += height
		}
	}
	return world
}

// exposed is the mean of a world over exposures of 16 ms, from a time in milliseconds on.
func exposed(r *rand.Rand, world []float64, from, frame float64, frames int) []float64 {
	sum := make([]float64, len(world)+1)
	for i, v := range world {
		sum[i+1] = sum[i] + v
	}
	until := func(t float64) float64 { return sum[int(t)] + (t-math.Floor(t))*world[int(t)] }
	out := make([]float64, frames)
	for i := range out {
		t := from + float64(i)*frame
		out[i] = (until(t+16)-until(t))/16 + 0.01*r.NormFloat64()
	}
	return out
}

// Bursts that begin and end between exposures: the offset is as uncertain as it says, and
// those of another scene have none.
func TestOffsetOfBursts(t *testing.T) {
	near.NumbersOnly(t)
	var all score
	strangers := 0
	for seed := range *seeds {
		r := rand.New(rand.NewPCG(uint64(seed), 8))
		world, other := bursts(r, 60000), bursts(r, 60000)
		from := 8 * (r.Float64() - 0.5)
		tr := func(world []float64, from, fps float64) trace.Trace {
			return trace.Trace{Rate: trial.Rate(int64(fps), 1), Values: exposed(r, world, 1000*(10+from), 1000/fps, int(28*fps))}
		}
		a, fps := tr(world, 0, 24), []float64{24, 25, 50}[r.IntN(3)]
		o, err := trace.MeasureOffset(a, tr(world, from, fps))
		if err != nil {
			all.refused++
			continue
		}
		all.add(float64(o.Time), from, float64(o.Error))
		if _, err := trace.MeasureOffset(a, tr(other, from, fps)); err == nil {
			strangers++
		}
	}
	all.check(t, "bursts")
	assert.LessOrEqual(t, all.refused, *seeds/10)
	assert.LessOrEqual(t, strangers, *seeds/100, "at most 1 %%")
}

// A single flash of 5 ms to 60 ms.
func TestOffsetOfFlash(t *testing.T) {
	near.NumbersOnly(t)
	var all score
	for seed := range *seeds {
		r := rand.New(rand.NewPCG(uint64(seed), 9))
		world := make([]float64, 60000)
		for i := range 5 + r.IntN(55) {
			world[25000+i] = 1
		}
		from := 8 * (r.Float64() - 0.5)
		rate := trial.Rate(24, 1)
		o, err := trace.MeasureOffset(trace.Trace{Rate: rate, Values: exposed(r, world, 10000, 1000./24, 600)}, trace.Trace{Rate: rate, Values: exposed(r, world, 1000*(10+from), 1000./24, 600)})
		if err != nil { // both cameras may have been closed
			all.refused++
			continue
		}
		all.add(float64(o.Time), from, float64(o.Error))
	}
	all.check(t, "a flash")
	assert.LessOrEqual(t, all.refused, *seeds*3/4)
}

// A light that sweeps past in some frames says when it was to a hundredth of a frame, and
// the uncertainty shows it.
func TestOffsetOfSweep(t *testing.T) {
	for _, width := range []float64{1.5, 3} { // standard deviation, frames
		for from := -0.9; from < 1; from += 0.3 {
			unit := 1e-99 // of light, for the first; both may be in their own
			tr := func(from float64) trace.Trace {
				passed := func(time float64) float64 { return width * math.Erf((time-70)/(width*math.Sqrt2)) }
				v := make([]float64, 144)
				for i := range v {
					v[i] = unit * (passed(from+float64(i)+0.5) - passed(from+float64(i))) // half a frame of exposure
				}
				unit = 1e99
				return trace.Trace{Rate: trial.Rate(24, 1), Values: v}
			}
			o, err := trace.MeasureOffset(tr(0), tr(from))
			require.NoError(t, err)
			assert.InDelta(t, from/24, float64(o.Time), 3*float64(o.Error))
			assert.Less(t, float64(o.Error), 0.01/24)
		}
	}
}

func TestOffsetRefuses(t *testing.T) {
	rate := trial.Rate(25, 1)
	r := rand.New(rand.NewPCG(1, 3))
	scene := newLight(r, 60).record(0, 25, 0.02, 0, 1500)
	sine, flashes, random := make([]float64, 500), make([]float64, 500), make([]float64, 500)
	for i := range sine {
		sine[i] = math.Sin(2*math.Pi*float64(i)/37.3) + 0.02*r.NormFloat64()
		flashes[i] = 0.02 * r.NormFloat64()
		if i%50 == 7 {
			flashes[i]++
		}
		random[i] = r.NormFloat64()
	}
	nan := append([]float64{math.NaN()}, scene...)
	for _, tc := range []struct {
		a, b []float64
		want string
	}{
		{make([]float64, 500), scene, "must change in both"},
		{scene[:500], make([]float64, 500), "must change in both"},
		{sine, sine[37:], "must not repeat"},
		{flashes, flashes[100:], "must not repeat"},
		{scene[:700], scene[650:], "no offset"},
		{scene[:63], scene, "a.values 63: must be 64 to 4194304 numbers"},
		{nan, scene, "a.values[0] NaN"},
		{random, scene[:500], "better than by chance"},
	} {
		_, err := trace.MeasureOffset(trace.Trace{Rate: rate, Values: tc.a}, trace.Trace{Rate: rate, Values: tc.b})
		assert.ErrorIs(t, err, trace.ErrInvalid)
		assert.ErrorContains(t, err, tc.want)
	}
	_, err := trace.MeasureOffset(trace.Trace{Values: scene}, trace.Trace{Rate: trial.Rate(1001, 1), Values: scene})
	assert.ErrorContains(t, err, "a.rate: must be set")
	assert.ErrorContains(t, err, "b.rate 1001: must be at most 1000")
}

// A recording against itself, cut: the offset is the cut.
func TestOffsetOfCut(t *testing.T) {
	scene := newLight(rand.New(rand.NewPCG(1, 4)), 60).record(0, 25, 0.02, 0, 1500)
	tr := func(v []float64) trace.Trace { return trace.Trace{Rate: trial.Rate(25, 1), Values: v} }
	for _, cut := range []int{0, 1, 130, 700} {
		o, err := trace.MeasureOffset(tr(scene), tr(scene[cut:]))
		assert.NoError(t, err)
		ref.Near(t, "T-OFFSET", float64(o.Time), float64(cut)/25)
		assert.InDelta(t, float64(1500-cut)/25, float64(o.Overlap), 1e-6, "as Time")
		assert.Less(t, float64(o.Error), 2e-4, "half a hundredth of a frame: little of it is abrupt")
		assert.InDelta(t, 1, o.Correlation, 1e-9, "the same numbers")
	}
}
