// Gridalias tells whether the grid of an LED wall will alias in a camera's picture,
// and where on the stage floor the camera may stand: a table of what focus, distance,
// roll, stop and a low-pass filter buy, a map of the floor and a map of the frame.
//
//	go run ./examples/gridalias
//	go run ./examples/gridalias -out evening
//
// The wall, the set and the camera are invented. A map says what photosites record,
// not what the camera makes of it afterwards: test with the real chain.
package main

import (
	"context"
	"fmt"
	"io"
	"math"

	"example.com/platewright/examples/internal/program"
	"example.com/platewright/lens"
	"example.com/platewright/lens/transfer"
	"example.com/platewright/projection"
	"example.com/platewright/wall"
	"example.com/platewright/wall/alias"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

const (
	mm  = unit.Milli * unit.Metre
	deg = projection.Degree

	focalLength   = 35 * mm
	fNumber       = 2.8
	pitch         = 6.08e-3 * mm
	width, height = 4096, 2160
	green         = 0.55e-3 * mm
	areaFill      = 0.3 // of a wall pixel, as its data sheet says
	distance      = 7.0 // m, of the camera from the middle of the wall

	// limit is the contrast that the crew accepts: a plate is seldom even, and its
	// detail hides what an eye would see on an even wall.
	limit = 0.01
)

var (
	target = r3.Vec{Y: 1.8, Z: -6} // the middle of the wall, where the camera looks
	actor  = r3.Vec{Y: 1.6, Z: -2}

	floor = alias.Floor{MinX: -5, MaxX: 5, MinZ: -3.6, MaxZ: 4, Height: 1.7, Columns: 41, Rows: 31}
	fine  = alias.Frame{Columns: 128, Rows: 68} // of the map of a frame
	rough = alias.Frame{Columns: 9, Rows: 5}    // of each place on the floor
	tries = 60                                  // settings that a search tries
)

func main() { program.Main("gridalias", run) }

func run(w io.Writer, out *program.Folder) error {
	s, err := newStage()
	if err != nil {
		return err
	}
	pixels, _ := s.wall.Pitch()
	nyquist, err := alias.NyquistDistance(pixels, focalLength, pitch, alias.EveryPhotosite)
	if err != nil {
		return err
	}
	nyquistRed, err := alias.NyquistDistance(pixels, focalLength, pitch, alias.RedOrBluePhotosites)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "A wall of %.2f mm, a lens of %g mm at f/%g, photosites of %g µm in a mosaic, %g m away\n",
		float64(pixels/mm), float64(focalLength/mm), fNumber, float64(1e3*pitch/mm), distance)
	fmt.Fprintf(w, "The grid is resolved up to %.2f m, by red and blue up to %.2f m.\n", float64(nyquist), float64(nyquistRed))
	visible, err := alias.Viewer{}.Threshold(1. / 20)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "Accepted is an alias of %g %%. On an even wall an eye sees one of 20 photosites from %.2f %%.\n\n", 100*limit, 100*visible)
	if err := s.remedies(w); err != nil {
		return err
	}
	if err := s.nearest(w); err != nil {
		return err
	}
	if err := s.crawl(w); err != nil {
		return err
	}
	if err := s.drawFloor(out); err != nil {
		return err
	}
	return s.drawFrame(out)
}

// stage is the wall and who looks at its picture.
type stage struct {
	wall  wall.Wall
	scene alias.Scene
}

func newStage() (s stage, err error) {
	lit, err := alias.LitWidth(areaFill)
	if err != nil {
		return stage{}, err
	}
	s.wall, err = wall.New(wall.Spec{
		PanelWidth: 500 * mm, PanelHeight: 500 * mm, PanelPixelsX: 192, PanelPixelsY: 192,
		Columns: 25, Rows: 9, Radius: 8, Position: r3.Vec{Y: 2.45, Z: target.Z},
	})
	if err != nil {
		return stage{}, err
	}
	s.scene, err = alias.NewScene(alias.SceneSpec{
		Surfaces: []alias.Surface{{Wall: s.wall, Emitters: alias.Emitters{Width: lit, Height: lit}}},
		Viewer:   alias.Viewer{Contrast: limit},
	})
	return s, err
}

