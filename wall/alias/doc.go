// Package alias predicts what a camera records of the pixel grid of an LED wall:
// the grid itself, a slow beat, or an alias that crawls over the picture. It finds
// where the camera may stand, and what focus, roll or a low-pass filter buys.
//
// How do I …
//
//   - see all that the grid leaves at one place of the picture? [Predict] with the
//     image of the grid, or [Scene.Aliases] with walls and a camera
//   - see where in the picture the grid aliases? [NewScene] and [Scene.Map]; the
//     example of NewScene has a stage of panels
//   - find out where the camera may stand? [Scene.Floor]
//   - find the nearest safe focus, distance, roll or filter? [Scene.NearestSafe]
//   - know how a pattern crawls while the camera moves? [Scene.Motion] and
//     [Alias.Crawl]
//   - know whether anybody will see it? [Viewer.Threshold]; [Node] has the contrast
//     over the threshold
//   - measure it in a recording? [MeasureFringes]
//
// # Conventions
//
// Places in a picture are in photosites, x to the right and y down; pixel (i, j)
// covers [i, i+1) × [j, j+1). Frequencies are vectors in cycles per photosite.
// Contrast is the amplitude of a sinusoid over the mean, of scene-linear values.
// The stage frame is that of package wall: right-handed, in metres, +Y up.
//
// A wall's pixels are a lattice of lit rectangles. Its image is that of package
// wall: View.ImageGrid takes the steps of the lattice from the camera's own
// projection, so tilt, roll, curved walls and fisheyes are in it. A harmonic of the
// lattice has a frequency in the picture. If the photosites resolve it, the picture
// shows pixels; if not, it shows a coarser pattern that is not there.
//
// The red and blue photosites of a mosaic have twice the pitch, and so alias from
// half the frequency. What they make of a grid that the whole mosaic resolves is
// false colour. Ask for [RedOrBluePhotosites] of a camera with a mosaic, and for
// [EveryPhotosite] of one with none. [Mosaic] gives the raw picture, in which
// brightness and colour stand side by side.
//
// # Limits and errors
//
// Errors wrap [ErrInvalid]. They name the field, its value and the range allowed,
// and report all faults at once. Values from a constructor are immutable.
//
// # Formulas
//
//	alias of a grid           sampling theorem in two dimensions, reciprocal lattices
//	contrast of a component   Fourier series of a rectangular wave; MTF of a square aperture
//	low-pass filter           cos(π d ν): two images, d apart (J. E. Greivenkamp, Applied Optics 29, 1990)
//	mosaic                    luma and chroma carriers (Dubois; Alleysson et al., 2005)
//	visible contrast          package level: contrast sensitivity of the eye
//	crawl                     frequency of the grid times the motion of its image
//
// These documents were not read: they are cited from memory. The checks, with what
// was read, stand in testdata/references.csv.
//
// # What it does not model
//
// Emitters are lit rectangles of even light, one to a wall pixel; the layout of the
// colours within a pixel is left out, and so are refresh and scanning. The picture
// on the wall is even: a bright edge in it makes patterns of its own. Between
// photosites and eye there are interpolation of colours, scaling, compression and
// noise; some hide an alias, sharpening and scaling can add one. So a map says
// what the photosites record, and a test with the real chain decides.
//
// A place in the picture is judged by itself. A map knows only the places of its
// lattice: take a fine one where the grid's frequency changes fast, as on a slanting
// wall. What stands before a wall hides nothing: a map is that of an empty set.
//
// # Cautions
//
// Walls are heavy, hang over people, and draw much power. Those of package wall
// apply. Moving a camera to a safe place must not take it into the way of people or
// under a load: the floor map knows nothing of the set.
package alias
