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
// means than light does; a Transfer makes them linear, and codes them again.
// Whole numbers are rounded to the nearest and saturate; float32 may go below 0
// and above the largest sample, with PixelMean and all filters but Bilinear and
// Nearest. A frame has one to four channels, all treated alike; channels in planes
// of their own are a frame each (NewPlanes).
//
// # Formulas
//
//	map             (sx, sy) = project(unproject(x, y)), biquadratic in cells of 32 px
//	map in a file   (sx/width, sy/height), or (sx/width, 1 − sy/height)
//	scales          singular values of ∂(sx, sy)/∂(x, y)          Golub and Van Loan 2013, 2.4
//	bilinear        k(t) = max(0, 1 − |t|)
//	cubics          k(t) of B and C                               Mitchell and Netravali 1988, eq. 8
//	Lanczos         k(t) = sinc(t)·sinc(t/3), |t| < 3, over the sum of the taps
//	separable       Σ k(dx)·k(dy)·sample
//	pixel means     Σ u·v·sample, weights u along and v down fitted for the pixel's width and height
//	footprint       Σ bell(1 − dᵀ·C⁻¹·d/R²)·sample / Σ bell, C = J·Jᵀ   after Heckbert 1989, 3.3
//	levels          tents as wide as two texels, halving          after Williams 1983
//	smoothstep      s(t) = t²·(3 − 2t), t within [0, 1]           OpenGL Shading Language 4.60, 8.3
//	weight          w = coverage·s(m/F)·s(1 + (m − max m)/F)      margins m, feather F
//	blend           Σ w·gain·sample / Σ w
//	seam            minimum cut, E = Σ (gain·a − gain·b)²         after Kwatra et al. 2003, 3
//	density         octave·log₂ √|det J|                          a priority, see Density
//	sRGB            ((c + 0.055)/1.055)^2.4, c/12.92 near black   IEC 61966-2-1
//	BT.709 camera   α·l^0.45 − (α − 1), 4.5·l near black          BT.709-6, 1.2; BT.2020-2
//	BT.1886         c^2.4, of a display with a black of 0         BT.1886, Annex 1
//	PQ              ((c^(1/m₂) − c₁)/(c₂ − c₃·c^(1/m₂)))^(1/m₁)   ST 2084, 5
//	HLG camera      √(3·l), a·ln(12·l − b) + c from 1/12 on       ARIB STD-B67
//
// with t, dx, dy, d in source pixels from the position, and
//
//	bell(s) = s²·(c₀ + s·(c₁ + s·(c₂ + s·(c₃ + s·c₄))))
//	          R      c₀           c₁           c₂            c₃           c₄
//	soft      1.79   2.64880873   −6.43828178  7.86433822    −3.07486517  0
//	firm      2.6    −3.87826122  18.4377027   −35.6668047   32.5429785   −10.4356153
//	area      1.1    0.638692961   5.55326096  −49.686222    96.6634012   −52.1691331
//	sharp     3.57   2.42091496   −13.7252565  29.7779434    −32.9273931  15.4537912
//
// P. S. Heckbert, Fundamentals of Texture Mapping and Image Warping, UC
// Berkeley UCB/CSD 89/516 (1989); L. Williams, Pyramidal Parametrics, SIGGRAPH
// (1983); D. P. Mitchell and A. N. Netravali, Reconstruction Filters in Computer
// Graphics, SIGGRAPH (1988); V. Kwatra et al., Graphcut Textures, SIGGRAPH
// (2003). All from memory, as are the curves. The bells are our own: fitted by
// least squares to pass what is below the target's Nyquist frequency and to stop
// what is above.
//
// # Precision
//
// A position of the map is within the tolerance (1/64 px by default) of the
// exact one. NewMap bounds the error of each cell from eight points in it, by the
// leading term of the error of a biquadratic and three times what that leaves
// over. The bound assumes that target and source together are smooth within a
// cell, but for one jump of curvature, as where a lens table goes from one point to
// the next. Where positions are given, every pixel is checked.
// float32 in a file moves a position by up to 2⁻²⁵ of the source's side
// (0.0015 px at 49152 px), 16 bits by up to 1/131070 of it. Positions are
// rounded to 2⁻²⁰ px, so that a map of a raster onto itself copies every bit,
// with all filters but Mitchell. The result does not depend on the number of
// workers, and samples are computed alike with and without assembly (the build
// tag purego leaves it out); maps, and the weights of PixelMean, may differ
// between architectures, and levels of one, in the last place. Weights are exact
// to 2e-7, those of PixelMean to 1e-4; sums are in float32: 1e-6 of the largest
// sample or better. A code comes back from its light exactly, and light is coded
// to the nearest.
//
// # Functions of the caller
//
// What is called here, as sources, targets, margins and Progress, may be called
// from several goroutines at once, Progress by one at a time. A panic goes on in
// the goroutine of the caller, with its value, once the others have ended; where
// one of those is ended (runtime.Goexit), an error is returned.
//
// # Where the map minifies
//
// Up to a scale of 1 + 1/32 source pixels a target pixel the filter is the one
// asked for. From 1 + 1/4 on it is a bell over the ellipse that the pixel covers
// in the source, between them a mixture of both. All take 30 dB or more of the
// energy above the target's Nyquist frequency from a scale of 1.25 on, and 35 dB
// from 2 on. They differ in what they leave below it, and in what they cost:
//
//	filter                 bell   at half of Nyquist  at 3/4     past a step
//	Bilinear               soft   −4.8 dB             −11.6 dB   0
//	CatmullRom, Mitchell   firm   −1.6 dB             −7.6 dB    5.3 %
//	Lanczos3               sharp  −0.2 dB             −4.9 dB    7.7 %
//
// With PixelMean it is otherwise, see below: a bell, area, serves from a scale of
// 2 of the shorter axis on, and takes 9 dB of that energy, as the mean over a
// pixel does.
//
// Coarser levels of the source serve where the shorter axis of the ellipse is
// 2.5 source pixels or more (soft), 4 (firm, sharp) or 7 (area), and where the
// longer is more than about 35 (soft), 25 (firm), 18 (sharp) or 57 (area); those
// that a map needs are made once for each call. Along the shorter axis the bell
// is never narrower than for a scale of 3/4 of a texel, or 5/4 (area). A source
// of a few pixels' width or height does not get coarser that way, and what a
// target pixel takes in of it ends after 126 texels. Within 16 pixels of a pole
// of a panorama, where a straight footprint in the view is an arc in the raster,
// it is laid out in the plane of the azimuthal equidistant projection about the
// pole (Snyder 1987, 25).
//
// # Pixel means
//
// Samples of a camera are means over its pixels, and so have lost contrast: waves
// of f cycles a pixel are down to sinc f. PixelMean gives them what they have in
// the pixels of the target, sinc s·f at a scale of s, by weights of eight taps
// along each axis of the source, fitted by least squares, in steps of 1/128 of s,
// for scenes whose power falls with the third power of the frequency and ends at
// 0.6 cycles a pixel. Where the shorter axis of the pixel in the source has a
// scale of 2.4 or more, or the longer one of 4.5 (in a panorama, less what columns
// crowd by towards its poles), it is the bell area; from 2 and from 3.5 on a
// mixture. The table has, along one axis, what is missed of a
// wave's contrast in the scene, as the root of the mean square over places
// between taps, and how far the result goes past a step between two pixels; and
// of both axes together what is left of noise that differs from pixel to pixel:
//
//	scale  f = 0.1   0.25    0.35    0.4    past a step  noise
//	0      0.2 %     1.6 %   2.9 %   17 %   20 %         1.0 to 1.4
//	0.5    0.2 %     1.3 %   2.3 %   15 %   18 %         1.0 to 1.3
//	1      0.1 %     0.8 %   0.9 %   10 %   13 %         0.8 to 1
//	2      0.1 %     0.6 %   2.0 %   3.5 %  3.7 %        0.5
//	area                                    0.2 %
//
// Pixels that are long aslant of the source's axes are taken for as wide as they
// spread along these, and arcs around a pole of a panorama for straight: there
// it is less near to the scene, though nearer than the other filters. Sharp edges
// make a source hold false waves, which near a scale of 1 it shows a little more
// (up to 0.2 dB) than Lanczos3. The weights are made when they are first asked
// for, which takes some 40 ms.
//
// # What is not here
//
// No colour but the transfer functions: primaries, and the look of a display (as
// the system gamma of HLG), are the caller's. Cameras whose entrance pupils
// differ see what is near in different directions: at the seam it breaks, and
// within the feather it shows twice; no resampling removes that. FindSeams leads
// seams where it shows least, but moves nothing. Files of maps keep no margins
// and no size of the source. Filters mix what lies on either side of a joint on
// the raster of a source, as of a cube. Rays that bend off the straight line
// within a source pixel, as rolling readout bends them, belong to the Source.
//
// # Cautions
//
// Frames made here may be shown large and bright around people. A wrong map or
// gain can flash or move a whole wall at once: look at new material on a
// monitor first, ramp brightness up, keep flashing and fast full-field motion
// within the guidance for photosensitive viewers, and leave limits and the
// means to cut the wall with the people licensed for it, under local codes.
package warp
