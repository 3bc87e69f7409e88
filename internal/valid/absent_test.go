package valid

import (
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

type (
	reads  func()
	lookup map[string]int
)

func (reads) Read([]byte) (int, error)  { return 0, io.EOF }
func (lookup) Read([]byte) (int, error) { return 0, io.EOF }

func TestAbsent(t *testing.T) {
	for name, tc := range map[string]struct {
		v    io.Reader
		want bool
	}{
		"none":           {nil, true},
		"a nil pointer":  {(*strings.Reader)(nil), true},
		"a nil function": {reads(nil), true},
		"a nil map":      {lookup(nil), true},
		"a map":          {lookup{}, false},
		"a pointer":      {strings.NewReader(""), false},
		"a function":     {reads(func() {}), false},
		"a struct":       {struct{ io.Reader }{}, false},
	} {
		assert.Equal(t, tc.want, Absent(tc.v), name)
	}
}
