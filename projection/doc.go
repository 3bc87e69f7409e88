// Package projection maps directions to raster positions and back: lens
// projection models, cameras, panoramas and arrays of cameras.
//
// A [Model] is how a lens images a field angle; a [Form] is one of the five
// closed forms of it. A [Camera] puts a model in front of a raster and turns it
// by a [Pose]; [NewView] makes the rectilinear camera of a delivered frame. An
// [Equirect] is the panorama of the whole sphere. An [Array] is a set of cameras
// on one rig, with what of the rig and its vehicle stands in their way: what they
// cover, what they miss, where they meet and by how much they disagree there about
// near things, how far their plate can be pushed into, and where a [Shot] can look.
//
// # Conventions
//
// Directions are vectors in the stage frame: right-handed, +Y up. A camera with
// no rotation looks along −Z and has +X to its right. Heading is positive to the
// right seen from above, elevation positive upwards, roll positive clockwise
// seen from behind the camera; they compose in this order. Only [VisionAxes] and
// [Extrinsics] know the frame of computer vision.
//
// Raster positions have their origin at the outer corner of the top-left pixel,
// x to the right, y down. Pixel (i, j) covers [i, i+1) × [j, j+1), so its centre
// is (i+½, j+½), and the centre of a raster is (Width/2, Height/2). A [Counting]
// turns positions that others count otherwise into these and back.
//
// Image heights of a Model are in focal lengths, field angles are measured from
// the optical axis, densities are in pixels per degree of arc, solid angles in
// steradians. Identifiers are ASCII; θ stands for a field angle and φ for the
// angle about the axis.
//
// A [Distortion] moves the image in its plane, between the Model and the raster.
// Crop, Scale and Bin make the camera of a part of the raster, of the picture at
// another size, and of pixels taken together. ProjectAll and UnprojectAll do many
// directions at once.
//
// FilmBack and USDCamera turn apertures and shifts in millimetres, or in tenths of
// a scene unit, into cameras and back; Frustum is the view through a window from
// an eye, with its matrices; Equirect, BorderEquirect, Cylindrical and Cube are
// panoramas; Surround looks up a plate for an eye away from its centre.
//
// Project and Unproject say ok where the lens images, be it beside the raster;
// Margin says how far inside the raster and the image circle a position lies. A
// camera sees a direction where both hold.
//
// # Formulas
//
//	Rectilinear    r = f tan θ        Snyder 1987, (22-3), gnomonic
//	Stereographic  r = 2f geom.Tan(θ/2)    (21-4), stereographic
//	Equidistant    r = f θ            (25-2), azimuthal equidistant
//	Equisolid      r = 2f sin(θ/2)    (24-2), Lambert azimuthal equal-area
//	Orthographic   r = f sin θ        chapter 20, orthographic
//	OddPolynomial  r = Σ cₖ θ^(2k−1)  Kannala and Brandt 2006, (6), from memory
//	Table          monotone cubics    Fritsch and Butland 1984, as gonum has them
//	BrownConrady   g·(x, y) + tangential + prism   Brown 1966, from memory; OpenCV 4.6 documentation
//	inverses                          (20-14), (20-18), (22-16), (21-15), (25-15), (24-16)
//	density        f dr/dθ, f r/sin θ the scale factors h′ and k′ there
//	Equirect       x ∝ λ, y ∝ −φ      (12-1), (12-2), equidistant cylindrical
//	Cylindrical    x ∝ λ, y ∝ tan φ   chapter 11 there, perspective from the axis
//	Frustum        l = (vr·va) n/d …  Kooima 2008, Generalized Perspective Projection
//	Extrinsics     rotation vectors   Rodrigues' formula
//	Interpolate    constant speed     Shoemake 1985, from memory
//	MaxAngularDifference              Wahba 1965, from memory
//	Jacobian       of these scales, turned by the angle about the axis
//	SolidAngle     ∮ (1 − cos θ) dφ   Green's theorem
//	Coverage       spherical triangles, Van Oosterom and Strackee 1983
//	Ball           α = asin(r/d)      tangents from a point to a sphere
//	Box            outline            edges between a face in front and one behind
//	Parallax       2hD sin ψ/(D² − h²) the angle of two ways to one point
//	Seam           margins equal      where a blend by Margin changes cameras
//	PushIn         F, F/cos α, F/cos²α density of a rectilinear view
//
// Snyder 1987 is J. P. Snyder, Map Projections: A Working Manual, USGS
// Professional Paper 1395: the sphere of directions stands for the globe, the
// optical axis for the centre of the map. In those projections where they are
// shared, the FITS standard gives the same radii (M. R. Calabretta and E. W.
// Greisen, A&A 395 (2002), 1077).
//
// # Accuracy
//
// A Form's Radius is within 2 ulp and its Angle within 2.5 ulp. No direction loses
// its image at 90° and none is divided by its distance ahead, but for the
// rectilinear form, which has none at 90°. Camera and Equirect add the rounding
// of a rotation, some 1e-16 rad, and that of the position. ProjectAll and
// UnprojectAll agree with the single calls to within 3e-15. OddPolynomial, Table
// and BrownConrady state theirs. SolidAngle and FieldAlong state their error,
// Coverage and Holes their bound. Seams starts from a grid and states what may slip
// through it; SeamParallax takes the points of the seam. PushInFrame, Judge and Allows
// look at a stated number of places, and so does Allowed, whose bound holds from there
// on.
//
// # What is not modelled
//
// Entrance pupils that move with the field angle, and lines of a sensor read one
// after the other. Arrays take lenses symmetric about their axis only. Directions
// of cameras are to things far away: a camera's position counts for what occluders
// hide from it and for parallax alone; for an eye off the centre of a plate there
// is Surround. At a Seam plates join without a ghost only
// beyond the distance that ClearDistance gives. An occluder hides sharply, without
// the blur of a near edge over the lens's pupil, and whatever it hides is hidden at
// all distances.
//
// # Caution
//
// What an array covers on paper says nothing of whether its rig is safe. Cameras
// on a vehicle or a vessel are loads that wind, shocks and braking try to tear
// off, and they narrow what its driver sees. Have mounts designed, fitted and
// checked by people licensed to do so, and keep to the local rules of the road
// or the waterway.
package projection
