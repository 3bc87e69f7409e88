package plane_test

import (
	"errors"
	"math"
	"testing"

	"example.com/platewright/internal/plane"
	"example.com/platewright/internal/valid"
	"github.com/stretchr/testify/assert"
)

func check[T plane.Sample](p plane.Plane[T], least int) error {
	c := valid.New("plane", errors.New("invalid"))
	p.Check(c, "plane", least)
	return c.Err()
}

// numbered holds each sample's index.
func numbered(n int) []uint16 {
	pix := make([]uint16, n)
	for i := range pix {
		pix[i] = uint16(i)
	}
	return pix
}

func TestRows(t *testing.T) {
	// Green of a picture of 4 × 3 px of three channels, in rows of 14 samples.
	p := plane.Plane[uint16]{Pix: numbered(3*14 - 2)[1:], Width: 4, Height: 3, Stride: 14, Step: 3}
	assert.NoError(t, check(p, 3))
	row, step := p.Row(2)
	assert.Equal(t, []uint16{29, 30, 31, 32, 33, 34, 35, 36, 37, 38}, row)
	assert.Equal(t, 3, step)
	row, _ = p.Sub(1, 1, 2, 2).Row(1)
	assert.Equal(t, []uint16{32, 33, 34, 35}, row)
	assert.NoError(t, check(p.Sub(1, 1, 2, 2), 2))
	assert.NoError(t, check(p.Sub(3, 2, 1, 1), 1), "the last pixel")

	dense := plane.Plane[uint16]{Pix: numbered(12), Width: 4, Height: 3}
	assert.NoError(t, check(dense, 3))
	row, step = dense.Row(1)
	assert.Equal(t, []uint16{4, 5, 6, 7}, row)
	assert.Equal(t, 1, step)
}

func TestPlanesRefused(t *testing.T) {
	good := plane.Plane[uint8]{Pix: make([]uint8, 12), Width: 4, Height: 3}
	assert.NoError(t, check(good, 3))
	assert.ErrorContains(t, check(good, 4), "plane 4 × 3 px, stride 0, step 0, of 12 samples: must have at least 4 columns and rows")
	for name, change := range map[string]func(*plane.Plane[uint8]){
		"no column":         func(p *plane.Plane[uint8]) { p.Width = 0 },
		"columns below 0":   func(p *plane.Plane[uint8]) { p.Width = -4 },
		"no row":            func(p *plane.Plane[uint8]) { p.Height = 0 },
		"no sample":         func(p *plane.Plane[uint8]) { p.Pix = nil },
		"one sample short":  func(p *plane.Plane[uint8]) { p.Pix = p.Pix[:11] },
		"rows that overlap": func(p *plane.Plane[uint8]) { p.Stride = 3 },
		"stride below 0":    func(p *plane.Plane[uint8]) { p.Stride = -4 },
		"rows too far":      func(p *plane.Plane[uint8]) { p.Stride = 5 },
		"step below 0":      func(p *plane.Plane[uint8]) { p.Step = -1 },
		"columns too far":   func(p *plane.Plane[uint8]) { p.Step = 4 },
		"sides that overflow": func(p *plane.Plane[uint8]) {
			p.Width, p.Height, p.Stride, p.Step = valid.MaxSide, valid.MaxSide, math.MaxInt, 12
		},
		"sides too long": func(p *plane.Plane[uint8]) { p.Width, p.Height = math.MaxInt, 1 },
	} {
		p := good
		change(&p)
		assert.ErrorContains(t, check(p, 1), "lie within its samples", name)
	}
}

func TestFullScale(t *testing.T) {
	assert.Equal(t, []float64{255, 65535, 1}, []float64{plane.FullScale[uint8](), plane.FullScale[uint16](), plane.FullScale[float32]()})
}
