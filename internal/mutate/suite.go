package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"
)

// slow is what a test takes that runs after the others.
const slow = 500 * time.Millisecond

// memory is the address space, in KiB, that the tests of a change may fill: a
// loop that was changed may allocate without end.
const memory = 12 << 20

// verdict is what became of a change.
type verdict uint8

const (
	untested verdict = iota
	caught           // a test failed
	timedOut         // the tests did not end, which counts as caught
	survived         // all tests passed
	broken           // it does not compile
)

// mark stands for a verdict in the line of progress.
func (v verdict) mark() string { return [...]string{"?", ".", "t", "S", "x"}[v] }

// suite holds the tests of one package. Those that are slow run only where the
// others have passed.
type suite struct {
	path, dir string
	untested  bool
	measured  bool
	took      time.Duration // of a processor
	slow      []string
	all       bool // every test is slow
}

type runner struct {
	options
	folder string
	module *module
	mu     sync.Mutex // of the suites of importers
}

// build makes the test program of a suite.
func (r *runner) build(ctx context.Context, s *suite, program, overlay string) (string, error) {
	args := []string{"test", "-c", "-o", program, "-vet=off", "-gcflags=-dwarf=false", "-ldflags=-s -w"}
	if overlay != "" {
		args = append(args, "-overlay", overlay)
	}
	cmd := exec.CommandContext(ctx, "go", append(args, s.path)...)
	cmd.Cancel = func() error { return cmd.Process.Signal(os.Interrupt) }
	return r.output(ctx, cmd, s.dir)
}

// tests runs the test program of a suite, and says what processor time that
// took. The limit is one of processor time, since other work slows a machine
// down; a test that sleeps for ever ends after eight times as long.
func (r *runner) tests(ctx context.Context, s *suite, program string, limit time.Duration, flags ...string) (string, time.Duration, error) {
	shell := fmt.Sprintf(`ulimit -v %d 2>/dev/null; ulimit -t %.0f; exec "$@"`, memory, math.Ceil(limit.Seconds()))
	timed, cancel := context.WithTimeout(ctx, 8*limit)
	defer cancel()
	cmd := exec.CommandContext(timed, "sh", append([]string{"-c", shell, "sh", program, "-test.timeout=0"}, flags...)...)
	out, err := r.output(timed, cmd, s.dir)
	if cmd.ProcessState == nil {
		return out, 0, err
	}
	if cmd.ProcessState.ExitCode() < 0 { // ended by a signal
		err = context.DeadlineExceeded
	}
	return out, cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime(), err
}

// output runs a command, whose temporary files stand in the runner's folder.
func (r *runner) output(ctx context.Context, cmd *exec.Cmd, dir string) (string, error) {
	cmd.Dir = dir
	cmd.Env = append(cmd.Environ(), "GOTMPDIR="+r.folder, "TMPDIR="+r.folder)
	cmd.WaitDelay = 5 * time.Second
	out, err := cmd.CombinedOutput()
	if ctx.Err() != nil {
		err = ctx.Err()
	}
	return string(out), err
}

var passed = regexp.MustCompile(`(?m)^--- PASS: (\S+) \(([0-9.]+)s\)`)

// baseline runs the tests of the code as it is: they must pass, and show what
// is slow.
func (r *runner) baseline(ctx context.Context, s *suite) error {
	if s.measured || s.untested {
		return nil
	}
	s.measured = true
	fmt.Fprintf(r.progress, "%s: tests of the code as it is\n", s.path)
	program := filepath.Join(r.folder, "unchanged.test")
	defer os.Remove(program)
	out, err := r.build(ctx, s, program, "")
	if err != nil {
		return fmt.Errorf("%s does not build: %w\n%s", s.path, err, out)
	}
	if out, s.took, err = r.tests(ctx, s, program, time.Hour, "-test.v", "-test.run="+r.run); err != nil {
		return fmt.Errorf("%s fails unchanged: %w\n%s", s.path, err, out)
	}
	tests := passed.FindAllStringSubmatch(out, -1)
	for _, t := range tests {
		if seconds, err := strconv.ParseFloat(t[2], 64); err == nil && seconds > slow.Seconds() {
			s.slow = append(s.slow, regexp.QuoteMeta(t[1]))
		}
	}
	s.all = len(s.slow) == len(tests)
	if len(tests) == 0 || s.all && r.fast {
		return fmt.Errorf("%s: no test is left to run", s.path)
	}
	return nil
}

