package sensor_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/sensor"
	"gonum.org/v1/gonum/unit"
)

// box and jitter are the contrasts at half a period per pixel, the Nyquist
// frequency, of a pitch of 5 µm: 100 lp/mm.
func TestMTFAtNyquist(t *testing.T) {
	const pitch = 5 * um
	const nyquist = 100
	for _, tc := range []struct {
		part unit.Length // of the pitch
		want float64
	}{{1, 0.636620}, {0.5, 0.900316}, {2, 0}} {
		got, err := sensor.BoxMTF(nyquist, tc.part*pitch)
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, "sensor-box-mtf", got, tc.want, tc.part)
	}
	for _, tc := range []struct {
		part unit.Length
		want float64
	}{{0.25, 0.734603}, {0.1, 0.951850}} {
		got, err := sensor.JitterMTF(nyquist, tc.part*pitch)
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, "sensor-jitter-mtf", got, tc.want, tc.part)
	}
}

func TestBoxMTFTable(t *testing.T) {
	for _, x := range []float64{.1, .2, .25, .3, .4, .5, .6, .7, .75, .8, .9, 1.25, 1.5, 1.7} {
		got, err := sensor.BoxMTF(1000*x, um)
		if err != nil {
			t.Fatal(err)
		}
		// Grey averaged over a photosite that looks at stripes. Beyond the first
		// zero the contrast is reversed, of which the MTF is the modulus.
		var mean float64
		const n = 100000
		for i := range n {
			mean += math.Cos(2*math.Pi*x*((float64(i)+0.5)/n-0.5)) / n
		}
		ref.Near(t, "sensor-box-mtf-table", got, math.Abs(mean), x)
	}
}

// A picture of stripes that shakes: the mean over its places, each counted as
// often as a normal distribution has it.
func TestJitterMTFIsTheContrastOfAShakenPicture(t *testing.T) {
	for _, x := range []float64{0.01, 0.1, 0.25, 0.5, 0.8} { // standard deviations in periods
		var mean, total float64
		for i := -1000; i <= 1000; i++ {
			place := float64(i) / 100 // in standard deviations
			often := math.Exp(-place * place / 2)
			total += often
			mean += often * math.Cos(2*math.Pi*x*place)
		}
		got, err := sensor.JitterMTF(1000*x, um)
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, "sensor-jitter-mtf-shaken", got, mean/total, x)
	}
}

func TestMTFEnds(t *testing.T) {
	for _, f := range []func(float64, unit.Length) (float64, error){sensor.BoxMTF, sensor.JitterMTF} {
		for _, tc := range []struct {
			frequency float64
			l         unit.Length
		}{{0, um}, {100, 0}, {0, 0}, {5e-324, 5e-324}} {
			if got, err := f(tc.frequency, tc.l); got != 1 || err != nil {
				t.Errorf("%v: %v, %v, want all the contrast", tc, got, err)
			}
		}
		last := 1.0
		for i := 1; i <= 100; i++ {
			got, _ := f(float64(i), 10*um)
			if !(got < last && got >= 0) {
				t.Errorf("%d lp/mm: %v after %v", i, got, last)
			}
			last = got
		}
	}
	// ν = 1/w and its multiples, exact in binary.
	for n := 1.0; n < 9; n++ {
		if got, _ := sensor.BoxMTF(n, mm); got != 0 {
			t.Errorf("zero %v: %v", n, got)
		}
	}
}

func TestSamplingRatio(t *testing.T) {
	// At 4 µm and N 4 the cut-off is 62.5 cy/mm, the Nyquist frequency of 8 µm.
	q, err := sensor.SamplingRatio(4*um, 4, 8*um)
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "sensor-sampling-ratio", q, 2)
	f := format(t, sensor.FormatSpec{Raster: sensor.Raster{Columns: 1000, Rows: 1000}, Pitch: 8 * um})
	nyquist, _ := f.Nyquist()
	ref.Near(t, "sensor-sampling-ratio", 2/q*nyquist, 62.5)
}
