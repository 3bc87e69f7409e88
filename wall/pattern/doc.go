// Package pattern measures pictures that a camera took of an LED wall: periodic
// patterns, as moiré leaves them, and how even light and colour are.
//
// How do I …
//
//   - see whether a picture holds a periodic pattern, where, and how strong it is?
//     [MeasurePatterns]
//   - know whether it is the alias that was predicted? Spec.Expected, with the
//     frequencies that package alias gives
//   - say it as a period and a direction? [Pattern.Period], [Pattern.Direction]
//   - see how even the wall is in light and colour? [MeasureUniformity], with a picture
//     of an even field
//   - see whether panels differ where they meet? UniformitySpec.Joints
//   - measure the black level? MeasureUniformity, with a picture of a black wall
//
// # Conventions
//
// A plane is one channel of a picture over the caller's samples. The origin of a
// picture is the outer corner of its top left pixel, x to the right and y down.
// Frequencies are vectors in cycles per pixel; brightness changes along the vector.
// Contrast is the amplitude of a sinusoid over the mean of the linear light around it.
// Spec.Linear is a function from code to linear light, as the curve of the recording,
// with the black level taken out. If it is nil, samples are taken to be proportional to
// light.
//
// The uncertainty of a measured value is one standard deviation. Bad input, and
// evidence too poor for an answer, are an error that wraps [ErrInvalid] and says what is
// missing. Results do not depend on the number of processors. No function changes
// samples. The zero value of a spec's field means the default that is named there.
//
// # Formulas
//
//	background       mean of ln|F|² around a frequency, + 0.5772    mean value of harmonic functions
//	probability      min over t of E[exp(t (score − s))]^tiles      H. Chernoff, 1952, from memory
//	frequency        top of Σ |F|²/background                       periodogram, D. C. Rife, R. R. Boorstyn, 1974, from memory
//	contrast         2 |F| / Σ window · light                       definition
//	noise of a mean  second differences of means of blocks, σ²/6    variance of a − 2b + c
//	step             2 (right − left)/(right + left) at the joint   straight lines, least squares
//
// F is the Fourier sum of a tile under a Hann window. ln|F|² of a scene whose spectrum
// falls as a power of the frequency is a harmonic function. So its mean over a ring is
// its value in the middle, and the slope does not look like a pattern.
//
// # Not modelled
//
// Whatever repeats in the scene is a pattern too: railings, blinds, bricks, rows of
// windows, a weave. No spectrum tells them from an alias. What tells is the prediction,
// or a second picture: an alias changes when the camera moves a little or the lens is
// defocused a little, and railings do not. So do the blocks of a compressed picture
// repeat, at multiples of 1/8 cycle per pixel, and an enlarged picture at multiples of
// the scale.
//
// A pattern coarser than a sixth of a tile is not told from the scene: take larger
// tiles. Within a bin of (½, 0), (0, ½) and (½, ½) a pattern and its own mirror cannot
// be told apart; frequency and contrast then depend on the phase, and uncertainties do
// not hold.
//
// # Cautions
//
// The lens and the sensor have a falloff and a colour of their own. MeasureUniformity
// says what is in the picture. Compare with a picture of the same wall from elsewhere,
// or with the camera turned, before panels are corrected.
//
// A picture without findings holds no pattern above the limit that the method could
// tell from the scene. A bright or busy scene hides one. Look at an even field on the
// wall as well, from where the camera will be.
package pattern
