package warp_test

import (
	"testing"

	"example.com/platewright/projection/warp"
)

// A cylinder's sides meet, but its top and bottom are edges like any other:
// nothing from the other side of it comes in over them.
func TestCylinderHasNoPoles(t *testing.T) {
	const w, h = 8, 4
	source := flat(w, h)
	source.wrap, source.noPoles = true, true
	src, err := warp.NewFrame(warp.FrameSpec[float32]{Width: w, Height: h, Channels: 1})
	if err != nil {
		t.Fatal(err)
	}
	for y := range h {
		for x := range w {
			src.Row(y)[x] = float32(100*x + 7*y)
		}
	}
	target := flat(w, h)
	target.x0, target.y0 = 0.5, -0.5 // half way between columns, and between rows
	dst, _ := warp.NewFrame(warp.FrameSpec[float32]{Width: w, Height: h, Channels: 1})
	coverage, _ := warp.NewFrame(warp.FrameSpec[float32]{Width: w, Height: h, Channels: 1})
	if err := warp.Warp(t.Context(), dst, src, newMap(t, target, source), warp.Options{Coverage: coverage}); err != nil {
		t.Fatal(err)
	}
	for x := range w {
		column := float32(100*x + 50)
		if x == w-1 {
			column = (100*7 + 0) / 2 // over the seam
		}
		if got := dst.Row(0)[x]; got != column {
			t.Errorf("top edge, column %d: got %v, want %v", x, got, column)
		}
		if got := coverage.Row(0)[x]; got != 0.5 {
			t.Errorf("top edge, column %d: coverage %v, want 0.5", x, got)
		}
		if got, want := dst.Row(2)[x], column+7*1.5; got != want {
			t.Errorf("inside, column %d: got %v, want %v", x, got, want)
		}
		if got := coverage.Row(2)[x]; got != 1 {
			t.Errorf("inside, column %d: coverage %v, want 1", x, got)
		}
	}
}
