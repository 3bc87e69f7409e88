// Package flicker judges light that changes in time by the published limits: flashes
// of a picture, frame by frame, and the flicker of a lamp or a wall.
//
// Rates and exact times come from package sync, here under the name timing:
//
//	import timing "example.com/platewright/sync"
//
// How do I …
//
//   - check a plate for flashes, against the limits for photosensitive people?
//     [NewMonitor]; [Monitor.Add] for each frame, then [Monitor.Report]
//   - make blocks of a large frame? [BlockMeans]
//   - find how much of the picture counts as one field of view? [FieldAt]
//   - judge a lamp by its waveform? [Percent], [Index], and [LimitsAt]
//   - know whether a lamp makes moving things seem to stand still? [Visibility]
//
// # Conventions
//
// Frame n is the n-th that was added, from 0. Colours are linear light, not codes
// (package warp decodes those), with the primaries of sRGB (ITU-R BT.709); 1 is the white
// of the screen. Relative luminance
// is
//
//	0.2126 R + 0.7152 G + 0.0722 B
//
// A change is the step between two frames, not necessarily neighbours. A transition is
// a change that is large enough for a criterion, and opposite to the transition before.
// Between two transitions the monitor remembers the extremes, so that slow changes
// count, and small changes in between, as noise, hide nothing. No choice of frames gives
// more transitions. Two transitions are a flash: 7 in a second are 3.5 flashes,
// which is over the limit of 3.
//
// A second is half open: it holds the frames from k on that begin less than exactly 1 s
// after frame k. Three flashes a second, evenly spaced, are within the limits.
//
// Waveforms are evenly spaced samples over a whole number of periods, the first not
// repeated at the end. They must be at least two, none negative, and not all 0.
//
// Every error wraps [ErrInvalid] and names the field, the value and the range allowed.
// NaN and infinities are always errors.
//
// # Formulas
//
//	general flash        change ≥ 0.10, darker state < 0.80          WCAG 2.2
//	red flash            R/(R+G+B) ≥ 0.8 in one state, Δ(u′,v′) > 0.2    WCAG 2.2 (ISO 9241-391)
//	older red flash      R/(R+G+B) ≥ 0.8 in a state, change of 320 (R−G−B) > 20
//	absolute flash       change ≥ 20 cd/m², darker state < 160 cd/m²; brighter than
//	                     that, difference/sum ≥ 1/17                  ITU-R BT.1702
//	limit                3 flashes in any second, or 25 % of any 10° field   WCAG 2.2
//	spacing              9 frames at 25 a second, 10 at 30            ITU-R BT.1702
//	percent, limits      IEEE 1789-2015
//	index                IES Lighting Handbook
//	visibility           CIE TN 006:2016
//
// In 320 (R − G − B), negative values count as 0. The text of WCAG and of its page on
// understanding was read. BT.1702 was read as that page and others restate it; IEEE
// 1789, the IES and the CIE are cited from memory. testdata/references.csv says which.
//
// # Decisions where the texts are silent
//
//   - Red and black. The chromaticity u′v′ of black is undefined (0/0). Here black is
//     farther than 0.2 from every colour: between saturated red and black is a red
//     transition, as under the older criterion.
//   - Several colours between two reds. The distance is measured to the farthest corner
//     of the box around them in u′v′. Where they are one colour, this is exact;
//     otherwise it can only count more.
//   - Rounding. Changes of luminance up to 1e-5 of the threshold short of it count.
//   - Area. WCAG adds up what flashes concurrently. A transition counts if blocks that
//     change the same way, in the same frame, fill more than a quarter of a field. Light
//     that runs across the picture, as windows of a passing train, reaches places in
//     turn: so the area in which each block has more than 3 flashes of its own in a
//     second is limited to a quarter as well.
//   - The field is the rectangle of 10° by 7.5° that WCAG gives for a screen (341 by
//     256 of 1024 by 768 pixels), and areas need not be contiguous.
//
// # What is not modelled
//
//   - Regular patterns, as stripes, which can harm without flashing.
//   - The exception of WCAG for fine balanced patterns, with squares below 0.1°.
//   - Flashes smaller than a block, and opposite flashes within one: the mean hides them.
//   - What the screen adds: its refresh, dimming and scanning, and beats with lamps.
//   - Adaptation, glare and the light of the set.
//
// # Cautions
//
// Flashing light can cause seizures in photosensitive people, above all at 3 Hz to
// 70 Hz (common practice) and on large areas such as a wall. A result within the limits
// is no clearance and no medical advice: the limits lower a risk and do not end it, they
// are made for small screens, and people differ. Warn everybody on the set, follow the
// local rules for flashing light, take competent advice, and be able to go to a steady
// picture at once. Nobody should look at a sequence to find out whether it is harmful.
package flicker

import (
	"errors"

	"example.com/platewright/internal/valid"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("flicker: invalid value")

func newChecker() *valid.Checker { return valid.New("flicker", ErrInvalid) }
