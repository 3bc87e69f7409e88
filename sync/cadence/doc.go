// Package cadence says which frame of a moving picture is seen when: when a wall may
// change before a camera, what the camera sees of its content, and which source frames
// make up a clip at another speed.
//
// How do I …
//
//   - know when the wall may change? [ChangeWindow]; [PhaseOf] is what a menu takes
//   - see which content each frame films, and what it tears? [NewPlayback], then
//     [Playback.Frame] and [Playback.Count]
//   - film one wall with several cameras? [Interleave]; read the cautions first
//   - play a clip slower, faster, backwards or at another rate? [NewRetime], then
//     [Retime.Frame] and [Retime.Pattern]
//
// The values that it takes are those of package sync, which is imported under another
// name beside the standard library's:
//
//	import (
//		timing "example.com/platewright/sync"
//		"example.com/platewright/sync/cadence"
//	)
//
// # Conventions
//
// All times, rates, weights and frame numbers are exact. A result that does not fit an
// int64, or a fraction of two, is an error. Floating point is only in Phase and in
// Part.Weight.
//
// A content frame is on from its time until the next one comes on. While the wall
// changes, which takes Settle, both are on it. A row sees a content frame if it is on
// at some time while the row is open. A row that closes as the wall begins to change
// does not see the change, nor does a row that opens as it ends.
//
// Every error wraps ErrInvalid, and that of package sync as well where a value of it is
// at fault. A zero Playback or Retime means "not set" and is an error. Playback and
// Retime are immutable values that compare with ==, and are safe for concurrent use.
// They have no JSON: keep their spec, which has.
//
// # Formulas
//
//	change window  T − exposure − (Rows − 1) · RowTime − settle       ChangeWindow
//	a slot         T/n − settle for each of n content frames          Interleave
//	content frame  ⌊(t − Offset) · Content⌋                           Playback.Frame
//	mixed rows     open before the change ends, and close after       Playback.Frame
//	               it has begun
//	source place   (Start + n/Output · Speed) · Source                Retime.Frame
//
// They follow from the definitions. The names of cadences, as 2:3, are common practice.
//
// # What is not modelled
//
//   - Walls: pictures that come on row by row over much of a frame (take Settle for
//     it), the latency of processors, and the refresh, which package banding judges.
//   - Interlaced cameras and walls: treat each field as a frame.
//   - Motion between frames: Blend and Average mix pictures, and invent none.
//   - The ends of a clip: Retime counts on before and after it.
//
// # Cautions
//
// A wall that is shared by interleaved pictures is flashing light for everybody who
// looks at it. People see all its pictures go by at the rate of the cameras. From 3 Hz
// to 70 Hz, and on an area as large as a wall, that can cause seizures in
// photosensitive people, and headaches in others (common practice). Share a wall only
// if there is no other way. Keep the pictures near in brightness and far from red, let
// package flicker judge the sequence, warn everybody beforehand, keep people at risk
// away, follow the local rules, take competent advice, and be able to stop at once. A
// clean result is no clearance.
//
// A wall that freezes, tears or repeats while a vehicle is simulated can make people
// on the set lose their balance: watch them, not only the picture.
package cadence
