package main

import (
	"context"
	"fmt"
	"math"

	"example.com/platewright/projection"
	"example.com/platewright/wall/alias"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// harmonics is the number of harmonics of the pixel grid that may alias. It must be half
// of a wall pixel in the picture, in photosites, or more.
const harmonics = 8

// Lattices of places in a picture at which aliases are looked for. Tests lower fine.
var (
	fine  = alias.Frame{Columns: 96, Rows: 54} // of a picture
	rough = alias.Frame{Columns: 32, Rows: 18} // of the report
	few   = alias.Frame{Columns: 7, Rows: 5}   // of each of many places or settings
)

// grids are the walls and the contrast that the crew accepts.
type grids struct {
	all           alias.Scene
	columns, rows alias.Scene // what neighbouring columns, or rows, of pixels make alone
}

func (s *shoot) newGrids(g *gather) {
	scene := func(shape func(lit float64) alias.Emitters) alias.Scene {
		spec := alias.SceneSpec{Viewer: alias.Viewer{Contrast: s.Limits.AliasPercent / 100}, Order: harmonics}
		for i, w := range s.walls {
			spec.Surfaces = append(spec.Surfaces, alias.Surface{Wall: w, Emitters: shape(s.Walls[i].LitSide)})
		}
		return take[alias.Scene](g, "walls")(alias.NewScene(spec))
	}
	s.grids = grids{
		all: scene(func(lit float64) alias.Emitters { return alias.Emitters{Width: lit, Height: lit} }),
		// Pixels that are lit over their whole height make lines, without rows.
		columns: scene(func(lit float64) alias.Emitters { return alias.Emitters{Width: lit, Height: 1} }),
		rows:    scene(func(lit float64) alias.Emitters { return alias.Emitters{Width: 1, Height: lit} }),
	}
}

// aim is what the stage camera sees: its lens and stop, from a place, focused at a
// distance along its axis.
type aim struct {
	camera   projection.Camera
	eye      r3.Vec
	axis     r3.Vec
	focus    unit.Length
	sampling alias.Sampling
}

// standing is the stage camera at a position, focused as the scenario says.
func (s *shoot) standing(position int) aim {
	at := s.StageCamera.Positions[position]
	return aim{
		camera: s.finders[position], eye: at.position(), axis: direction(at.HeadingDeg, at.ElevationDeg),
		focus: unit.Length(s.StageCamera.Lens.FocusM), sampling: alias.RedOrBluePhotosites,
	}
}

// wallDepth is the distance along the lens's axis to the wall that a camera sees in the
// middle of its picture.
func (s *shoot) wallDepth(eye, axis r3.Vec) (depth unit.Length, ok bool) {
	h, ok := s.volume.Hit(eye, axis)
	return h.Distance, ok && h.Part >= 0
}

// shot is a camera as package alias takes it.
func (s *shoot) shot(a aim) alias.Shot {
	pitch, _ := s.stage.format.Pitch()
	return alias.Shot{
		Eye: a.eye, Camera: a.camera,
		Photosites: alias.Photosites{Width: 1, Sampling: a.sampling},
		Transfer: func(nu r2.Vec, way r3.Vec) float64 {
			otf, ok := s.stage.optics.OTF(r2.Norm(nu)/float64(pitch/mm), 0, a.focus, unit.Length(r3.Dot(way, a.axis)))
			if !ok {
				return 1 // nearer than the focal length: no loss is the worst case
			}
			return otf
		},
	}
}

func (r *report) alias(s *shoot) {
	r.question("Will the LED grid alias?")
	pitch, _ := s.stage.format.Pitch()
	for i, w := range s.walls {
		wallPitch, _ := w.Pitch()
		if d, err := alias.NyquistDistance(wallPitch, unit.Length(s.StageCamera.Lens.FocalLengthMm)*mm, pitch, alias.EveryPhotosite); err == nil {
			r.line(s.Walls[i].Name+", grid resolved square on up to", "%.2f m", float64(d))
		}
		if d, err := alias.NyquistDistance(wallPitch, unit.Length(s.StageCamera.Lens.FocalLengthMm)*mm, pitch, alias.RedOrBluePhotosites); err == nil {
			r.line("the same, red/blue of a mosaic", "%.2f m", float64(d))
		}
	}
	for i, at := range s.StageCamera.Positions {
		here := s.standing(i)
		depth, wallSeen := s.wallDepth(here.eye, here.axis)
		focuses := []struct {
			name string
			at   unit.Length
		}{{"actor", here.focus}}
		if wallSeen {
			focuses = append(focuses, struct {
				name string
				at   unit.Length
			}{"wall", depth})
		}
		for _, focus := range focuses {
			for _, photosites := range []struct {
				name     string
				sampling alias.Sampling
			}{{"all photosites", alias.EveryPhotosite}, {"red/blue", alias.RedOrBluePhotosites}} {
				what := fmt.Sprintf("%s, focus on %s, %s", at.Name, focus.name, photosites.name)
				here.focus, here.sampling = focus.at, photosites.sampling
				_, v, err := s.grids.all.Map(context.Background(), s.shot(here), rough)
				switch {
				case err != nil:
					r.none(what, err)
				case v.Seen == 0:
					r.none(what, "the camera sees no wall")
				default:
					r.limit(v.Safe(), what, fmt.Sprintf("%.2g %% contrast, limit %g %%", 100*v.Worst.Alias.Contrast, s.Limits.AliasPercent), pattern(v))
				}
			}
		}
		r.nearestFocus(s, i)
	}
	r.note("The grid of the wall's pixels shows as itself while it is resolved: up to 2 photosites a pixel, up to 4 for " +
		"the red and blue of a mosaic. Coarser, it beats or aliases. These are the worst of the whole picture, along any " +
		"direction; the charts show where in the picture, and where on the floor. Contrast is the ripple's amplitude over the mean. " +
		"Even a fraction of a percent shows on a flat sky; judge it on the camera's own recording.")
}

// nearestFocus prints the focus nearest to that of the scenario at which nothing aliases.
func (r *report) nearestFocus(s *shoot, position int) {
	here := s.standing(position)
	what := s.StageCamera.Positions[position].Name + ", nearest focus where red/blue are safe"
	const nearest, steps = 0.5, 40
	farthest := 2 * float64(here.focus)
	if depth, ok := s.wallDepth(here.eye, here.axis); ok {
		farthest = max(farthest, float64(depth))
	}
	least := min(nearest, float64(here.focus))
	choice, err := s.grids.all.NearestSafe(context.Background(), alias.Search{Wanted: float64(here.focus), Least: least, Most: farthest, Steps: steps}, few,
		func(focus float64) (alias.Shot, bool) {
			here.focus = unit.Length(focus)
			return s.shot(here), true
		})
	switch {
	case err != nil:
		r.none(what, err)
	case choice.OK:
		r.line(what, "%s", length(unit.Length(choice.Setting)))
	default:
		r.line(what, "none from %s to %s", length(unit.Length(least)), length(unit.Length(farthest)))
	}
}

// pattern says how the worst alias of a picture looks to a person, and where it is.
func pattern(v alias.Verdict) string {
	m := v.Worst.Alias
	kind := "an alias"
	switch m.Kind {
	case alias.Resolved:
		return "the grid is resolved"
	case alias.Beat:
		kind = "a beat"
	}
	if v.Unknown > 0 {
		kind = fmt.Sprintf("%.0f %% of the picture is not known; %s", 100*float64(v.Unknown)/float64(v.Seen), kind)
	}
	period, ok := m.Period()
	if !ok {
		return kind + " as large as the picture"
	}
	return fmt.Sprintf("%s, %s stripes every %.3g photosites, at (%.0f, %.0f)", kind, stripes(m), period, v.Worst.X, v.Worst.Y)
}

// stripes says how the stripes of an alias lie in the picture.
func stripes(m alias.Alias) string {
	across, _ := m.Direction()
	switch lean := math.Abs(float64(across / deg)); {
	case lean < 20:
		return "upright"
	case lean > 70:
		return "level"
	}
	return "slanting"
}
