package panorama

import (
	"math"

	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/valid"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/spatial/r3"
)

// cubeFaces are the axes of the six faces in the frame of the cube's pose, in
// the order of the strip.
var cubeFaces = [6]orient.Axes{
	{Right: r3.Vec{Z: 1}, Up: r3.Vec{Y: 1}, Back: r3.Vec{X: -1}},
	{Right: r3.Vec{Z: -1}, Up: r3.Vec{Y: 1}, Back: r3.Vec{X: 1}},
	{Right: r3.Vec{X: 1}, Up: r3.Vec{Z: 1}, Back: r3.Vec{Y: -1}},
	{Right: r3.Vec{X: 1}, Up: r3.Vec{Z: -1}, Back: r3.Vec{Y: 1}},
	{Right: r3.Vec{X: 1}, Up: r3.Vec{Y: 1}, Back: r3.Vec{Z: 1}},
	{Right: r3.Vec{X: -1}, Up: r3.Vec{Y: 1}, Back: r3.Vec{Z: -1}},
}

// Cube is a panorama of the whole sphere on six faces, squares side by side in a raster of
// 6·Edge × Edge px, from the left
//
//	right, left, up, down, ahead, behind
//
// Each face is the picture of a rectilinear camera of 90°. The level ones turn to the side;
// those of up and down tilt from ahead. With a and b the angles to the right and up from
// the face's centre,
//
//	x = Edge·(face + (1 + tan a)/2)    y = Edge·(1 − tan b)/2
//
// Neighbours in the strip are not neighbours in the world: to resample near the border of
// a face, read the face alone, through its Face.
type Cube struct {
	edge int
	pose projection.Pose
	axes orient.Axes
}

// NewCube makes a panorama with faces of 1 to 2796202 px a side.
func NewCube(edge int, pose projection.Pose) (Cube, error) {
	v := valid.New("panorama", ErrInvalid)
	v.Int("edge", edge, "px", 1, valid.MaxSide/6)
	checkPose(v, pose)
	if err := v.Err(); err != nil {
		return Cube{}, err
	}
	return Cube{edge, pose, axes(pose)}, nil
}

// Size is the raster's size in pixels, 6·Edge × Edge.
func (c Cube) Size() (width, height int) { return 6 * c.edge, c.edge }

// Breaks gives the x at which one face ends and the next begins.
func (c Cube) Breaks() (xs, ys []float64) {
	for i := 1; i < 6; i++ {
		xs = append(xs, float64(i*c.edge))
	}
	return xs, nil
}

// Face is the camera of a face, 0 to 5 from the left.
func (c Cube) Face(face int) (camera projection.Camera, ok bool) {
	if face < 0 || face > 5 || c.edge == 0 {
		return projection.Camera{}, false
	}
	a := cubeFaces[face]
	turn, err := projection.PoseFromAxes(r3.Vec{}, a.Right, a.Up, a.Back)
	if err != nil {
		return projection.Camera{}, false
	}
	focal := float64(c.edge) / 2
	camera, err = projection.NewCamera(projection.CameraSpec{
		Model:  projection.Rectilinear,
		FocalX: focal, FocalY: focal,
		Width: c.edge, Height: c.edge,
		Pose: c.pose.Compose(turn),
	})
	return camera, err == nil
}

// Project is the raster position of a direction. On an edge or a corner of the cube it is
// given on one of the faces that meet there, and within it.
func (c Cube) Project(dir r3.Vec) (x, y float64, ok bool) {
	dir, ok = geom.Handy(dir)
	if !ok || c.edge == 0 {
		return 0, 0, false
	}
	v := c.axes.FromStage(dir)
	var face int
	switch m := geom.MaxAbs(v); m {
	case v.X:
		face = 0
	case -v.X:
		face = 1
	case v.Y:
		face = 2
	case -v.Y:
		face = 3
	case -v.Z:
		face = 4
	default:
		face = 5
	}
	v = cubeFaces[face].FromStage(v)
	edge, start := float64(c.edge), float64(face*c.edge)
	x = start + edge*(0.5-0.5*v.X/v.Z)
	y = edge * (0.5 + 0.5*v.Y/v.Z)
	return min(x, math.Nextafter(start+edge, 0)), y, true
}

// Unproject is the direction at (x, y) px. A position between two faces belongs to the
// right one. ok is false outside the raster.
func (c Cube) Unproject(x, y float64) (dir r3.Vec, ok bool) {
	edge := float64(c.edge)
	if !(x >= 0 && x <= 6*edge && y >= 0 && y <= edge) || c.edge == 0 {
		return r3.Vec{}, false
	}
	face := min(int(x/edge), 5)
	v := r3.Vec{X: 2*(x-float64(face*c.edge))/edge - 1, Y: 1 - 2*y/edge, Z: -1}
	return c.axes.ToStage(cubeFaces[face].ToStage(r3.Unit(v))), true
}
