package main

import (
	"fmt"
	"os"
	"regexp"
	"strings"
)

// exception is a change that makes no difference that a test could see.
type exception struct {
	file, function, before, after string
	line                          int
	used                          bool
}

func (e *exception) matches(m mutant) bool {
	return e.file == m.file && e.function == m.function && e.before == m.before && e.after == m.after
}

var exceptionHead = regexp.MustCompile(`^(\S+\.go) (\S+)$`)

// readExceptions reads blocks that a blank line parts, as the report prints
// survivors, without the line number and with the reason at the end:
//
//	lens/view.go AngleOfView
//	- if r > limit {
//	+ if r >= limit {
//	Both branches give the same value at the limit.
//
// Several lines with + stand for as many changes of one line. Lines from # on
// are comments.
func readExceptions(name string) ([]*exception, error) {
	text, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	var all []*exception
	var e exception // what the lines of a block have said so far
	var changes, reasons int
	for i, line := range append(strings.Split(string(text), "\n"), "") {
		before, isBefore := strings.CutPrefix(line, "- ")
		after, isAfter := strings.CutPrefix(line, "+ ")
		head := exceptionHead.FindStringSubmatch(line)
		switch {
		case strings.HasPrefix(line, "#"):
		case line == "" && (e.file == "" || reasons > 0):
			e, changes, reasons = exception{}, 0, 0
		case line == "":
			return nil, fmt.Errorf("%s:%d: no reason above", name, i+1)
		case e.file == "" && head != nil:
			e.file, e.function = head[1], head[2]
		case e.file != "" && e.before == "" && isBefore:
			e.before = before
		case e.before != "" && reasons == 0 && isAfter:
			changed := e
			changed.after, changed.line = after, i+1
			all = append(all, &changed)
			changes++
		case changes > 0:
			reasons++
		default:
			return nil, fmt.Errorf("%s:%d: %s: want \"folder/file.go Function\", a line with -, lines with +, the reason", name, i+1, line)
		}
	}
	return all, nil
}
