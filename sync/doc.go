// Package sync computes the timing of a shoot: frame rates and timecode, shutter
// angles, what pulsed light leaves in a picture, image motion, and clocks.
//
// Import it under another name, since the standard library has a package sync:
//
//	import timing "example.com/platewright/sync"
//
// How do I …
//
//   - keep 23.976 exact? [ParseRate]
//   - find a shutter that is clean under the lights? [NearestCleanAngle];
//     [ShutterAngle.Rounded] is the angle that a menu can set
//   - align clocks? [Rate.Align]
//
// Package clock names frames and computes what clocks make of a day, package banding
// predicts and measures bands, package flicker judges light that flickers, and package
// motion says how far a picture moves.
//
// # Conventions
//
// Rates, times and shutter angles are exact fractions. A result whose numerator or
// denominator does not fit an int64 is an error, never a rounded number. Floating
// point is used for what is measured: exposures, row times, speeds.
//
// A frame is an int64 index, and frame n begins n periods after frame 0. A
// shutter angle is the fraction of a frame that the shutter is open, times 360°.
// The rate of a light is its number of pulses per second; lamps on mains give two
// in each cycle. The phase of a light is in periods. Rows count from the top, from
// 0. Modulation, contrast and depth are (max − min)/(max + min).
//
// Every error wraps ErrInvalid and names the field, the value and the range
// allowed. NaN and infinities are always errors. A zero Rate or
// ShutterAngle means "not set": functions that return an error return one for it, and
// other methods return zero values or ok false. Samples of a waveform, and rows of
// a frame, must be at least two, none negative, and not all 0. UnmarshalText leaves
// the value unchanged on an error.
//
// All types are immutable values. They compare with ==, equal specs give equal
// values, and they are safe for concurrent use. In JSON, rates, angles and times are
// strings, and rates that are not set are left out. A Banding has no JSON: keep
// its spec.
//
// # Formulas
//
// Each formula stands at its function. Those that are not elementary come from:
//
//	noise of the bands               MeasureBands                   S. O. Rice, Mathematical Analysis
//	                                                                of Random Noise, 1944
//	alignment to the epoch           Rate.Align                     SMPTE ST 2059-1:2015, 7.2
//
// None of these was read. They stand here as open implementations code them, or from
// memory; testdata/references.csv says which.
//
// # What is not modelled
//
//   - Light: dimming within a pulse, afterglow, pulses scattered within a period,
//     scan groups in another order than row by row.
//   - Cameras: sensors that reset and read rows at different speeds.
//   - People: how flicker is perceived; stroboscopic effects remain at a clean shutter.
//
// # Cautions
//
// Flashing light can cause seizures in photosensitive people, above all at 3 Hz to
// 70 Hz (common practice) and on large areas such as a wall. A picture without bands
// says nothing about that. Drifting bands, and beats between a wall and a lamp, are
// flashing light too. Warn everybody on the set, follow the local rules for flashing
// light, take competent advice, and be able to stop at once.
//
// Changing the supply or the drive of lamps and walls is work for licensed
// electricians. Plan measurements with moving vehicles with those responsible for
// the vehicle and its way, and let nobody who steers watch a number.
package sync
