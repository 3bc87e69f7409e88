package warp_test

import (
	"context"
	"fmt"
	"math"

	"example.com/platewright/projection/warp"
	"gonum.org/v1/gonum/spatial/r3"
)

// The wheelhouse of a harbour ferry: plates were filmed with a fisheye, and a
// flat wall outside the forward window is to be filled from them.

// bowCamera is an equidistant fisheye of 180° on a raster of 800 × 800 px.
type bowCamera struct{}

func (bowCamera) Size() (width, height int) { return 800, 800 }

func (bowCamera) Project(d r3.Vec) (x, y float64, ok bool) {
	r := math.Hypot(d.X, d.Y)
	theta := math.Atan2(r, -d.Z)
	if theta > math.Pi/2 {
		return 0, 0, false
	}
	scale := 0.0
	if r > 0 {
		scale = 800 / math.Pi * theta / r
	}
	return 400 + scale*d.X, 400 - scale*d.Y, true
}

// forwardWall is 6 m wide and 3 m high, 4 m ahead, with 200 × 100 px.
type forwardWall struct{}

func (forwardWall) Size() (width, height int) { return 200, 100 }

func (forwardWall) Unproject(x, y float64) (dir r3.Vec, ok bool) {
	return r3.Vec{X: 6 * (x/200 - 0.5), Y: 3 * (0.5 - y/100), Z: -4}, true
}

func ExampleNewMap() {
	m, err := warp.NewMap(context.Background(), forwardWall{}, bowCamera{}, warp.MapOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	x, y, ok := m.At(100, 50)
	fmt.Printf("the middle of the wall shows (%.1f, %.1f), %v\n", x, y, ok)
	// The end of the wall stands atan(3/4) = 36.87° to the right.
	x, y, ok = m.At(200, 50)
	fmt.Printf("its right end shows (%.1f, %.1f), %v\n", x, y, ok)
	j, _ := m.Jacobian(100, 50)
	major, minor := j.Scales()
	fmt.Printf("a pixel of the wall covers %.2f × %.2f px of the plate\n", major, minor)
	// Output:
	// the middle of the wall shows (400.0, 400.0), true
	// its right end shows (563.9, 400.0), true
	// a pixel of the wall covers 1.91 × 1.91 px of the plate
}

func ExampleWarp() {
	ctx := context.Background()
	m, err := warp.NewMap(ctx, forwardWall{}, bowCamera{}, warp.MapOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	plate, _ := warp.NewFrame(warp.FrameSpec[uint16]{Width: 800, Height: 800, Channels: 3})
	for y := range 800 {
		row := plate.Row(y)
		for x := range 800 {
			row[3*x], row[3*x+1], row[3*x+2] = uint16(50*x), uint16(50*y), 1000
		}
	}
	wall, _ := warp.NewFrame(warp.FrameSpec[uint16]{Width: 200, Height: 100, Channels: 3})
	if err := warp.Warp(ctx, wall, plate, m, warp.Options{}); err != nil {
		fmt.Println(err)
		return
	}
	// Pixel (100, 50) has its centre half a pixel right of the middle and
	// below it, and a pixel covers 1.91 px of the plate: 400 + 0.95 − ½ = 400.45.
	fmt.Println(wall.Row(50)[300:303])
	// Output: [20023 20023 1000]
}

func ExampleBlend() {
	ctx := context.Background()
	m, err := warp.NewMap(ctx, forwardWall{}, bowCamera{}, warp.MapOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	frame := func(level float32) warp.Frame[float32] {
		pix := make([]float32, 800*800)
		for i := range pix {
			pix[i] = level
		}
		f, _ := warp.NewFrame(warp.FrameSpec[float32]{Width: 800, Height: 800, Channels: 1, Pix: pix})
		return f
	}
	wall, _ := warp.NewFrame(warp.FrameSpec[float32]{Width: 200, Height: 100, Channels: 1})
	// Two takes of one plate, the second a stop darker and brought up to it.
	err = warp.Blend(ctx, wall, []warp.Layer[float32]{
		{Frame: frame(0.5), Map: m, Feather: 40},
		{Frame: frame(0.25), Map: m, Feather: 40, Gain: [4]float64{2}},
	}, warp.Options{})
	fmt.Println(wall.Row(50)[100], err)
	// Output: 0.5 <nil>
}

func ExampleNewFrame() {
	_, err := warp.NewFrame(warp.FrameSpec[uint8]{Width: 0, Height: 6480, Channels: 5})
	fmt.Println(err)
	// Output:
	// warp: Width 0 px: must be at least 1 and at most 16777216 px
	// warp: Channels 5: must be at least 1 and at most 4
}
