// Package sync holds the exact values that cameras, walls and clocks are timed with,
// and says when each row of a camera is exposed.
//
// Import it under another name, since the standard library has a package sync:
//
//	import timing "example.com/platewright/sync"
//
// How do I …
//
//   - keep 23.976 exact? [ParseRate]; a wall locked to it is [Rate.Scale]
//   - write down an exposure or a row time? [ParseSeconds], [NearestSeconds]
//   - know when a row of a frame is exposed, and what a camera reads now? [NewReadout]
//   - find a shutter that is clean under the lights? [NearestCleanAngle];
//     [ShutterAngle.Rounded] is the angle that a menu can set
//   - know by how much an exposure misses being clean? [Rate.Periods]
//   - begin frames together without a cable? [Rate.Align]
//
// # Which package answers what
//
//	sync          rates, times, shutter angles, readouts, clean shutters
//	sync/banding  Which bands does a pulsed light or a wall leave in the picture? Which
//	              shutters, rates and phases keep them below a limit?
//	sync/cadence  When may a wall change? What does a camera see of its content? Which
//	              source frames make a clip at another speed?
//	sync/clock    What is this frame called? What time is it? How far do clocks drift,
//	              and when must they be set again?
//	sync/flicker  Is a light or a picture that flickers a hazard?
//	sync/latency  How late is the wall behind the tracked camera, and what does it cost?
//	sync/motion   How far does a picture move in an exposure, from row to row, and from
//	              camera to camera?
//	sync/trace    How far apart did two recordings begin? Which frames are repeated or
//	              torn? How does the camera shake?
//
// The packages below sync take its values, and not one another's. All follow the
// conventions of this page.
//
// # Conventions
//
// Rates, times and shutter angles are exact fractions. A result whose numerator or
// denominator does not fit an int64 is an error, never a rounded or wrapped number.
// A time in floating point becomes exact by [NearestSeconds], rounded to a fraction of
// the caller's choice; a picosecond suits row times. The other way, [Seconds.Time] and
// [Rate.Frequency] give the nearest float64.
//
// A frame is an int64 index, and frame n begins n periods after frame 0. A shutter angle
// is the fraction of a frame that the shutter is open, times 360°. The rate of a light
// is its number of pulses per second; lamps on mains give two in each cycle. The phase
// of a light is in periods. Rows count from the top, from 0, in whichever direction they
// are read. Modulation, contrast and depth are (max − min)/(max + min).
//
// Every error wraps the ErrInvalid of its package and names the field, the value and the
// range allowed. NaN and infinities are always errors. A zero Rate, ShutterAngle or
// Readout means "not set": functions that return an error return one for it, and other
// methods return zero values or ok false. UnmarshalText leaves the value unchanged on an
// error.
//
// All types but results with lists are immutable values that compare with ==; equal
// specs give equal values. They are safe for concurrent use. In JSON, rates, angles and
// times are strings, and rates that are not set are left out. Values that are made of a
// spec have no JSON: keep the spec, which has.
//
// # Formulas
//
// Each formula stands at its function. Those of this package are elementary, but for:
//
//	alignment to the epoch  Rate.Align  SMPTE ST 2059-1:2015, section 7.2
//
// It was not read, but stands here from memory; testdata/references.csv names the source
// of every check.
//
// # What is not modelled
//
//   - Sensors that reset and read rows at different speeds, or read several rows at once.
//   - The time in which a global shutter is read.
//   - Shutters that open and close slowly: blades and discs cover the gate gradually.
//   - People: how flicker is perceived. Stroboscopic effects remain at a clean shutter.
//
// # Cautions
//
// Flashing light can cause seizures in photosensitive people, above all at 3 Hz to 70 Hz
// (common practice) and on large areas such as a wall. A picture without bands says
// nothing about that. Drifting bands, beats between a wall and a lamp, and a wall that
// several cameras share are flashing light too. Warn everybody on the set, follow the
// local rules for flashing light, take competent advice, and be able to stop at once.
//
// Changing the supply or the drive of lamps and walls is work for licensed electricians.
// Plan measurements with moving vehicles with those responsible for the vehicle and its
// way, and let nobody who steers watch a number.
package sync
