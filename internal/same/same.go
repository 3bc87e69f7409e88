// Package same makes the inputs that testdata/generate/measured.py makes too, to the last
// bit, and reads what other libraries answered to them: testdata/measured.csv.
package same

import (
	"encoding/csv"
	"image"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"

	"example.com/platewright/internal/ref"
	"github.com/stretchr/testify/require"
)

// Random gives numbers that depend on the seed and on how many came before.
type Random struct{ Seed, count uint64 }

// Bits are 64 random ones (G. L. Steele and others, 2014: splitmix64).
func (r *Random) Bits() uint64 {
	r.count++
	z := r.Seed<<32 + r.count*0x9e3779b97f4a7c15
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// Below is a whole number from 0 to n − 1.
func (r *Random) Below(n int) int { return int(r.Bits() >> 33 % uint64(n)) }

// Noise is a nearly normal number of mean 0 and standard deviation 65536: the sum of
// twelve of 16 bits.
func (r *Random) Noise() int {
	sum := -6 * 65535
	for range 3 {
		for b := r.Bits(); b > 0; b >>= 16 {
			sum += int(b & 0xffff)
		}
	}
	return sum
}

// Width and Height are the size of the photograph.
const Width, Height = 512, 256

// Waterfront decodes testdata/waterfront.png: a real sphere, 512 × 256 px, linear light.
func Waterfront() (image.Image, error) {
	root, err := ref.ModuleRoot()
	if err != nil {
		return nil, err
	}
	f, err := os.Open(filepath.Join(root, "testdata", "waterfront.png"))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return png.Decode(f)
}

// photograph is the green of the waterfront.
var photograph = sync.OnceValues(func() (pix []int, err error) {
	img, err := Waterfront()
	if err != nil {
		return nil, err
	}
	for i := range Width * Height {
		_, g, _, _ := img.At(i%Width, i/Width).RGBA()
		pix = append(pix, int(g))
	}
	return pix, nil
})

// Crop reads w × h pixels of the photograph between its own, from (x, y) on and step
// apart, all in 1/256 of a pixel.
func Crop(t testing.TB, x, y, step, w, h int) []int {
	t.Helper()
	pix, err := photograph()
	require.NoError(t, err)
	out := make([]int, 0, w*h)
	for j := range h {
		q := y + j*step
		for i := range w {
			p := x + i*step
			k := q>>8*Width + p>>8
			u, v := p&255, q&255
			out = append(out, ((pix[k]*(256-u)+pix[k+1]*u)*(256-v)+(pix[k+Width]*(256-u)+pix[k+Width+1]*u)*v)>>16)
		}
	}
	return out
}

// Record gives a picture noise of a standard deviation, and room for it below and above.
func (r *Random) Record(picture []int, deviation int) []uint16 {
	out := make([]uint16, len(picture))
	for i, v := range picture {
		out[i] = uint16(max(0, min(65535, 4000+v*7/8+(deviation*r.Noise())>>16)))
	}
	return out
}

var answers = sync.OnceValues(func() ([][]string, error) {
	root, err := ref.ModuleRoot()
	if err != nil {
		return nil, err
	}
	f, err := os.Open(filepath.Join(root, "testdata", "measured.csv"))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return csv.NewReader(f).ReadAll()
})

// Answers are the numbers that each library gave for the cases of a check, in order.
// A library that failed gave NaN.
func Answers(t testing.TB, check string) map[string][][]float64 {
	t.Helper()
	rows, err := answers()
	require.NoError(t, err)
	out := map[string][][]float64{}
	for _, row := range rows {
		if row[0] != check {
			continue
		}
		var numbers []float64
		for _, s := range strings.Fields(row[3]) {
			v, err := strconv.ParseFloat(s, 64)
			require.NoError(t, err)
			numbers = append(numbers, v)
		}
		out[row[1]] = append(out[row[1]], numbers)
	}
	require.NotEmpty(t, out, "answers to %s", check)
	return out
}

// Behind compares root mean square errors, ours over that of each peer, in cases that
// both answered, and gives the greatest ratio. Errors are lists by peer; "ours" is ours.
func Behind(t testing.TB, what string, errors map[string][]float64) (worst float64) {
	t.Helper()
	for peer, theirs := range errors {
		var ours, other float64
		n := 0
		for i, e := range theirs {
			if o := errors["ours"][i]; !math.IsNaN(o) && !math.IsNaN(e) {
				ours, other = ours+o*o, other+e*e
				n++
			}
		}
		if peer == "ours" {
			t.Logf("%s: %-24s %.4g in %d of %d cases", what, peer, math.Sqrt(ours/float64(n)), n, len(theirs))
			continue
		}
		t.Logf("%s: %-24s %.4g, ours %.4g in %d cases", what, peer, math.Sqrt(other/float64(n)), math.Sqrt(ours/float64(n)), n)
		require.Positive(t, n, peer)
		worst = max(worst, math.Sqrt(ours/other))
	}
	return worst
}
