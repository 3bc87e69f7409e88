package warp_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/projection/warp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func newTransfer[T uint8 | uint16](t testing.TB, spec warp.TransferSpec) warp.Transfer[T] {
	t.Helper()
	tr, err := warp.NewTransfer[T](spec)
	require.NoError(t, err)
	return tr
}

// codes are those of some amounts of light.
func codes[T uint8 | uint16](t testing.TB, encode func(context.Context, warp.Frame[T], warp.Frame[float32]) error, light ...float32) []T {
	t.Helper()
	src, dst := newFrame[float32](t, len(light), 1, 1), newFrame[T](t, len(light), 1, 1)
	copy(src.Row(0), light)
	require.NoError(t, encode(t.Context(), dst, src))
	return dst.Row(0)
}

// lights are those of some codes.
func lights[T uint8 | uint16](t testing.TB, linearize func(context.Context, warp.Frame[float32], warp.Frame[T]) error, codes ...T) []float32 {
	t.Helper()
	src, dst := newFrame[T](t, len(codes), 1, 1), newFrame[float32](t, len(codes), 1, 1)
	copy(src.Row(0), codes)
	require.NoError(t, linearize(t.Context(), dst, src))
	return dst.Row(0)
}

// TestTransferAnchors compares with values that the standards, or books on
// them, print.
func TestTransferAnchors(t *testing.T) {
	for _, tc := range []struct {
		id     string
		spec   warp.TransferSpec
		light  float64
		signal float64
	}{
		{"WARP-PQ", warp.TransferSpec{Curve: warp.PQ}, 100.0 / 10000, 0.5081},
		{"WARP-PQ", warp.TransferSpec{Curve: warp.PQ}, 1000.0 / 10000, 0.7518},
		{"WARP-PQ", warp.TransferSpec{Curve: warp.PQ}, 1, 1},
		{"WARP-PQ", warp.TransferSpec{Curve: warp.PQ}, 0, 0},
		{"WARP-HLG", warp.TransferSpec{Curve: warp.HLG}, 1.0 / 12, 0.5},
		{"WARP-HLG", warp.TransferSpec{Curve: warp.HLG}, 1, 1},
		{"WARP-HLG", warp.TransferSpec{Curve: warp.HLG}, 0.26496256, 0.75},
		{"WARP-SRGB", warp.TransferSpec{Curve: warp.SRGB}, 0.21404, 0.5},
		{"WARP-SRGB", warp.TransferSpec{Curve: warp.SRGB}, 0.0031308, 0.04045},
		{"WARP-BT709", warp.TransferSpec{Curve: warp.BT709}, 0.18, 0.409},
		{"WARP-BT709", warp.TransferSpec{Curve: warp.BT709}, 0.01, 0.045},
		{"WARP-BT709", warp.TransferSpec{Curve: warp.BT709}, 1, 1},
		{"WARP-BT1886", warp.TransferSpec{Curve: warp.BT1886}, 0.18946457, 0.5},
		{"WARP-POWER", warp.TransferSpec{Curve: warp.Power, Gamma: 2}, 0.25, 0.5},
		{"WARP-POWER", warp.TransferSpec{}, 0.25, 0.25},
	} {
		tr := newTransfer[uint16](t, tc.spec)
		code := codes(t, tr.Encode, float32(tc.light))[0]
		ref.Near(t, tc.id, float64(code)/65535, tc.signal, tc.spec.Curve, tc.light)
		// Back: the light is that of the digits printed, three or four.
		digit := 5e-5
		if tc.signal == 0.409 {
			digit = 5e-4
		}
		at, off := uint16(math.Round(tc.signal*65535)), uint16(math.Ceil(digit*65535))
		near := lights(t, tr.Linearize, at-min(at, off), at+min(off, 65535-at))
		assert.GreaterOrEqual(t, float32(tc.light), near[0], "%v", tc.spec.Curve)
		assert.LessOrEqual(t, float32(tc.light), near[1], "%v", tc.spec.Curve)
	}
}

