package clock

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"

	"example.com/platewright/internal/valid"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/internal/whole"
)

// AudioSpec says how samples of sound are shared out among frames. A frame lasts
// exactly Samples.Per(Frames) samples, 8008/5 at 48 kHz and 30000/1001.
type AudioSpec struct {
	Frames  timing.Rate `json:",omitzero"` // 24000/1001
	Samples timing.Rate `json:",omitzero"` // 48000

	// Sequence is the number of samples in each frame, over and over, from frame 0. Its
	// sum must be exactly that many samples as its frames last. If it is empty,
	// Rounding gives the sequence.
	//
	// No rounding gives the orders of all formats: nearest gives 1602, 1601, 1602, 1601,
	// 1602 at 30000/1001 and 48 kHz, but 801, 801, 800, 801, 801 at 60000/1001, where
	// ceil gives 801, 801, 801, 801, 800. Take the order from the format in use.
	Sequence []int64

	// Rounding turns the time at which a frame begins into its first sample.
	Rounding timing.Rounding
}

// Audio counts samples of sound by frames: sample 0 is the first of frame 0. All
// counts are exact, over any time. Audios do not compare.
type Audio struct {
	firsts []int64 // the first sample of each frame of the sequence, and of the next
}

// maxSequence is the largest number of frames after which a sequence begins again. It
// is 2000 or less for common rates.
const maxSequence = 10_000

// NewAudio checks the spec. Rates whose frames hold less than a sample each, or whose
// sequence has more than 10 000 frames, are errors.
func NewAudio(spec AudioSpec) (Audio, error) {
	c := newChecker()
	valid.Set(c, "frame rate", spec.Frames)
	valid.Set(c, "sample rate", spec.Samples)
	_, err := spec.Rounding.MarshalText()
	c.Add("rounding", err)
	if !c.OK() {
		return Audio{}, c.Err()
	}
	// num samples in den frames.
	num, den := spec.Samples.Per(spec.Frames)
	given := int64(len(spec.Sequence))
	if num < den {
		c.Fault("sample rate", spec.Samples.String(), "must be at least the frame rate, %s", spec.Frames)
	}
	if den > maxSequence || given > maxSequence {
		c.Fault("sequence", strconv.FormatInt(max(den, given), 10)+" frames", "must begin again after at most %d frames", maxSequence)
	}
	if given%den != 0 {
		c.Fault("sequence", strconv.FormatInt(given, 10)+" frames", "must have a multiple of %d frames, which hold %d samples", den, num)
	}
	if !c.OK() {
		return Audio{}, c.Err()
	}
	a := Audio{[]int64{0}}
	if given == 0 {
		for n := range den {
			begins, err := exact(spec.Frames.Time(n + 1))
			if err != nil {
				return Audio{}, err
			}
			first, err := exact(spec.Samples.Frame(begins, spec.Rounding))
			if err != nil {
				return Audio{}, err
			}
			a.firsts = append(a.firsts, first)
		}
		return a, nil
	}
	sum := int64(0)
	for k, samples := range spec.Sequence {
		if samples < 1 || samples > math.MaxInt32 {
			return Audio{}, newChecker().Refuse(fmt.Sprintf("sequence, frame %d", k), strconv.FormatInt(samples, 10)+" samples", "must be at least 1 and at most %d", math.MaxInt32)
		}
		sum += samples
		a.firsts = append(a.firsts, sum)
	}
	if want := given / den * num; sum != want {
		return Audio{}, newChecker().Refuse("sequence", strconv.FormatInt(sum, 10)+" samples", "must hold %d samples in %d frames", want, given)
	}
	return a, nil
}

// Sequence returns the number of samples in each frame until the order begins again.
func (a Audio) Sequence() []int64 {
	if len(a.firsts) == 0 {
		return nil
	}
	sequence := slices.Clone(a.firsts[1:])
	for k := range sequence {
		sequence[k] -= a.firsts[k]
	}
	return sequence
}

// Sample returns the first sample of frame n. A sample that does not fit int64 is an
// error.
func (a Audio) Sample(n int64) (int64, error) {
	if len(a.firsts) == 0 {
		return 0, newChecker().Refuse("audio", "without rates", "must come from NewAudio")
	}
	frames := int64(len(a.firsts) - 1)
	samples := a.firsts[frames]
	turns, k := n/frames, n%frames
	if k < 0 {
		turns, k = turns-1, k+frames
	}
	if limit := math.MaxInt64/samples - 1; turns > limit || turns < -limit-1 {
		return 0, newChecker().Refuse("frame", strconv.FormatInt(n, 10), "its first sample must fit int64")
	}
	return turns*samples + a.firsts[k], nil
}

// Frame returns the frame that holds a sample, and the place of the sample in it, from
// 0. It is the inverse of Sample. A sample within one sequence of the least int64 is an
// error.
func (a Audio) Frame(sample int64) (n, place int64, err error) {
	if len(a.firsts) == 0 {
		return 0, 0, newChecker().Refuse("audio", "without rates", "must come from NewAudio")
	}
	frames := int64(len(a.firsts) - 1)
	samples := a.firsts[frames]
	rest := whole.Mod(sample, samples)
	if sample < math.MinInt64+samples {
		return 0, 0, newChecker().Refuse("sample", strconv.FormatInt(sample, 10), "its frame must begin at a sample that fits int64")
	}
	k := int64(sort.Search(int(frames), func(k int) bool { return a.firsts[k+1] > rest }))
	return (sample-rest)/samples*frames + k, rest - a.firsts[k], nil
}
