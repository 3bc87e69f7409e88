// Package sync tells when things happen: exact frame rates and timecode,
// shutters, what a pulsed light leaves on a recorded frame, and what it costs
// to be early or late.
//
// Times are exact. A [Rate] is a fraction, a [Seconds] is a fraction, and what
// follows from them is computed in whole numbers with intermediates of 128
// bits; what does not fit is an error, never a rounded number. Floating point
// enters with what is measured: exposures, row times, speeds.
//
// # Conventions
//
// Frames are indices, int64 from 0; frame n begins n periods after frame 0.
// Labels of timecode only name them. A shutter angle is a part of the frame. A
// light's rate is its flashes a second, twice the frequency of the mains. A
// phase is in periods. Rows count from the top, 0 first. An offset is positive
// where the picture is late.
//
// The name of the package is that of the standard library's; a file that needs
// both renames one. Methods of zero values give zeros, false or errors. All
// types are immutable values, safe for concurrent use. ASCII names at the API,
// mathematical letters in comments.
//
// # Formulas
//
//	subject                       where                      source
//	rates, n/rate, 1/|a − b|      Rate                       elementary
//	labels, with drop             Timecode                   SMPTE ST 12-1, as coded in FFmpeg, libavutil/timecode.c
//	several frames a number       Timecode.SuperFrame        SMPTE ST 12-1:2014, 12.1, as quoted there
//	angle/360° / rate             ShutterAngle               elementary
//	k flashes an exposure         CleanAngles                elementary
//	pulses in an exposure         Banding                    elementary: integral of a pulse train
//	bands, 1/|row time · F − s/m| Banding.Spacing            elementary: phase from row to row
//	worst grey, 1/(2k + 1)        Banding.WorstDepth         elementary: limit of short pulses
//	bands in a recording          MeasureBands               least squares; upcrossings: S. O. Rice, Mathematical
//	                                                         Analysis of Random Noise, 1944, from memory
//	m |sinc(f t)|                 Ripple                     elementary: mean of a sine over an exposure
//	percent flicker, its limits   PercentFlicker,            IEEE 1789-2015, as summarised at
//	                              FlickerLimits              lightingrecipe.com/flicker-pstlm-and-svm
//	flicker index                 FlickerIndex               IES Lighting Handbook, from memory
//	alignment to the epoch        Rate.Align                 SMPTE ST 2059-1:2015, 7.2, as quoted at
//	                                                         broadcastengineering.info, topic 6668
//	TAI − UTC                     PTPTime                    IERS Bulletin C 52, from memory
//	atan2(s cos α, D − s sin α)   Offset                     elementary geometry
//
// The SMPTE and IEEE texts themselves were not read; where they matter, check
// with them.
//
// # What is not modelled
//
// Timecode's user bits, flags, colour framing and signal; the layouts of its
// binary words, which differ between carriers. Light that is neither fully on
// nor off within its pulses, afterglow, and pulses that are scattered within a
// period to hide them; scan groups that are not wall rows in turn, k mod m;
// sensors that reset and read rows at different speeds. How people see flicker beyond the numbers named; stroboscopic effects, which
// even a clean exposure keeps. Network time itself, its delay and its jitter,
// and leap seconds to come.
//
// # Cautions
//
// Flashing light can bring on seizures in photosensitive people, at some
// frequencies (3 Hz to 70 Hz is the range usually named: common practice) and
// over large areas such as a wall. Numbers of this package, a clean picture in
// the camera included, say nothing about that: ask and warn everybody on the set, follow the local
// rules for flashing light, take competent advice, and be able to stop it at
// once. Drifting bands and beats between a wall and a lamp are flashing light
// too.
//
// Changing how lamps or walls are fed, or their refresh and drive, is work on
// electrical equipment for those licensed to do it. Offsets are found out with
// vehicles that move: plan that with those responsible for the vehicle and the
// road or water, and let nobody who steers watch a number.
package sync
