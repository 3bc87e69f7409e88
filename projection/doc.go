// Package projection maps directions to raster positions and back: lens models,
// distortion, cameras and their poses, panoramas, and the formats in which other
// programs describe cameras.
//
// How do I …
//
//   - find the pixel that shows a direction or a point? [NewCamera], then
//     [Camera.Project] or [Camera.ProjectPoint]; back, [Camera.Unproject]
//   - tell whether a camera sees a direction, how far inside its limits, and how
//     finely? [Camera.Sees], [Camera.Margin], [Camera.Density]
//   - learn a field of view? [Camera.FieldOfView], along any line [Camera.FieldAlong],
//     as a solid angle [Camera.SolidAngle]
//   - use a calibration of computer vision? [Intrinsics], [Extrinsics],
//     [OddPolynomial], [BrownConrady]; measured points, [Table]
//   - exchange a camera with a 3-D scene? [FilmBack], [USDCamera]
//   - mount a camera on a vehicle? [Pose.Compose]
//   - map a panorama? [Equirect], [BorderEquirect], [Cylindrical], [Cube]
//
// Package [example.com/platewright/projection/rig] is several cameras together,
// [example.com/platewright/projection/offaxis] views through windows,
// [example.com/platewright/projection/warp] resamples pictures.
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
// Every Project takes a direction of any length but 0. Its ok is false if there is no
// image, and always for a direction that is zero or not finite. Every Unproject gives
// a direction of length 1. Its ok is false outside the domain, and always for a
// position that is not finite. ok says nothing of the raster: an image may lie beside
// it.
//
// Field angles θ are measured from the optical axis; φ is the angle about it. Image
// heights of a Model are in focal lengths, densities in pixels per degree of arc,
// solid angles in steradians.
//
// # Formulas
//
//	Rectilinear    r = f tan θ        Snyder 1987, (22-3), gnomonic
//	Stereographic  r = 2f tan(θ/2)    (21-4), stereographic
//	Equidistant    r = f θ            (25-2), azimuthal equidistant
//	Equisolid      r = 2f sin(θ/2)    (24-2), Lambert azimuthal equal-area
//	Orthographic   r = f sin θ        chapter 20, orthographic
//	inverses                          (20-14), (20-18), (22-16), (21-15), (25-15), (24-16)
//	Density        f dr/dθ, f r/sin θ the scale factors h′ and k′ there
//	Jacobian       these scales, turned by the angle about the axis
//	SolidAngle     ∮ (1 − cos θ) dφ   Green's theorem
//	Equirect       x ∝ λ, y ∝ −φ      (12-1), (12-2), equidistant cylindrical
//	Cylindrical    x ∝ λ, y ∝ tan φ   chapter 11, perspective from the axis
//	OddPolynomial  r = Σ cₖ θ^(2k−1)  Kannala and Brandt 2006, (6), from memory
//	Table          monotonic cubics   Fritsch and Butland 1984, as gonum has them
//	BrownConrady   g·(x, y) + tangential + prism   Brown 1966, from memory; OpenCV 4.6 documentation
//	Extrinsics     rotation vectors   Rodrigues' formula
//	Interpolate    constant speed     Shoemake 1985, from memory
//
// Snyder 1987 is J. P. Snyder, Map Projections: A Working Manual, USGS
// Professional Paper 1395: the sphere of directions stands for the globe, the
// optical axis for the centre of the map. For the projections that both have, the FITS
// standard gives the same radii (M. R. Calabretta and E. W. Greisen, A&A 395 (2002),
// 1077).
//
// # Accuracy
//
// The error of a Form's Radius is at most 2 ulp, that of its Angle 2.5 ulp. Cameras and
// panoramas add the rounding of a rotation, 1e-16 rad or so, and that of the position.
// No projection but Rectilinear loses directions at 90° from the axis. OddPolynomial,
// Table, BrownConrady, SolidAngle and FieldAlong state their own errors.
//
// # What is not modelled
//
// Entrance pupils that move with the field angle. The time between the rows of a
// sensor that are read one after the other. Light that bends outside the lens.
//
// # Caution
//
// A camera that is right on paper may be unsafe on a vehicle. Cameras on a vehicle or
// a vessel are loads that wind, shocks and braking try to tear off, and they narrow
// the driver's view. Have mounts designed, fitted and checked by people licensed to do
// so, and keep to the local rules of the road or the waterway.
package projection