// setting is what may be changed.
type setting struct {
	eye, aim r3.Vec      // of the camera, and a point that it looks at
	focus    unit.Length // along the lens's axis
	fNumber  float64
	roll     unit.Angle
	lowPass  float64 // photosites
	sampling alias.Sampling
}

// standard is the setting that the crew would like: straight in front of the wall,
// focused on it.
func standard() setting {
	return from(r3.Vec{Y: float64(floor.Height), Z: target.Z + distance}, target)
}

// from is the setting from a place with the focus on a point.
func from(eye, on r3.Vec) setting {
	axis := r3.Unit(r3.Sub(target, eye))
	return setting{
		eye: eye, aim: target, focus: unit.Length(r3.Dot(r3.Sub(on, eye), axis)), fNumber: fNumber, sampling: alias.RedOrBluePhotosites,
	}
}

// shot is the camera of a setting. ok is false if it
// cannot focus there.
func (c setting) shot() (shot alias.Shot, ok bool) {
	way := r3.Sub(c.aim, c.eye)
	heading, elevation, ok := projection.HeadingElevation(way)
	if !ok || c.focus < 10*focalLength {
		return alias.Shot{}, false
	}
	camera, err := projection.NewCamera(projection.CameraSpec{
		Model: projection.Rectilinear, FocalLength: focalLength, Pitch: pitch, Width: width, Height: height,
		Pose: projection.Pose{Position: c.eye, Heading: heading, Elevation: elevation, Roll: c.roll},
	})
	if err != nil {
		return alias.Shot{}, false
	}
	l, err := lens.New(lens.Spec{FocalLength: focalLength, FNumber: c.fNumber})
	if err != nil {
		return alias.Shot{}, false
	}
	axis := r3.Unit(way)
	return alias.Shot{
		Eye: c.eye, Camera: camera,
		Photosites: alias.Photosites{Width: 0.9, LowPassX: c.lowPass, LowPassY: c.lowPass, Sampling: c.sampling},
		Transfer: func(nu r2.Vec, way r3.Vec) float64 {
			blur, _ := l.Blur(c.focus, unit.Length(r3.Dot(way, axis)))
			otf, err := transfer.DefocusOTF(r2.Norm(nu)/float64(pitch/mm), green, c.fNumber, blur)
			if err != nil {
				return math.NaN() // Scene reports it
			}
			return otf
		},
	}, true
}

// worst is the worst alias of a setting in its frame.
func (s stage) worst(c setting) (alias.Verdict, error) {
	shot, ok := c.shot()
	if !ok {
		return alias.Verdict{}, fmt.Errorf("no camera at %v", c.eye)
	}
	_, v, err := s.scene.Map(context.Background(), shot, rough)
	return v, err
}

// remedies prints what a change of one thing buys.
func (s stage) remedies(w io.Writer) error {
	fmt.Fprintln(w, "what is changed              worst alias in the frame")
	for _, r := range []struct {
		name   string
		change func(*setting)
	}{
		{"nothing, focus on the wall", func(*setting) {}},
		{"a camera without a mosaic", func(c *setting) { c.sampling = alias.EveryPhotosite }},
		{"rolled by 20°", func(c *setting) { c.roll = 20 * deg }},
		{"low-pass, 0.5 photosites", func(c *setting) { c.lowPass = 0.5 }},
		{"low-pass, 1 photosite", func(c *setting) { c.lowPass = 1 }},
		{"f/11", func(c *setting) { c.fNumber = 11 }},
		{"focus 0.5 m before the wall", func(c *setting) { c.focus -= 0.5 }},
		{"focus on the actor", func(c *setting) { *c = from(c.eye, actor) }},
	} {
		c := standard()
		r.change(&c)
		v, err := s.worst(c)
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "%-27s  %s\n", r.name, describe(v))
	}
	return nil
}

