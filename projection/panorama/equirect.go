package panorama

import (
	"math"

	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/valid"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/spatial/r3"
)

// Equirect is an equirectangular panorama of the whole sphere. λ is the heading from the
// pose's ahead, φ the elevation above its horizon:
//
//	x = Width·(1/2 + λ/2π)    y = Height·(1/2 − φ/π)
//
// The middle of the raster looks ahead. The left and the right edge meet behind. The whole
// top edge is the direction up, the whole bottom edge down; pixel centres are half a pixel
// from the seam and the poles.
type Equirect struct {
	width, height int
	axes          orient.Axes
}

// NewEquirect makes a panorama of any aspect ratio.
func NewEquirect(width, height int, pose projection.Pose) (Equirect, error) {
	v := valid.New("panorama", ErrInvalid)
	geom.CheckRaster(v, width, height)
	checkPose(v, pose)
	if err := v.Err(); err != nil {
		return Equirect{}, err
	}
	return Equirect{width, height, axes(pose)}, nil
}

// Size is the raster's size in pixels.
func (e Equirect) Size() (width, height int) { return e.width, e.height }

// WrapX reports that the left and the right edge of the raster meet.
func (e Equirect) WrapX() bool { return true }

// WrapY reports that the top and the bottom edge are poles: beyond them the rows
// continue half a turn away.
func (e Equirect) WrapY() bool { return true }

// Project is the raster position of a direction. Up and down, which fill a row, are given
// at its middle.
func (e Equirect) Project(dir r3.Vec) (x, y float64, ok bool) {
	dir, ok = geom.Handy(dir)
	if !ok || e.width == 0 {
		return 0, 0, false
	}
	v := e.axes.FromStage(dir)
	h2 := v.X*v.X + v.Z*v.Z
	if h2 < pole*v.Y*v.Y { // a pole but for rounding
		v.X, v.Z = 0, -1
	}
	x = around(v, float64(e.width))
	y = float64(e.height) * (0.5 - math.Atan2(v.Y, math.Sqrt(h2))*(1/math.Pi))
	return x, min(max(y, 0), float64(e.height)), true
}

// Unproject is the direction at (x, y) px. Beyond the left and the right edge x continues
// around. Beyond the top and the bottom edge, by up to Height, y continues over the pole;
// ok is false farther out.
func (e Equirect) Unproject(x, y float64) (dir r3.Vec, ok bool) {
	w, h := float64(e.width), float64(e.height)
	if !(y >= -h && y <= 2*h && math.Abs(x) <= math.MaxFloat64) || e.width == 0 {
		return r3.Vec{}, false
	}
	switch {
	case y < 0:
		x, y = x+w/2, -y
	case y > h:
		x, y = x+w/2, 2*h-y
	}
	sinL, cosL := heading(x, w)
	// From the nearer pole, so that both poles are as exact as the horizon.
	sinP, cosP := math.Sincos(y / h * math.Pi)
	if y > h/2 {
		sinP, cosP = math.Sincos((h - y) / h * math.Pi)
		cosP = -cosP
	}
	return e.axes.ToStage(r3.Vec{X: sinP * sinL, Y: cosP, Z: -sinP * cosL}), true
}
