package hostile

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

// recorder is a testing.TB that remembers failures instead of reporting them.
type recorder struct {
	testing.TB
	messages []string
}

func (r *recorder) Helper() {}
func (r *recorder) Errorf(format string, args ...any) {
	r.messages = append(r.messages, fmt.Sprintf(format, args...))
}

type spec struct{ Most, Share float64 }

func TestCallsFindsWhatIsWrong(t *testing.T) {
	for want, f := range map[string]any{
		"panic: runtime error: integer divide": func(a, b int) int { return a / b },
		"= [NaN]":                              func(x float64) float64 { return x - x },
		"= [NaN true]":                         func(s spec) (float64, bool) { return s.Share, true },
		"at least NaN": func(s spec) error {
			if s.Most <= 1 {
				return nil
			}
			return fmt.Errorf("must be at least %v", s.Most)
		},
		"": func(x float64, s spec) (float64, error) {
			if math.IsNaN(x) || math.IsNaN(s.Most) {
				return 0, errors.New("must be a number")
			}
			return x, nil
		},
		"beside no answer": func(x float64) (float64, error) {
			if x < 0 {
				return 1, errors.New("must not be negative")
			}
			return 0, nil
		},
		"= [1 false]: a value beside no answer": func(x float64) (float64, bool) { return 1, x > 0 },
	} {
		r := &recorder{TB: t}
		Calls(r, []any{spec{Most: 1, Share: 0.5}}, f)
		if want == "" {
			assert.Empty(t, r.messages)
		} else {
			assert.Contains(t, strings.Join(r.messages, "\n"), want)
		}
	}
}
