// Package sensor predicts what a camera's sensor makes of a picture: pixel counts,
// push-in headroom and exposure. Below it, package photosite predicts noise, and
// package recording data and media.
//
// # How do I …
//
//   - … find the pitch or the Nyquist frequency of a sensor?
//     [NewFormat]; [NewCrop] if only a part is read out.
//   - … find the lens that takes the same picture on film? [Format.CropFactor] with a
//     [Gate], [CropFactor.Equivalent].
//   - … know what binning, skipping or scaling in the camera leave? [NewReadout].
//   - … see how far a plate can be pushed into? [Raster.Headroom].
//   - … know whether a bright surface clips? [NewExposure],
//     [Exposure.SaturationMargin]; [SaturationSpeed] characterizes the sensor.
//   - … find how much light a setting needs, or a setting for a light?
//     [Exposure.Luminance], [Exposure.Illuminance]; [TimeForEV100], [FNumberForEV100].
//   - … read a light meter in EV, or predict its reading? [LuminanceFromEV100],
//     [IlluminanceFromEV100]; [EV100FromLuminance], [EV100FromIlluminance].
//
// # Conventions
//
// A spec is a plain struct. Its constructor checks every field once and returns an
// immutable value, safe for concurrent use. Methods of that value do not fail; ok is
// false if a question has no answer. Functions that take bare numbers return an
// error. Every error wraps ErrInvalid. Equal specs give values that are equal by ==.
// Specs go to JSON and back. Values from constructors have no JSON (they are {}):
// keep their spec.
//
// Lengths, angles and times are gonum.org/v1/gonum/unit types. Other quantities are
// float64: luminance in cd/m², illuminance in lx, focal-plane exposure in lx·s,
// spatial frequency on the sensor in line pairs per millimetre. A raster has its origin
// at the outer corner of the top-left pixel, x to the right, y down.
//
// The f-number is the focal length over the diameter of the entrance pupil.
//
// These ranges hold in the whole package, and are meant by "out of range":
//
//	columns, rows                1 to 2^24
//	sides of a picture area      0.1 µm to 1 m
//	pitch                        0.1 µm to 1 mm
//	f-number                     0.5 to 1024
//	exposure time                1 ns to 1e6 s
//	exposure index, ISO speed    0.1 to 1e8
//	exposure value               −100 to 100
//	luminance, illuminance       1e-12 to 1e12 cd/m², lx
//	meter constants K, C         1 to 1000 cd·s/m², 10 to 10000 lx·s
//
// Symbols: N f-number, t exposure time, S index, p pitch, ν spatial frequency,
// K and C constants of a meter.
//
// # Formulas
//
//	pitch, diagonal, Nyquist    p = width/columns   sqrt(w² + h²)   1/(2p)    definitions; Shannon 1949
//	crop factor                 reference width / width, or diagonals         common practice
//	equivalent lens             c F   c N   c the crop factor by width        common practice
//	photosites of a sample      (columns/samples) · (rows/samples)            definition
//	push-in headroom            min(columns ratio, rows ratio)                common practice
//	exposure value              log2(N²/t)                                    ISO 2720:1974
//	EV at index 100             log2(N²/t) − log2(S/100)                      ISO 2720:1974
//	reflected, incident meter   log2(100 L/K)   log2(100 E/C)                 ISO 2720:1974
//	focal-plane exposure        (π/4) T R L t (F/i)²/N² + Hf                  ISO 12232:2006
//	saturation-based speed      78/Hsat                                       ISO 12232:2006
//
// The texts of the ISO standards were not available. Their formulas were
// read in open-source libraries that implement them, which testdata/references.csv
// names; the rest is marked "from memory".
//
// # Not modelled
//
// Colour and the filters of a mosaic; noise (package photosite); curves for storage;
// the rolling shutter; the falloff and distortion of lenses (packages lens and
// lens/wide). The blur by the size of photosites, by motion and by shake is in package
// lens/transfer.
//
// # Cautions
//
// These are predictions for planning. Measure the real camera, on the real wall or
// road, with time left to change the plan. A margin in stops covers neither the sun,
// nor its glint on water, nor a lamp that turns towards the lens; these can also harm
// the sensor, and the eye at a finder. Do not look at the sun through a lens. Where an
// LED wall is made brighter, the people before it come first: follow local codes and
// leave the work to licensed staff.
package sensor
