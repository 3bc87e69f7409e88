package main

import (
	"context"
	"flag"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "accept the list of changes as it is")

const tiny = "internal/mutate/testdata/tiny/"

// sample is options that test nothing outside a temporary folder.
func sample(t *testing.T, pattern string) options {
	t.Setenv("TMPDIR", t.TempDir())
	return options{
		patterns: []string{pattern}, in: regexp.MustCompile(""), jobs: 2, timeout: time.Second,
		except: tiny + "equivalent.txt", out: io.Discard, progress: io.Discard,
	}
}

// left lists what a run has left in the temporary folder.
func left(t *testing.T) []string {
	names, err := filepath.Glob(filepath.Join(os.TempDir(), "*"))
	require.NoError(t, err)
	return names
}

func TestEveryVerdict(t *testing.T) {
	before, err := os.ReadFile("testdata/tiny/tiny.go")
	require.NoError(t, err)
	o := sample(t, "./testdata/tiny")
	var out strings.Builder
	o.out, o.least = &out, 95
	tallies, err := run(t.Context(), o)
	assert.ErrorContains(t, err, "85.7 % caught, less than 95 %")
	require.Len(t, tallies, 1)
	got := tallies[0]
	assert.Equal(t, 6, got.caught, "the difference, the other of two, and four changes of the loop")
	assert.Equal(t, 2, got.timedOut, "a loop whose step multiplies, or is left out")
	assert.Equal(t, 2, got.broken, "two indexes out of range")
	assert.Equal(t, 1, got.equivalent, "the greater of two that are equal")
	want := tiny + "tiny.go:5 Sum\n" +
		"- func Sum(x, y int) int { return x + y }\n" +
		"+ func Sum(x, y int) int { return x - y }\n\n"
	assert.Equal(t, 1, got.survived)
	assert.Equal(t, want, out.String()[:len(want)])
	after, err := os.ReadFile("testdata/tiny/tiny.go")
	require.NoError(t, err)
	assert.Equal(t, string(before), string(after))
	assert.Empty(t, left(t))
}

func TestInterruptedLeavesNothing(t *testing.T) {
	o := sample(t, "./testdata/tiny")
	o.in, o.timeout = regexp.MustCompile("Divide"), time.Minute
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	o.progress = writer(func(text []byte) (int, error) {
		if strings.Contains(string(text), "changes") {
			time.AfterFunc(time.Second, cancel) // by then a loop without end runs
		}
		return len(text), nil
	})
	start := time.Now()
	_, err := run(ctx, o)
	assert.ErrorIs(t, err, context.Canceled)
	assert.Less(t, time.Since(start), o.timeout)
	assert.Empty(t, left(t))
}

type writer func([]byte) (int, error)

func (w writer) Write(text []byte) (int, error) { return w(text) }

// TestKinds lists what becomes of each line of a package that has one line for
// every kind of change.
func TestKinds(t *testing.T) {
	o := sample(t, "./testdata/kinds")
	var out strings.Builder
	o.list, o.out = true, &out
	_, err := run(t.Context(), o)
	require.NoError(t, err)
	got := regexp.MustCompile(`(?m)^(- .*|\S+\.go:.*|)\n`).ReplaceAllString(out.String(), "")
	const golden = "testdata/kinds/changes.txt"
	if *update {
		require.NoError(t, os.WriteFile(golden, []byte(got), 0o666))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	if d := cmp.Diff(string(want), got); d != "" {
		t.Error(d)
	}
}

// TestSamples: the same seed gives the same sample, and an edit elsewhere in
// the file changes nothing of it.
func TestSamples(t *testing.T) {
	m, err := load(t.Context(), []string{"./testdata/kinds"})
	require.NoError(t, err)
	pkg := m.packages[0]
	sample := func(seed uint64) (all []string) {
		for _, m := range pkg.mutants(seed) {
			all = append(all, m.function+m.before+m.after)
		}
		return all
	}
	first := sample(1)
	assert.Equal(t, first, sample(1))
	assert.NotEqual(t, first, sample(2))
	assert.ElementsMatch(t, first, sample(2))

	const name = "internal/mutate/testdata/kinds/kinds.go"
	dir := t.TempDir()
	edited := strings.Replace(string(pkg.texts[name]), "var turn", "func more() float64 { return math.Sin(7) }\n\nvar turn", 1)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "kinds.go"), []byte(edited), 0o666))
	moved := &source{name: pkg.name, suite: pkg.suite, fset: pkg.fset, config: pkg.config, texts: map[string][]byte{}}
	require.NoError(t, moved.parse(dir, []string{"kinds.go"}))
	pkg = moved
	var second []string
	for _, s := range sample(1) {
		if !strings.HasPrefix(s, "more") {
			second = append(second, s)
		}
	}
	assert.Equal(t, first, second)
}

func TestExceptions(t *testing.T) {
	for _, tc := range []struct {
		text string
		want string // a part of the error; or how many there are
		n    int
	}{
		{"# nothing\n", "", 0},
		{"a/b.go F\n- x\n+ y\n+ z\nwhy\nand why\n\na/b.go T.M\n- x\n+ y\nwhy\n", "", 3},
		{"a/b.go F\n- x\n+ y\n", "no reason", 0},
		{"a/b.go:7 F\n- x\n+ y\nwhy\n", ":1: a/b.go:7 F: want", 0},
		{"a/b.go F\n+ y\nwhy\n", ":2: + y: want", 0},
		{"a/b.go F\n- x\nwhy\n", ":3: why: want", 0},
	} {
		name := filepath.Join(t.TempDir(), "equivalent.txt")
		require.NoError(t, os.WriteFile(name, []byte(tc.text), 0o666))
		got, err := readExceptions(name)
		assert.Len(t, got, tc.n, tc.text)
		if tc.want != "" {
			assert.ErrorContains(t, err, tc.want)
		} else {
			assert.NoError(t, err)
		}
	}
}

func TestAnExceptionThatMatchesNothingIsReported(t *testing.T) {
	o := sample(t, "./testdata/tiny")
	name := filepath.Join(t.TempDir(), "equivalent.txt")
	const block = tiny + "tiny.go Larger\n- if x > y {\n+ if x != y {\nwhy\n\nelsewhere/other.go F\n- a\n+ b\nwhy\n"
	require.NoError(t, os.WriteFile(name, []byte(block), 0o666))
	o.list = true
	m, err := load(t.Context(), o.patterns)
	require.NoError(t, err)
	o.except, err = filepath.Rel(m.root, name)
	require.NoError(t, err)
	_, err = run(t.Context(), o)
	require.ErrorContains(t, err, "equivalent.txt:3: no change of "+tiny+"tiny.go reads so")
	assert.NotContains(t, err.Error(), "elsewhere", "a package that was not asked for")
}
