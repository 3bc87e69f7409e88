package rig

import (
	"errors"
	"fmt"
	"math"

	"example.com/platewright/internal/valid"
	"example.com/platewright/projection"
	"gonum.org/v1/gonum/spatial/r3"
)

// ErrInvalid is wrapped by every error of this package that reports a wrong
// input.
var ErrInvalid = errors.New("rig: invalid value")

// The largest array, and the most occluders of either kind.
const (
	maxCameras   = 64
	maxOccluders = 64
)

// Spec describes the cameras that shoot a plate together, and the parts of the rig and
// the vehicle that stand in their way.
type Spec struct {
	Cameras []projection.Camera // 1 to 64, none of them the zero Camera
	Balls   []Ball              // up to 64
	Boxes   []Box               // up to 64
}

// Rig is a set of cameras in one stage frame. What it says of directions holds for
// things that are far away compared with the distances between the cameras. Parallax
// tells how far that must be.
//
// A camera sees a direction that it images on its raster, inside MaxAngle and the image
// circle, and that no Ball or Box hides from it. Edges are included. The index of a
// camera is that in the Spec, from 0.
//
// A Rig is immutable, small to copy, and safe for concurrent use. Rigs are not
// comparable. The zero Rig has no camera and sees nothing.
type Rig struct{ regions []region }

// New checks a spec, all faults together, and returns the rig. A zero Camera is an
// error, and so is a Distortion that is not defined on the whole raster and does not tell
// by MaxRadius where it ends. A Ball or Box that holds a camera is an error.
func New(spec Spec) (Rig, error) {
	v := valid.New("rig", ErrInvalid)
	v.Int("number of cameras", len(spec.Cameras), "", 1, maxCameras)
	v.Int("number of balls", len(spec.Balls), "", 0, maxOccluders)
	v.Int("number of boxes", len(spec.Boxes), "", 0, maxOccluders)
	for i, c := range spec.Cameras {
		if c == (projection.Camera{}) {
			v.Fault(fmt.Sprintf("camera %d", i), "zero", "must come from projection.NewCamera or projection.NewView")
		}
	}
	for i, b := range spec.Balls {
		b.check(v, fmt.Sprintf("ball %d", i))
	}
	for i, b := range spec.Boxes {
		b.check(v, fmt.Sprintf("box %d", i))
	}
	if err := v.Err(); err != nil {
		return Rig{}, err
	}
	r := Rig{regions: make([]region, len(spec.Cameras))}
	for i, c := range spec.Cameras {
		r.regions[i] = newRegion(c)
		if d := r.regions[i].c.distortion; d != nil && !r.regions[i].bounded() {
			v.Fault(fmt.Sprintf("camera %d", i), fmt.Sprintf("with distortion %T", d),
				"must have a Distortion that is defined all over the raster, or tells by MaxRadius where it ends")
		}
		add := func(s shadow, fault, name string, j int) {
			if fault != "" {
				v.Fault(fmt.Sprintf("camera %d", i), fault, "must stand outside %s %d and within 1000 km of it", name, j)
			}
			r.regions[i].shadows = append(r.regions[i].shadows, s)
		}
		for j, b := range spec.Balls {
			s, fault := b.shadow(r.regions[i].c.position)
			add(s, fault, "ball", j)
		}
		for j, b := range spec.Boxes {
			s, fault := b.shadow(r.regions[i].c.position)
			add(s, fault, "box", j)
		}
	}
	if err := v.Err(); err != nil {
		return Rig{}, err
	}
	return r, nil
}

// edgeSlack, in px, keeps a direction seen that rounding has moved off an edge.
const edgeSlack = 1e-6

// look is the margin of a direction in a camera and its density there; margin
// is −Inf where an occluder hides it or the lens does not image it.
func (g *region) look(dir r3.Vec) (margin, density float64) {
	if g.hidden(dir) {
		return math.Inf(-1), 0
	}
	return g.c.look(dir)
}

// Count gives the number of cameras that see a direction. dir is in the stage frame, of
// any length. Count is 0 if dir is zero or not finite.
func (r Rig) Count(dir r3.Vec) int {
	n := 0
	for i := range r.regions {
		if margin, _ := r.regions[i].look(dir); margin >= -edgeSlack {
			n++
		}
	}
	return n
}

// Best gives the camera that samples a direction most finely: its index and its density,
// Camera.Density(dir).Least, in px/°. Of cameras whose densities are equal to 1e-9 it is
// the one with the greatest Margin, then the first. ok is false if no camera sees dir, and
// if dir is zero or not finite.
func (r Rig) Best(dir r3.Vec) (camera int, density float64, ok bool) {
	best := math.Inf(-1) // margin
	for i := range r.regions {
		margin, d := r.regions[i].look(dir)
		if margin < -edgeSlack {
			continue
		}
		tie := math.Abs(d-density) <= 1e-9*density
		if !ok || (tie && margin > best) || (!tie && d > density) {
			camera, density, best, ok = i, d, margin, true
		}
	}
	return camera, density, ok
}
