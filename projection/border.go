package projection

import (
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r3"
)

// BorderEquirect is an Equirect whose outermost pixel centres lie on the limits of
// the sphere, not half a pixel inside: the centres of the first and of the last column
// look along the seam, those of the first row up, of the last row down. Use it for
// panoramas sampled that way, such as OpenEXR environment maps. With (x, y) the
// position on an Equirect of the same size and pose, its position is
//
//	½ + x·(Width − 1)/Width, ½ + y·(Height − 1)/Height
//
// It has no WrapX, for both edges hold the picture of the seam.
//
// A BorderEquirect is immutable and safe for concurrent use. The zero
// BorderEquirect has a raster of 0 × 0 px and maps nothing.
//
// Source: the OpenEXR technical introduction, latitude-longitude environment
// maps, from memory.
type BorderEquirect struct{ e Equirect }

// NewBorderEquirect checks the size, at least 2 px a side and of any aspect ratio,
// and the pose.
func NewBorderEquirect(width, height int, pose Pose) (BorderEquirect, error) {
	v := valid.New("projection", ErrInvalid)
	v.Int("width", width, "px", 2, valid.MaxSide)
	v.Int("height", height, "px", 2, valid.MaxSide)
	pose.check(v)
	if err := v.Err(); err != nil {
		return BorderEquirect{}, err
	}
	return BorderEquirect{Equirect{width, height, pose.axes()}}, nil
}

// Size is the raster's size in pixels.
func (b BorderEquirect) Size() (width, height int) { return b.e.Size() }

// Project is the raster position of a direction, x in [½, Width − ½], y in
// [½, Height − ½]. Straight behind, which two positions show, it is the left one.
// Unproject is the inverse.
func (b BorderEquirect) Project(dir r3.Vec) (x, y float64, ok bool) {
	x, y, ok = b.e.Project(dir)
	if !ok {
		return 0, 0, false
	}
	w, h := float64(b.e.width), float64(b.e.height)
	return 0.5 + x*((w-1)/w), 0.5 + y*((h-1)/h), true
}

// Unproject is the direction at (x, y) px, the inverse of Project. Beyond the
// outermost pixel centres it continues around and over the poles, with the domain of
// Equirect.Unproject.
func (b BorderEquirect) Unproject(x, y float64) (dir r3.Vec, ok bool) {
	w, h := float64(b.e.width), float64(b.e.height)
	return b.e.Unproject((x-0.5)*(w/(w-1)), (y-0.5)*(h/(h-1)))
}
