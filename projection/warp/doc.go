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
// frames, and any goroutines at once. RunSequence takes one frame after the
// other through all of it, from the caller's reader to the caller's writer.
//
// # Conventions
//
// The origin of a raster is the outer corner of its top left pixel, x to the
// right and y down; pixel (i, j) covers [i, i+1) × [j, j+1) and has its centre
// at (i+½, j+½). Other places put the origin at the centre of the first pixel;
// add ½ to what comes from there.
//
// Samples are proportional to light. Filtering anything else, as gamma-encoded
// or logarithmic samples, or an alpha that is not premultiplied, gives other
// means than light does; a Transfer makes them linear, and codes them again.
// Whole numbers are rounded to the nearest and saturate. A frame has one to four
// channels, all treated alike; channels in planes of their own are a frame each
// (NewPlanes).
//
// # Formulas
//
//	map             (sx, sy) = project(unproject(x, y)), biquadratic in cells of 32 px
//	scales          singular values of ∂(sx, sy)/∂(x, y)          Golub and Van Loan 2013, 2.4
//	bilinear        tent(dx)·tent(dy), tent(t) = max(0, 1 − |t|)
//	minifying       tent over the footprint C = J·Jᵀ, see below   after Heckbert 1989, 3.3
//	levels          means over equal shares of the level below    after Williams 1983
//	smoothstep      s(t) = t²·(3 − 2t), t within [0, 1]           OpenGL Shading Language 4.60, 8.3
//	weight          w = coverage·s(m/F)·s(1 + (m − max m)/F)      margins m, feather F
//	blend           Σ w·gain·sample / Σ w
//	seam            minimum cut, E = Σ (gain·a − gain·b)²         after Kwatra et al. 2003, 3
//	density         octave·log₂ √|det J|                          a standing, see Density
//	sRGB            ((c + 0.055)/1.055)^2.4, c/12.92 near black   IEC 61966-2-1
//	BT.709 camera   α·l^0.45 − (α − 1), 4.5·l near black          BT.709-6, 1.2; BT.2020-2
//	BT.1886         c^2.4, of a display with a black of 0         BT.1886, Annex 1
//	PQ              ((c^(1/m₂) − c₁)/(c₂ − c₃·c^(1/m₂)))^(1/m₁)   ST 2084, 5
//	HLG camera      √(3·l), a·ln(12·l − b) + c from 1/12 on       ARIB STD-B67
//
// P. S. Heckbert, Fundamentals of Texture Mapping and Image Warping, UC
// Berkeley UCB/CSD 89/516 (1989); L. Williams, Pyramidal Parametrics, SIGGRAPH
// (1983); V. Kwatra et al., Graphcut Textures, SIGGRAPH (2003). All from memory,
// as are the curves; the tent and its levels are our own choice.
//
// # Precision
//
// A position of the map is within the tolerance (1/64 px by default) of the
// exact one at the points checked; between them it has been seen to miss by
// half as much again at most. Positions are rounded to 2⁻²⁰ px, so that a map
// of a raster onto itself copies every bit. The result does not depend on the
// number of workers. Bilinear samples are computed alike on all architectures;
// maps, and filters where the map minifies, may differ there in the last place.
// A code comes back from its light exactly, and light is coded to the nearest.
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
// No sharper filters than the tent (bicubic, windowed sinc), no maps from
// files, no colour but the transfer functions: primaries, and the look of a
// display (as the system gamma of HLG), are the caller's. Cameras whose entrance
// pupils differ see what is near in different directions: at the seam it breaks,
// and within the feather it shows twice; no resampling removes that. FindSeams
// leads seams where it shows least, but moves nothing.
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
