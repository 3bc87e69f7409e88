package main

import (
	"fmt"
	"os"
	"regexp"
	"strings"
)

// exception is a change that makes no difference that a test could see.
type exception struct {
	file, function, before string
	after                  []string
	line                   int
	used                   bool
}

func (e *exception) matches(m mutant) bool {
	if e.file != m.file || e.function != m.function || e.before != m.before {
		return false
	}
	for _, a := range e.after {
		if a == m.after {
			return true
		}
	}
	return false
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
	var e *exception
	reason := true
	lines := append(strings.Split(string(text), "\n"), "")
	for i, line := range lines {
		fault := func(what string) error { return fmt.Errorf("%s:%d: %s", name, i+1, what) }
		before, isBefore := strings.CutPrefix(line, "- ")
		after, isAfter := strings.CutPrefix(line, "+ ")
		head := exceptionHead.FindStringSubmatch(line)
		switch {
		case strings.HasPrefix(line, "#"):
		case line == "":
			if e != nil && !reason {
				return nil, fault("the exception above has no reason")
			}
			e = nil
		case e == nil && head != nil:
			e, reason = &exception{file: head[1], function: head[2], line: i + 1}, false
			all = append(all, e)
		case e == nil:
			return nil, fault("want \"folder/file.go Function\", without a line number")
		case isBefore && e.before == "":
			e.before = before
		case isAfter && e.before != "" && !reason:
			e.after = append(e.after, after)
		case len(e.after) > 0:
			reason = true
		default:
			return nil, fault("want a line with -, lines with +, and the reason")
		}
	}
	return all, nil
}
