// Package warp moves pixels from one raster to another: plates from several
// cameras onto a wall or a panorama, views out of plates. It finds where in a
// source each pixel of a target looks (Map), and resamples (Warp) and blends
// (Blend) frames through such maps.
//
// # The way in
//
// A Source is what was filmed: it projects directions to its raster. A Target
// is what is to be filled: its pixels look in directions. Cameras, panoramas
// and wall views of the other packages are such, and so is anything with the
// same two methods. NewMap joins one of each; a map serves any number of
// frames, and any goroutines at once.
//
// EncodeMap writes a map as a file, for other programs or another day, and
// DecodeMap reads one; NewMapFromPositions takes positions that come from
// elsewhere. The map of a target from its source and the one with the roles
// changed are each other's inverse, to within their tolerances.
//
// # Conventions
//
// The origin of a raster is the outer corner of its top left pixel, x to the
// right and y down; pixel (i, j) covers [i, i+1) × [j, j+1) and has its centre
// at (i+½, j+½). Other places put the origin at the centre of the first pixel;
// add ½ to what comes from there. Files of maps hold positions over the sides of
// the source, (i+½)/width for pixel i, down from the top left corner or, if so
// chosen, up from the bottom left one.
//
// Samples are proportional to light. Filtering anything else, as gamma-encoded
// or logarithmic samples, or an alpha that is not premultiplied, gives other
// means than light does. Whole numbers are rounded to the nearest and saturate.
// A frame has one to four channels, all treated alike.
//
// # Formulas
//
//	map             (sx, sy) = project(unproject(x, y)), biquadratic in cells of 32 px
//	map in a file   (sx/width, sy/height), or (sx/width, 1 − sy/height)
//	scales          singular values of ∂(sx, sy)/∂(x, y)          Golub and Van Loan 2013, 2.4
//	bilinear        tent(dx)·tent(dy), tent(t) = max(0, 1 − |t|)
//	minifying       tent over the footprint C = J·Jᵀ, see below   after Heckbert 1989, 3.3
//	levels          means over equal shares of the level below    after Williams 1983
//	smoothstep      s(t) = t²·(3 − 2t), t within [0, 1]           OpenGL Shading Language 4.60, 8.3
//	weight          w = coverage·s(m/F)·s(1 + (m − max m)/F)      margins m, feather F
//	blend           Σ w·gain·sample / Σ w
//
// P. S. Heckbert, Fundamentals of Texture Mapping and Image Warping, UC
// Berkeley UCB/CSD 89/516 (1989); L. Williams, Pyramidal Parametrics, SIGGRAPH
// (1983). Both from memory; the tent and its levels are our own choice.
//
// # Precision
//
// A position of the map is within the tolerance (1/64 px by default) of the
// exact one at the points checked; between them it has been seen to miss by
// half as much again at most. Where positions are given, every pixel is checked.
// float32 in a file moves a position by up to 2⁻²⁵ of the source's side
// (0.0015 px at 49152 px), 16 bits by up to 1/131070 of it. Positions are
// rounded to 2⁻²⁰ px, so that a map of a raster onto itself copies every bit.
// The result does not depend on the number of workers. Bilinear samples are computed alike on all architectures;
// maps, and filters where the map minifies, may differ there in the last place.
//
// # Where the map minifies
//
// Up to a scale of 1 + 1/16 source pixels a target pixel the filter is
// bilinear. From 1.5 on it is a tent of half-width 1.25 footprints: it takes
// 30 dB or more of the energy from 3/4 of the target's sampling frequency on
// (at scales of 2 and more), 22 to 29 dB on the whole from its Nyquist
// frequency on, and 3 dB at half of that. Averaged levels of the source serve
// where the shorter axis of the tent is 6 source pixels or more; only those
// that a map needs are made, once for each call. A footprint longer than 96
// texels of its level, as beside a pole or at grazing sight, is sampled at
// every second, third … of them. Next to a pole, where a straight footprint in
// the raster is an arc in the view, a pixel may be off by a fifth of a pixel.
//
// # What is not here
//
// No sharper filters than the tent (bicubic, windowed sinc), no colour:
// transfer functions and primaries are the caller's. A seam
// lies where margins are equal, whatever the picture shows there. Cameras whose
// entrance pupils differ see what is near in different directions: at the seam
// it breaks, and within the feather it shows twice; no resampling removes that.
// Files of maps keep no margins and no size of the source.
// Rays that bend off the straight line within a source pixel, as rolling
// readout bends them, belong to the Source.
//
// # Cautions
//
// Frames made here may be shown large and bright around people. A wrong map or
// gain can flash or move a whole wall at once: look at new material on a
// monitor first, ramp brightness up, keep flashing and fast full-field motion
// within the guidance for photosensitive viewers, and leave limits and the
// means to cut the wall with the people licensed for it, under local codes.
package warp
