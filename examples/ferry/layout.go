package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"example.com/platewright/internal/quantity"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// report prints answers under the questions that a person asks. A line names a quantity,
// gives its value with the unit, and the margin to its limit if it has one.
type report struct {
	out     io.Writer
	answers []answer // so far
}

// answer is one line of the report. met says whether the limit is met. margin is
// empty if there is no limit.
type answer struct {
	what          string
	met           bool
	value, margin string
}

func (r *report) question(q string) { fmt.Fprintf(r.out, "\n%s\n", q) }

// Widths of the report's columns, in characters: what is asked, the answer, and
// the margin. A longer cell continues on the next line.
const (
	whatWide   = 44
	valueWide  = 31
	marginWide = 29
)

// line prints an answer without a limit.
func (r *report) line(what, format string, args ...any) {
	value := fmt.Sprintf(format, args...)
	r.answers = append(r.answers, answer{what: what, value: value})
	r.row([3][]string{wrapText(what, whatWide), wrapText(value, valueWide+1+marginWide)})
}

// limit prints an answer with the margin to its limit.
func (r *report) limit(met bool, what, value, margin string) {
	r.answers = append(r.answers, answer{what, met, value, margin})
	mark := "ok: "
	if !met {
		mark = "SHORT: "
	}
	r.row([3][]string{wrapText(what, whatWide), wrapText(value, valueWide), wrapText(mark+margin, marginWide)})
}

func (r *report) row(cells [3][]string) {
	for i := range max(len(cells[0]), len(cells[1]), len(cells[2])) {
		var text strings.Builder
		for k, width := range [3]int{whatWide, valueWide, marginWide} {
			cell := ""
			if i < len(cells[k]) {
				cell = cells[k][i]
			}
			text.WriteString(" " + cell + strings.Repeat(" ", max(0, width-utf8.RuneCountInString(cell))))
		}
		fmt.Fprintln(r.out, " "+strings.TrimRight(text.String(), " "))
	}
}

// wrapText breaks a text between words into lines of at most width characters.
func wrapText(text string, width int) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > width {
			lines = append(lines, line)
			line = "  " + word
			continue
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	return append(lines, line)
}

// none prints why a question has no answer. It counts as a limit that is not met.
func (r *report) none(what string, reason any) { r.limit(false, what, "no answer", fmt.Sprint(reason)) }

// fold joins answers that have the same value and margin.
func fold(answers []answer) (folded []answer) {
	for i, a := range answers {
		same := func(b answer) bool { return b.met == a.met && b.value == a.value && b.margin == a.margin }
		if slices.ContainsFunc(answers[:i], same) {
			continue
		}
		for _, b := range answers[i+1:] {
			if same(b) {
				a.what += ", " + b.what
			}
		}
		folded = append(folded, a)
	}
	return folded
}

// limits prints answers with their margins.
func (r *report) limits(answers []answer) {
	for _, a := range answers {
		r.limit(a.met, a.what, a.value, a.margin)
	}
}

// lines prints answers without limits.
func (r *report) lines(answers []answer) {
	for _, a := range answers {
		r.line(a.what, "%s", a.value)
	}
}

// summary prints how many limits are not met.
func (r *report) summary() {
	limits, short := 0, 0
	for _, a := range r.answers {
		if a.margin != "" {
			limits++
			if !a.met {
				short++
			}
		}
	}
	fmt.Fprintf(r.out, "\n%d of %d limits are not met.\n", short, limits)
}

// note prints a sentence, broken into lines.
func (r *report) note(text string) {
	for _, line := range wrapText(text, 2+whatWide+valueWide+marginWide-4) {
		fmt.Fprintln(r.out, "    "+strings.TrimSpace(line))
	}
}

// rounded is v to three significant digits.
func rounded(v float64) float64 {
	if v == 0 {
		return 0
	}
	step := math.Pow(10, math.Floor(math.Log10(math.Abs(v)))-2)
	return math.Round(v/step) * step
}

func covers(yes bool) string {
	if yes {
		return "covered"
	}
	return "the circle ends inside"
}

func distance(d unit.Length) string {
	if math.IsInf(float64(d), 1) {
		return "infinity"
	}
	return length(d)
}

// length words a length with three digits, which is enough for a plan.
func length(l unit.Length) string {
	if l == 0 || math.IsInf(float64(l), 0) {
		return quantity.Length(l)
	}
	return quantity.Length(unit.Length(rounded(float64(l))))
}

func degrees(a unit.Angle) float64 { return float64(a / deg) }

// where words a direction.
func where(d r3.Vec) string {
	switch heading, elevation := angles(d); {
	case elevation < -89:
		return "straight down"
	case elevation > 89:
		return "straight up"
	default:
		if heading = math.Round(heading); heading == -180 {
			heading = 180
		}
		return fmt.Sprintf("heading %.0f°, elevation %.0f°", heading, elevation)
	}
}

// elevations words the range of elevations at which something is worst.
func elevations(low, high float64) string {
	switch {
	case low > high:
		return ""
	case low == high:
		return fmt.Sprintf("; worst around elevation %.0f°", low)
	}
	return fmt.Sprintf("; worst at elevations of %.0f° to %.0f°", low, high)
}
