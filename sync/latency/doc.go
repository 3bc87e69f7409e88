// Package latency adds up the delays between a tracked camera and the light of a wall,
// and says what they cost.
//
// Rates and exact times come from package sync, here under the name timing:
//
//	import timing "example.com/platewright/sync"
//
// How do I …
//
//   - know how late the picture on the wall is? [Total] of the stages from the tracker to
//     the light
//   - know how much larger the inner picture must be than the camera's view? [MarginFor]
//   - find the tracking sample that belongs to the middle of an exposure? [NewTracker] and
//     [Tracker.At]; the middle is that of timing.Readout
//   - know how far ahead a renderer must predict? [Tracker.Newest]
//
// # Conventions
//
// The latency of a picture is the time from the moment at which the tracker measured the
// camera to the moment at which the light with that measurement is recorded: count to the
// middle of the exposure. The inner picture is the part of the wall's picture that is
// rendered for the view of the camera.
//
// Times that only add up and compare are exact fractions (timing.Seconds). Delays of
// equipment are measured, and so in floating point. Every error wraps [ErrInvalid] and
// names the field, the value and the range allowed.
//
// # Formulas
//
//	stage              frames/rate + time, to as much and jitter more
//	hand-over          between clocks that are not locked: 0 to a period of the giving stage
//	late angle         speed of the pan · latency
//	margin             the view after the latency, laid on the wall, less the view before
//	error of a linear prediction     ½ · acceleration · (time ahead)²
//
// All are elementary; the checks in testdata/references.csv simulate clocks and turn
// cameras in small steps.
//
// # What is not modelled
//
// Filters of a tracker, which delay and bend fast moves; frames that are dropped; losses
// of the network; how light builds up within a frame of the wall. A wall that is not
// plane, or not square to the camera, needs more margin at its far end.
//
// # Cautions
//
// A picture that lags behind a camera, or moves on its own, makes people near the wall
// sick or unsteady: warn them, and let nobody climb or drive before it. A crane or a
// vehicle with a camera is run by those responsible for it; none of these numbers
// replaces their judgement of a safe speed.
package latency

import (
	"errors"
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("latency: invalid value")

func newChecker() *valid.Checker { return valid.New("latency", ErrInvalid) }

// Degree is one degree of arc, π/180 rad.
const Degree unit.Angle = math.Pi / 180
