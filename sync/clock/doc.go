// Package clock names frames by timecode, converts between PTP and UTC, says how far
// free-running clocks drift, and counts samples of sound by frames.
//
// Rates and exact times come from package sync, here under the name timing:
//
//	import timing "example.com/platewright/sync"
//
// How do I …
//
//   - name a frame, or find it by its label? [NewTimecode], [Timecode.Format], [Timecode.Parse]
//   - know how wrong a label is after an hour? [Timecode.LabelError]
//   - label frames by the time of day? [NewDailyJam], [DailyJam.AtPTP]; [DailyJam.NextJam]
//     says which labels a jam leaves out or repeats
//   - convert between PTP and UTC? [LeapTable]
//   - read and write the timecode of a picture file or of RTP? [Unpack], [Word.Pack],
//     [Timecode.WordFrame], [Timecode.Word]
//   - know how long recorders stay together without a cable? [DriftTime]; [PlanResync]
//     says when to jam them again
//   - know which sample of sound a frame begins with? [NewAudio]
//
// # Conventions
//
// A frame is an int64 index, and frame n begins n periods after frame 0. A label names
// a frame and measures no time. Jamming sets the label or the time of a recorder from
// a master.
//
// Times of timing.Seconds, counts and labels are exact: a result that does not fit
// int64 is an error, never a rounded number. A time of PTP is the seconds of TAI since
// 1970-01-01T00:00:00 TAI, the epoch of frames too (Rate.Align). Times of drifts are
// unit.Time, in seconds and float64. Clock errors are in parts per million (ppm),
// positive for a clock that runs fast. Recorders and takes count from 0. The binary
// groups of user bits are called 1 to 8.
//
// Every error wraps ErrInvalid and names the field, the value and the range allowed.
// NaN and infinities are errors. UnmarshalText leaves the value unchanged on an error.
//
// All types are immutable values, safe for concurrent use. They compare with == unless
// their doc says otherwise. Specs and results go through JSON, with times in seconds
// and rates and enums as text. A Timecode, a DailyJam, an Audio and a LeapTable have no
// JSON: keep their spec or list.
//
// # Formulas
//
//	labels, with and without drop     Timecode             SMPTE ST 12-1
//	words of 32 bits                  Packing              SMPTE 12M-1999, ST 12-1:2014, RFC 5484
//	date in user bits                 Date                 SMPTE ST 309
//	labels from PTP, the daily jam    DailyJam             SMPTE ST 2059-1:2015
//	UTC = TAI − whole seconds         LeapTable            IERS, list of leap seconds
//	offset + ppm · 10⁻⁶ · time        DriftTime            elementary
//	rate of samples / rate of frames  AudioSpec            elementary
//
// Of these only the list of the IERS was read. The standards stand here as open
// implementations code them, or from memory; testdata/references.csv says which.
//
// # What is not modelled
//
//   - Timecode as a signal: linear, in the picture, in ancillary data. The bits that
//     signals add above 60 frames a second.
//   - Dates as modified Julian dates, and the zone codes beside a date.
//   - Summer time: the offset of a DailyJam is fixed. Seconds left out of UTC.
//   - Delay and jitter of a network, and clocks whose error changes with temperature or
//     age: state a tolerance that holds for the day.
//
// # Cautions
//
// The list of leap seconds in this package expired on 28 June 2026. Results from then
// on say Expired until ReadLeapTable gives a later list.
//
// A drift within its limit is as good as the stated tolerances. Measure the clocks at
// the temperatures of the day, and check them after the last take.
//
// Jam recorders on a vehicle only while it stands still.
package clock

import (
	"errors"

	"example.com/platewright/internal/valid"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("clock: invalid value")

func newChecker() *valid.Checker { return valid.New("clock", ErrInvalid) }
