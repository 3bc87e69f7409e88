package warp_test

import (
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math"
	"os"
	"path/filepath"

	"example.com/platewright/projection/warp"
	"gonum.org/v1/gonum/unit"
)

// A planar picture of the wheelhouse in one buffer: luma, then two colour
// differences of half the size. Each plane is a frame of one channel and needs a
// map for its size.
func ExampleNewFrame_planes() {
	buffer := make([]uint16, 800*800+2*400*400)
	var planes []warp.Frame[uint16]
	for _, side := range []int{800, 400, 400} {
		plane, err := warp.NewFrame(warp.FrameSpec[uint16]{Width: side, Height: side, Channels: 1, Pix: buffer})
		if err != nil {
			fmt.Println(err)
			return
		}
		planes = append(planes, plane)
		buffer = buffer[side*side:]
	}
	fmt.Println(len(planes), len(buffer))
	// Output: 3 0
}

// Two cameras on the ferry overlap by 100 px. A mooring post near them stands in
// different places, 146 to 158 px and 150 to 162 px: the seam runs where both
// show it, and not across one of its edges.
func ExampleFindSeams() {
	ctx := context.Background()
	target := flat(300, 100)
	target.y0 = 300
	left, _ := warp.NewMap(ctx, target, flat(200, 700), warp.MapOptions{})
	right, _ := warp.NewMap(ctx, target, &offset{flat(200, 700), 100}, warp.MapOptions{})
	layers := []warp.Layer[float32]{{Map: left, Feather: 10}, {Map: right, Feather: 10}}
	for i, post := range []float64{146, 50} {
		w, h := 200, 700
		f, _ := warp.NewFrame(warp.FrameSpec[float32]{Width: w, Height: h, Channels: 1})
		paint(f, func(x, _, _ int) float64 {
			if float64(x) >= post && float64(x) < post+12 {
				return 0.1
			}
			return 0.5
		})
		layers[i].Frame = f
	}
	priorities, err := warp.FindSeams(ctx, layers, warp.SeamOptions{Pitch: 4})
	if err != nil {
		fmt.Println(err)
		return
	}
	for x := 140.0; x <= 170; x += 6 {
		p, _ := priorities[0].At(x, 50)
		fmt.Printf("%.0f px: %+.0f px\n", x, p)
	}
	// Output:
	// 140 px: +14 px
	// 146 px: +8 px
	// 152 px: +2 px
	// 158 px: -4 px
	// 164 px: -10 px
	// 170 px: -16 px
}

// A close-up of the far shore within a wide plate: its priority is higher by 64 px
// for each doubling of its source pixels per target pixel.
func ExampleSamplingPriority() {
	ctx := context.Background()
	target := flat(400, 400)
	near, _ := warp.NewMap(ctx, target, scaled{flat(800, 800), 4, 100}, warp.MapOptions{})
	priority, err := warp.NewPriority(ctx, warp.PrioritySpec{Width: 400, Height: 400, Pitch: 16, At: warp.SamplingPriority(near, 64)})
	p, _ := priority.At(200, 200)
	fmt.Println(math.Round(p), err)
	// Output: 128 <nil>
}

// A take of the ferry's crossing: frames 1001 to 1004 through one map.
func ExampleRunSequence() {
	m, _ := warp.NewMap(context.Background(), newView(200, 100, 50*degree, 0, 0, 0), newFisheye(800, 180*degree, 0, 0), warp.MapOptions{})
	err := warp.RunSequence(context.Background(), warp.Sequence[uint8]{
		First: 1001, Count: 4, Channels: 1,
		Layers: []warp.Layer[uint8]{{Map: m}},
		Read: func(_ context.Context, n int, into []warp.Frame[uint8]) error {
			paint(into[0], func(_, _, _ int) float64 { return float64(n - 1000) }) // from a file
			return nil
		},
		Write: func(_ context.Context, n int, frame warp.Frame[uint8], _ warp.Frame[float32]) error {
			fmt.Println(n, frame.Row(50)[100]) // to a file
			return nil
		},
	})
	fmt.Println(err)
	// Output:
	// 1001 1
	// 1002 2
	// 1003 3
	// 1004 4
	// <nil>
}

