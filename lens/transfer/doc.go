// Package transfer computes how much contrast a lens, a sensor and movement leave
// of fine detail.
//
// How do I …
//
//   - know how much contrast is left of a detail, and what takes it? Fill in a
//     [SystemSpec], call [NewSystem], and ask [System.OTF] and [System.Losses].
//   - say a frequency in photosites, delivered pixels or wall pixels?
//     [System.PixelFrequency], [System.WallFrequency].
//   - know where detail ends? [System.FrequencyAt] for a contrast; [CutoffFrequency],
//     and [SamplingRatio] against the photosites.
//   - know what is sharp? [System.Depth] gives the near and the far limit of a
//     contrast. The limits of lens.Lens.DepthOfField are those of geometry.
//   - choose focus and stop? [System.BestSetting].
//   - know what a push-in leaves? [System.PushIn].
//   - compute without a System? [DiffractionOTF], [DefocusOTF] and [BlurOTF] for a
//     lens; [BoxOTF] for photosites and motion; [JitterOTF] for vibration.
//     [SquareWaveContrast] turns their product into the contrast of hard stripes,
//     like the pixels of an LED wall. [AiryRadius] and [EncircledEnergy] describe the
//     image of a point of light.
//   - know what a camera really left? [MeasureEdge] measures the picture of a slanted
//     edge, to hold against [System.OTF].
//
// # Conventions
//
// A transfer function (OTF) is the contrast of a sinusoidal pattern in the image
// over its contrast in the object, at one spatial frequency. Those of this package
// are real, since all spreads are symmetric. A negative value means that bright and
// dark have changed places. The absolute value is the MTF. The transfer functions of
// independent spreads multiply; DefocusOTF contains diffraction already.
//
// A detail counts as resolved if it and all coarser ones keep the contrast. Beyond
// the frequency at which contrast is first reversed it may rise again; that is
// spurious resolution, and no method here calls it sharp.
//
// The direction of a pattern is that in which it varies. It is 0° along the rows of
// the sensor, for vertical stripes, and 90° down its columns. Directions of motion
// and of filters are measured in the same way.
//
// These ranges hold for every function. A wavelength is from 10 nm to 30 µm, an
// f-number from 0.5 to 1024, a spatial frequency from 0 to 1e9 line pairs per
// millimetre on the sensor, a direction from −360° to 360°. A function whose argument
// is outside its range gives an error that wraps [ErrInvalid] and names the argument,
// its value and the range. Functions with the result ok give ok = false instead.
//
// Distances and the working f-number are those of package lens. Infinity is +Inf. A
// System has no JSON (it is {}), and a SystemSpec loses its Lens there: keep the
// lens.Spec. Results go to JSON.
//
// # Formulas
//
//	quantity             formula                              source
//	Airy radius          1.2196698912665 λ N                  OpenStax 2016, 4.5
//	encircled energy     1 − J0(v)² − J1(v)²                  Born and Wolf, 8.5.2 †
//	cutoff               1/(λ N)                              Goodman, 6.3 †
//	sampling ratio Q     λ N/p                                definition
//	diffraction OTF      (2/π)(acos x − x √(1 − x²))          Goodman, 6.3 †
//	defocus OTF          integral over the pupil              Hopkins 1955 †
//	blur OTF             2 J1(z)/z                            transform of a disc
//	box OTF              sin z/z                              transform of a rectangle
//	jitter OTF           exp(−2 π² σ² ν²)                     transform of a normal distribution
//	low-pass OTF         cos(π ν d)                           Greivenkamp 1990 †
//	system OTF           product of its parts                 convolution theorem
//	square wave          (4/π) Σ ± OTF((2k+1) ν)/(2k+1)       Coltman 1954 †
//	slanted edge         ∫ E'(d) cos(2π f d) dd               ISO 12233, annex D †
//	limits of sampling   1/(2p), green 1/(2√2 p)              Petersen and Middleton 1962 †
//
// † from memory. OpenStax, University Physics Volume 3 (2016). J. W. Goodman,
// Introduction to Fourier Optics. M. Born and E. Wolf, Principles of Optics. H. H.
// Hopkins, Proc. R. Soc. Lond. A 231 (1955) 91. J. W. Coltman, J. Opt. Soc. Am. 44
// (1954) 468. J. E. Greivenkamp, Appl. Opt. 29 (1990) 676. D. P. Petersen and D.
// Middleton, Inform. Control 5 (1962) 279.
//
// # What is not modelled
//
// The lens is on its axis and has no aberrations. A real lens leaves less, most of
// all wide open, off the axis and out of the middle of its spectrum: take results as
// what cannot be exceeded, and measure the lens. Light has one wavelength; the
// contrast of white light is a mean over its spectrum. Also left out are flare, veiling
// glare, charge that spreads between photosites, rolling rows, demosaicing, noise
// reduction, scaling, sharpening and compression.
//
// # Cautions
//
// A setting that holds a set and the LED wall behind it brings the grid of the wall's
// pixels into focus, where it can beat with the photosites: ask package wall for the
// moiré first. Cautions for lenses in the sun and above people stand in package lens.
package transfer

import "errors"

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("transfer: invalid value")
