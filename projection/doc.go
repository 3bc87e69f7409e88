// Package projection maps directions to raster positions and back: lens models,
// distortion, cameras and their poses, and the formats in which other programs describe
// cameras.
//
// How do I …
//
//   - find the pixel of a direction or a point? [NewCamera], [Camera.Project],
//     [Camera.ProjectPoint]; back, [Camera.Unproject]
//   - tell whether a camera sees it, and how finely? [Camera.Sees], [Camera.Margin],
//     [Camera.Density], [Camera.FieldOfView]
//   - use a calibration? [Intrinsics], [Extrinsics], [NewOddPolynomial],
//     [NewBrownConrady]; measured points, [NewTable]
//   - exchange a camera with a 3-D scene? [FilmBack], [USDCamera]
//   - mount a camera on a vehicle? [Pose.Compose]
//
// Several cameras together are package rig, panoramas package panorama, views through
// windows package offaxis, pictures package warp.
//
// # Conventions
//
// Directions are vectors in the stage frame: right-handed, +Y up, metres. A camera
// with no rotation looks along −Z and has +X to its right. Heading is positive to the
// right seen from above, elevation positive upwards, roll positive clockwise seen from
// behind the camera; they compose in this order. Only [VisionAxes], [Intrinsics] and
// [Extrinsics] use the conventions of computer vision.
//
// Raster positions have their origin at the outer corner of the top-left pixel,
// x to the right, y down. Pixel (i, j) covers [i, i+1) × [j, j+1), its centre is
// (i+½, j+½), and the centre of a raster is (Width/2, Height/2). A raster has 1 to
// 16777216 px a side.
//
// Every Project takes a direction of any length but 0, every Unproject gives one of
// length 1, and they are inverses. ok is false if there is no image or direction, and
// always for arguments that are zero vectors or not finite. It says nothing of the
// raster: an image may lie beside it.
//
// Field angles θ are measured from the optical axis; φ is the angle about it. Image
// heights of a Model are in focal lengths, densities in pixels per degree of arc,
// solid angles in steradians.
//
// Constructors report all faults of a spec together. What they return is immutable and
// safe for concurrent use. The zero Camera has a raster of 0 × 0 px and sees nothing.
//
// # Formulas
//
//	Rectilinear     r = f tan θ        Snyder 1987, (22-3), (22-16), gnomonic
//	Stereographic   r = 2f tan(θ/2)    (21-4), (21-15), stereographic
//	Equidistant     r = f θ            (25-2), (25-15), azimuthal equidistant
//	Equisolid       r = 2f sin(θ/2)    (24-2), (24-16), Lambert azimuthal equal-area
//	Orthographic    r = f sin θ        chapter 20, orthographic
//	Density         f dr/dθ, f r/sin θ the scale factors h′ and k′ there
//	Jacobian        these scales, turned by the angle about the axis
//	SolidAngle      ∮ (1 − cos θ) dφ   Green's theorem
//	OddPolynomial   r = Σ cₖ θ^(2k−1)  J. Kannala, S. S. Brandt, IEEE TPAMI 28 (2006), 1335, (6), from memory
//	Table           monotonic cubics   F. N. Fritsch, J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984), 300
//	BrownConrady    g·(x, y) + …       D. C. Brown, Photogrammetric Engineering 32 (1966), 444, from memory
//	Intrinsics      matrix             OpenCV 4.6 documentation, camera calibration and 3D reconstruction
//	Extrinsics      rotation vector    the same, Rodrigues
//	Interpolate     constant speed     K. Shoemake, SIGGRAPH 1985, from memory
//	USDCamera       attributes         OpenUSD, UsdGeomCamera and GfCamera, from memory
//
// Snyder 1987 is J. P. Snyder, Map Projections: A Working Manual, USGS Professional
// Paper 1395. The sphere of directions stands for the globe, the optical axis for the
// centre of the map.
//
// # Accuracy
//
// Cameras add to the error of the Model the rounding of a rotation, 1e-16 rad or so, and
// that of the position. No Form but Rectilinear loses directions at 90° from the axis.
//
// # What is not modelled
//
// Entrance pupils that move with the field angle, and sensors whose rows are read one
// after the other.
//
// # Caution
//
// A camera that is right on paper may be unsafe on a vehicle. Cameras there are loads
// that wind, shocks and braking try to tear off, and they narrow the driver's view. Have
// mounts designed, fitted and checked by people licensed to do so, and keep to the
// local rules of the road or the waterway.
package projection
