package stage

import (
	"fmt"
	"math"
	"slices"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Sight says whether something is seen, and if not, why not.
type Sight uint8

const (
	Seen            Sight = iota // it is seen; a ray meets the lit side of a panel
	OffPanels                    // no panel is at the raster position
	FromBehind                   // the eye is behind the panel or the mirror, or in its plane
	HiddenByPanel                // a panel is in the way
	HiddenByBlocker              // a blocker is in the way
	OutsidePicture               // the camera does not see it
	ShowsNothing                 // the ray leaves the stage
	ShowsBack                    // the ray meets the back of a panel
	ShowsBlocker                 // the ray meets a blocker
)

var (
	sights = enum.New[Sight](ErrInvalid, []string{
		Seen: "seen", OffPanels: "off the panels", FromBehind: "seen from behind", HiddenByPanel: "hidden by a panel",
		HiddenByBlocker: "hidden by a blocker", OutsidePicture: "outside the picture", ShowsNothing: "shows nothing",
		ShowsBack: "shows the back of a panel", ShowsBlocker: "shows a blocker",
	})
	surfaces = enum.New[Surface](ErrInvalid, []string{NoSurface: "none", LitFace: "lit face", PanelBack: "back of a panel", AtBlocker: "blocker"})
)

// String gives a name like "hidden by a blocker".
func (s Sight) String() string { return sights.Name(s) }

// MarshalText gives the name. An unknown Sight is an error.
func (s Sight) MarshalText() ([]byte, error) { return sights.Marshal(s) }

// UnmarshalText reads a name. Any other text is an error and leaves s unchanged.
func (s *Sight) UnmarshalText(text []byte) error { return sights.Unmarshal(s, text) }

// String gives a name like "lit face".
func (s Surface) String() string { return surfaces.Name(s) }

// MarshalText gives the name. An unknown Surface is an error.
func (s Surface) MarshalText() ([]byte, error) { return surfaces.Marshal(s) }

// UnmarshalText reads a name. Any other text is an error and leaves s unchanged.
func (s *Surface) UnmarshalText(text []byte) error { return surfaces.Unmarshal(s, text) }

// View is what an eye point sees of the panels in one raster of a Stage, made by
// Stage.View. It maps raster positions to directions and back. It is a target, and
// a source, for package projection/warp. The zero View sees nothing.
type View struct {
	s      *scene
	raster int
	eye    r3.Vec
}

// View is a raster of the stage as it is seen from an eye point in metres in the
// stage frame. An eye that is not in front of the lit side of any panel of the
// raster is an error, and so is a raster without panels.
func (s Stage) View(eye r3.Vec, raster int) (View, error) {
	c := valid.New("stage", ErrInvalid)
	checkPoint(c, "eye", eye)
	if s.s == nil {
		c.Fault("stage", "zero value", "must come from New")
	} else {
		c.Int("raster", raster, "", 0, len(s.s.rasters)-1)
	}
	if !c.OK() {
		return View{}, c.Err()
	}
	nearest := math.Inf(-1)
	for i := range s.s.panels {
		if p := &s.s.panels[i]; p.At.Raster == raster {
			nearest = max(nearest, r3.Dot(r3.Sub(eye, p.corner), p.normal))
		}
	}
	switch at := fmt.Sprintf("(%g, %g, %g) m", eye.X, eye.Y, eye.Z); {
	case math.IsInf(nearest, -1):
		c.Fault("raster", fmt.Sprint(raster), "must feed a panel")
	case nearest <= 0:
		c.Fault("eye", at, "must be in front of the lit side of a panel of raster %d, but is %s behind the nearest plane of one", raster, quantity.Length(unit.Length(-nearest)))
	}
	if !c.OK() {
		return View{}, c.Err()
	}
	return View{s.s, raster, eye}, nil
}

// faces reports whether a point is in front of the lit side.
func (p *panel) faces(eye r3.Vec) bool { return r3.Dot(r3.Sub(eye, p.corner), p.normal) > 0 }

// Size is the size of the raster in pixels.
func (v View) Size() (width, height int) {
	if v.s == nil {
		return 0, 0
	}
	r := v.s.rasters[v.raster]
	return r.Width, r.Height
}

// Project is the raster position that the eye sees in a direction of the stage
// frame. ok is false if the first thing there is not the lit side of a panel of this
// raster.
func (v View) Project(dir r3.Vec) (x, y float64, ok bool) {
	h, ok := Stage{v.s}.Hit(v.eye, dir)
	if !ok || h.Surface != LitFace || h.Raster != v.raster {
		return 0, 0, false
	}
	return h.X, h.Y, true
}

// Unproject is the unit vector from the eye to a raster position, in the stage
// frame. ok is false if the eye does not see the position; Sight says why.
func (v View) Unproject(x, y float64) (dir r3.Vec, ok bool) {
	dir, _, why := v.look(x, y)
	return dir, why == Seen
}

// Sight says whether the eye sees a raster position: Seen, OffPanels, FromBehind,
// HiddenByPanel or HiddenByBlocker.
func (v View) Sight(x, y float64) Sight {
	_, _, why := v.look(x, y)
	return why
}

// look is the unit vector to a raster position and the panel there, or the reason
// why it is not seen.
func (v View) look(x, y float64) (dir r3.Vec, p *panel, why Sight) {
	if p = v.s.find(v.raster, x, y); p == nil {
		return r3.Vec{}, nil, OffPanels
	}
	if !p.faces(v.eye) {
		return r3.Vec{}, nil, FromBehind
	}
	at := p.at(x, y)
	dir, ok := along(r3.Sub(at, v.eye))
	if !ok {
		return r3.Vec{}, nil, FromBehind
	}
	if why := v.s.hides(v.eye, at); why != Seen {
		return r3.Vec{}, nil, why
	}
	return dir, p, Seen
}

// hides says what stands between two points: Seen if nothing does.
func (s *scene) hides(a, b r3.Vec) Sight {
	switch i, _ := s.between(a, b); {
	case i < 0:
		return Seen
	case s.faces[i].panel < 0:
		return HiddenByBlocker
	}
	return HiddenByPanel
}

// Breaks lists, in ascending order, the raster positions at which the surface bends,
// jumps or ends: the edges of panels that no neighbour continues in the same plane.
// A map that interpolates over the raster must not interpolate across them. What a
// blocker hides is no break.
func (v View) Breaks() (xs, ys []float64) {
	if v.s == nil {
		return nil, nil
	}
	width, height := v.Size()
	for i := range v.s.panels {
		p := &v.s.panels[i]
		if p.At.Raster != v.raster {
			continue
		}
		for _, x := range []float64{p.left, p.left + p.width} {
			outside := math.Copysign(0.5, x-p.left-0.5)
			if x > 0 && x < float64(width) && !v.s.goesOn(p, p.top, p.top+p.depth, func(y float64) (float64, float64) { return x + outside, y },
				func(q *panel) float64 { return q.top + q.depth }) {
				xs = append(xs, x)
			}
		}
		for _, y := range []float64{p.top, p.top + p.depth} {
			outside := math.Copysign(0.5, y-p.top-0.5)
			if y > 0 && y < float64(height) && !v.s.goesOn(p, p.left, p.left+p.width, func(x float64) (float64, float64) { return x, y + outside },
				func(q *panel) float64 { return q.left + q.width }) {
				ys = append(ys, y)
			}
		}
	}
	slices.Sort(xs)
	slices.Sort(ys)
	return slices.Compact(xs), slices.Compact(ys)
}

// goesOn reports whether neighbours continue a panel's plane along one of its
// edges. beside is the position next to the edge, and end where a neighbour ends.
func (s *scene) goesOn(p *panel, from, to float64, beside func(float64) (x, y float64), end func(*panel) float64) bool {
	for from < to {
		x, y := beside(from + 0.5)
		q := s.find(p.At.Raster, x, y)
		if q == nil || !p.continues(q) {
			return false
		}
		from = end(q)
	}
	return true
}

// continues reports whether two panels give the pixels of both the same places,
// within a millionth of a pixel.
func (p *panel) continues(q *panel) bool {
	tolerance := edge * min(r3.Norm(p.right), r3.Norm(p.down))
	for _, at := range [3]r2.Vec{{X: q.left, Y: q.top}, {X: q.left + q.width, Y: q.top}, {X: q.left, Y: q.top + q.depth}} {
		if r3.Norm(r3.Sub(p.at(at.X, at.Y), q.at(at.X, at.Y))) > tolerance {
			return false
		}
	}
	return true
}
