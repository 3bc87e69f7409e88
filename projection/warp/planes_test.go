package warp_test

import (
	"errors"
	"math"
	"slices"
	"testing"

	"example.com/platewright/projection/warp"
)

// TestPlanesShareTheCallersSamples in planes one after the other, with gaps,
// and with rows that take turns.
func TestPlanesShareTheCallersSamples(t *testing.T) {
	for name, tc := range map[string]struct {
		spec warp.PlanesSpec[uint16]
		at   func(plane, x, y int) int
	}{
		"packed":  {warp.PlanesSpec[uint16]{Width: 5, Height: 3, Planes: 3}, func(p, x, y int) int { return p*15 + y*5 + x }},
		"strides": {warp.PlanesSpec[uint16]{Width: 5, Height: 3, Planes: 3, Stride: 8, PlaneStride: 40}, func(p, x, y int) int { return p*40 + y*8 + x }},
		"tight":   {warp.PlanesSpec[uint16]{Width: 5, Height: 3, Planes: 2, Stride: 8, PlaneStride: 21}, func(p, x, y int) int { return p*21 + y*8 + x }},
		"in turn": {warp.PlanesSpec[uint16]{Width: 5, Height: 3, Planes: 3, Stride: 16, PlaneStride: 5}, func(p, x, y int) int { return y*16 + p*5 + x }},
		"one":     {warp.PlanesSpec[uint16]{Width: 5, Height: 3, Planes: 1, PlaneStride: 99}, func(p, x, y int) int { return y*5 + x }},
	} {
		last := tc.at(tc.spec.Planes-1, 4, 2) + 1
		for _, given := range []bool{true, false} {
			pix := make([]uint16, last)
			if given {
				tc.spec.Pix = pix
			} else {
				tc.spec.Pix = nil
			}
			planes, err := warp.NewPlanes(tc.spec)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if len(planes) != tc.spec.Planes {
				t.Fatalf("%s: %d planes", name, len(planes))
			}
			for p, f := range planes {
				paint(f, func(x, y, _ int) float64 { return float64(1 + p*100 + y*10 + x) })
			}
			for p, f := range planes {
				if w, h := f.Size(); w != 5 || h != 3 || f.Channels() != 1 {
					t.Errorf("%s: %d × %d px, %d channels", name, w, h, f.Channels())
				}
				for y := range 3 {
					for x := range 5 {
						want := uint16(1 + p*100 + y*10 + x)
						if f.Row(y)[x] != want || given && pix[tc.at(p, x, y)] != want {
							t.Errorf("%s: plane %d, (%d, %d) is %d, want %d", name, p, x, y, f.Row(y)[x], want)
						}
					}
				}
			}
		}
		tc.spec.Pix = make([]uint16, last-1)
		if _, err := warp.NewPlanes(tc.spec); !errors.Is(err, warp.ErrInvalid) {
			t.Errorf("%s, a sample short: %v", name, err)
		}
	}
}

func TestPlanesThatAreRefused(t *testing.T) {
	for name, spec := range map[string]warp.PlanesSpec[uint8]{
		"empty":         {},
		"no planes":     {Width: 4, Height: 4},
		"65":            {Width: 4, Height: 4, Planes: 65},
		"too wide":      {Width: 1<<24 + 1, Height: 4, Planes: 3},
		"stride":        {Width: 4, Height: 4, Planes: 3, Stride: 3},
		"negative":      {Width: 4, Height: 4, Planes: 3, Stride: -4},
		"overlap":       {Width: 4, Height: 4, Planes: 3, PlaneStride: 15},
		"turns overlap": {Width: 4, Height: 4, Planes: 3, Stride: 11, PlaneStride: 4},
		"turn short":    {Width: 4, Height: 4, Planes: 3, Stride: 12, PlaneStride: 3},
		"backwards":     {Width: 4, Height: 4, Planes: 3, PlaneStride: -16},
		"far apart":     {Width: 4, Height: 4, Planes: 64, PlaneStride: math.MaxInt},
		"all of memory": {Width: 1 << 20, Height: 1 << 20, Planes: 3},
	} {
		if _, err := warp.NewPlanes(spec); !errors.Is(err, warp.ErrInvalid) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestPlanesWarpAsChannelsDo compares a picture of three channels with its
// planes, through the same map.
func TestPlanesWarpAsChannelsDo(t *testing.T) {
	source := newFisheye(200, 180*degree, 0, 0)
	target := newView(80, 60, 70*degree, 20*degree, 5*degree, 0)
	m := newMap(t, target, source)
	value := func(x, y, c int) float64 { return float64((x*37+y*91+c*1009)%4096) * 16 }
	mixed, want := newFrame[uint16](t, 200, 200, 3), newFrame[uint16](t, 80, 60, 3)
	paint(mixed, value)
	mustWarp(t, want, mixed, m, warp.Options{})
	src, err := warp.NewPlanes(warp.PlanesSpec[uint16]{Width: 200, Height: 200, Planes: 3})
	if err != nil {
		t.Fatal(err)
	}
	dst, err := warp.NewPlanes(warp.PlanesSpec[uint16]{Width: 80, Height: 60, Planes: 3, Stride: 240, PlaneStride: 80})
	if err != nil {
		t.Fatal(err)
	}
	for c := range src {
		paint(src[c], func(x, y, _ int) float64 { return value(x, y, c) })
		mustWarp(t, dst[c], src[c], m, warp.Options{})
		for y := range 60 {
			var row []uint16
			for x := range 80 {
				row = append(row, want.Row(y)[x*3+c])
			}
			if !slices.Equal(row, dst[c].Row(y)) {
				t.Fatalf("plane %d, row %d differs", c, y)
			}
		}
	}
}

// FuzzNewPlanes checks that planes that are accepted hold all their rows, and
// share no sample.
func FuzzNewPlanes(f *testing.F) {
	f.Add(4, 3, 2, 8, 24, 48)
	f.Add(4, 3, 2, 8, 4, 24)
	f.Add(1<<24, 1<<24, 64, math.MaxInt, math.MaxInt, 10)
	f.Add(-1, 0, 5, -7, -1, 0)
	f.Fuzz(func(t *testing.T, w, h, planes, stride, apart, n int) {
		pix := make([]uint8, max(0, n)%4096)
		frames, err := warp.NewPlanes(warp.PlanesSpec[uint8]{Width: w, Height: h, Planes: planes, Pix: pix, Stride: stride, PlaneStride: apart})
		if err != nil {
			return
		}
		for _, f := range frames {
			for y := range h {
				for x := range f.Row(y) {
					f.Row(y)[x]++
				}
			}
		}
		count := 0
		for _, v := range pix {
			if v > 1 {
				t.Fatal("planes share a sample")
			}
			count += int(v)
		}
		if count != w*h*planes {
			t.Fatalf("%d samples, want %d", count, w*h*planes)
		}
	})
}
