// Package banding predicts the light and dark rows that a light which varies in time
// leaves in a picture, finds the settings that avoid them, and measures them in a
// recorded frame.
//
// How do I …
//
//   - see what a wall leaves in the picture? [New]; [Prediction.Worst] is how deep the
//     bands can get, [Prediction.Bands] how many there are and how they move, and
//     [Prediction.Frame] gives the rows for a chart
//   - describe how a wall makes its greys? [Pulse], [Scattered], [BitPlanes], [Sampled],
//     or a [Waveform] of your own; [Wall] has the scan groups
//   - find the shutter angles, frame rates or refresh rates below a limit?
//     [Prediction.ShutterAngles], [Prediction.CameraRates], [Prediction.LightRates]
//   - find the phase of the genlock? [Prediction.Phases]
//   - know how exact the rates must be? [Prediction.Tolerance], [Prediction.DepthWithin]
//   - be safe without knowing the wall? [PeriodsFor]
//   - know what remains of a lamp that varies like a sine? [ResidualModulation]
//   - measure a recorded frame of an even field? [MeasureBands]
//   - measure a take of any scene under a light of known rate? [MeasureMoving]
//
// The package takes times and rates from package sync, which needs another name:
//
//	import timing "example.com/platewright/sync"
//
// # How bands come about
//
// An LED is on or off; a wall makes its greys by switching. A camera row sums the light
// over its exposure. If that is a whole number of the light's periods, every row of
// every frame gets the same. If not, a row gets more or less, by when it opens. A
// rolling shutter opens its rows one after another, so that the picture shows bands.
// Under a global shutter they are alike, and whole frames may flicker.
//
// Most walls light their rows in scan groups that take turns. Neighbouring wall rows then
// shine at different times. The order of the turns, and how many wall rows lie on a
// camera row, change the spacing of the bands, and a blur over wall rows makes them
// shallower.
//
// A wall whose greys are made of several unlike pulses repeats once a frame only. A
// shutter that is clean for its refresh rate is then clean for those greys whose pulses
// are all alike, and nearly so for those whose pulses differ little. Dark greys have few
// pulses, and are the worst.
//
// # Conventions
//
// Time is in periods of the light, and the phase of a row is when it opens: 0 is when
// the period of the light begins. Prediction.Phase gives that of a frame. Rows count from
// the top, from 0, also if the camera reads upwards.
//
// Light is the mean over an exposure, in the unit of the waveform's levels. A wall of m
// groups shows at most 1/m of the level. Depth, contrast and modulation are
// (max − min)/(max + min).
//
// A depth that is asked for is 10⁻⁶ to less than 1; anything else is an error.
//
// Depth is over all phases, unless it is that of [Prediction.Phases]: rows of one frame
// may show a part of it only, and the next frame another.
//
// [Prediction.ShutterAngles] and the other questions for exposures hold for any phase,
// and leave the blur out: with it the bands are as deep or shallower, so that their
// answers are safe. Predict the setting that you choose to see what blur is worth. They
// compare each step of a grey with each other: greys whose numbers of steps, squared, add
// up to more than 2²⁶ are an error.
//
// Every error wraps [ErrInvalid] and names the field, the value and the range allowed.
// NaN and infinities are always errors. Values are immutable and safe for concurrent use.
// Specs and answers marshal to JSON; a [Prediction] does not.
//
// # Formulas
//
// Each formula stands at its function. All follow from the overlap of exposures and
// pulses, except these:
//
//	noise of the bands     MeasureBands           S. O. Rice, Mathematical Analysis of Random
//	                                              Noise, 1944, from memory
//	drives                 Scattered, BitPlanes   common practice
//
// The light of a row is piecewise linear in its phase, and in the length of the exposure.
// Depths and ranges of settings are found at the bends, and are exact but for rounding:
// about 10⁻¹⁵ over the exposure in periods.
//
// # What is not modelled
//
//   - Pulses that rise and fall slowly, afterglow, and greys that depend on the
//     temperature or on their neighbours. Give their light as a Waveform if you know it.
//   - Drives that show one bit plane on all scan groups before the next, with slots of
//     different lengths.
//   - Blanking between refreshes, unless it is part of the Waveform.
//   - Sensors that reset and read their rows at different speeds.
//   - Colours whose drives differ: predict each.
//   - Noise, tone curves and compression. Depth is that of linear light.
//
// # Cautions
//
// Flashing light can cause seizures in photosensitive people, above all at 3 Hz to 70 Hz
// and on large areas such as a wall (common practice). A picture without bands says
// nothing about that: a camera at a clean shutter does not show how its light flashes.
// Drifting bands, slow refresh rates, black time between frames, and beats between a wall
// and a lamp are flashing light too. Warn everybody on the set, follow the local rules
// for flashing light, take competent advice, and be able to stop at once.
//
// How a wall drives its pixels is seldom published, and differs between its settings for
// brightness, bit depth and frame rate. Measure the wall at hand with the camera at hand,
// in its darkest greys, before a shoot relies on a prediction. Changing the supply or the
// drive of lamps and walls is work for licensed electricians.
package banding

import (
	"errors"

	"example.com/platewright/internal/valid"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("banding: invalid value")

func newChecker() *valid.Checker { return valid.New("banding", ErrInvalid) }
