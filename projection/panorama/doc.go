// Package panorama maps directions to rasters of a whole sphere, or of all the way around,
// and back: equirectangular, cylindrical, and on the six faces of a cube.
//
// How do I …
//
//   - map a plate of the whole sphere? [NewEquirect]
//   - read one whose first and last pixel centres lie on the seam, as an environment map of
//     OpenEXR? [NewBorderEquirect]
//   - cover a ring of walls, with upright lines straight? [NewCylindrical]
//   - render six square pictures? [NewCube], [Cube.Face]
//   - make the picture itself? NewMap of package warp: each is a source and a target for it
//
// # Conventions
//
// Frames, raster positions, directions and ok are as package [projection] describes them.
// A panorama is seen from inside, not mirrored, with the pose's −Z ahead and +Y up; the
// pose's position does not count.
//
// Width and height are 1 to 16777216 px. Every error wraps ErrInvalid and names the field,
// the value and the range allowed. All types are values that compare with == and are safe
// for concurrent use. Their zero values have a raster of 0 × 0 px and see nothing.
//
// # Formulas
//
//	Equirect     x ∝ λ, y ∝ −φ     Snyder 1987, (12-1), (12-2), equidistant cylindrical
//	Cylindrical  x ∝ λ, y ∝ tan φ  chapter 11, central cylindrical
//	Cube         six pictures      OpenGL 4.6, cube map texture selection, from memory
//
// λ is the heading, φ the elevation. Snyder 1987 is J. P. Snyder, Map Projections: A
// Working Manual, USGS Professional Paper 1395. The sphere of directions stands for the
// globe.
//
// # Accuracy
//
// The errors are the rounding of a rotation, 1e-16 rad or so, and that of the position.
package panorama
