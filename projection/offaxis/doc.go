// Package offaxis computes what an eye sees of a wall that it does not face
// squarely: the frusta and matrices that render a picture for the wall, and the
// part of a plate that an eye sees away from the plate's centre.
//
// How do I …
//
//   - render the picture of a wall for a tracked camera? NewFrustum from the wall's
//     corners and the camera's entrance pupil, then Frustum.StageToClip.
//   - give the same view to a program that knows only lenses and shifts?
//     Frustum.FilmBack; FrustumFromFilmBack goes the other way.
//   - divide the picture between several machines, or leave a margin for a camera
//     that moves meanwhile? Frustum.Tile, Frustum.Overscan, Frustum.OverscanAngle.
//   - check the matrix of another program against the survey of the wall?
//     FrustumFromMatrix, then Frustum.Window.
//   - show a plate to an eye that is not where the plate was shot? NewSurround and
//     Surround.EyeView, whose result is a target for package projection/warp.
//
// # Conventions
//
// Positions and directions are in the stage frame: metres, right-handed, +Y up.
// The eye is the entrance pupil of the camera that films the wall. A window is
// named by its corners as the eye sees them. A face of a wall as package wall
// gives it has the same corners, so it converts: offaxis.Window(rectangle).
//
// A matrix acts on columns (x, y, z, 1). The eye's own frame has x to the right
// and y up, and looks along −z. Clip space has x to the right and y up, and the
// sides of the frustum at ±1; ClipDepth says how depth is written.
//
// Raster positions have their origin at the outer corner of the top-left pixel,
// with x to the right and y down. Pixel (i, j) covers [i, i+1) × [j, j+1).
//
// Every error wraps ErrInvalid and names the field, the value and the range
// allowed. Values that are not finite are errors, or give ok = false. All types
// are values that compare with == and are safe for concurrent use; an EyeView compares
// if its target does.
//
// # Formulas
//
//	NewFrustum     l = (right·a) n/d, r = (right·b) n/d, …   Kooima 2008, eq. 5 to 8, from memory
//	EyeToClip      perspective matrix                        Kooima 2008; OpenGL and Vulkan specifications, from memory
//	OverscanAngle  n·tan(atan(r/n) + angle)                  elementary
//	Lookup         t = √((e·d)² + R² − e·e) − e·d            line and sphere, elementary
//
// R. Kooima, Generalized Perspective Projection, 2008.
//
// # Accuracy
//
// Everything is in closed form and in float64. A corner of the window lands on ±1
// in clip space to within some 1e-12; the far plane of FrustumFromMatrix keeps the
// digits that Near/Far leaves it.
//
// # What is not modelled
//
// Walls that are not flat: give each panel a frustum of its own, or map wall pixels
// by package projection/warp. Distances of the things in a plate: a Surround has
// one distance in each direction, and what stands nearer or farther is displaced.
// Lens distortion of the camera that films the wall: the picture on a wall does not
// depend on it.
//
// # Caution
//
// A wrong matrix turns or shifts a whole wall at once. Large sudden motion can make
// people lose their balance: try new cameras and matrices at low brightness, with
// nobody on a ladder or a rig.
package offaxis

import "errors"

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("offaxis: invalid value")
