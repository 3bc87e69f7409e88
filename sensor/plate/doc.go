// Package plate measures recorded plates: what is clipped, how they are exposed, their
// noise, defective photosites, and veiling flare.
//
// # How do I …
//
//   - … know how much of a take is clipped or crushed, and where? [NewLevelMeter],
//     [LevelMeter.Add] for each frame, [LevelMeter.Measure]; a histogram with
//     [Levels.Count] and [Levels.Percentile].
//   - … know how far a plate is from its exposure? [MeasureLight] on the grey card,
//     [Stops] to what it should be, or to the same surface in another plate.
//   - … know whether the exposure drifts through a take? MeasureLight and Stops for each
//     frame, then [MeasureDrift].
//   - … know how noisy a plate is, from the plate alone? [MeasureNoise]; from flat frames,
//     package photosite.
//   - … find hot, dead and stuck photosites? [NewDefectMeter], [DefectMeter.Add] for each
//     of a dozen frames or more, [DefectMeter.Measure].
//   - … bound the veiling flare? [MeasureFlare].
//
// # Conventions
//
// A plane is one channel of a picture over the caller's samples. Whole numbers span 0 to
// their largest, float32 nominally 0 to 1. The origin of a raster is the outer corner of
// its top left pixel, x to the right, y down. Frames and channels are counted from 0.
//
// LevelMeter and DefectMeter take codes, in any curve. Their limits are codes, or
// fractions of the range of codes. MeasureLight, MeasureNoise and MeasureFlare need
// light: their Linear is a function from code to linear light, as the curve of the
// recording. If it is nil, samples are taken to be proportional to light. Stops takes
// light, MeasureDrift stops.
//
// A take is measured frame by frame: one frame is in memory, beside a histogram and a few
// bytes a cell (LevelMeter), or the photosites under suspicion (DefectMeter). Both work
// on rows in parallel; results do not depend on the number of processors. The methods of
// one meter may not be called at the same time.
//
// The uncertainty of a measured value is one standard deviation. Bad input, and evidence
// too poor for an answer, are an error that wraps ErrInvalid and says what is missing. A
// meter leaves such a frame out and may go on. No function changes samples. The zero value
// of a spec's field means the default that is named there.
//
// # Formulas
//
//	clipped, crushed         count of code ≥ White, code ≤ Black, over all            definition
//	stops                    log2(light / reference)                                  definition
//	drift                    least squares; u · √((1 + ρ)/(1 − ρ)) for correlation ρ, the most
//	                         of means of 1, 2, 4 … frames     effective sample size, from memory
//	noise of a plate         σ² = mean(s² | s² < 0.9 σ²) / M, s² of blocks            truncated χ²
//	gain                     slope of σ² over light                                   EMVA 1288
//	veil                     ≤ light of the darkest blocks − light of no light        definition
//
// # Not modelled
//
// Where a mosaic's photosites lie: give each colour as a plane, by Stride and Step. What
// compression and denoising did: the noise is that which they left. Rows and columns
// that are defective as a whole, and clusters of defects. Ghosts and flare about lamps.
// Whether the brightest parts should have been clipped, as the sun and its glint.
//
// # Cautions
//
// An answer holds for the frames that were measured. Look at the areas that are named
// before a take is thrown away or kept. A plate without findings may still be soft, out of
// sync or of the wrong place.
package plate
