// Package wall models LED walls around a set: where their pixels are, what an
// eye or a camera sees of them, and the links that feed them.
//
// How do I …
//
//   - describe a wall of panels, flat or curved? [New]; from the corners of a panel,
//     [Rectangle.Wall]; several walls, package stage
//   - find the wall pixel under a ray, or the ray to a wall pixel? [Wall.Pixel],
//     [Wall.View]; a [View] is a target for package projection/warp
//   - find the image of the LED grid in a camera's picture? [View.ImageGrid],
//     whose example begins at a position in the picture; package alias tells
//     whether it will alias, and where the camera may stand
//   - know from which distance an eye separates the pixels? [ViewingDistance];
//     how far a person stands from a wall is [Wall.Distance]
//   - know how much light falls on an actor? package light
//   - count video links and processor ports? [LinksNeeded], [Wall.Ports]; to know
//     which panels hang on which link, [Wall.Split]
//
// # Conventions
//
// The stage frame is right-handed, in metres, with +Y up. A camera with no
// rotation looks along −Z with +X to its right. A wall has the orientation of
// the camera that looks at it squarely, so a wall with no rotation faces +Z.
//
// Raster positions are in pixels. Their origin is the outer corner of the
// top-left pixel as the viewer sees it; x points right and y points down. Pixel
// (i, j) covers [i, i+1) × [j, j+1).
//
// Lengths and angles have the types of package unit. Data rates are in bit/s. A
// photosite is one light-sensitive cell of the camera's sensor.
//
// # Limits and errors
//
// Errors wrap [ErrInvalid]. They name the field, its value and the range
// allowed, and report all faults at once. Where a doc comment names no range,
// these hold:
//
//	positions in space        each coordinate within ±1000 km
//	directions and normals    finite and not zero; the length has no effect
//	pixel pitch of a wall     more than 0, up to 100 m
//	focal length              0.1 mm to 2 m
//	photosite pitch           0.1 µm to 1 mm
//	acuity                    more than 1e-9 rad, less than 90°
//
// Values from a constructor are immutable and safe for concurrent use. They have
// no JSON: keep the Spec, and the eye of a View.
//
// # Formulas
//
//	panels along an arc       chords of a circle; each joint turns by 2 asin(width/(2 radius))
//	pixels per degree         (π/180) |r|²/|r × e|: distance squared, over the width seen
//	viewing distance          pitch/tan(acuity): Recommendation ITU-R BT.500
//	image of the pitch        thin-lens equation; for any camera, differences of projections
//	rates of links            SMPTE ST 292-1, ST 424, ST 2081-10, ST 2082-10
//
// These documents were not read: they are cited from memory. The checks, with what
// was read, stand in testdata/references.csv.
//
// # What it does not model
//
// Panels are flat and equal, with no gaps or steps between them. An arc turns by
// the same angle at every joint. Package stage has walls of unequal panels and
// joints. The layout of the colours within a pixel is not modelled, nor are refresh
// and scanning.
//
// # Cautions
//
// Walls are heavy, hang over people, and draw much power. Rigging, structure and
// supply are work for licensed people under local codes; nothing here replaces
// their calculation. A wall at full brightness dazzles, heats the set, and lights
// people for hours: measure on the spot, agree on limits, and start low.
// Flickering and flashing content can trigger seizures in photosensitive people,
// also at rates nobody notices: follow the local rules, warn everyone on the set,
// and keep a way to black out at once.
package wall
