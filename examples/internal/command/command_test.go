package command

import (
	"bytes"
	"context"
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
	status := Run(ctx, "program", &stderr, func(hold func(*Folder)) error {
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
