// Package lens computes what a lens does on a sensor: image circle, angle of
// view, depth of field by geometry, focus, light and stops. Below it, package
// transfer computes the contrast that is left of detail, and package wide what tables
// of real wide-angle lenses and zooms give.
//
// How do I …
//
//   - describe a lens? Fill in a [Spec] and call [New]. A fisheye needs a [Model];
//     nil is rectilinear.
//   - know whether the image circle covers my sensor? [Lens.CircleFit]; the circle
//     itself is [Lens.ImageCircle] and [Lens.MaxAngle]. The largest picture that is
//     inside it is [Lens.FreeWindow] or [Lens.CentredWindow].
//   - know how much a lens sees? [Lens.AngleOfView]; the other way round,
//     [FocalLengthForView].
//   - know what is in focus by geometry? [Lens.DepthOfField], [Lens.Hyperfocal] and,
//     for the aperture that a range needs, [Lens.FocusBetween]. [CircleOfConfusion]
//     gives the blur that a viewer accepts, [Lens.Blur] the blur of one object.
//   - set the focus? [Lens.FocusMark] and [Lens.FocusFromMark] for marks and tapes,
//     which begin at the sensor; [Lens.DepthOfFocus], [Lens.ActualFocus] and
//     [PlateShift] for what is wrong between lens and sensor; [Lens.Breathing] for
//     how the picture grows.
//   - know how much light arrives? [Transmission] of the glass, times
//     [FilterTransmission], times [Lens.RelativeIllumination] towards the edge. The
//     three are factors of an exposure; [TStop], [FilterStops] and [Lens.FalloffStops]
//     say the same in stops. [Lens.WorkingFNumber] is for close to a thing.
//   - work with stops? [Stops], [FNumberAt], and [Marks] for the numbers on a lens.
//   - know where a thin lens images what, and how large? [ImageDistance] and
//     [Magnification].
//
// # Conventions
//
// A Spec goes to JSON and back; a Lens has no JSON (it is {}), so keep its Spec.
// Lengths and angles carry units (gonum.org/v1/gonum/unit); [Degree] is here
// because that package has none. A field angle is measured from the optical axis;
// an angle of view spans both sides of it. Infinity is +Inf.
//
// These ranges hold for every function. An f-number is from 0.5 to 1024, a paraxial
// focal length from 0.1 mm to 2 m. A function whose argument is outside its range
// gives an error that wraps [ErrInvalid] and names the argument, its value and the
// range. Methods with the result ok give ok = false instead.
//
// The paraxial focal length is the one that holds for small angles from the axis.
// Spec.FocalLength is the scale of the Model; the two are the same unless the
// Model has a scale of its own.
//
// An f-number is the paraxial focal length over the diameter of the entrance
// pupil, which is the image of the aperture as seen from the front. The working
// f-number is that of the cone of light that reaches the sensor. The two are the
// same if the lens is focused at infinity; closer, the working f-number is larger.
//
// Distances of objects and of focus are measured from the entrance pupil of the
// lens, the no-parallax point, and not from the sensor as the scale on a barrel
// is. The thin lens of this package is in its own entrance pupil. Off the axis, a
// distance means what the model makes of it:
//
//   - A rectilinear lens is sharp on a plane. Its distances are depths along the
//     axis, not lengths of rays.
//   - A fisheye is sharp on a sphere about its pupil. Its distances are lengths of
//     rays. At 90° from the axis every depth is 0.
//
// In Hyperfocal, DepthOfField, FocusBetween and DepthOfFocus, sharp is a matter of
// geometry: the blur of a point is not wider than the circle of confusion. Diffraction is left
// out. At f/11 in green light it takes all contrast from photosites of 3 µm at
// their Nyquist frequency, however well they are in focus. Package transfer takes
// both into account. There is no default circle of confusion: a still on a page, a
// plate of which a third fills a wall, and a plate whose every photosite counts
// need very different ones.
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
//	depth of focus       ± c N s/(s − f)                      thin lens
//	flange error e       f + f²/(f²/(s − f) + e)              thin lens
//	breathing            s/(s − f)                            thin lens
//	focus mark           s + p + f²/(s − f)                   thin lens
//	plate                t (1 − 1/n)                          law of refraction
//	T-stop               N/√τ                                 common practice
//	stops                2 log2(N2/N1)                        ISO 517 †
//	filter               10^−d, d log2(10) stops              ISO 5-1 †
//
// † from memory. OpenStax, University Physics Volume 3 (2016). R. Kingslake, Lenses
// in Photography (1951) and Optical System Design (1983).
//
// # What is not modelled
//
// The lens is thin: its principal planes coincide, and both pupils are there and
// have the same diameter. It focuses by moving as a whole. Depth of field and blur
// hold on the axis. Off the axis they change with the shape of the pupil, which
// package wide takes from a table, and with aberrations, of which there are none
// here. Package wide also has vignetting, and the movement of the pupil of a fisheye
// with the field angle. Left out are the change of a view with focus by moving
// parts, lateral colour and flare. Light has one wavelength. Below about f/2 the
// paraxial formulas are less exact.
//
// # Cautions
//
// Results are for planning; confirm focus and coverage on the camera. A lens
// gathers sunlight into a spot that burns sensors, shutters and eyes: shade or cap
// it where the sun can come into view, which for a fisheye on a vehicle is most of
// the time. Rigs outside a vehicle and lenses hung over people come under local
// rules and the judgement of licensed riggers, whom nothing here replaces.
package lens
