// Package recording predicts the data that cameras record: rates, media, off-load,
// and how a day of takes goes.
//
// # How do I …
//
//   - … find the rate of one camera, and of the array? [New], [Recording.Camera],
//     [Recording.BytesPerSecond]; at a constant rate, [Recording.Compression].
//   - … plan storage? [Recording.StoreBytes], [Recording.StoreTime].
//   - … count media? [Recording.Media].
//   - … know whether a link or a store keeps up, and with how much to spare?
//     [Recording.Sustained].
//   - … find how long copies and their verification take? [NewOffload],
//     [Offload.Time].
//   - … know whether a day's takes fit, and when media must be used again?
//     [Schedule].
//
// # Conventions
//
// A spec is a plain struct. Its constructor checks every field once and returns an
// immutable value, safe for concurrent use. Methods of that value do not fail; ok is
// false if a question has no answer. Every error wraps ErrInvalid. Equal specs give
// values that are equal by ==.
//
// Data are in bytes of 8 bit with decimal multiples: 1 TB is 1e12 B. Times are
// gonum.org/v1/gonum/unit types.
//
// # Formulas
//
//	data        pixels · samples · bits / 8 · rate / compression · cameras   definition
//	media       ceil(take · rate of a camera / capacity) · cameras           definition
//	copying     bytes / min(readers · reading, writing, link/copies)         see Offload.Time
//	verifying   bytes / min(verification, link/copies)                       definition
//
// # Not modelled
//
// Sound, metadata, checksums and the overhead of files; stores that slow down as they
// fill or get warm; batteries. A Recording has cameras of one kind: with several, add
// their rates, and schedule those whose media are full first.
//
// # Cautions
//
// These are predictions for planning. Time a real off-load of full media with the real
// stores. Keep at least two verified copies in two places before a medium is used
// again, and let one person alone decide that it may be.
package recording
