// Package light computes what LED walls put on a set: how much light, from where,
// in which colour, and what the walls do to each other.
//
// How do I …
//
//   - describe the surfaces, with the pictures they show? [New]; [Panels] makes those
//     of a wall.Wall, and panels of a stage have a Face
//   - know how much light falls on a face? [Scene.Illuminance]; on a floor, [Scene.Map]
//   - know where it comes from, and whether it is hard or soft? [Scene.Cube]
//   - know the colour of the light? [Primaries]
//   - know the step of luminance that a camera sees at a joint or a corner?
//     [Emission.Toward]
//   - know the black level and contrast that other walls and set lights leave?
//     [Scene.Mutual], [Contrast]
//   - add the light that floor and walls reflect? [Patch] has their luminance
//   - know how bright the walls must be for a wanted exposure? [Drive]
//
// # Conventions
//
// The stage frame is right-handed, in metres, with +Y up. Luminance is in cd/m²,
// illuminance in lx. An RGB splits either by the wall's primaries: red is the
// luminance that the red primary contributes, so the three add up. All panels of a
// scene have the same primaries; add up the luminances of scenes that differ.
//
// Pictures are linear. Pixel (0, 0) is at the upper left as the viewer of the lit
// side sees it.
//
// # Limits and errors
//
// Errors wrap [ErrInvalid]. They name the field, its value and the range allowed.
// Positions are within ±1000 km. A normal must be finite and not zero; its length
// has no effect. Results state their error beside the value where it is not a
// closed form. A point in the plane of a panel gets no light from it.
//
// # Formulas
//
//	illuminance of a polygon    J. H. Lambert, Photometria, 1760
//	illuminance of a picture    blocks of mean luminance with their first moments
//	light vector                A. Gershun, The Light Field, 1936
//	scalar illuminance          C. Cuttle, Lighting Research and Technology 29, 1997
//	mutual light                radiosity: C. M. Goral and others, SIGGRAPH 1984
//	colour                      CIE 15, Colorimetry
//
// These documents were not read: they are cited from memory. The checks, with what
// was read, stand in testdata/references.csv.
//
// # What it does not model
//
// Reflection is diffuse and grey: no gloss, no colour of surfaces. The colour of a
// panel does not change with the angle, only its luminance. Light has no time:
// refresh and scanning are averaged. Colour is that of three numbers; how a skin or
// a camera sees the gaps in an LED spectrum is not modelled.
//
// # Cautions
//
// A wall at full brightness dazzles, heats the set, and lights people for hours:
// measure on the spot, agree on limits, and start low. Flickering and flashing
// content can trigger seizures in photosensitive people, also at rates nobody
// notices: follow the local rules, warn everyone on the set, and keep a way to
// black out at once.
package light
