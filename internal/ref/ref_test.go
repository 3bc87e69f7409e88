package ref

import (
	"strings"
	"testing"
)

const head = "id,package,identifier,source,provenance,tolerance,reason\n"

func TestReadAcceptsAFullRow(t *testing.T) {
	got, err := Read(strings.NewReader(head + `L-T1,lens,ImageDistance Magnification,"OpenStax, University Physics 3 (2016), 2.4",published,5e-4 abs,half a unit of the last printed digit` + "\n"))
	if err != nil {
		t.Fatal(err)
	}
	e := got[0]
	if e.Package != "lens" || len(e.Identifiers) != 2 || e.Tolerance != (Tolerance{5e-4, "abs"}) {
		t.Errorf("got %+v", e)
	}
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
		if _, err := Read(strings.NewReader(head + row + "\n")); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: got %v, want an error about %q", row, err, want)
		}
	}
	if _, err := Read(strings.NewReader("id,package\n")); err == nil {
		t.Error("a wrong header is accepted")
	}
}

// recorder is a testing.TB that remembers failures instead of reporting them.
type recorder struct {
	testing.TB
	messages []string
}

func (r *recorder) Helper() {}
func (r *recorder) Errorf(format string, args ...any) {
	r.messages = append(r.messages, format)
}

func TestUnknownIDFails(t *testing.T) {
	r := &recorder{TB: t}
	Near(r, "no such id", 1.0, 1)
	Equal(r, "no such id", 1, 1)
	Within(r, "no such id", 0)
	if len(r.messages) != 3 {
		t.Errorf("%d of 3 checks of an unknown id failed", len(r.messages))
	}
}
