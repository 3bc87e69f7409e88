// Package wall models LED walls around a set: where their pixels are, what an
// eye or a camera sees of them, the light they put on people, and the links that
// feed them.
//
// # Conventions
//
// The stage frame is right-handed, in metres, with +Y up; a camera with no
// rotation looks along −Z with +X to its right. A [Wall] is turned like the
// camera that looks at it squarely, so with no rotation it faces +Z. Raster
// positions have their origin at the outer corner of the top-left pixel as the
// viewer sees it, x to the right and y down: pixel (i, j) covers [i, i+1) ×
// [j, j+1). Positions in space lie within 1e9 m along each axis.
//
// Lengths and angles are gonum unit types; luminance is in cd/m², illuminance in
// lx, solid angle in sr, rates in bit/s, and frequencies of moiré in cycles per
// photosite. Values from a constructor are immutable and safe for concurrent
// use. Errors wrap [ErrInvalid].
//
// # Formulas
//
//	panels along an arc       chords of a circle, turn 2 asin(width/(2 radius)) a panel
//	pixels per degree         (π/180) |r|²/|r × e|: inverse square and cosine
//	off-axis frustum          R. Kooima, Generalized Perspective Projection, 2008
//	viewing distance          pitch/tan(acuity): Recommendation ITU-R BT.500
//	image of the pitch        thin-lens equation; for any camera, places half a pixel away
//	alias of a frequency      sampling theorem
//	moiré of a grid           sampling theorem in two dimensions, reciprocal lattices
//	beat of two gratings      I. Amidror, The Theory of the Moiré Phenomenon, ch. 2
//	contrast of an alias      Fourier series of a rectangular wave; MTF of an aperture
//	square-wave contrast      J. W. Coltman, J. Opt. Soc. Am. 44, 1954
//	illuminance               J. H. Lambert, Photometria, 1760: polygon formula
//	solid angle               A. van Oosterom, J. Strackee, IEEE Trans. Biomed. Eng. 30, 1983
//	exposure value            ISO 2720:1974
//	rates of links            SMPTE 292M, ST 424, ST 2081-10, ST 2082-10
//
// # What it does not model
//
// Panels are flat, equal, and without gaps or steps between them; an arc turns by
// the same angle at every joint. Panels emit by Lambert's law: real ones lose
// brightness and change colour towards grazing angles. In SolidAngle, ViewFactor
// and Illuminance no panel shades another or is lit by it. Moiré is that of equal
// lit rectangles, one for each wall pixel, before a colour filter array is
// interpolated. Layouts of the colours within a pixel are not modelled, nor are
// refresh and scanning.
//
// # Cautions
//
// Walls are heavy, hang over people, and draw much power: rigging, structure and
// supply are work for licensed people under local codes, and nothing here replaces
// their calculation. A wall at full brightness dazzles, heats the set, and lights
// people for hours: measure on the spot, agree on limits, and start low. Flicker
// and flashing content can trigger seizures in photosensitive people, also at
// rates nobody notices: follow the local rules, warn everyone on the set, and keep
// a way to black out at once.
package wall
