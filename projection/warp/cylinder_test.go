package warp_test

import (
	"testing"

	"example.com/platewright/projection/warp"
	"github.com/stretchr/testify/assert"
)

// A cylinder's sides meet, but its top and bottom are edges like any other:
// nothing from the other side of it comes in over them.
func TestCylinderHasNoPoles(t *testing.T) {
	const w, h = 8, 4
	source := flat(w, h)
	source.wrap, source.noPoles = true, true
	src := newFrame[float32](t, w, h, 1)
	paint(src, func(x, y, _ int) float64 { return float64(100*x + 7*y) })
	target := flat(w, h)
	target.x0, target.y0 = 0.5, -0.5 // half way between columns, and between rows
	dst, coverage := newFrame[float32](t, w, h, 1), newFrame[float32](t, w, h, 1)
	mustWarp(t, dst, src, newMap(t, target, source), warp.Options{Coverage: coverage})
	for x := range w {
		column := float32(100*x + 50)
		if x == w-1 {
			column = (100*7 + 0) / 2 // over the seam
		}
		assert.Equal(t, [2]float32{column, 0.5}, [2]float32{dst.Row(0)[x], coverage.Row(0)[x]}, "top edge, column %d", x)
		assert.Equal(t, [2]float32{column + 7*1.5, 1}, [2]float32{dst.Row(2)[x], coverage.Row(2)[x]}, "inside, column %d", x)
	}
}