// TestNarrowRange holds the codes of black and white against those of BT.709
// and BT.2100 for 8 and 10 bits.
func TestNarrowRange(t *testing.T) {
	for _, curve := range []warp.Curve{warp.BT709, warp.BT1886, warp.SRGB, warp.PQ, warp.HLG, warp.Power} {
		spec := warp.TransferSpec{Curve: curve, Narrow: true}
		small := newTransfer[uint8](t, spec)
		got := codes(t, small.Encode, 0, 1)
		ref.Equal(t, "WARP-NARROW", got[0], 16, curve)
		ref.Equal(t, "WARP-NARROW", got[1], 235, curve)
		deep := codes(t, newTransfer[uint16](t, spec).Encode, 0, 1)
		ref.Equal(t, "WARP-NARROW", deep[0], 64<<6, curve)
		ref.Equal(t, "WARP-NARROW", deep[1], 940<<6, curve)
		full := codes(t, newTransfer[uint8](t, warp.TransferSpec{Curve: curve}).Encode, 0, 1, -1, 2)
		assert.Equal(t, []uint8{0, 255, 0, 255}, full, "%v", curve)
		below := lights(t, small.Linearize, 15, 16, 17, 234, 235, 255)
		if below[0] != -below[2] || below[0] >= 0 || below[1] != 0 || below[4] != 1 || !(below[5] > 1 && below[5] < 4) {
			t.Errorf("%v: %v", curve, below)
		}
	}
}

// allCodes is a frame of every code.
func allCodes(t testing.TB) warp.Frame[uint16] {
	f := newFrame[uint16](t, 256, 256, 1)
	paint(f, func(x, y, _ int) float64 { return float64(y*256 + x) })
	return f
}

// specs are all curves, in full and narrow range.
func specs() (all []warp.TransferSpec) {
	for _, narrow := range []bool{false, true} {
		for c := warp.Power; c <= warp.HLG; c++ {
			all = append(all, warp.TransferSpec{Curve: c, Narrow: narrow})
		}
		for _, g := range []float64{0.2, 0.45, 2.2, 2.6, 5} {
			all = append(all, warp.TransferSpec{Gamma: g, Narrow: narrow})
		}
	}
	return all
}

// TestEveryCodeComesBack through light that grows with it, and so do those of
// light as far as just short of halfway to the next.
func TestEveryCodeComesBack(t *testing.T) {
	near.NumbersOnly(t)
	src := allCodes(t)
	light, back := newFrame[float32](t, 256, 256, 1), newFrame[uint16](t, 256, 256, 1)
	for _, spec := range specs() {
		tr := newTransfer[uint16](t, spec)
		require.NoError(t, tr.Linearize(t.Context(), light, src))
		require.NoError(t, tr.Encode(t.Context(), back, light))
		last := float32(math.Inf(-1))
		for y := range 256 {
			for x, v := range light.Row(y) {
				if !(v > last) || math.IsInf(float64(v), 0) {
					t.Fatalf("%+v: code %d is %v, the one before %v", spec, y*256+x, v, last)
				}
				last = v
				if got := int(back.Row(y)[x]); got != y*256+x {
					t.Fatalf("%+v: code %d comes back as %d", spec, y*256+x, got)
				}
			}
		}
		var small []uint8
		for i := range 256 {
			small = append(small, uint8(i))
		}
		eight := newTransfer[uint8](t, spec)
		for i, got := range codes(t, eight.Encode, lights(t, eight.Linearize, small...)...) {
			if int(got) != i {
				t.Fatalf("%+v: code %d of 8 bits comes back as %d", spec, i, got)
			}
		}
	}
}

