// Package trace measures recordings frame by frame: the time between two of them, how
// their clocks drift apart, frames that came wrong, and how the camera shook.
//
// Rates come from package sync, here under the name timing:
//
//	import timing "example.com/platewright/sync"
//
// How do I …
//
//   - find the offset between two recordings, to a fraction of a frame?
//     [MeasureOffset], from a [Trace] of each
//   - make a trace of frames? [NewWatcher]; [Watcher.Add] for each frame, then
//     [Watcher.Means] or [Watcher.Changes]
//   - find frames that are repeated, stuck or torn? [Watcher.Report]
//   - know how far two clocks drift apart in a take? [MeasureDrift]
//   - know how a camera shakes? [ShiftMeter] for each frame, then [MeasureVibration]
//   - find missing frames and breaks in timecode? [FindJumps]
//   - find missing frames where no labels say so? [FindGaps], from the shifts of a
//     ShiftMeter, while the picture moves steadily
//   - find the row time of a camera? [MeasureRowTime], from bands that a lamp left
//
// # Conventions
//
// Frames count from 0. A value of a trace stands for the time n/rate. An offset is the
// time of frame 0 of the second recording, counted from frame 0 of the first; it is
// positive if the second began later. Samples are over full scale: 1 is the largest
// whole number of a type, or 1 for float32.
//
// An uncertainty, named Error, is one standard deviation. In 200 random scenes with
// noise the truth lay within three of them in 99 %, and the mean was off by less than
// half of one.
//
// A measurement refuses where the recording does not tell: the error says what is
// missing. What it accepts may still be wrong where something looks like evidence and
// is none, as one flash in each recording that was not the same flash.
//
// Frames are taken one after another. A Watcher and a ShiftMeter keep block means of
// the last frame only, and a Watcher a few numbers of each frame before.
//
// Every error wraps [ErrInvalid] and names the field, the value and the range allowed.
// NaN and infinities are always errors.
//
// # Formulas
//
//	offset           Σ (x y′ − x′ y) = 0 over the overlap, x and y without slow changes
//	chance           Fisher's transform of the correlation, from memory
//	uncertainty      Newey and West, Econometrica 55 (1987) 703, from memory
//	noise of change  2 noise²/n in the square, for blocks of n samples
//	row time         (k ± 1/spacing)/rate
//	shift            Σ ∇(now + shifted last) · (now − shifted last) = 0
//	gap              shift = (1 + missing) · step of a steady motion
//	vibration        a swing of amplitude A shifts frames by 2 A sin(π f/rate)
//
// # What is not modelled
//
//   - Exposures of different lengths: an offset is between their middles.
//   - Rolling shutters: a trace is the mean over a frame, whose rows are exposed one
//     after another. If the readouts differ, so does the time that the mean stands for.
//   - Frames that are missing without labels while the picture stands or moves unevenly,
//     and a camera in which every frame is torn.
//   - Noise that is correlated between samples, as after a colour mosaic or compression:
//     give a larger WatchSpec.Noise.
//   - Vibration faster than half the frame rate, which is found at another frequency, and
//     vibration within an exposure, which blurs.
//   - Repeats in a scene that stands still. Report counts such frames as unclear.
//
// # Cautions
//
// A flash made to align cameras is flashing light, which can cause seizures in
// photosensitive people, above all if it repeats. One slow change, as a hand before the
// lens, serves as well. Warn everybody, and follow the local rules for flashing light.
// On a vehicle, nobody who steers should watch or make a signal.
package trace

import (
	"errors"

	"example.com/platewright/internal/valid"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("trace: invalid value")

func newChecker() *valid.Checker { return valid.New("trace", ErrInvalid) }
