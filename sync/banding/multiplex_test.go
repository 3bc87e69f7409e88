package banding_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"example.com/platewright/sync/banding"
	"example.com/platewright/sync/internal/trial"

	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/unit"
)

// scannedWall is a wall whose rows are lit in turns, and a camera that fills
// its frame with it, in a model of its own: times in seconds, wall rows one by
// one. Wall row k belongs to group k mod groups; turn by turn the groups go on,
// upwards in number, or downwards where backwards is set.
type scannedWall struct {
	period, duty float64
	groups       int
	backwards    bool

	rows              int
	rowTime, exposure float64
	pitch             float64 // wall rows from camera row to camera row, negative for a camera upside down
	top               float64 // where on the wall, in its rows, camera row 0 begins
	opens             float64 // when camera row 0 opens
}

// light is the fraction of the time from a to b that wall row k is lit.
func (w scannedWall) light(k int, a, b float64) float64 {
	turn := ((k % w.groups) + w.groups) % w.groups
	if w.backwards {
		turn = w.groups - 1 - turn
	}
	slot := w.period / float64(w.groups)
	lit := 0.0
	for n := math.Floor(a/w.period) - 1; n*w.period < b; n++ {
		on := n*w.period + float64(turn)*slot
		lit += math.Max(0, math.Min(b, on+w.duty*slot)-math.Max(a, on))
	}
	return lit / (b - a)
}

// frame is what the camera records: each row sees the wall row at its centre,
// or, where blurred is set, the mean over all wall rows that it covers.
func (w scannedWall) frame(blurred bool) []float64 {
	out := make([]float64, w.rows)
	for r := range out {
		a := w.opens + float64(r)*w.rowTime
		from, to := w.top+w.pitch*float64(r), w.top+w.pitch*float64(r+1)
		if !blurred {
			out[r] = w.light(int(math.Floor((from+to)/2)), a, a+w.exposure)
			continue
		}
		from, to = math.Min(from, to), math.Max(from, to)
		for k := math.Floor(from); k < to; k++ {
			covered := math.Min(to, k+1) - math.Max(from, k)
			out[r] += covered / (to - from) * w.light(int(k), a, a+w.exposure)
		}
	}
	return out
}

// spec is the same wall and camera for NewBanding.
func (w scannedWall) spec(camera, refresh timing.Rate) banding.BandingSpec {
	s := w.pitch
	if w.backwards {
		s = -s
	}
	return banding.BandingSpec{
		Camera: camera, Refresh: refresh, DutyCycle: w.duty, Multiplex: w.groups, WallRowsPerCameraRow: s,
		Exposure: unit.Time(w.exposure), RowTime: unit.Time(w.rowTime), Rows: w.rows, Phase: w.opens / w.period,
	}
}

// strongest is the frequency, in periods a row, of the strongest line in the
// spectrum of the rows.
func strongest(rows []float64) float64 {
	const length = 1 << 14
	mean := 0.0
	for _, v := range rows {
		mean += v / float64(len(rows))
	}
	padded := make([]float64, length)
	for i, v := range rows {
		sin := math.Sin(math.Pi * (float64(i) + 0.5) / float64(len(rows)))
		padded[i] = (v - mean) * sin * sin
	}
	best, at := 0.0, 0
	for k, c := range fourier.NewFFT(length).Coefficients(nil, padded) {
		if p := cmplx.Abs(c); p > best {
			best, at = p, k
		}
	}
	return float64(at) / length
}

// line is the line of a spacing in the spectrum of the rows.
func line(rows []float64, spacing float64) (sum complex128) {
	for r, v := range rows {
		sin := math.Sin(math.Pi * (float64(r) + 0.5) / float64(len(rows)))
		sum += complex(v*sin*sin, 0) * cmplx.Exp(complex(0, -2*math.Pi*float64(r)/spacing))
	}
	return sum
}

// randomWall is a wall of 3 to 32 groups before a camera of 24 frames a second.
func randomWall(rng *rand.Rand) (w scannedWall, refresh timing.Rate) {
	hz := 960 + rng.Int64N(6720)
	groups := 3 + rng.IntN(30)
	const rows = 1080
	w = scannedWall{
		period: 1 / float64(hz), duty: 0.2 + 0.8*rng.Float64(), groups: groups, backwards: rng.IntN(2) == 0,
		rows: rows, rowTime: (0.005 + 0.015*rng.Float64()) / rows, exposure: 0.0005 + 0.02*rng.Float64(),
		pitch: (0.1 + (math.Min(2, float64(groups)/2)-0.1)*rng.Float64()) * float64(1-2*rng.IntN(2)),
		top:   100 * rng.Float64(), opens: 0.01 * rng.Float64(),
	}
	return w, trial.Rate(hz, 1)
}

func TestSpacingOnAScannedWall(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	const cases = 240
	for tested := 0; tested < cases; {
		w, refresh := randomWall(rng)
		b := predicted(t, w.spec(trial.Rate(24, 1), refresh))
		spacing, ok := b.Spacing()
		if !ok || b.Bands() < 8 {
			continue // too wide to be told from a spectrum
		}
		tested++
		for _, blurred := range []bool{false, true} {
			if blurred && math.Abs(w.pitch) > float64(w.groups)/4 {
				continue // more than Banding promises
			}
			got := strongest(w.frame(blurred))
			ref.Near(t, "T-BAND-SCANNED", 1/got, spacing, fmt.Sprintf("%+v blurred %v", w, blurred))
		}
		assert.InEpsilon(t, float64(w.rows)/spacing, b.Bands(), 1e-14, "the same quotient")
	}
}

