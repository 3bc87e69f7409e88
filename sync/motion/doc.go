// Package motion computes how far things move in the picture of a camera that is fixed
// to a moving vehicle.
//
// Rates and exact times come from package sync, here under the name timing:
//
//	import timing "example.com/platewright/sync"
//
// How do I …
//
//   - know what a late plate is worth in pixels, in every direction? [New] with speed and
//     turning of the vehicle, then [Motion.Displacement] for the lateness
//   - know how long a blur is? [Motion.Displacement] for the exposure
//   - see where a rolling shutter records a thing? [NewView] and [Motion.Record]
//   - know how far it leans things, and how much it stretches them? [Motion.Shear]
//   - know what a seam shows between cameras that read their rows in different directions?
//     [Motion.Skew]
//   - know from which speed on a pan blurs or strobes? [Strobing]
//
// # Conventions
//
// The frame is that of the vehicle: metres, right-handed, +Y up, −Z forward. The vehicle
// moves steadily: its velocity and its rates of turn, in its own frame, do not change
// meanwhile. Things stand still. A direction is a vector in the vehicle's frame from the
// camera to a thing at time 0, of any length but 0; a distance goes with it. A distance
// of +Inf, for sky and far shores, leaves turning alone to move things.
//
// A picture that is late by t shows a thing where it was: the displacement for −t. It is
// that for t, turned round, but for the curvature of the way.
//
// Positions in a picture are in pixels, x to the right and y down, from the outer corner
// of its top left pixel. The middle of row 0 is at y = 0.5.
//
// The functions that return an error wrap [ErrInvalid], and name the field, the value
// and the range allowed. For the methods, ok is false if the thing is out of the picture
// at one of the times, if an argument is NaN or outside its range, or if the camera is at
// the thing. Distances are 1 µm and more; times are −1 h to 1 h.
//
// # Formulas
//
//	velocity of the camera   v + ω × arm                        rigid body
//	way in the time t        (1 + b[ω]× + c[ω]×²)(v + ω × arm) t
//	                         φ = |ω| t, b = (1 − cos φ)/φ², c = (φ − sin φ)/φ³
//	turn of directions       −φ about ω                         Rodrigues
//	velocity in the picture  J (−ω × d − (v + ω × arm)/D)       J: derivatives of Project
//	rolling shutter          t = time of the row y(t) that records it
//	crossing                 7 s at 24 frames a second          common practice
//
// [ω]× is the cross product with ω t, d a unit vector. All are elementary mechanics; the
// checks in testdata/references.csv move the camera in small steps.
//
// # What is not modelled
//
// Vibration and acceleration, things that move by themselves, suspension and what a
// stabilised head takes out. Motion blur is the way from the opening to the closing of
// the shutter, as the crow flies. The two cameras of a seam are at one place: their
// parallax is the matter of package rig.
//
// # Cautions
//
// Measurements and shots with moving vehicles are planned with those responsible for the
// vehicle and its way. Nobody who steers watches a number or a monitor. Cameras outside of
// a vehicle are secured twice, and so is what hangs from them. Large moving pictures
// around people make some of them sick or unsteady: give them something at rest to hold
// and to look at.
package motion

import (
	"errors"
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("motion: invalid value")

func newChecker() *valid.Checker { return valid.New("motion", ErrInvalid) }

// Degree is one degree of arc, π/180 rad.
const Degree unit.Angle = math.Pi / 180