// TestEncodeIsWithinHalfACode compares with the curves solved for the signal,
// as their standards print them.
func TestEncodeIsWithinHalfACode(t *testing.T) {
	near.NumbersOnly(t)
	forward := map[warp.Curve]func(l float64) float64{
		warp.Power:  func(l float64) float64 { return l },
		warp.BT1886: func(l float64) float64 { return math.Pow(l, 1/2.4) },
		warp.SRGB: func(l float64) float64 {
			if l <= 0.0031308 {
				return 12.92 * l
			}
			return 1.055*math.Pow(l, 1/2.4) - 0.055
		},
		warp.BT709: func(l float64) float64 {
			if l < 0.018053968510807 {
				return 4.5 * l
			}
			return 1.09929682680944*math.Pow(l, 0.45) - 0.09929682680944
		},
		warp.PQ: func(l float64) float64 {
			y := math.Pow(l, 0.1593017578125)
			return math.Pow((0.8359375+18.8515625*y)/(1+18.6875*y), 78.84375)
		},
		warp.HLG: func(l float64) float64 {
			if l <= 1.0/12 {
				return math.Sqrt(3 * l)
			}
			return 0.17883277*math.Log(12*l-0.28466892) + 0.55991073
		},
	}
	var light []float32
	for i := range 40000 {
		light = append(light, float32(i)/39999, float32(math.Exp(-25*float64(i)/39999)))
	}
	for curve, f := range forward {
		for _, narrow := range []bool{false, true} {
			spec := warp.TransferSpec{Curve: curve, Narrow: narrow}
			deep, small := codes(t, newTransfer[uint16](t, spec).Encode, light...), codes(t, newTransfer[uint8](t, spec).Encode, light...)
			worst := 0.0
			for i, l := range light {
				d, s := f(float64(l))*65535, f(float64(l))*255
				if narrow {
					d, s = f(float64(l))*219*256+16*256, f(float64(l))*219+16
				}
				worst = max(worst, math.Abs(float64(deep[i])-d), math.Abs(float64(small[i])-s))
			}
			ref.Within(t, "WARP-ENCODE", worst, curve, narrow)
		}
	}
}

func TestEncodeOddLight(t *testing.T) {
	near.NumbersOnly(t)
	inf, nan := float32(math.Inf(1)), float32(math.NaN())
	for _, spec := range specs() {
		got := codes(t, newTransfer[uint16](t, spec).Encode, nan, inf, -inf, math.MaxFloat32, -math.MaxFloat32, math.SmallestNonzeroFloat32, float32(math.Copysign(0, -1)))
		zero := uint16(0)
		if spec.Narrow {
			zero = 4096
		}
		for i, want := range []uint16{0, 65535, 0, 65535, 0, zero, zero} {
			assert.Equal(t, want, got[i], "%+v: %d", spec, i)
		}
	}
}

// TestTransferLeavesAlphaAlone in frames of two and four channels, with rows
// apart.
func TestTransferLeavesAlphaAlone(t *testing.T) {
	for _, ch := range []int{2, 4} {
		pix := make([]uint8, 3*20)
		for i := range pix {
			pix[i] = 200
		}
		src, err := warp.NewFrame(warp.FrameSpec[uint8]{Width: 4, Height: 3, Channels: ch, Pix: pix, Stride: 20})
		require.NoError(t, err)
		tr := newTransfer[uint8](t, warp.TransferSpec{Curve: warp.SRGB, Narrow: true, Alpha: true})
		dst, back := newFrame[float32](t, 4, 3, ch), newFrame[uint8](t, 4, 3, ch)
		require.NoError(t, tr.Linearize(t.Context(), dst, src))
		require.NoError(t, tr.Encode(t.Context(), back, dst))
		for i, v := range dst.Row(2) {
			// (184/219 + 0.055)/1.055 is 0.84852, to the 2.4 is 0.6742.
			want := 0.6742
			if i%ch == ch-1 {
				want = 200.0 / 255
			}
			assert.InDelta(t, want, v, 1e-4, "%d channels, sample %d", ch, i)
			assert.EqualValues(t, 200, back.Row(2)[i], "%d channels, sample %d", ch, i)
		}
		odd := newFrame[float32](t, 3, 1, 2)
		copy(odd.Row(0), []float32{0, float32(math.NaN()), 0, -1, 0, 7})
		out := newFrame[uint8](t, 3, 1, 2)
		require.NoError(t, tr.Encode(t.Context(), out, odd))
		assert.Equal(t, [3]uint8{0, 0, 255}, [3]uint8{out.Row(0)[1], out.Row(0)[3], out.Row(0)[5]}, "odd alphas")
	}
}