// TestScannedWallsByHand holds one wall with its spacings worked out from
// 3840/s · 8 ms/2160 − s/8.
func TestScannedWallsByHand(t *testing.T) {
	for s, want := range map[float64]float64{
		1: 9.02707, 0.71: 13.4178, 0.5: 20.7135, 1.3: 6.74410, -1: 7.18276,
		0.113777777778: math.Inf(1), // the turns keep pace with the readout
	} {
		w := scannedWall{
			period: 1.0 / 3840, duty: 0.25, groups: 8, rows: 2160,
			rowTime: 0.008 / 2160, exposure: 0.0021, pitch: s, top: 0.37,
		}
		spacing, ok := predicted(t, w.spec(trial.Rate(24, 1), trial.Rate(3840, 1))).Spacing()
		if math.IsInf(want, 1) {
			assert.False(t, ok, "s = %v: spacing %v", s, spacing)
			continue
		}
		assert.InEpsilon(t, want, spacing, 5e-6, "s = %v: half a unit of the last printed digit", s)
		assert.InEpsilon(t, want, 1/strongest(w.frame(false)), 0.005, "s = %v, simulated: bins of the spectrum", s)
	}
}

func TestRowsOfAScannedWall(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 14))
	for range 40 {
		w, refresh := randomWall(rng)
		w.top, w.backwards = 0, false // as NewBanding assumes
		b := predicted(t, w.spec(trial.Rate(24, 1), refresh))
		least, most := b.Extremes()
		blurred := w.frame(true)
		for r, want := range w.frame(false) {
			got, ok := b.Row(r)
			require.True(t, ok)
			ref.Near(t, "T-BAND-SCANNED-ROW", got, want, w, r)
			if blurred[r] < least-1e-9 || blurred[r] > most+1e-9 {
				t.Fatalf("%+v: row %d blurred gets %v, outside %v to %v", w, r, blurred[r], least, most)
			}
		}
		// Upwards in reverse: row −s(r + ½) is the wall row below, so that a
		// wall turned over is one whose groups go on in the other order.
		turned := w
		turned.pitch, turned.backwards = -w.pitch, true
		for r, v := range turned.frame(false) {
			got, _ := b.Row(r)
			ref.Near(t, "T-BAND-SCANNED-ROW", got, v, "turned over", w, r)
		}
	}
}

func TestDriftOnAScannedWall(t *testing.T) {
	rng := rand.New(rand.NewPCG(15, 16))
	for tested := 0; tested < 40; {
		w, refresh := randomWall(rng)
		camera := trial.Rate(24000, 1001)
		b := predicted(t, w.spec(camera, refresh))
		spacing, ok := b.Spacing()
		if !ok || b.Bands() < 20 {
			continue
		}
		tested++
		drift, ok := b.Drift()
		require.True(t, ok)
		next := w
		next.opens += 1001.0 / 24000
		// Bands that move by x rows turn the line by −2π x/spacing.
		moved := -cmplx.Phase(line(next.frame(false), spacing)/line(w.frame(false), spacing)) / (2 * math.Pi)
		want := drift * 1001 / 24000 / spacing
		assert.InDelta(t, 0, math.Remainder(moved-want, 1), 0.02, "%+v: leakage of the weaker lines", w)
	}
}

func TestTwoGroupsGiveTwoEqualBands(t *testing.T) {
	w := scannedWall{
		period: 1.0 / 1920, duty: 0.6, groups: 2, rows: 2160,
		rowTime: 0.016 / 2160, exposure: 0.0032, pitch: 0.3, top: 0.2,
	}
	spacing, _ := predicted(t, w.spec(trial.Rate(24, 1), trial.Rate(1920, 1))).Spacing()
	turned := w
	turned.backwards = true
	other, _ := predicted(t, turned.spec(trial.Rate(24, 1), trial.Rate(1920, 1))).Spacing()
	rows := w.frame(false)
	assert.InEpsilon(t, cmplx.Abs(line(rows, other)), cmplx.Abs(line(rows, spacing)), 0.05, "leakage")
	if got := 1 / strongest(rows); math.Abs(got/spacing-1) > 0.01 && math.Abs(got/other-1) > 0.01 {
		t.Errorf("bands %v rows apart, want %v or %v", got, spacing, other)
	}
}

func TestWallRowsPerCameraRowRefused(t *testing.T) {
	good := banding.BandingSpec{
		Camera: trial.Rate(24, 1), Refresh: trial.Rate(3840, 1), DutyCycle: 0.5, Multiplex: 8, WallRowsPerCameraRow: -7.9,
		Exposure: 0.02, RowTime: 1e-5, Rows: 1080,
	}
	predicted(t, good)
	for _, s := range []float64{0, 8, -8, math.NaN(), math.Inf(1), math.Inf(-1)} {
		spec := good
		spec.WallRowsPerCameraRow = s
		assert.ErrorIs(t, trial.Second(banding.NewBanding(spec)), banding.ErrInvalid, s)
	}
	good.WallRowsPerCameraRow = 0
	assert.EqualError(t, trial.Second(banding.NewBanding(good)), "banding: wall rows per camera row 0: must be set with multiplex 8: not 0, and more than -8 and less than 8")
	for _, multiplex := range []int{0, 1} { // not used
		one, other := good, good
		one.Multiplex, other.Multiplex = multiplex, multiplex
		other.WallRowsPerCameraRow = 3
		assert.Equal(t, predicted(t, one), predicted(t, other), "a wall without groups has groups")
	}
}
