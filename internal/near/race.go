//go:build race

package near

// RaceDetector says whether the tests run under the race detector, which drops
// pooled memory at random: a test that counts allocations has no meaning there.
const RaceDetector = true