// A view of 90° out of numbered PNG files of sRGB codes, into other PNG files. Only one
// call each of Read and of Write runs at a time, so each has one frame of codes.
func ExampleRunSequence_png() {
	ctx := context.Background()
	folder, _ := os.MkdirTemp("", "ferry")
	defer os.RemoveAll(folder)
	file := func(name string, n int) string { return filepath.Join(folder, fmt.Sprintf("%s.%04d.png", name, n)) }
	for n := 1001; n <= 1002; n++ { // the plates, all of one code
		plate := image.NewRGBA(image.Rect(0, 0, 400, 400))
		draw.Draw(plate, plate.Rect, image.NewUniform(color.Gray{Y: uint8(n - 900)}), image.Point{}, draw.Src)
		_ = savePNG(file("plate", n), plate)
	}

	m, _ := warp.NewMap(ctx, newView(160, 90, 90*degree, 0, 0, 0), newFisheye(400, 180*degree, 0, 0), warp.MapOptions{})
	srgb, _ := warp.NewTransfer[uint8](warp.TransferSpec{Curve: warp.SRGB, Alpha: true})
	plate, _ := warp.NewFrame(warp.FrameSpec[uint8]{Width: 400, Height: 400, Channels: 4})
	view, _ := warp.NewFrame(warp.FrameSpec[uint8]{Width: 160, Height: 90, Channels: 4})
	err := warp.RunSequence(ctx, warp.Sequence[float32]{
		First: 1001, Count: 2, Channels: 4,
		Layers: []warp.Layer[float32]{{Map: m}},
		Read: func(ctx context.Context, n int, into []warp.Frame[float32]) error {
			f, err := os.Open(file("plate", n))
			if err != nil {
				return err
			}
			defer f.Close()
			picture, err := png.Decode(f)
			if err != nil {
				return err
			}
			if err := warp.CopyImage(plate, picture); err != nil {
				return err
			}
			return srgb.Linearize(ctx, into[0], plate)
		},
		Write: func(ctx context.Context, n int, frame warp.Frame[float32], _ warp.Frame[float32]) error {
			if err := srgb.Encode(ctx, view, frame); err != nil {
				return err
			}
			picture, err := warp.ToImage(view)
			if err != nil {
				return err
			}
			return savePNG(file("view", n), picture)
		},
	})
	views, _ := filepath.Glob(filepath.Join(folder, "view.*"))
	for _, name := range views {
		f, _ := os.Open(name)
		picture, _ := png.Decode(f)
		f.Close()
		fmt.Println(filepath.Base(name), picture.Bounds().Size(), picture.At(80, 45))
	}
	fmt.Println(err)
	// Output:
	// view.1001.png (160,90) {101 101 101 255}
	// view.1002.png (160,90) {102 102 102 255}
	// <nil>
}

// savePNG writes a picture under another name and renames it, so that no half-written file
// has the name of a whole one.
func savePNG(name string, picture image.Image) error {
	f, err := os.CreateTemp(filepath.Dir(name), ".unfinished-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // fails once it has its name
	if err := errors.Join(png.Encode(f, picture), f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), name)
}

// A wall whose tracked camera moves: its middle shows a point of the plate farther
// to the right in each frame. The plate is a still; a moving one has no Frame here,
// and is read by Read while the map is made.
func ExampleRunSequence_movingEye() {
	plate, _ := warp.NewFrame(warp.FrameSpec[uint16]{Width: 800, Height: 800, Channels: 1})
	paint(plate, func(x, _, _ int) float64 { return 10 * float64(x) }) // from a file
	var m warp.Map
	err := warp.RunSequence(context.Background(), warp.Sequence[uint16]{
		First: 1, Count: 3, Channels: 1,
		Layers: []warp.Layer[uint16]{{Frame: plate.Still()}},
		Map: func(ctx context.Context, n, _ int) (*warp.Map, error) {
			wall := newView(200, 100, 50*degree, 9*degree*unit.Angle(n), 0, 0)
			return &m, m.Remake(ctx, wall, newFisheye(800, 180*degree, 0, 0), warp.MapOptions{})
		},
		Write: func(_ context.Context, n int, wall warp.Frame[uint16], _ warp.Frame[float32]) error {
			fmt.Println(n, wall.Row(50)[100]/10) // to the wall
			return nil
		},
	})
	fmt.Println(err)
	// Output:
	// 1 440
	// 2 480
	// 3 520
	// <nil>
}

// Frames of a sequence come from decoded pictures, without a copy in between, and
// one is looked at as a picture.
func ExampleCopyImage() {
	frame, _ := warp.NewFrame(warp.FrameSpec[uint16]{Width: 640, Height: 480, Channels: 1})
	decoded := image.NewGray16(image.Rect(0, 0, 640, 480)) // from a decoder
	decoded.SetGray16(320, 240, color.Gray16{Y: 40000})
	err := warp.CopyImage(frame, decoded)
	fmt.Println(frame.Row(240)[320], err)
	picture, err := warp.ToImage(frame)
	fmt.Println(picture.At(320, 240), err)
	// Output:
	// 40000 <nil>
	// {40000} <nil>
}

// The mean of black and white is half of the light, not half of the code.
func ExampleNewTransfer() {
	ctx := context.Background()
	srgb, _ := warp.NewTransfer[uint8](warp.TransferSpec{Curve: warp.SRGB})
	coded, _ := warp.NewFrame(warp.FrameSpec[uint8]{Width: 2, Height: 1, Channels: 1, Pix: []uint8{0, 255}})
	light, _ := warp.NewFrame(warp.FrameSpec[float32]{Width: 2, Height: 1, Channels: 1})
	_ = srgb.Linearize(ctx, light, coded)
	mean := (light.Row(0)[0] + light.Row(0)[1]) / 2
	light.Row(0)[0] = mean
	err := srgb.Encode(ctx, coded, light)
	fmt.Println(mean, coded.Row(0)[0], err)
	// Output: 0.5 188 <nil>
}
