package ref

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const head = "id,package,identifier,source,provenance,tolerance,reason\n"

func TestReadAcceptsAFullRow(t *testing.T) {
	got, err := Read(strings.NewReader(head + `L-T1,lens,ImageDistance Magnification,"OpenStax, University Physics 3 (2016), 2.4",published,5e-4 abs,half a unit of the last printed digit` + "\n"))
	require.NoError(t, err)
	want := []Entry{{
		ID: "L-T1", Package: "lens", Identifiers: []string{"ImageDistance", "Magnification"},
		Source: "OpenStax, University Physics 3 (2016), 2.4", Provenance: Published,
		Tolerance: Tolerance{5e-4, "abs"}, Reason: "half a unit of the last printed digit",
	}}
	assert.Empty(t, cmp.Diff(want, got))
}

func TestReadRefusesBadRows(t *testing.T) {
	for row, want := range map[string]string{
		"X,p,F,s,published,1e-3 abs,":                    "no reason",
		"X,p,F,,published,exact,r":                       "no source",
		"X,p,F,s,common practice,exact,r":                "has no source",
		"X,p,F,s,heard,exact,r":                          "provenance",
		"X,p,F,s,memory,1e-3,r":                          "tolerance",
		"X,p,F,s,memory,0 abs,r":                         "tolerance",
		"X,p,F,s,memory,NaN abs,r":                       "tolerance",
		"X,p,F,s,memory,1.5 ulp,r":                       "tolerance",
		"X,p,F,s,memory,2 rel,r":                         "tolerance",
		"X,p,F,s,memory,exact,r\nX,p,F,s,memory,exact,r": "used twice",
		"X,p,F,s,memory,exact":                           "wrong number of fields",
	} {
		_, err := Read(strings.NewReader(head + row + "\n"))
		assert.ErrorContains(t, err, want, row)
	}
	_, err := Read(strings.NewReader("id,package\n"))
	assert.Error(t, err, "a wrong header")
}

// recorder is a testing.TB that remembers failures instead of reporting them.
type recorder struct {
	testing.TB
	messages []string
}

func (r *recorder) Helper() {}
func (r *recorder) Errorf(format string, args ...any) {
	r.messages = append(r.messages, fmt.Sprintf(format, args...))
}

func TestNearKeepsTheTolerance(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, tc := range []struct {
		tolerance string
		got, want float64
		pass      bool
	}{
		{"0.25 abs", 1.25, 1, true}, {"0.2 abs", 1.25, 1, false}, {"0.2 abs", 0.75, 1, false}, {"0.02 rel", 101, 100, true},
		{"0.02 rel", 97, 100, false}, {"0.02 rel", -100, 100, false}, {"0.02 rel", -101, -100, true}, {"0.02 rel", 0, 0, true},
		{"0.02 rel", 1e-300, 0, false}, {"1 ulp", math.Nextafter(1, 2), 1, true}, {"1 ulp", 1 + 0x1p-51, 1, false},
		{"exact", 0.1, 0.1, true}, {"exact", 0.1, math.Nextafter(0.1, 1), false}, {"exact", nan, nan, false}, {"9 abs", nan, nan, false},
		{"9 abs", nan, 1, false}, {"9 abs", inf, inf, true}, {"9 abs", inf, -inf, false}, {"0.5 rel", inf, inf, true},
		{"0.5 rel", -inf, inf, false}, {"0.5 rel", 1, inf, false}, {"0.5 rel", nan, inf, false}, {"4 ulp", nan, nan, false},
	} {
		tolerance, err := parseTolerance(tc.tolerance)
		require.NoError(t, err)
		r := &recorder{TB: t}
		Entry{ID: "X", Tolerance: tolerance}.near(r, tc.got, tc.want, nil)
		assert.Equal(t, tc.pass, len(r.messages) == 0, "%v within %s of %v: %v", tc.got, tc.tolerance, tc.want, r.messages)
	}
}

// A message names the id and which of its values, the source, the tolerance and
// why.
func TestMessagesNameTheBasis(t *testing.T) {
	for _, kind := range []string{"abs", "rel", "ulp"} {
		r := &recorder{TB: t}
		e := Entry{ID: "L-T1", Source: "a book, page 3", Provenance: Published, Tolerance: Tolerance{0.125, kind}, Reason: "half a digit"}
		e.near(r, 7, 5, []any{"row", 2})
		require.Len(t, r.messages, 1)
		for _, part := range []string{"L-T1 (row 2)", "got 7, want 5", "0.125 " + kind, "half a digit", "published", "a book, page 3"} {
			assert.Contains(t, r.messages[0], part)
		}
	}
}

func TestChecksFitTheirTolerance(t *testing.T) {
	r := &recorder{TB: t}
	assert.True(t, Entry{Tolerance: Tolerance{Kind: "exact"}}.has(r, "exact"))
	assert.Empty(t, r.messages)
	assert.False(t, Entry{Tolerance: Tolerance{1e-3, "rel"}}.has(r, "abs"))
	assert.Len(t, r.messages, 1)
}

func TestUnknownIDFails(t *testing.T) {
	r := &recorder{TB: t}
	Near(r, "no such id", 1.0, 1)
	Equal(r, "no such id", 1, 1)
	Within(r, "no such id", 0)
	assert.Len(t, r.messages, 3)
}
