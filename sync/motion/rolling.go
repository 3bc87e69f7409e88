package motion

import (
	"math"

	"example.com/platewright/internal/sphere"
	"example.com/platewright/internal/valid"
	timing "example.com/platewright/sync"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// View is a camera whose rows are exposed at known times.
type View struct {
	camera  Camera
	start   float64 // seconds: the middle of the exposure of row 0
	rowTime float64 // seconds, to the row below
	rows    int
}

// NewView returns a camera with its readout. Times count from the 0 s of the readout's
// clock, and frame 0 is recorded: let its Offset be small. A camera of nil, and a readout
// that timing.NewReadout refuses, are errors.
func NewView(camera Camera, readout timing.ReadoutSpec) (View, error) {
	c := newChecker()
	if valid.Absent(camera) {
		c.Unset("camera")
	}
	var top timing.Exposure
	r, err := timing.NewReadout(readout)
	if err == nil {
		top, err = r.Row(0, 0)
	}
	c.Add("readout", err)
	if !c.OK() {
		return View{}, c.Err()
	}
	v := View{camera, float64(top.Middle.Time()), float64(readout.RowTime.Time()), readout.Rows}
	if readout.Direction == timing.BottomUp {
		v.rowTime = -v.rowTime
	}
	return v, nil
}

// Record is where and when a camera records a thing.
type Record struct {
	X, Y      float64   // px in the picture
	Time      unit.Time // the middle of the exposure of that row
	Direction r3.Vec    // of the thing at that time
}

// Record is where a camera with a rolling shutter records a thing that stands at dir at
// time 0. Its y is the row that is exposed just when the thing is there. ok is also false
// if that is outside of the rows. It is false as well if the search does not settle, since
// the thing crosses rows about as fast as they are read: some 0.9 rows in a row time and
// more.
func (m Motion) Record(v View, dir r3.Vec, distance unit.Length) (Record, bool) {
	if v.camera == nil {
		return Record{}, false
	}
	t := 0.0
	for range 200 { // each step leaves the fraction vy · row time of the error
		now, ok := m.Direction(dir, distance, unit.Time(t))
		if !ok {
			return Record{}, false
		}
		x, y, ok := v.camera.Project(now)
		if !ok || !(y >= 0 && y <= float64(v.rows)) || math.IsNaN(x) || math.IsInf(x, 0) {
			return Record{}, false
		}
		next := v.start + v.rowTime*(y-0.5)
		if math.Abs(next-t) <= 1e-9*math.Abs(v.rowTime)+1e-15*math.Abs(next) {
			return Record{x, y, unit.Time(next), now}, true
		}
		t = next
	}
	return Record{}, false
}

// Skew is what cameras make of one thing that they record at different times.
type Skew struct {
	Time  unit.Time  // from the first camera's record to the second's
	Angle unit.Angle // by which the thing moves in this time

	// FirstPixels and SecondPixels are that way in px of the picture of either camera.
	FirstPixels, SecondPixels float64
}

// Skew is the step in a thing at the seam between two cameras, of which each records it
// when it reads the row that shows it. A camera that reads its rows upwards beside one
// that reads downwards makes steps that no distance lessens while the vehicle turns. ok is
// false if one of them does not see the thing at either time, and where Record is not ok.
func (m Motion) Skew(first, second View, dir r3.Vec, distance unit.Length) (Skew, bool) {
	a, ok1 := m.Record(first, dir, distance)
	b, ok2 := m.Record(second, dir, distance)
	if !ok1 || !ok2 {
		return Skew{}, false
	}
	xa, ya, ok1 := moved(first.camera, a.Direction, b.Direction)
	xb, yb, ok2 := moved(second.camera, a.Direction, b.Direction)
	if !ok1 || !ok2 {
		return Skew{}, false
	}
	return Skew{
		Time: b.Time - a.Time, Angle: unit.Angle(sphere.Angle(a.Direction, b.Direction)),
		FirstPixels: math.Hypot(xa, ya), SecondPixels: math.Hypot(xb, yb),
	}, true
}

// Shear is what a rolling shutter makes of a small thing.
type Shear struct {
	Lean    float64 // px to the right for each row down, of an edge that is upright in the picture
	Stretch float64 // height of the thing over that under a global shutter
}

// Shear is how a rolling shutter leans and stretches a small thing at dir.
//
//	Lean = vx · row time        Stretch = 1/(1 − vy · row time)
//
// vx and vy are the velocity in the picture, in px/s. The row time is negative if rows
// are read from the bottom up. ok is also false if vy · row time ≥ 1.
func (m Motion) Shear(v View, dir r3.Vec, distance unit.Length) (Shear, bool) {
	x, y, ok := m.flow(v.camera, dir, distance)
	if rest := 1 - y*v.rowTime; ok && rest > 0 {
		return Shear{Lean: x * v.rowTime, Stretch: 1 / rest}, true
	}
	return Shear{}, false
}
