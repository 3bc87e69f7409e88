// Package level says how a wall turns codes into luminance, and whether an eye sees
// the steps between codes.
//
// How do I …
//
//   - get the luminance of a code, or the code of a luminance? [New], from bits, curve,
//     peak, black and dimming; [Display.Luminance], [Display.Code]
//   - know how visible the step of one code is? [Display.Step]
//   - find the codes at which a sky may show bands? [Display.Banding]
//   - know which dark codes show nothing but black, under this set light?
//     [Display.FirstVisible]
//   - know which highlights clip? [Display.FirstClipped], and for the samples of a
//     plate [Display.Fit]
//   - turn a luminance into just-noticeable differences? [JNDIndex], [JNDLuminance],
//     [ContrastSensitivity]
//
// # Conventions
//
// Luminances are in cd/m². A signal is 0 at black and 1 at white. Contrast is
// modulation: difference over sum. A just-noticeable difference (JND) is the step that
// an average observer sees half of the time.
//
// Two measures of visibility are given. The Grayscale Standard Display Function (GSDF)
// is made for ordinary pictures and ends at 0.05 and 3993.4 cd/m². Barten's model at
// the best spatial frequency has no such ends. It is the stricter one: for a field of
// 40°, one JND is three thresholds above 100 cd/m² and nine at 0.05 cd/m². A step below
// one threshold is invisible by both; one above a JND shows in an ordinary picture.
//
// # Limits and errors
//
// Errors wrap [ErrInvalid]. They name the field, its value and the range allowed, and
// report all faults at once.
//
// # Formulas
//
//	codes to signal          (code − black)/(white − black): ITU-R BT.2100, Table 9, if narrow
//	PQ                       SMPTE ST 2084
//	JND                      DICOM PS3.14
//	contrast sensitivity     P. G. J. Barten, Proc. SPIE 5294, 2003
//	threshold of a step      (4/π) contrast S: Report ITU-R BT.2246
//
// These documents were not read: they are cited from memory. The checks, with what
// was read, stand in testdata/references.csv.
//
// # What it does not model
//
// Steps are those of grey: all three colours change together. Noise, grain and texture
// hide bands, and dithering in time or space makes steps smaller; neither is modelled.
// A camera adds its own noise, steps and curve; [Viewer] scales luminances only. Glare
// inside the eye and the adaptation to a set brighter than the wall are left out: both
// hide dark steps.
//
// # Cautions
//
// Bright walls dazzle, and sudden changes of level can trigger seizures in
// photosensitive people: start low, warn everyone on the set, and keep a way to black
// out at once.
package level
