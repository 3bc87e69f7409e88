// Package trial holds what the tests of the examples share.
package trial

import (
	"image/png"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"example.com/platewright/examples/internal/program"
	"github.com/stretchr/testify/require"
)

// Drawn runs a program and returns its text. The program must have written the pictures,
// and nothing else.
func Drawn(t *testing.T, run func(io.Writer, *program.Folder) error, pictures ...string) string {
	t.Helper()
	out, err := program.NewFolder(t.Context(), filepath.Join(t.TempDir(), "new", "folder"))
	require.NoError(t, err)
	var text strings.Builder
	require.NoError(t, run(&text, out))
	folder, err := out.Commit()
	require.NoError(t, err)
	written, err := os.ReadDir(folder)
	require.NoError(t, err)
	require.Len(t, written, len(pictures))
	for _, name := range pictures {
		f, err := os.Open(filepath.Join(folder, name))
		require.NoError(t, err)
		_, err = png.Decode(f)
		require.NoError(t, err)
		require.NoError(t, f.Close())
	}
	return text.String()
}
