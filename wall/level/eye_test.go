package level_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/wall/level"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

func TestGSDF(t *testing.T) {
	// Ends and the first lines of the standard's table.
	for index, want := range map[float64]float64{1: 0.0500, 2: 0.0547, 3: 0.0594} {
		l, ok := level.JNDLuminance(index)
		assert.True(t, ok)
		ref.Near(t, "W-LV8", l, want, index)
	}
	l, ok := level.JNDLuminance(1023)
	assert.True(t, ok)
	ref.Near(t, "W-LV9", l, 3993.404)
	for _, index := range []float64{0.999, 1023.001, math.NaN(), math.Inf(1)} {
		_, ok := level.JNDLuminance(index)
		assert.False(t, ok, index)
	}
	for _, l := range []float64{0, -1, 0.0499, 3993.5, math.NaN(), math.Inf(1)} {
		_, ok := level.JNDIndex(l)
		assert.False(t, ok, l)
	}
}

// The standard's own polynomial for the inverse, which is a separate fit, over the
// whole range.
func TestJNDIndex(t *testing.T) {
	inverse := []float64{71.498068, 94.593053, 41.912053, 9.8247004, .28175407, -1.1878455, -.18014349, .14710899, -.017046845}
	for i := range 400 {
		l := 0.05 * math.Pow(3993/0.05, float64(i)/399)
		want, power := 0.0, 1.0
		for _, c := range inverse {
			want += c * power
			power *= math.Log10(l)
		}
		got, ok := level.JNDIndex(l)
		require.True(t, ok, l)
		ref.Near(t, "W-LV10", got, want, l)
		back, ok := level.JNDLuminance(got)
		require.True(t, ok, l)
		assert.InEpsilon(t, l, back, 1e-12, "a few roundings of a steep function")
	}
}

// A step of one JND in the GSDF against Barten's threshold for the same target, a
// sinusoid of 4 cycles per degree in a field of 2°: two models that stem from different
// measurements.
func TestGSDFAgainstBarten(t *testing.T) {
	for index := 2.0; index < 1022; index++ {
		below, _ := level.JNDLuminance(index - 0.5)
		above, _ := level.JNDLuminance(index + 0.5)
		s, err := level.ContrastSensitivity(4, (above+below)/2, 2*level.Degree)
		require.NoError(t, err)
		ref.Near(t, "W-LV11", (above-below)/(above+below)*s, 1.3, index)
	}
}

// PQ was laid out so that steps of 12 bits are about one threshold each.
func TestPQAgainstBarten(t *testing.T) {
	d := display(t, pq(12, false))
	for _, l := range []float64{0.01, 0.1, 1, 10, 100, 1000, 5000} {
		code, ok := d.Code(l)
		require.True(t, ok)
		s, err := d.Step(code, level.Viewer{})
		require.NoError(t, err)
		ref.Near(t, "W-LV12", s.Thresholds, 1, l)
	}
}

// The best frequency, by trying them all.
func TestThresholdsAreOfTheBestFrequency(t *testing.T) {
	d := display(t, pq(8, false))
	for _, field := range []unit.Angle{0.5, 5, 40, 120} {
		for _, code := range []int{1, 20, 60, 128, 200, 254} {
			s, err := d.Step(code, level.Viewer{Field: field * level.Degree})
			require.NoError(t, err)
			best := 0.0
			for i := range 2001 {
				u := 0.01 * math.Pow(1e4, float64(i)/2000)
				v, err := level.ContrastSensitivity(u, (s.From+s.To)/2, field*level.Degree)
				require.NoError(t, err)
				best = max(best, v)
			}
			// A square wave of this modulation, whose fundamental is an integral.
			fundamental := 0.0
			for i := range 1000 {
				fundamental += 2 * math.Abs(math.Sin(2*math.Pi*(float64(i)+0.5)/1000)) / 1000
			}
			ref.Near(t, "W-LV13", s.Thresholds, fundamental*s.Contrast*best, field, code)
		}
	}
}

// A step that Barten's model calls invisible is invisible by the GSDF too: it is the
// stricter measure at all luminances, by a factor that the package comment gives.
func TestBartenIsTheStricter(t *testing.T) {
	for _, bits := range []int{8, 10, 12} {
		d := display(t, pq(bits, false))
		for code := range 1<<bits - 1 {
			s, err := d.Step(code, level.Viewer{})
			require.NoError(t, err)
			if s.InGSDF {
				require.InDelta(t, 6.2, s.Thresholds/s.JND, 3, "%d bits, code %d, %v cd/m²", bits, code, s.From)
			}
		}
	}
}
