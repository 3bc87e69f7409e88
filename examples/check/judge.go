package main

import (
	"fmt"
	"math"

	"example.com/platewright/sensor/plate"
)

// sure is the number of uncertainties by which a value must keep clear of its limit. The
// measurements of the packages hold the truth within three in 99 of 100 cases, so no
// verdict on a measured value is surer than that.
const (
	sure     = 3
	mostSure = 0.99
)

// judge compares the size of a value with a limit. What was counted has no uncertainty.
func judge(f finding, v plate.Estimate, unit string, limit float64) finding {
	if math.IsNaN(v.Value-v.Value) || math.IsNaN(v.Uncertainty-v.Uncertainty) {
		return refused(f, "the frames leave no number")
	}
	f.Value, f.Uncertainty, f.Unit, f.Limit = ptr(v.Value), ptr(v.Uncertainty), unit, ptr(limit)
	clear := limit - math.Abs(v.Value) // how far below the limit
	if v.Uncertainty == 0 {
		f.Verdict, f.Confidence = within, 1
		if clear < 0 {
			f.Verdict = over
		}
		return f
	}
	margin := clear / v.Uncertainty
	f.Margin = ptr(margin)
	f.Confidence = min(normalBelow(math.Abs(margin)), mostSure)
	switch {
	case margin >= sure:
		f.Verdict = within
	case margin <= -sure:
		f.Verdict = over
	default:
		f.Verdict = notShown
		side := "within"
		if margin < 0 {
			side = "over"
		}
		f.Why = joined(f.Why, fmt.Sprintf("within %d uncertainties of the limit, rather %s it", sure, side))
	}
	return f
}

// normalBelow is the probability that a normal deviate is less than x.
func normalBelow(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }

// refused is a question that the frames do not answer.
func refused(f finding, why string) finding {
	f.Verdict, f.Why = notShown, joined(f.Why, why)
	f.Margin, f.Confidence = nil, 0
	return f
}

func ptr[T any](v T) *T { return &v }

// joined puts two remarks into one.
func joined(a, b string) string {
	switch {
	case a == "":
		return b
	case b == "":
		return a
	}
	return a + "; " + b
}

// span of files of a camera, by their indices in the take.
func (c *camera) span(first, last int) *span {
	return &span{first, last, c.Files[first].Name, c.Files[last].Name}
}

// channel is the name of channel k.
func (c *camera) channel(k int) string {
	if c.Shape.Channels == 1 {
		return "grey"
	}
	return [...]string{"red", "green", "blue"}[k]
}
