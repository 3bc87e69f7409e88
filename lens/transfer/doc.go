// Package transfer computes how much contrast a lens, a sensor and movement leave
// of fine detail.
//
// How do I …
//
//   - know how much contrast is left of a pattern? Multiply the transfer functions
//     at its spatial frequency: [LensOTF], or [DiffractionOTF], [DefocusOTF] and
//     [BlurOTF] without a Lens; [BoxOTF] for photosites and motion; [JitterOTF] for
//     vibration. [SquareWaveContrast] turns the product into the contrast of hard
//     stripes, like the pixels of an LED wall.
//   - know where detail ends? [CutoffFrequency], and [SamplingRatio] against the
//     photosites. [AiryRadius] and [EncircledEnergy] describe the image of a point
//     of light.
//
// # Conventions
//
// A transfer function (OTF) is the contrast of a sinusoidal pattern in the image
// over its contrast in the object, at one spatial frequency. Those of this package
// are real, since all spreads are symmetric. A negative value means that bright and
// dark have changed places. The absolute value is the MTF. The transfer functions of
// independent spreads multiply; DefocusOTF and LensOTF contain diffraction already.
//
// These ranges hold for every function. A wavelength is from 10 nm to 30 µm, an
// f-number from 0.5 to 1024, and a spatial frequency from 0 to 1e9 line pairs per
// millimetre on the sensor. A function whose argument is outside its range gives an
// error that wraps [ErrInvalid] and names the argument, its value and the range.
// Functions with the result ok give ok = false instead.
//
// Distances and the working f-number are those of package lens.
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
//	square wave          (4/π) Σ ± OTF((2k+1) ν)/(2k+1)       Coltman 1954 †
//
// † from memory. OpenStax, University Physics Volume 3 (2016). J. W. Goodman,
// Introduction to Fourier Optics. M. Born and E. Wolf, Principles of Optics. H. H.
// Hopkins, Proc. R. Soc. Lond. A 231 (1955) 91. J. W. Coltman, J. Opt. Soc. Am. 44
// (1954) 468.
package transfer

import "errors"

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("transfer: invalid value")
