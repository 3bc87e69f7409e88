package projection

import (
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// Crop is the camera of a window of the raster: width × height px whose top-left
// corner is the corner (x, y) of the raster, in whole pixels.
//
//	(x′, y′) = (x − left, y − top)
//
// The window may reach beyond the raster, on any side, which gives it a border:
// Crop(−x, −y, …) of the former size undoes a crop. Sizes are 1 to 16777216 px,
// and left and top at most that, with either sign.
func (c Camera) Crop(left, top, width, height int) (Camera, error) {
	v := valid.New("projection", ErrInvalid)
	v.Int("left", left, "px", -valid.MaxSide, valid.MaxSide)
	v.Int("top", top, "px", -valid.MaxSide, valid.MaxSide)
	return c.resized(v, width, height, func(n *camera) {
		n.cx -= float64(left)
		n.cy -= float64(top)
	})
}

// Scale is the camera of the same picture on a raster of width × height px, 1 to
// 16777216 each: the corners stay corners, whatever becomes of the ratio.
//
//	(x′, y′) = (x·width/Width, y·height/Height)
//
// The centre of a pixel is not where half a pixel more would put a corner, but
// where this formula puts it.
func (c Camera) Scale(width, height int) (Camera, error) {
	return c.resized(valid.New("projection", ErrInvalid), width, height, func(n *camera) {
		n.stretch(float64(width)/float64(n.width), float64(height)/float64(n.height))
	})
}

// Bin is the camera of a raster whose pixels are blocks of across × down px of
// this one, each at least 1. Columns on the right and rows at the bottom that
// fill no block are left out.
//
//	(x′, y′) = (x/across, y/down)
func (c Camera) Bin(across, down int) (Camera, error) {
	w, h := c.Size()
	v := valid.New("projection", ErrInvalid)
	v.Int("across", across, "px", 1, max(w, 1))
	v.Int("down", down, "px", 1, max(h, 1))
	return c.resized(v, w/max(across, 1), h/max(down, 1), func(n *camera) {
		n.stretch(1/float64(across), 1/float64(down))
	})
}

func (c *camera) stretch(x, y float64) {
	c.fx, c.cx = c.fx*x, c.cx*x
	c.fy, c.cy = c.fy*y, c.cy*y
	c.ix, c.iy = 1/c.fx, 1/c.fy
	c.spec.Pitch /= unit.Length(math.Sqrt(x * y))
}

// resized is a copy of the camera, changed, on a raster of another size. The
// limits of its lens are in focal lengths, and so stay.
func (c Camera) resized(v *valid.Checker, width, height int, change func(*camera)) (Camera, error) {
	if c.c == nil {
		v.Fault("camera", "zero", "must come from NewCamera or NewView")
		return Camera{}, v.Err()
	}
	v.Int("width", width, "px", 1, valid.MaxSide)
	v.Int("height", height, "px", 1, valid.MaxSide)
	if !v.OK() {
		return Camera{}, v.Err()
	}
	n := *c.c
	change(&n)
	n.width, n.height = width, height
	n.spec.Width, n.spec.Height = width, height
	n.spec.FocalX, n.spec.FocalY = n.fx, n.fy
	n.spec.OffsetX, n.spec.OffsetY = n.cx-float64(width)/2, n.cy-float64(height)/2
	focal := valid.Closed(1e-18, 1e18)
	v.Number("focal x", n.fx, "px", focal)
	v.Number("focal y", n.fy, "px", focal)
	centre := valid.Closed(-0x1p31, 0x1p31)
	v.Number("principal point x", n.cx, "px", centre)
	v.Number("principal point y", n.cy, "px", centre)
	if !v.OK() {
		return Camera{}, v.Err()
	}
	return Camera{&n}, nil
}
