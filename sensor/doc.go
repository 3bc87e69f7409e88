// Package sensor predicts what a camera's sensor does with a picture: how many
// photosites of what size look at it, how far a plate can be pushed into, how
// much data it makes, how the light of a scene exposes it, and how noisy and
// how sharp the photosites leave it.
//
// # Conventions
//
// A spec is a plain struct; its constructor checks every field once and returns
// an immutable value, safe for concurrent use, whose methods do not fail. Where
// a question has no answer a method returns false. Functions that take bare
// numbers return an error, which wraps [ErrInvalid]. Nothing panics.
//
// Lengths, angles and times are [gonum.org/v1/gonum/unit] types. What these lack
// is float64 with its unit in the comment: luminance in cd/m², illuminance in
// lx, focal-plane exposure in lx·s, spatial frequency on the sensor in line
// pairs per millimetre, data in bytes of 8 bit with decimal multiples (1 TB is
// 1e12 B). Rasters have their origin at the outer corner of the top left pixel,
// x to the right, y down.
//
// An f-number is the focal length over the diameter of the entrance pupil, 0.5
// or more, everywhere in this package.
//
// Symbols: N f-number, t exposure time, S index, p pitch, ν spatial frequency,
// η quantum efficiency, K gain (of a photosite) or constant (of a meter).
//
// # Formulas
//
//	pitch, diagonal, Nyquist   p = width/columns   sqrt(w² + h²)   1/(2p)   definitions; Shannon 1949
//	crop factor                reference diagonal / diagonal                common practice
//	push-in headroom           min(columns ratio, rows ratio), log2         common practice
//	data                       pixels · samples · bits · rate / compression definition
//	exposure value             log2(N²/t)                                   ISO 2720:1974
//	EV at index 100            log2(N²/t) − log2(S/100)                     ISO 2720:1974
//	reflected, incident meter  log2(100 L/K)   log2(100 E/C)                ISO 2720:1974
//	focal-plane exposure       (π/4) T v cos⁴θ L t (F/i)²/N² + Hf           ISO 12232:2006
//	saturation-based speed     78/Hsat                                      ISO 12232:2006
//	exposure index             10/Ha                                        ISO 12232:2006
//	signal and noise           K η μp   K sqrt(η μp + σd² + 1/(12 K²))      EMVA 1288
//	thresholds of sensitivity  (σ + ½)/η, exact root                        EMVA 1288
//	dark noise for these       σ² = max(σd² + 1/(12 K²), 0.24/K²)           EMVA 1288
//	dynamic range, best SNR    μp.sat/μp.min   sqrt(μe.sat)                 EMVA 1288
//	photons                    px py t E λ/(h c)                            EMVA 1288; SI
//	irradiance by radiance     π R/(4 N²)                                   sine condition
//	width, smear               |sin(π w ν)/(π w ν)|                         Goodman
//	jitter                     exp(−2 π² σ² ν²)                             Fourier transform
//	sampling ratio             λ N / p                                      Goodman for the cut-off
//
// The ISO and EMVA standards themselves were not opened: their formulas are
// taken from the open-source libraries colour-hdri and EMVA1288/emva1288, which
// implement them, and where a comment says so from memory.
//
// # Not modelled
//
// Colour and the filters of a mosaic; response that is not linear, and curves
// for storage; dark current, its noise and temperature; differences between
// photosites; the reading out of rows one after another; overhead of files,
// sound and metadata; the falloff and distortion of real lenses.
//
// # Cautions
//
// These are predictions for planning. Measure the real camera, on the real wall
// or road, with time left to change the plan: a margin in stops says nothing of
// the sun, its glint on water, or a lamp that turns towards the lens, which can
// also harm a sensor and an eye at a finder. Do not look into the sun through a
// lens. Where more light is wanted from an LED wall, people in front of it come
// first: keep to local codes and to licensed practice. Store every take twice
// before a card is wiped.
package sensor
