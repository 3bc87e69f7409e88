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
	valueWide = 30
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
	fmt.Fprintf(w, "%s of %s measured: %d over the limit, %d within it, %d not shown, %d not asked.\n",
		plural(frames, "frame"), plural(len(r.Cameras), "camera"), count[over], count[within], count[notShown], count[notAsked])
	if short := r.short(); short != "" {
		paragraph(w, "Over the limit: "+short)
	}
	for first := 0; first < len(r.Findings); {
		last := first
		for last < len(r.Findings) && r.Findings[last].Question == r.Findings[first].Question {
			last++
		}
		if lines := rows(r.Findings[first:last]); len(lines) > 0 {
			fmt.Fprintf(w, "\n%s\n", words[r.Findings[first].Question])
			for _, line := range lines {
				line.write(w)
			}
		}
		first = last
	}
	if lines := r.unasked(); len(lines) > 0 {
		fmt.Fprint(w, "\nWhat was not asked?\n")
		for _, line := range lines {
			line.write(w)
		}
	}
	if r.Caution != "" {
		fmt.Fprintln(w)
		paragraph(w, "Caution: "+r.Caution)
	}
	fmt.Fprintln(w)
	paragraph(w, fmt.Sprintf("u is the uncertainty of a value, one standard deviation, after ±. ok and OVER keep clear of the limit "+
		"by %d u or more, which is sure to %.0f %% at least. \"Not shown\" is neither: look at the frames. What was counted has no uncertainty.", sure, 100*mostSure))
}

// paragraph prints a text in lines.
func paragraph(w io.Writer, text string) {
	for _, line := range wrapped(text, allWide, "") {
		fmt.Fprintln(w, line)
	}
}

// short names what is over the limit, by camera.
func (r *result) short() string {
	var cameras []string
	of := map[string][]string{}
	for _, f := range r.Findings {
		if f.Verdict != over {
			continue
		}
		if of[f.Camera] == nil {
			cameras = append(cameras, f.Camera)
		}
		if !slices.Contains(of[f.Camera], f.What) {
			of[f.Camera] = append(of[f.Camera], f.What)
		}
	}
	var parts []string
	for _, c := range cameras {
		parts = append(parts, strict.Printable(c, 80)+": "+strings.Join(of[c], ", "))
	}
	if parts == nil {
		return ""
	}
	return strings.Join(parts, "; ") + "."
}

// unasked are the lines of the questions that were not asked, with what they need.
func (r *result) unasked() (lines []row) {
	var some []finding
	var fields []string
	for _, f := range r.Findings {
		if f.Verdict != notAsked {
			continue
		}
		if field, ok := strings.CutPrefix(f.Why, noLimit); ok {
			fields = append(fields, field)
			continue
		}
		some = append(some, f)
	}
	if fields != nil {
		lines = append(lines, row{verdict: notAsked, what: "no limit in the scenario", value: strings.Join(fields, ", ")})
	}
	for _, line := range folded(some, func(f finding) string { return f.Why }) {
		line.value, line.also = strings.Join(line.also, "; "), nil
		lines = append(lines, line)
	}
	return lines
}

func plural(n int, what string) string {
	if n != 1 {
		what += "s"
	}
	return fmt.Sprintf("%d %s", n, what)
}

// rows are the lines of one question: what is over first, then what is not shown, noted
// and within. Answers that say the same of several cameras are one line.
func rows(findings []finding) (out []row) {
	for _, v := range []verdict{over, notShown, noted, within} {
		var some []finding
		for _, f := range findings {
			if f.Verdict == v {
				some = append(some, f)
			}
		}
		key := func(f finding) string {
			if f.Value != nil {
				return f.What // measured, and too near the limit
			}
			return f.What + strings.Map(wordsOnly, f.Why)
		}
		switch v {
		case over: // the channels of what was counted are one line
			key = func(f finding) string {
				if f.Question == asksLevels {
					return fmt.Sprint(f.Camera, f.What)
				}
				return fmt.Sprintf("%p", f.Value) // each for itself
			}
		case within:
			key = func(f finding) string {
				if f.Question == asksFlashes {
					return ""
				}
				return fmt.Sprint(f.What, f.Unit, deref(f.Limit))
			}
		case noted:
			key = func(f finding) string {
				if f.Question == asksPatterns && f.Value != nil {
					return fmt.Sprintf("%p", f.Value)
				}
				return f.What + f.Unit
			}
		}
		out = append(out, folded(some, key)...)
	}
	return out
}

