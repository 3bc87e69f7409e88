package main

import (
	"math"

	"example.com/platewright/projection/rig"
	"example.com/platewright/sync/motion"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// pair names two cameras.
func (s *shoot) pair(a, b int) string {
	return s.Plates.Cameras[a].Name + "/" + s.Plates.Cameras[b].Name
}

// overlapAlong is the least and the greatest width of the overlap along a seam.
func overlapAlong(seam rig.Seam) (narrowest, widest unit.Angle) {
	narrowest = unit.Angle(math.Inf(1))
	for _, p := range seam.Points {
		narrowest, widest = min(narrowest, p.IntoA+p.IntoB), max(widest, p.IntoA+p.IntoB)
	}
	return narrowest, widest
}

// worstAlong is the range of elevations, in steps of 5°, at which the parallax
// along a seam is within 1 % of the most. low > high if it is nowhere.
func (s *shoot) worstAlong(seam rig.Seam, distance unit.Length, most float64) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, p := range seam.Points {
		if here, ok := s.array.Parallax(seam.A, seam.B, p.Dir, distance); ok && here.Pixels >= 0.99*most {
			_, elevation := angles(p.Dir)
			near := 5 * math.Round(elevation/5) // seam points are no finer
			low, high = min(low, near), max(high, near)
		}
	}
	return low, high
}

// slip is the distance by which a thing is displaced between two plates that
// disagree in time.
type slip struct {
	px   float64
	time unit.Time
	pair string // empty if the array has no joins
}

// slips are the largest slips at the seams of a thing at a distance: by clocks
// that are offset, by clocks that drift, by rows that are read one after the
// other, and by all three.
func (s *shoot) slips(distance unit.Length, offset, drift, rowTime unit.Time) (worst [4]slip) {
	for k := range worst {
		worst[k].px = -1 // less than the slip of a thing that stands still
	}
	vessel := s.motion()
	for _, seam := range s.seams() {
		for _, p := range seam.Points {
			_, rowA, okA := s.cameras[seam.A].Project(p.Dir)
			_, rowB, okB := s.cameras[seam.B].Project(p.Dir)
			if !okA || !okB {
				continue // an end of the seam, at the limit of a camera
			}
			skew := rowTime * unit.Time(math.Abs(rowA-rowB))
			for k, t := range [4]unit.Time{offset, drift, skew, offset + drift + skew} {
				for _, c := range []int{seam.A, seam.B} {
					if d, ok := vessel.Displacement(s.cameras[c], p.Dir, distance, t); ok && d.Pixels > worst[k].px*(1+1e-9) { // of ties the first
						worst[k] = slip{d.Pixels, t, s.pair(seam.A, seam.B)}
					}
				}
			}
		}
	}
	return worst
}

// motion is that of the vessel on its course.
func (s *shoot) motion() motion.Motion {
	m, _ := motion.New(motion.Spec{Velocity: r3.Vec{Z: -s.Vessel.SpeedKmH / 3.6}}) // the scenario limits its speed
	return m
}
