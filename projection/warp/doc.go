// Package warp moves pixels from one raster to another: plates of several cameras
// onto a wall or a panorama, and views out of plates.
//
// How do I
//   - fill a wall or a view from a plate: NewMap, then Warp for each frame
//   - join several cameras: Blend; place its seams: FindSeams, NewLabelPriorities
//   - process a take, with a fixed or a moving eye: RunSequence
//   - keep a map in a file: EncodeSTMap; use one from elsewhere: DecodeSTMap
//   - bring samples to linear light and back: NewTransfer
//   - know how good a map is: Map.Report
//
// # Conventions
//
// The origin of a raster is the outer corner of its top left pixel, x to the right
// and y down. The centre of pixel (i, j) is (i+½, j+½): add ½ to positions that count
// from the centre of the first pixel.
//
// Samples must be proportional to light, and an alpha premultiplied: filters form
// means, and means of codes are not means of light. Whole numbers are rounded to
// the nearest and saturate. float32 may leave the range of the source's samples,
// except with Bilinear and Nearest.
//
// Bad input is an error that wraps ErrInvalid. A cancelled call returns the
// context's error; what it was to fill is then partly written. Results do not depend
// on the number of workers. The zero value of options is the default. Maps,
// priorities and transfers are safe for concurrent use, but for Map.Remake.
//
// Sources, targets, margins, costs and Progress are called from several
// goroutines; Progress one call at a time. A panic in them goes on in the goroutine
// of the caller. If one ends its goroutine (runtime.Goexit), that is an error.
//
// # Formulas
//
//	map             (sx, sy) = project(unproject(x, y)), biquadratic in cells of 32 px
//	ST map          (sx/width, sy/height), or (sx/width, 1 − sy/height)
//	scales          singular values of ∂(sx, sy)/∂(x, y)          Golub and Van Loan 2013, 2.4
//	bilinear        k(t) = max(0, 1 − |t|)
//	cubics          k(t) of B and C                               Mitchell and Netravali 1988, eq. 8
//	Lanczos         k(t) = sinc(t)·sinc(t/3), |t| < 3, over the sum of the taps
//	low pass        k(t/s), s the extent of the pixel along an axis
//	pixel means     k fitted for that extent
//	aslant          each row of taps shifted by Cxy/Cyy, C = JJᵀ  after Heckbert 1989, 3.3
//	image pyramid   tents as wide as two texels, halving          after Williams 1983
//	blend           Σ w·gain·sample / Σ w, smoothstep weights     OpenGL Shading Language 4.60, 8.3
//	seam            minimum cut, E = Σ (gain·a − gain·b)²         after Efros and Freeman 2001, 2.2; Kwatra et al. 2003, 3
//	sRGB            ((c + 0.055)/1.055)^2.4, c/12.92 near black   IEC 61966-2-1
//	BT.709 camera   α·l^0.45 − (α − 1), 4.5·l near black          BT.709-6, 1.2; BT.2020-2
//	BT.1886         c^2.4, of a display with a black of 0         BT.1886, Annex 1
//	PQ              ((c^(1/m₂) − c₁)/(c₂ − c₃·c^(1/m₂)))^(1/m₁)   ST 2084, 5
//	HLG camera      √(3·l), a·ln(12·l − b) + c from 1/12 on       ARIB STD-B67
//
// P. S. Heckbert, Fundamentals of Texture Mapping and Image Warping, UC Berkeley
// UCB/CSD 89/516 (1989); L. Williams, Pyramidal Parametrics, SIGGRAPH (1983); D. P.
// Mitchell and A. N. Netravali, Reconstruction Filters in Computer Graphics,
// SIGGRAPH (1988); A. A. Efros and W. T. Freeman, SIGGRAPH (2001); V. Kwatra et al.,
// SIGGRAPH (2003). All from memory, as are the curves.
//
// # Precision
//
// A position of a map is within the tolerance, 1/64 px by default. NewMap bounds the
// error of a cell from eight points in it, if target and source together are smooth
// within a cell, but for one jump of curvature, as at a point of a lens table. Warp
// rounds positions to 2⁻²⁰ px: a map of a raster onto itself copies every bit, except
// with Mitchell. Filter weights are exact to 1e-6, those for a scale to 2e-4; sums to
// 1e-6 of the largest sample. The build tag purego leaves assembly out and changes no
// sample.
//
// # Minification
//
// AntiAlias and PixelMean weigh the source by kernels along its two axes, as wide as
// the target pixel spreads over the source along each. That is its scale there. Where
// it lies aslant, each row of taps is shifted, so that the window leans as the pixel
// does. Very long pixels, and those near the poles of a panorama, are divided. Coarser
// levels of an image pyramid serve from a shorter scale of 2.8 on, with PixelMean of 8.
//
// With AntiAlias, the filter applies up to a scale of 1 + 1/32. From 1 + 1/4 on a low
// pass takes its place; between them both are mixed. It takes out 30 dB or more of the
// energy above the target's Nyquist frequency. Below that frequency it leaves, by
// filter:
//
//	filter                at half of Nyquist  at 3/4             past a step
//	Bilinear              −4.6 dB             −11.4 to −10.5 dB  0
//	CatmullRom, Mitchell  −1.6 dB             −7.6 dB            5.3 %
//	Lanczos3              −0.5 dB             −5.1 to −4.5 dB    6.9 %
//
// PixelMean undoes the blur of the source's photosites and applies that of the
// target's: contrast goes from sinc f to sinc(s·f), for waves of f cycles per source
// pixel at a scale of s. Weights of eight taps or more per axis are fitted by least
// squares, for scenes whose power falls as 1/f³ and ends at 0.6; the first use of a
// scale takes about 0.1 ms. Contrast missed, overshoot, and the factor of noise that
// differs between pixels:
//
//	scale  f = 0.1   0.25    0.35    0.4    past a step  noise
//	0      0.2 %     1.6 %   2.9 %   17 %   20 %         1.0 to 1.4
//	0.5    0.2 %     1.3 %   2.3 %   15 %   18 %         1.0 to 1.3
//	1      0.1 %     0.8 %   0.9 %   10 %   13 %         0.8 to 1
//	2      0.1 %     0.6 %   2.0 %   3.5 %  3.7 %        0.5
//
// # Not modelled
//
// Primaries, the system gamma of HLG, parallax between entrance pupils (FindSeams only
// hides it), and rolling readout, which belongs to the Source.
//
// # Cautions
//
// Frames made here may be shown large and bright around people. A wrong map or gain
// can flash or move a whole wall at once: look at new material on a monitor first
// and ramp brightness up. Keep flashing and fast full-field motion within the
// guidance for photosensitive viewers. Leave limits, and the means to cut the wall,
// with the people licensed for it under local codes.
package warp
