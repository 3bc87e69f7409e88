package projection

import (
	"math"

	"example.com/platewright/internal/valid"
	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/unit"
)

// Crop is the camera of a part of the raster, width × height px from the corner
// (left, top). It may reach beyond the raster on any side, which adds a border.
//
//	(x′, y′) = (x − left, y − top)
func (c Camera) Crop(left, top, width, height int) (Camera, error) {
	v := valid.New("projection", ErrInvalid)
	v.Int("left", left, "px", -valid.MaxSide, valid.MaxSide)
	v.Int("top", top, "px", -valid.MaxSide, valid.MaxSide)
	return c.resized(v, width, height, func(n *camera) {
		n.cx -= float64(left)
		n.cy -= float64(top)
	})
}

// Scale is the camera of the same picture on a raster of width × height px, whatever the
// aspect ratio. Pixel centres do not map to pixel centres.
//
//	(x′, y′) = (x·width/Width, y·height/Height)
func (c Camera) Scale(width, height int) (Camera, error) {
	return c.resized(valid.New("projection", ErrInvalid), width, height, func(n *camera) {
		n.stretch(float64(width)/float64(n.width), float64(height)/float64(n.height))
	})
}

// Bin is the camera of a raster whose pixels are blocks of across × down px of this one.
// Columns on the right and rows at the bottom that fill no block are left out.
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

// resized is a changed copy of the camera on a raster of another size. The limits
// of its lens are in focal lengths, and so remain.
func (c Camera) resized(v *valid.Checker, width, height int, change func(*camera)) (Camera, error) {
	if c.c == nil {
		v.Fault("camera", "zero", "must come from NewCamera or NewView")
		return Camera{}, v.Err()
	}
	geom.CheckRaster(v, width, height)
	if !v.OK() {
		return Camera{}, v.Err()
	}
	n := *c.c
	change(&n)
	n.width, n.height = width, height
	n.spec.Width, n.spec.Height = width, height
	n.spec.FocalX, n.spec.FocalY = n.fx, n.fy
	n.spec.OffsetX, n.spec.OffsetY = n.cx-float64(width)/2, n.cy-float64(height)/2
	v.Number("focal x", n.fx, "px", focals)
	v.Number("focal y", n.fy, "px", focals)
	centre := valid.Closed(-0x1p31, 0x1p31)
	v.Number("principal point x", n.cx, "px", centre)
	v.Number("principal point y", n.cy, "px", centre)
	if !v.OK() {
		return Camera{}, v.Err()
	}
	return Camera{&n}, nil
}
