// Package fit measures from the plates of several cameras how well they fit together:
// differences of exposure and colour, and how far what they show is displaced.
//
// # How do I …
//
//   - … compare two neighbours? [MeasurePair], with one frame of each.
//   - … know which camera of a rig is too bright, or off in colour? MeasurePair for all
//     neighbours, then [MeasureGains]: [Gains.Stops] and [Gains.Tints].
//   - … know whether the comparisons agree? [Gains.Residuals], and [Gains.Closures] round
//     the ring.
//   - … know how far two plates are displaced where they join, and whether turning one camera
//     would mend it? [MeasureSeam], at places along the seam or all over the overlap.
//
// # Conventions
//
// Directions are vectors in the stage frame. Raster positions have their origin at the outer
// corner of the top left pixel, x to the right, y down. Cameras and channels are counted
// from 0. Samples are proportional to light above Plate.Black: turn a plate in a curve into
// linear light first. One stop is twice the light.
//
// Two frames are in memory at a time, one of each plate. They must show the same moment: what
// moves or flickers between two frames is taken for a difference of the cameras. No function
// changes samples. The functions are safe for concurrent use, and results do not depend on
// the number of processors.
//
// The uncertainty of a measured value is one standard deviation. Bad input, and evidence too
// poor for an answer, are an error that wraps ErrInvalid and says what is missing. The zero
// value of a spec's field means the default that is named there.
//
// # Formulas
//
//	stops            log2(light of B / light of A)           definition
//	robust ratio     Tukey's biweight, 4.685 scales          J. W. Tukey, from memory; 95 % efficient
//	its uncertainty  (XᵀWX)⁻¹ M (XᵀWX)⁻¹, M from blocks      sandwich of M-estimators, P. J. Huber, from memory
//	gains            least squares over pairs                adjustment of observation equations, from memory
//	shift            B(u + shift) = α A(u) + β               least-squares matching, from memory
//	turn of B        shift = −ω × d along the sphere         definition
//
// # Not modelled
//
// Falloff that Plate.Falloff does not hold, veiling flare, polarisation of sky and water, and
// mirrors: all of them differ between two lenses that look the same way from different sides
// of their picture. Uncertainties do not hold them.
//
// A lens whose Model is not as its Camera says. MeasureSeam leaves what that does in Rests,
// together with parallax, which it cannot tell from it. A patch is displaced as a whole: no
// turn or scale within it.
//
// # Cautions
//
// A gain or a turn that is measured in the overlaps holds there. Look at the plates before a camera is
// corrected: a lamp or the sun in one of two lenses brightens its picture, too.
package fit
