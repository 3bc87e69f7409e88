package valid

import (
	"io"
	"strings"
	"testing"
)

type reads func()

func (reads) Read([]byte) (int, error) { return 0, io.EOF }

func TestAbsent(t *testing.T) {
	for name, tc := range map[string]struct {
		v    io.Reader
		want bool
	}{
		"none":           {nil, true},
		"a nil pointer":  {(*strings.Reader)(nil), true},
		"a nil function": {reads(nil), true},
		"a pointer":      {strings.NewReader(""), false},
		"a function":     {reads(func() {}), false},
		"a struct":       {struct{ io.Reader }{}, false},
	} {
		if got := Absent(tc.v); got != tc.want {
			t.Errorf("%s: %v, want %v", name, got, tc.want)
		}
	}
}