// wordsOnly drops numbers, by which the same reason differs from camera to camera.
func wordsOnly(r rune) rune {
	if r >= '0' && r <= '9' || r == '.' {
		return -1
	}
	return r
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
	if f.Verdict != within {
		r.also = remarks(f)
	}
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
		switch {
		case v == 0:
			return "none"
		case v == 1:
			unit = strings.TrimSuffix(unit, "s")
		}
		return fmt.Sprintf("%.3g%s", v, unit)
	}
	digits := min(max(0, 1-int(math.Floor(math.Log10(u)))), 9)
	sign := ""
	if f.signed() {
		sign = "+"
	}
	return fmt.Sprintf("%"+sign+".*f ± %.*f%s", digits, v, digits, u, unit)
}

// signed reports whether the sign of a value says something.
func (f finding) signed() bool { return f.Question == asksExposure || f.Question == asksOffset }

// limitText is the limit, how far the value keeps clear of it, and how sure that is.
func limitText(f finding) string {
	if f.Limit == nil {
		return ""
	}
	text := fmt.Sprintf("limit %.3g", *f.Limit)
	if f.Limit != nil && *f.Limit == 0 {
		text = "none allowed"
	}
	switch {
	case f.Margin == nil && f.Verdict == notShown:
		return text
	case f.Margin == nil:
		return text + ", counted"
	}
	side := "clear"
	if *f.Margin < 0 {
		side = "beyond"
	}
	return text + fmt.Sprintf(", %s by %s u, %s", side, rounded(math.Abs(*f.Margin)), sureness(f.Confidence))
}

func rounded(v float64) string {
	switch {
	case v >= 1000:
		return "over 1000"
	case v >= 10:
		return fmt.Sprintf("%.0f", v)
	}
	return fmt.Sprintf("%.1f", v)
}

// sureness says a confidence in words, and as a number where it is not sure.
func sureness(p float64) string {
	switch {
	case p >= mostSure:
		return "sure"
	case p >= 0.9:
		return fmt.Sprintf("likely, %.0f %%", 100*p)
	}
	return fmt.Sprintf("open, %.0f %%", 100*p)
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
		if group := groups[k]; len(group) == 1 {
			out = append(out, single(group[0]))
		} else {
			out = append(out, together(group))
		}
	}
	return out
}

// together is the line of several findings.
func together(group []finding) row {
	var who, what, channels []string
	with := func(list []string, s string) []string {
		if s != "" && !slices.Contains(list, s) {
			list = append(list, s)
		}
		return list
	}
	for _, f := range group {
		name := f.Camera
		if f.Other != "" {
			name += "/" + f.Other
		}
		who, what, channels = with(who, name), with(what, f.What), with(channels, f.Channel)
	}
	worst := slices.MaxFunc(group, func(x, y finding) int { return cmp.Compare(nearness(x), nearness(y)) })
	r := single(worst)
	r.what = strings.Join(what, ", ")
	if len(channels) == 1 && channels[0] != "grey" {
		r.what += ", " + channels[0]
	}
	r.what = strings.TrimPrefix(strings.Join(who, ", ")+": "+r.what, ": ")
	if worst.Value == nil || *worst.Value == 0 {
		return r
	}
	var at []string // which of them it is
	if len(who) > 1 {
		at = append(at, strings.TrimSuffix(worst.Camera+"/"+worst.Other, "/"))
	}
	if len(channels) > 1 {
		at = append(at, worst.Channel)
	}
	if r.value = "at most " + r.value; len(at) > 0 {
		r.value += ", " + strings.Join(at, " ")
	}
	if worst.Verdict == over { // one camera, by channel
		var values []string
		for _, f := range group {
			values = append(values, valueText(f)+" "+f.Channel)
		}
		r.value = strings.Join(values, ", ")
	}
	return r
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
		wrapped(strict.Printable(r.value, 400), valueWide-2, "  "),
		wrapped(r.why, allWide-markWide-whatWide-valueWide-2, "  "),
	}
	if r.why == "" {
		cells[2] = wrapped(strict.Printable(r.value, 400), allWide-markWide-whatWide-2, "  ")
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