func TestTransferSaysWhatIsWrong(t *testing.T) {
	for _, spec := range []warp.TransferSpec{{Curve: 99}, {Gamma: -1}, {Gamma: math.NaN()}, {Gamma: 5.1}, {Curve: warp.PQ, Gamma: 2.2}} {
		_, err := warp.NewTransfer[uint8](spec)
		assert.ErrorIs(t, err, warp.ErrInvalid, "%+v", spec)
	}
	good := newTransfer[uint8](t, warp.TransferSpec{Curve: warp.SRGB})
	alpha := newTransfer[uint8](t, warp.TransferSpec{Curve: warp.SRGB, Alpha: true})
	src, dst := newFrame[uint8](t, 4, 4, 3), newFrame[float32](t, 4, 4, 3)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	assert.Equal(t, context.Canceled, good.Encode(ctx, src, dst))
	for name, err := range map[string]error{
		"zero":        warp.Transfer[uint8]{}.Linearize(t.Context(), dst, src),
		"no context":  good.Linearize(noContext, dst, src),
		"no frame":    good.Linearize(t.Context(), warp.Frame[float32]{}, src),
		"no source":   good.Encode(t.Context(), src, warp.Frame[float32]{}),
		"size":        good.Linearize(t.Context(), newFrame[float32](t, 4, 5, 3), src),
		"channels":    good.Linearize(t.Context(), newFrame[float32](t, 4, 4, 1), src),
		"three alpha": alpha.Linearize(t.Context(), dst, src),
	} {
		assert.ErrorIs(t, err, warp.ErrInvalid, name)
	}
}

func TestTransferAllocatesNothing(t *testing.T) {
	if near.RaceDetector {
		t.Skip("pools drop memory at random under the race detector")
	}
	tr := newTransfer[uint16](t, warp.TransferSpec{Curve: warp.HLG})
	src, light := allCodes(t), newFrame[float32](t, 256, 256, 1)
	var err error
	assert.Zero(t, testing.AllocsPerRun(4, func() {
		err = errors.Join(err, tr.Linearize(t.Context(), light, src), tr.Encode(t.Context(), src, light))
	}), "allocations per frame")
	require.NoError(t, err)
}

// FuzzEncode checks that more light is never a lower code, and that no light is
// nearer to another code than half of the way.
func FuzzEncode(f *testing.F) {
	f.Add(uint8(1), true, 1.0, float32(0.5), float32(0.25))
	f.Add(uint8(4), false, 0.0, float32(1e-12), float32(9e-13))
	f.Add(uint8(0), true, 5.0, float32(-1e-3), float32(math.Inf(1)))
	f.Add(uint8(0), false, 0.2, float32(1e-40), float32(math.NaN()))
	f.Fuzz(func(t *testing.T, curve uint8, narrow bool, gamma float64, a, b float32) {
		spec := warp.TransferSpec{Curve: warp.Curve(curve), Gamma: gamma, Narrow: narrow}
		tr, err := warp.NewTransfer[uint16](spec)
		if err != nil {
			return
		}
		got := codes(t, tr.Encode, a, b)
		if a <= b && got[0] > got[1] {
			t.Errorf("%v is code %d, %v is %d", a, got[0], b, got[1])
		}
		for i, v := range []float32{a, b} {
			c := got[i]
			near := lights(t, tr.Linearize, c-min(c, 1), c, c+min(1, 65535-c))
			if v == v && (c > 0 && v <= near[0] || c < 65535 && v >= near[2]) {
				t.Errorf("%v is code %d, of %v", v, c, near)
			}
		}
	})
}

func BenchmarkTransfer(b *testing.B) {
	benchmarkTransfer[uint8](b)
	benchmarkTransfer[uint16](b)
}

func benchmarkTransfer[T uint8 | uint16](b *testing.B) {
	const w, h = 2048, 1152
	src, light := newFrame[T](b, w, h, 3), newFrame[float32](b, w, h, 3)
	paint(src, func(x, y, c int) float64 { return float64((x*31 + y*130 + c*5) & 0xffff % (int(^T(0)) + 1)) })
	for _, curve := range []warp.Curve{warp.SRGB, warp.PQ} {
		tr := newTransfer[T](b, warp.TransferSpec{Curve: curve, Workers: 1})
		b.Run(fmt.Sprintf("linearize/%Tx3/%v", *new(T), curve), func(b *testing.B) {
			for b.Loop() {
				require.NoError(b, tr.Linearize(b.Context(), light, src))
			}
			megapixels(b, w, h)
		})
		b.Run(fmt.Sprintf("encode/%Tx3/%v", *new(T), curve), func(b *testing.B) {
			for b.Loop() {
				require.NoError(b, tr.Encode(b.Context(), src, light))
			}
			megapixels(b, w, h)
		})
	}
}
