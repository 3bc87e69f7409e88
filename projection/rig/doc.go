// Package rig answers questions about several cameras that shoot one plate together.
//
// How do I …
//
//   - find what the cameras cover and what they miss: New, then Rig.Coverage, Rig.Holes
//     and Rig.Count; a part of the vehicle in the way is a Ball or a Box of the Spec
//   - find where two plates join and how wide they overlap: Rig.Seams, Rig.Shared
//   - find how far things must be for a join without a double image: Rig.SeamParallax,
//     Rig.ClearDistance, Rig.Parallax
//   - find how far the plate can be pushed into: Rig.PushIn at the centre of a frame,
//     Rig.PushInFrame all over it, EquivalentFocalLength for the lens
//   - judge a shot and learn why it fails: Rig.Judge; a map of many directions:
//     Rig.Allows; the fraction of the sphere: Rig.Allowed; the best camera: Rig.Best
//
// # Conventions
//
// Directions and positions are in the stage frame: metres, right-handed, +Y up. A
// direction may have any length. Raster positions are in px from the outer corner of
// the top-left pixel, x to the right, y down. Densities are in px/°, solid angles in
// sr: the sphere has 4π = 12.57 sr. Cameras have the indices of the Spec, from 0.
//
// Coverage, holes, seams and shots are about things that are far away compared with
// the distances between the cameras. Parallax tells how far that must be.
//
// # Formulas
//
//	solid angle of a triangle   tan(Ω/2) = |a·(b × c)| / (1 + a·b + b·c + c·a)     van Oosterom and Strackee 1983
//	centroid of a hole          ∮ n ds / 2, n the inward normals of its edges      Stokes's theorem
//	cap that a ball hides       α = asin(Radius/d)                                 plane geometry
//	parallax                    tan Angle = 2hD sin ψ / (D² − h²)                  plane geometry
//	push-in                     Across = 2 atan(width/2F), F = density in px/rad   plane geometry
//	pixels of a frame           F/cos²α along the radius, F/cos α across it        Snyder 1987, (22-2), (22-3); (22-2) from memory
//
// # Accuracy
//
// Coverage, Shared, Holes and Allowed report a bound of their error. Whether a
// camera sees a region is decided from bounds of the derivatives of its image
// position, not from samples. The bounds are proved for a projection.Form, an
// OddPolynomial, a Table and a BrownConrady, and for a user's projection.Bounded and
// projection.BoundedDistortion as far as these are right. Others are sampled:
//
//   - a user's Model, every 0.09°: the bound assumes that r″ deviates from linear by at
//     most 5 % between samples
//   - a user's Distortion, at 16 angles and every 0.09° of field angle: the bound assumes
//     that its derivatives are at most 10 % greater between samples
//
// With a Distortion the bounds are wider, since they multiply the greatest stretch
// of the lens with that of the distortion. For a tolerance of 1e-5 sr three calibrated
// rectilinear cameras took 60,000, 60,000 and 106,000 triangles. An equidistant lens
// without distortion on the same raster took 1/2.6, 1/0.7 and 1/4.4 of that. A
// rectilinear lens without distortion and image circle takes 8, as its edges are great
// circles. A Distortion must be defined on the whole raster, or tell by a method
// MaxRadius where it ends.
//
// Seams are searched on a grid of 0.55°. Judge, Allows and PushInFrame look at 65 × 65
// points of a frame.
//
// # What is not modelled
//
// The entrance pupil of a camera is a point that does not move with the field angle.
// Occluders are opaque and have sharp edges: near a lens a real edge is out of focus.
// Vibration, the flex of the mount, flare and the falloff of the lens are left out.
//
// # Caution
//
// A rig on a vehicle can injure people. Have a competent rigger mount it, secure
// each camera and lens by a second, independent attachment, keep the outline of the
// vehicle within what the road or waterway allows, and leave the view and the
// controls of the driver free. No number of this package is a check of strength.
package rig