// judge makes a change and runs the tests.
func (r *runner) judge(ctx context.Context, job int, pkg *source, m mutant) (verdict, error) {
	folder := filepath.Join(r.folder, strconv.Itoa(job))
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return untested, err
	}
	changed, overlay := filepath.Join(folder, filepath.Base(m.file)), filepath.Join(folder, "overlay.json")
	defer os.Remove(changed)
	replace, err := json.Marshal(map[string]map[string]string{"Replace": {r.module.path(m.file): changed}})
	if err == nil {
		err = errors.Join(os.WriteFile(changed, pkg.apply(m), 0o666), os.WriteFile(overlay, replace, 0o666))
	}
	if err != nil {
		return untested, err
	}
	program := filepath.Join(folder, "changed.test")
	v, err := r.runSuite(ctx, pkg.suite, program, overlay)
	if v != survived || err != nil || !r.importers {
		return v, err
	}
	suites, err := r.importing(ctx, pkg.suite)
	if err != nil {
		return untested, err
	}
	for _, s := range suites {
		if v, err = r.runSuite(ctx, s, program, overlay); v != survived || err != nil {
			return v, err
		}
	}
	return survived, nil
}

// importing gives the suites of the packages that import another, measured.
func (r *runner) importing(ctx context.Context, s *suite) ([]*suite, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	suites, err := r.module.importersOf(ctx, s.path)
	if err != nil {
		return nil, err
	}
	for _, s := range suites {
		if err := r.baseline(ctx, s); err != nil {
			return nil, err
		}
	}
	return suites, nil
}

// runSuite runs the fast tests, then the slow ones.
func (r *runner) runSuite(ctx context.Context, s *suite, program, overlay string) (verdict, error) {
	if s.untested {
		return survived, nil
	}
	defer os.Remove(program)
	if out, err := r.build(ctx, s, program, overlay); err != nil {
		if ctx.Err() != nil {
			return untested, ctx.Err()
		}
		fmt.Fprintf(r.progress, "\n%s", out)
		return broken, nil
	}
	limit := cmp.Or(r.timeout, 5*time.Second+5*s.took)
	last := "^(" + strings.Join(s.slow, "|") + ")$"
	var turns [][]string
	if !s.all {
		first := []string{"-test.run=" + r.run}
		if len(s.slow) > 0 {
			first = append(first, "-test.skip="+last)
		}
		turns = append(turns, first)
	}
	if len(s.slow) > 0 && !r.fast {
		turns = append(turns, []string{"-test.run=" + last})
	}
	for _, flags := range turns {
		_, _, err := r.tests(ctx, s, program, limit, append(flags, "-test.failfast")...)
		switch {
		case ctx.Err() != nil:
			return untested, ctx.Err()
		case errors.Is(err, context.DeadlineExceeded):
			return timedOut, nil
		case err != nil:
			return caught, nil
		}
	}
	return survived, nil
}

// goList runs go list and decodes what it prints.
func goList(ctx context.Context, args ...string) ([]listed, error) {
	cmd := exec.CommandContext(ctx, "go", append([]string{"list"}, args...)...)
	var faults bytes.Buffer
	cmd.Stderr = &faults
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("go list: %w\n%s", err, faults.String())
	}
	var all []listed
	for d := json.NewDecoder(bytes.NewReader(out)); d.More(); {
		var l listed
		if err := d.Decode(&l); err != nil {
			return nil, fmt.Errorf("go list: %w", err)
		}
		all = append(all, l)
	}
	return all, nil
}
