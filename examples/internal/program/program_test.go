package program

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The program does not wait for work that ignores its context. What that work writes
// later is discarded.
func TestInterruptedWorkIsLeftBehind(t *testing.T) {
	parent := t.TempDir()
	ctx, stop := context.WithCancel(context.Background())
	release, late := make(chan struct{}), make(chan error, 2)
	var stderr bytes.Buffer
	status := Run(ctx, "ferry", &stderr, func(hold func(*Folder)) error {
		out, err := NewFolder(ctx, filepath.Join(parent, "out"))
		require.NoError(t, err)
		hold(out)
		f, err := out.Create("a/b.png")
		require.NoError(t, err)
		f.Close()
		stop()
		<-release
		_, err = out.Create("c/d.png")
		late <- err
		_, err = out.Commit()
		late <- err
		return nil
	})
	close(release)
	require.Error(t, <-late)
	require.Error(t, <-late)
	assert.Equal(t, 130, status)
	left, err := os.ReadDir(parent)
	require.NoError(t, err)
	assert.Empty(t, left)
}

// Runs at the same time with one name for the output: those that end later take the
// next free names.
func TestTwoRunsAtOnce(t *testing.T) {
	name := filepath.Join(t.TempDir(), "out")
	var names []string
	var outputs []*Folder
	for range 3 {
		out, err := NewFolder(t.Context(), name)
		require.NoError(t, err)
		f, err := out.Create("report.txt")
		require.NoError(t, err)
		require.NoError(t, f.Close())
		outputs = append(outputs, out)
	}
	for _, out := range outputs {
		got, err := out.Commit()
		require.NoError(t, err)
		assert.FileExists(t, filepath.Join(got, "report.txt"))
		names = append(names, got)
		out.Abandon() // must not remove what is committed
		assert.FileExists(t, filepath.Join(got, "report.txt"))
	}
	assert.Equal(t, []string{name, name + "-2", name + "-3"}, names)
	left, err := os.ReadDir(filepath.Dir(name))
	require.NoError(t, err)
	assert.Len(t, left, 3)
}

// A small program writes into a new folder, and only if all has gone well.
func TestSmallPrograms(t *testing.T) {
	parent := t.TempDir()
	taken := filepath.Join(parent, "taken")
	require.NoError(t, os.WriteFile(taken, []byte("mine"), 0o666))
	works := func(text io.Writer, out *Folder) error {
		fmt.Fprintln(text, "a table")
		f, err := out.Create("a.png")
		return errors.Join(err, f.Close())
	}
	fails := func(text io.Writer, out *Folder) error {
		return errors.Join(works(text, out), errors.New("no answer"))
	}
	for name, c := range map[string]struct {
		args   []string
		draw   func(io.Writer, *Folder) error
		status int
		says   string
	}{
		"help":             {[]string{"-h"}, works, 0, "Usage of dusk"},
		"unknown flag":     {[]string{"-in", "a"}, works, 2, "flag provided but not defined"},
		"argument":         {[]string{"a"}, works, 2, `dusk: "a": no arguments are taken`},
		"a file there":     {[]string{"-out", taken}, works, 2, "exists already"},
		"below a file":     {[]string{"-out", filepath.Join(taken, "out")}, works, 2, "is not a folder"},
		"fails on the way": {[]string{"-out", filepath.Join(parent, "new")}, fails, 1, "dusk: no answer"},
	} {
		var stdout, stderr bytes.Buffer
		assert.Equal(t, c.status, small(t.Context(), "dusk", c.args, &stdout, &stderr, c.draw), name)
		assert.Contains(t, stderr.String(), c.says, name)
	}
	left, err := os.ReadDir(parent)
	require.NoError(t, err)
	assert.Len(t, left, 1, "nothing is left behind")

	t.Chdir(parent)
	for _, want := range []string{"out/dusk", "out/dusk-2"} {
		var stdout, stderr bytes.Buffer
		require.Zero(t, small(t.Context(), "dusk", nil, &stdout, &stderr, works), "%s", &stderr)
		assert.Equal(t, "a table\n\nThe pictures are in "+filepath.FromSlash(want)+"\n", stdout.String())
		assert.FileExists(t, filepath.Join(parent, want, "a.png"))
	}
	mine, err := os.ReadFile(taken)
	require.NoError(t, err)
	assert.Equal(t, "mine", string(mine))
}
