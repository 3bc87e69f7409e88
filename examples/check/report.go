package main

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"example.com/platewright/internal/strict"
)

// words are the questions as a person asks them.
var words = map[question]string{
	asksFrames:   "Are all frames there, and can they be read?",
	asksLevels:   "Is anything clipped or crushed?",
	asksExposure: "Do the cameras agree in exposure and colour, and does it hold?",
	asksNoise:    "Is the noise that of the photosite?",
	asksVeil:     "Does flare veil the blacks?",
	asksDefects:  "Are there hot, dead or stuck photosites?",
	asksSeams:    "Do neighbouring plates fit where they join?",
	asksRepeats:  "Is a frame repeated, stuck or torn?",
	asksShake:    "Does a camera shake?",
	asksOffset:   "Did the cameras open at the same time?",
	asksBands:    "Do lamps or the wall leave bands?",
	asksPatterns: "Is there a pattern on the wall?",
	asksEvenness: "Is the wall even?",
	asksFlashes:  "Does the take flash?",
}

// marks begin a line: the verdict first.
var marks = map[verdict]string{within: "ok", over: "OVER", notShown: "not shown", notAsked: "not asked", noted: "note"}

// Columns of the report.
const (
	markWide  = 10
	whatWide  = 36
	valueWide = 27
	allWide   = 118
)

// row is a line of the report.
type row struct {
	verdict          verdict
	what, value, why string
	also             []string // remarks, on lines of their own
}

// write prints the report: a summary, then what was found by question.
func (r *result) write(w io.Writer) {
	fmt.Fprintln(w, strict.Printable(r.Name, 200))
	frames, count := 0, map[verdict]int{}
	for _, c := range r.Cameras {
		frames += c.Frames
	}
	for _, f := range r.Findings {
		count[f.Verdict]++
	}
	fmt.Fprintf(w, "%d frames of %s measured: %d over the limit, %d within it, %d not shown, %d not asked.\n",
		frames, plural(len(r.Cameras), "camera"), count[over], count[within], count[notShown], count[notAsked])
	for first := 0; first < len(r.Findings); {
		last := first
		for last < len(r.Findings) && r.Findings[last].Question == r.Findings[first].Question {
			last++
		}
		fmt.Fprintf(w, "\n%s\n", words[r.Findings[first].Question])
		for _, line := range rows(r.Findings[first:last]) {
			line.write(w)
		}
		first = last
	}
	if r.Caution != "" {
		fmt.Fprintln(w)
		for _, line := range wrapped("Caution: "+r.Caution, allWide, "") {
			fmt.Fprintln(w, line)
		}
	}
	fmt.Fprintln(w)
	note := fmt.Sprintf("ok and OVER keep clear of the limit by %d uncertainties (one standard deviation each) or more. "+
		"\"Not shown\" is neither: look at the frames. What was counted has no uncertainty.", sure)
	for _, line := range wrapped(note, allWide, "") {
		fmt.Fprintln(w, line)
	}
}

func plural(n int, what string) string {
	if n != 1 {
		what += "s"
	}
	return fmt.Sprintf("%d %s", n, what)
}

// rows are the lines of one question: what is over first, then what is not shown, noted,
// within and not asked. Answers that say the same of several cameras are one line.
func rows(findings []finding) (out []row) {
	for _, v := range []verdict{over, notShown, noted, within, notAsked} {
		var some []finding
		for _, f := range findings {
			if f.Verdict == v {
				some = append(some, f)
			}
		}
		switch v {
		case over:
			for _, f := range some {
				out = append(out, single(f))
			}
		case within:
			out = append(out, folded(some, func(f finding) string { return fmt.Sprint(f.What, f.Unit, deref(f.Limit)) })...)
		case noted:
			out = append(out, folded(some, func(f finding) string { return fmt.Sprint(f.What, f.Unit, f.Why, f.Question == asksPatterns, f.Where) })...)
		default:
			out = append(out, folded(some, func(f finding) string { return f.What + f.Why })...)
		}
	}
	return out
}

