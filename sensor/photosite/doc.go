// Package photosite predicts what the light on a sensor becomes: photons, electrons,
// signal and noise, up to the pixel of the delivered picture. It also measures a
// sensor from its flat frames.
//
// # How do I …
//
//   - … go from a surface in the scene to electrons? sensor.Exposure.FocalPlane gives
//     the lux-seconds, [Photosite.Electrons] the electrons.
//   - … know how many photons are in a lux-second of a light? [NewSpectrum],
//     [Spectrum.PhotonsPerLuxSecond].
//   - … find where the sensor clips? [Photosite.SaturationExposure]; with
//     [Photosite.SaturationSpeed], sensor.Exposure.SaturationMargin.
//   - … compare a sensor with a data sheet? [Photosite.DynamicRange],
//     [Photosite.MaxSNR], [Photosite.Threshold], by the standard EMVA 1288.
//   - … measure gain, quantum efficiency, noise and capacity of a real camera?
//     [MeasureFlatPair] for two frames of each exposure, [StackMeter] for the pattern,
//     [MeasurePhotonTransfer]; [PhotonTransfer.Spec] goes back to [New].
//   - … see what binning, averaging, scaling down or a push-in do to the noise?
//     [NewPixel], [Pixel.Noise], [Pixel.Grain].
//   - … find the range above and below grey, or the index that protects highlights
//     and shadows? [Pixel.Latitude], [Pixel.Indices].
//   - … know whether a scene fits the sensor, and what is missing? [Pixel.Fit].
//
// # Conventions
//
// A spec is a plain struct. Its constructor checks every field once and returns an
// immutable value, safe for concurrent use. Methods of that value do not fail; ok is
// false if a question has no answer. Every error wraps ErrInvalid. Equal specs give
// values that are equal by ==, save those of Spectrum, which cannot be compared.
//
// Light on the sensor is a focal-plane exposure in lx·s. Noise is a standard
// deviation. A stop is a factor of 2.
//
// Symbols: H focal-plane exposure, n photons per µm² and lux-second, η quantum
// efficiency, px and py pitches, μe mean count of electrons, σd read noise, K gain,
// DN the numbers that a converter gives; μ and σ² their mean and variance, μp the photons.
// The uncertainty of a measured value is one standard deviation.
//
// # Formulas
//
//	photons in a lux-second     ∫ S λ/(h c) dλ / (683 lm/W ∫ S V dλ)          EMVA 1288; CIE 018; SI
//	electrons                   μe = η n px py H                              EMVA 1288
//	signal and noise            K μe   K sqrt(μe + σd² + 1/(12 K²))           EMVA 1288
//	sensitivity threshold       σ + ½   σ² = max(σd² + 1/(12 K²), 0.24/K²)    EMVA 1288
//	dynamic range, best SNR     μe.sat/μe.min   sqrt(μe.sat)                  EMVA 1288
//	gain from flat frames       σ² − σ²dark = K (μ − μdark)                   EMVA 1288
//	responsivity from them      μ − μdark = R μp   η = R/K                    EMVA 1288
//	pattern of a stack          measured variance − σ²/frames                 EMVA 1288
//	saturation-based speed      78/Hsat                                       ISO 12232:2006
//	noise of a pixel            shot² + dark² + pattern², each over its count EMVA 1288; variances of means
//	grey at an index            10/index lx·s                                 ISO 12232:2006
//
// The texts of the standards were not available. Formulas were read in open-source
// libraries that implement them, which testdata/references.csv names; the rest is
// marked "from memory".
//
// # Not modelled
//
// Colour, but for the fraction of photosites that see one; what the interpolation of
// a mosaic, denoising and compression do to the noise; a response that is not linear;
// dark current, which counts in exposures of seconds and in heat (it is measured, and
// not predicted); fixed patterns of rows and columns; clipping of single photosites just
// below saturation. A measured PRNU holds the falloff of the light.
//
// # Cautions
//
// These are predictions for planning. Take quantum efficiency, read noise and
// capacity from a measurement of the camera, at the gain that will be used, and try
// the real camera in the real light with time left to change the plan.
package photosite
