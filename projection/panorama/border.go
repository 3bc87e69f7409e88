package panorama

import (
	"example.com/platewright/internal/valid"
	"example.com/platewright/projection"
	"gonum.org/v1/gonum/spatial/r3"
)

// BorderEquirect is an Equirect whose outermost pixel centres lie on the limits of the
// sphere, not half a pixel inside, as in OpenEXR environment maps: those of the first and
// of the last column look along the seam, those of the first row up, of the last row down.
// With (x, y) the position on an Equirect of the same size and pose, its position is
//
//	½ + x·(Width − 1)/Width, ½ + y·(Height − 1)/Height
//
// It has no WrapX, for both edges hold the picture of the seam.
type BorderEquirect struct{ e Equirect }

// NewBorderEquirect makes a panorama of at least 2 px a side and of any aspect ratio.
func NewBorderEquirect(width, height int, pose projection.Pose) (BorderEquirect, error) {
	v := valid.New("panorama", ErrInvalid)
	v.Int("width", width, "px", 2, valid.MaxSide)
	v.Int("height", height, "px", 2, valid.MaxSide)
	checkPose(v, pose)
	if err := v.Err(); err != nil {
		return BorderEquirect{}, err
	}
	return BorderEquirect{Equirect{width, height, axes(pose)}}, nil
}

// Size is the raster's size in pixels.
func (b BorderEquirect) Size() (width, height int) { return b.e.Size() }

// Project is the raster position of a direction. Straight behind, which two positions
// show, it is the left one.
func (b BorderEquirect) Project(dir r3.Vec) (x, y float64, ok bool) {
	x, y, ok = b.e.Project(dir)
	if !ok {
		return 0, 0, false
	}
	w, h := float64(b.e.width), float64(b.e.height)
	return 0.5 + x*((w-1)/w), 0.5 + y*((h-1)/h), true
}

// Unproject is the direction at (x, y) px. Beyond the outermost pixel centres it continues
// around and over the poles, as Equirect does.
func (b BorderEquirect) Unproject(x, y float64) (dir r3.Vec, ok bool) {
	w, h := float64(b.e.width), float64(b.e.height)
	return b.e.Unproject((x-0.5)*(w/(w-1)), (y-0.5)*(h/(h-1)))
}