func deref(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

// single is the line of one finding.
func single(f finding) row {
	r := row{verdict: f.Verdict, what: subject(f), value: valueText(f), why: limitText(f)}
	r.also = remarks(f)
	return r
}

// subject names the camera, or the pair, and what was measured.
func subject(f finding) string {
	who := f.Camera
	if f.Other != "" {
		who += " and " + f.Other
	}
	return strings.TrimPrefix(who+": "+f.named(), ": ")
}

// named is what was measured, with its channel.
func (f finding) named() string {
	if f.Channel != "" && f.Channel != "grey" {
		return f.What + ", " + f.Channel
	}
	return f.What
}

// valueText is a value with its uncertainty and unit, both to two digits of the
// uncertainty.
func valueText(f finding) string {
	if f.Value == nil {
		return ""
	}
	v, u := *f.Value, deref(f.Uncertainty)
	unit := f.Unit
	if unit != "" && !strings.HasPrefix(unit, "/") {
		unit = " " + unit
	}
	if !(u > 0) {
		return fmt.Sprintf("%.3g%s", v, unit)
	}
	digits := min(max(0, 1-int(math.Floor(math.Log10(u)))), 9)
	sign := ""
	if f.Predicted != nil && *f.Predicted == 0 {
		sign = "+"
	}
	return fmt.Sprintf("%"+sign+".*f ± %.*f%s", digits, v, digits, u, unit)
}

// limitText is the limit, how far the value keeps clear of it, and how sure that is.
func limitText(f finding) string {
	if f.Limit == nil {
		return ""
	}
	text := fmt.Sprintf("limit %.3g", *f.Limit)
	if f.Limit != nil && *f.Limit == 0 {
		text = "none allowed"
	}
	if f.Margin == nil {
		return text + ", counted"
	}
	return text + fmt.Sprintf(", %s by %s u: %s", map[bool]string{true: "clear", false: "beyond"}[*f.Margin >= 0], short(math.Abs(*f.Margin)), sureness(f.Confidence))
}

func short(v float64) string {
	if v >= 1000 {
		return "over 1000"
	}
	return fmt.Sprintf("%.3g", v)
}

// sureness says a confidence in words and as a number.
func sureness(p float64) string {
	word := "open"
	switch {
	case p >= mostSure:
		return fmt.Sprintf("sure, %.0f %% or more", 100*mostSure)
	case p >= 0.9:
		word = "likely"
	}
	return fmt.Sprintf("%s, %.0f %%", word, 100*p)
}

// remarks are where, when and why.
func remarks(f finding) (out []string) {
	var where []string
	if s := f.Frames; s != nil {
		text := s.FirstFile
		if s.Last > s.First {
			text = fmt.Sprintf("%s to %s", s.FirstFile, s.LastFile)
		}
		where = append(where, text)
	}
	if r := f.Where; r != nil {
		where = append(where, fmt.Sprintf("%d × %d px at (%d, %d)", r.Width, r.Height, r.X, r.Y))
	}
	if len(where) > 0 {
		out = append(out, strings.Join(where, ", "))
	}
	if f.Why != "" {
		out = append(out, f.Why)
	}
	if f.Against != "" {
		out = append(out, "against "+f.Against)
	}
	return out
}

// folded joins findings of the same key into one line each, with the value nearest to its
// limit.
func folded(findings []finding, key func(finding) string) (out []row) {
	var keys []string
	groups := map[string][]finding{}
	for _, f := range findings {
		k := key(f)
		if groups[k] == nil {
			keys = append(keys, k)
		}
		groups[k] = append(groups[k], f)
	}
	for _, k := range keys {
		group := groups[k]
		worst := slices.MaxFunc(group, func(x, y finding) int { return cmp.Compare(nearness(x), nearness(y)) })
		if len(group) == 1 {
			r := single(worst)
			if worst.Verdict == within {
				r.also = nil
			}
			out = append(out, r)
			continue
		}
		var who []string
		channels := map[string]bool{}
		for _, f := range group {
			name := f.Camera
			if f.Other != "" {
				name += "/" + f.Other
			}
			if name != "" && !slices.Contains(who, name) {
				who = append(who, name)
			}
			channels[f.Channel] = true
		}
		r := row{verdict: worst.Verdict, value: valueText(worst), why: limitText(worst)}
		r.what = worst.named()
		if len(channels) > 1 {
			r.what = worst.What
		}
		if r.what = strings.Join(who, ", ") + ": " + r.what; r.value != "" && worst.Value != nil && *worst.Value != 0 {
			r.value = "worst " + r.value
			if len(who) > 1 || len(channels) > 1 {
				r.value += " (" + strings.TrimSuffix(worst.Camera+" "+worst.Other+" "+worst.Channel, " ") + ")"
				r.value = strings.Join(strings.Fields(r.value), " ")
			}
		}
		if worst.Verdict != within {
			r.also = remarks(worst)
		}
		out = append(out, r)
	}
	return out
}

// nearness is larger the nearer a value comes to its limit.
func nearness(f finding) float64 {
	switch {
	case f.Margin != nil:
		return -*f.Margin
	case f.Value != nil && f.Limit != nil:
		return math.Abs(*f.Value) - *f.Limit
	case f.Value != nil:
		return math.Abs(*f.Value)
	}
	return math.Inf(-1)
}

// write prints a row in columns. What does not fit goes on in the next line.
func (r row) write(w io.Writer) {
	cells := [][]string{
		{marks[r.verdict]},
		wrapped(strict.Printable(r.what, 400), whatWide-2, "  "),
		wrapped(r.value, valueWide-2, "  "),
		wrapped(r.why, allWide-markWide-whatWide-valueWide-2, "  "),
	}
	wide := []int{markWide, whatWide, valueWide, 0}
	lines := 0
	for _, c := range cells {
		lines = max(lines, len(c))
	}
	for i := range lines {
		line := "  "
		for k, c := range cells {
			text := ""
			if i < len(c) {
				text = c[i]
			}
			line += text + strings.Repeat(" ", max(0, wide[k]-utf8.RuneCountInString(text)))
		}
		fmt.Fprintln(w, strings.TrimRight(line, " "))
	}
	for _, text := range r.also {
		for _, line := range wrapped(strict.Printable(text, 500), allWide-markWide-4, "  ") {
			fmt.Fprintln(w, strings.Repeat(" ", 2+markWide+2)+line)
		}
	}
}

// wrapped breaks a text into lines of so many characters; all but the first are indented.
func wrapped(text string, width int, indent string) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > width {
			lines = append(lines, line)
			line = indent + word
			continue
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	return append(lines, line)
}
