// Package wide computes with wide-angle lenses as they were measured or traced. From a
// table by field angle: where the entrance pupil walks, how much light arrives, how
// things blur off the axis, and what parallax is left on a seam. From a table by focal
// length: which views a zoom holds.
//
// How do I …
//
//   - describe a lens? Fill in a [Spec] with a table and call [New]. [Fisheye170] and
//     [Retrofocus100] are two published lenses to plan with.
//   - know how large its image is and how much it sees? A [Lens] is a Model of package
//     lens: give it to lens.New.
//   - know where its no-parallax point is? [Lens.Pupil]. Where and how far is a near
//     thing for it? [Lens.Sight].
//   - know how much darker the edge is, to 90° and beyond? [Lens.RelativeIllumination].
//     It is a factor of an exposure, beside the transmission.
//   - know how much blurs? [Lens.Blur] on the sensor and in the scene; [Lens.WallBlur]
//     in pixels of a wall, and [Lens.FocusForWallBlur] for the focus that blurs it.
//   - know whether two cameras can join? [Lens.Seam].
//   - know at which focal lengths a zoom fisheye sees 180° across, down or from corner to
//     corner of my sensor? [NewZoom] and [Zoom.Views]; [Zoom.At] is the lens at one.
//   - measure my own lens? [MeasureImageCircle] finds its image circle, and so its
//     decentring, in a bright frame; [MeasureFalloff] fills in the light of a table.
//
// # Conventions
//
// A Spec goes to JSON and back; a Lens has no JSON, so keep its Spec. Field angles are
// measured from the axis. Places on the axis are measured from the sensor's plane, and
// are positive in front of it, as a tape from the mark on a camera does. Distances
// of focus and of things are lengths of rays, from the entrance pupil of their field
// angle; an f-number goes with the diameter of the pupil on the axis. Radial means
// towards the axis of the lens, and tangential around it. Infinity is +Inf.
//
// A function whose argument is outside its range gives an error that wraps [ErrInvalid]
// and names the argument, its value and the range. Methods with the result ok give
// ok = false instead.
//
// # Formulas
//
//	quantity            formula                           source
//	table               cubic spline, monotonic cubics    see New
//	pupil width         (f/N) √(q a^±1), q = E r r'/sin θ conservation of flux
//	sight               tan θ = x/(z − p(θ))              definition of the pupil
//	blur, as an angle   w |1/s − 1/d|                     plane geometry
//	blur on a wall      w |s − d|/(s p)                   plane geometry
//	parallax on a seam  2 (θ − turn/2)                    plane geometry
//	measured circle     least squares to its rim          definition
//	measured falloff    mean light of a ring              definition
//	view of a zoom      f = d/r(view/2)                   definition of the model
//
// The monotonic cubics are those of F. N. Fritsch and J. Butland, SIAM J. Sci. Stat.
// Comput. 5 (1984) 300, from memory. The lenses are from M. Laikin, Lens Design, 4th
// edition (2007), pp. 108 and 114.
//
// # What is not modelled
//
// The table is that of one focus and one aperture: take another one for each. A lens is
// the same all around its axis. It is sharp on a sphere about its pupil, without
// aberrations and diffraction; package transfer has diffraction. Between points, the
// table is smooth.
//
// # Cautions
//
// Results are for planning; confirm focus, light and seams on the cameras. A fisheye has
// the sun in its view most of the time, and gathers it into a spot that burns sensors and
// eyes: cap it. Turning several cameras about one point asks for a rig that holds them;
// on a vehicle that is the work of licensed riggers, whom nothing here replaces.
package wide