func describe(v alias.Verdict) string {
	a, pattern := v.Worst.Alias, "all over the frame"
	if period, ok := a.Period(); ok {
		direction, _ := a.Direction()
		// The frame is symmetric, and a pattern leans one way on its left and the other
		// way on its right.
		pattern = fmt.Sprintf("every %.3g photosites, at %.0f°", period, math.Abs(float64(direction/deg)))
	}
	verdict := "SHORT"
	if v.Safe() {
		verdict = "ok"
	}
	return fmt.Sprintf("%5.2f %% contrast  %-5s  %v, %s", 100*a.Contrast, verdict, a.Kind, pattern)
}

// nearest prints the nearest settings that are safe.
func (s stage) nearest(w io.Writer) error {
	fmt.Fprintln(w)
	for _, q := range []struct {
		name, unit string
		search     alias.Search
		change     func(c *setting, v float64)
	}{
		{"focus before the wall", "m", alias.Search{Wanted: distance, Least: 1, Most: distance, Steps: tries}, func(c *setting, v float64) { c.focus = unit.Length(v) }},
		{"distance, focus on the wall", "m", alias.Search{Wanted: distance, Least: 1, Most: 10, Steps: tries}, func(c *setting, v float64) {
			*c = from(r3.Vec{Y: c.eye.Y, Z: target.Z + v}, target)
		}},
		{"distance, focus on the actor", "m", alias.Search{Wanted: distance, Least: 4.4, Most: 10, Steps: tries}, func(c *setting, v float64) {
			*c = from(r3.Vec{Y: c.eye.Y, Z: target.Z + v}, actor)
		}},
		{"low-pass filter", "photosites", alias.Search{Wanted: 0, Least: 0, Most: 4, Steps: tries}, func(c *setting, v float64) { c.lowPass = v }},
		{"roll", "°", alias.Search{Wanted: 0, Least: 0, Most: 45, Steps: tries}, func(c *setting, v float64) { c.roll = unit.Angle(v) * deg }},
	} {
		choice, err := s.scene.NearestSafe(context.Background(), q.search, rough, func(v float64) (alias.Shot, bool) {
			c := standard()
			q.change(&c, v)
			return c.shot()
		})
		if err != nil {
			return err
		}
		answer := "none is safe"
		if choice.OK {
			answer = fmt.Sprintf("safe at %.2f %s", choice.Setting, q.unit)
		}
		fmt.Fprintf(w, "%-28s  %g to %g %s, nearest to %g: %s\n", q.name, q.search.Least, q.search.Most, q.unit, q.search.Wanted, answer)
	}
	return nil
}

// crawl prints how the worst alias moves while the camera travels.
func (s stage) crawl(w io.Writer) error {
	c := standard()
	v, err := s.worst(c)
	if err != nil {
		return err
	}
	before, _ := c.shot()
	const step = 0.5e-3 // m, of the camera to the right
	c.eye.X += step     // without turning
	c.aim.X += step
	after, _ := c.shot()
	motion, ok := s.scene.Motion(before, after, v.Worst.X, v.Worst.Y)
	crawl, ok2 := v.Worst.Alias.Crawl(motion)
	if ok && ok2 {
		fmt.Fprintf(w, "\nWhile the camera travels by %g mm, the grid moves by %.2f photosites and the alias by %.2f, %.2f of its periods.\n",
			1e3*step, r2.Norm(motion), r2.Norm(crawl.Shift), math.Abs(crawl.Cycles))
	}
	return nil
}

// floorMap is the worst alias from everywhere on the floor, with the focus on the
// wall or on the actor.
func (s stage) floorMap(on r3.Vec) ([]alias.Standpoint, error) {
	return s.scene.Floor(context.Background(), floor, rough, func(eye r3.Vec) (alias.Shot, bool) { return from(eye, on).shot() })
}
