// Package lens answers what a lens does on a sensor: where it images what, how
// much it sees, how far its image circle reaches, what it holds in focus, how
// fine a pattern it carries, and how its light falls off and adds up.
//
// A Spec describes a lens at one aperture, New checks it, and the methods of
// Lens answer for it. Formulas that need no more than a number or two are
// functions. How the lens turns angles into image heights is a Projection, an
// interface that the caller supplies; none is needed for a rectilinear lens.
//
// # Conventions
//
// Lengths and angles carry units (gonum.org/v1/gonum/unit); Degree is here
// because that package has none. Spatial frequencies are line pairs per
// millimetre on the sensor. A field angle is measured from the axis; an angle
// of view spans both sides of it. A real object stands at a positive distance,
// and so does a real image; a virtual image has a negative one, and an inverted
// image a negative magnification. Infinity is +Inf.
//
// Focal length means the paraxial one, which holds for small angles about the
// axis. Only Spec.FocalLength, and FocalLengthForView that gives it, are the
// scale of the projection, which is the same unless the projection carries a
// scale of its own. An f-number is the paraxial focal length over the diameter
// of the entrance pupil.
//
// Distances of objects and of focus are measured from the lens's entrance
// pupil, not from the sensor as the scale on a barrel is. A thin lens stands in
// its own entrance pupil. On the axis there is no more to say. Off the axis it
// depends on the projection:
//   - A rectilinear lens is sharp on a plane, so that distances are depths along
//     the axis: give the depth of the object, not the length of the ray to it.
//   - A fisheye is sharp on a sphere about its pupil, so that distances run
//     along the ray. Depth means nothing to it: at 90° every depth is 0.
//
// The distances of ImageDistance, ObjectDistance, FocalLength and Magnification
// run along the axis from the thin lens. The viewing distance of
// CircleOfConfusion runs from the eye to the picture.
//
// Sharp, in Hyperfocal, DepthOfField and FocusBetween, is a matter of geometry
// alone: the blur of a point is no wider than a circle of confusion. Diffraction
// is left out. With a small circle of confusion and a small aperture it takes
// away the detail that these call sharp: at f/11 and green light, photosites of
// 3 µm get no contrast at all at their Nyquist frequency. Lens.OTF takes both
// into account.
//
// Circle of confusion has no default. A still seen whole on a page, a plate
// of which a third fills a wall, and a plate whose every photosite is needed
// ask for very different ones, and depth of field follows from what one asks.
//
// # Formulas
//
//	quantity             formula                              source
//	image distance       1/do + 1/di = 1/f                    OpenStax 2016, 2.4
//	magnification        −di/do                               OpenStax 2016, 2.4
//	angle of view        2 θ(d/(2f)), θ inverse of r          definition
//	image circle         2 f r(θmax)                          definition
//	relative brightness  r'(0)² sin θ cos θ/(r r')            Kingslake 1983 †
//	hyperfocal distance  f²/(N c) + f                         Kingslake 1951 †
//	depth of field       1/s ± (c N/f²)(1 − f/s)              Kingslake 1951 †
//	blur                 (f/N) f |s − d|/(d (s − f))          thin lens
//	working f-number     N s/(s − f)                          common practice
//	Airy radius          1.2196698912665 λ N                  Goodman, 4.4.2 †
//	encircled energy     1 − J0(v)² − J1(v)²                  Born and Wolf, 8.5.2 †
//	cutoff               1/(λ N)                              Goodman, 6.3 †
//	diffraction MTF      (2/π)(acos x − x √(1 − x²))          Goodman, 6.3 †
//	defocus OTF          integral over the pupil              Hopkins 1955 †
//	blur OTF             2 J1(z)/z                            Goodman, 6.4.4 †
//	T-stop               N/√τ                                 common practice
//	stops                2 log2(N2/N1)                        ISO 517 †
//
// † from memory. OpenStax, University Physics Volume 3 (2016). R. Kingslake,
// Lenses in Photography (1951) and Optical System Design (1983). J. W. Goodman,
// Introduction to Fourier Optics. M. Born and E. Wolf, Principles of Optics.
// H. H. Hopkins, Proc. R. Soc. Lond. A 231 (1955) 91.
//
// # What is not modelled
//
// The lens is thin: its principal planes coincide, and both pupils stand there
// and are as wide as focal length over f-number. Depth of field, blur and
// transfer hold on the axis; off it they change with the shape of the pupil and
// with aberrations, of which there are none here. Mechanical vignetting, the
// swelling and tilting of a wide-angle lens's pupil and the way a fisheye's
// pupil wanders with the field angle are left out; so are the change of focal length and
// view as a lens is focused, lateral colour, flare, and the filters in front
// of a sensor. Light is of one wavelength, and the f-numbers below about f/2
// ask more of a paraxial formula than it holds.
//
// # Cautions
//
// Results are for planning; focus and coverage are confirmed on the camera.
// A lens gathers sunlight into a spot that burns sensors, shutters and eyes:
// shade or cap it where the sun can come into view, which for a fisheye on a
// vehicle is most of the time. Rigs outside a vehicle and lenses hung over
// people come under local rules and the judgement of licensed riggers, whom
// nothing here replaces.
package lens
