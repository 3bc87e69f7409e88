// Package stage models several LED walls around a set as one value: wings, corners,
// ceilings, what stands in the way, how it really hangs, and what a camera, a mirror or
// an actor sees of it.
//
// How do I …
//
//   - describe my stage? [FromWall] for flat walls and arcs, [Chain] for joint angles,
//     corners and wedges, [Box] and [Blocker] for set pieces and vehicles; then [New].
//   - find what a ray meets, or whether light gets from here to there? [Stage.Hit],
//     [Stage.Clear].
//   - know area, pixels and power? [Stage.Totals].
//   - fill the rasters from plates? [Stage.View]; a View is a target for package
//     projection/warp, one for each raster.
//   - use the survey of the crew? [Hang], and [View.Shift] for what a wrong survey does
//     in the picture.
//   - know whether plate, wall or camera limits the sharpness, also after a push-in?
//     [Stage.Resolutions].
//   - know what a windscreen or a visor shows, and how far wings must reach for it?
//     [Stage.Reflect], [Stage.Reach].
//   - know what a tracked camera sees, how large a margin its latency needs, and how
//     wrong the picture is for another eye? [View.Mask], [View.Margin], [View.EyeError].
//
// # Conventions
//
// Frames, units and raster positions are those of package wall. Parts, panels, blockers
// and rasters have the numbers that they have in the [Spec], from 0. Directions that a
// caller gives may have any length. A Spec and its parts go to JSON and back; a Stage
// and a View have none.
//
// Errors wrap [ErrInvalid]; they name the field, its value and the range. Positions are
// within ±1000 km, as in package wall. Values from a constructor are immutable and safe for
// concurrent use.
//
// # Formulas
//
//	quantity             formula                               source
//	panel of a ray       tree of boxes, divided by their area  common practice
//	columns of a chain   x += w cos φ, z += w sin φ, φ += turn plane geometry
//	wall as hung         rigid motion of least squares         see Hang
//	density of pixels    (π/180)/σ, σ of the steps as angles   singular values
//	reflection           d − 2 (d·n) n                         law of reflection
//
// # What is not modelled
//
// Panels are flat rectangles of equal pixels, and opaque; a panel that bends is several
// panels. Glass reflects as a mirror does, once, from one face; how much it reflects, and
// what it bends, is left out. A mirror blocks no rays; add a blocker where it should. Light
// from panel to panel is for package wall/light, which takes [Stage.Clear], and aliases
// of the pixel grid are for wall/alias. Rolling shutters turn within a frame; give
// Margin the latency to the last row.
//
// # Cautions
//
// Walls and ceilings are heavy, hang over people, and draw much power: totals here are
// for planning, and replace no structural or electrical calculation by licensed people. A
// survey shows where panels hang, not whether they hang safely. Tracked pictures that
// swing fast can make people on the set unwell, and flashing ones can trigger seizures:
// warn everyone, and keep a way to black out at once.
package stage
