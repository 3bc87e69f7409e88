package trace

import "strconv"

// Jump is a frame whose label is not one more than that of the frame before.
type Jump struct {
	Frame int   // the frame, from 0
	Step  int64 // its label less that of the frame before: 0 for a repeat, 3 if two are missing
}

// Labels says how the labels of a take count.
type Labels struct {
	Jumps []Jump

	// The labels count at another rate than the frames if all jumps are alike and evenly
	// spaced: Counts labels in Frames frames, as 25 in 24. Otherwise both are 0.
	Counts, Frames int64
}

// FindJumps looks through the labels of a take, one a frame, as the index of its
// timecode (clock.Timecode.Parse) or the number in its file name. Each must be one
// more than that of the frame before. Frames that are missing, and timecode that was
// set again, are jumps. Four jumps or more, with the same step and evenly spaced to a
// frame, are another rate.
//
// Labels outside ±2⁵³, less than two, and more than 2²⁴ of them are errors.
func FindJumps(labels []int64) (Labels, error) {
	c := newChecker()
	c.Int("labels", len(labels), "", 2, mostFrames)
	for i, l := range labels {
		if l > 1<<53 || l < -1<<53 {
			c.Fault("labels["+strconv.Itoa(i)+"]", strconv.FormatInt(l, 10), "must be within ±2⁵³")
			break
		}
	}
	if !c.OK() {
		return Labels{}, c.Err()
	}
	var out Labels
	for i := 1; i < len(labels); i++ {
		if step := labels[i] - labels[i-1]; step != 1 {
			out.Jumps = append(out.Jumps, Jump{i, step})
		}
	}
	j := out.Jumps
	if len(j) < 4 {
		return out, nil
	}
	least, most := len(labels), 0
	for i := 1; i < len(j); i++ {
		gap := j[i].Frame - j[i-1].Frame
		least, most = min(least, gap), max(most, gap)
		if j[i].Step != j[0].Step {
			return out, nil
		}
	}
	// An even rate leaves no longer gap at the ends, either.
	if ends := max(j[0].Frame-1, len(labels)-1-j[len(j)-1].Frame); most-least <= 1 && ends <= most {
		first, last := j[0].Frame, j[len(j)-1].Frame
		out.Counts, out.Frames = labels[last]-labels[first], int64(last-first)
		a, b := max(out.Counts, -out.Counts), out.Frames
		for b != 0 {
			a, b = b, a%b
		}
		out.Counts, out.Frames = out.Counts/a, out.Frames/a
	}
	return out, nil
}
