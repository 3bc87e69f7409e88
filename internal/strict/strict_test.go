package strict_test

import (
	"fmt"
	"strings"
	"testing"

	"example.com/platewright/internal/strict"
)

// colour is a type that reads itself from text.
type colour string

func (c *colour) UnmarshalText(b []byte) error {
	if string(b) != "red" {
		return fmt.Errorf("%q: must be red", b)
	}
	*c = colour(b)
	return nil
}

type doc struct {
	Name  string     `json:"name" len:"1,8"`
	On    bool       `json:"on"`
	Hue   colour     `json:"hue"`
	At    [3]float64 `json:"at" min:"-10" max:"10"`
	Parts []part     `json:"parts" len:"1,2"`
	Local string
}

type part struct {
	Columns int     `json:"columns" min:"1" max:"100"`
	Size    float64 `json:"size" min:"0.5" max:"2"`
}

const good = `{"name":"a","on":true,"hue":"red","at":[1,-2,3e0],"parts":[{"columns":4,"size":0.5}]}`

func TestGoodDocument(t *testing.T) {
	var d doc
	if err := strict.Decode([]byte(good), &d); err != nil {
		t.Fatal(err)
	}
	if d.Name != "a" || !d.On || d.Hue != "red" || d.At != [3]float64{1, -2, 3} || len(d.Parts) != 1 || d.Parts[0] != (part{4, 0.5}) {
		t.Errorf("got %+v", d)
	}
}

func TestEachFaultNamesItsField(t *testing.T) {
	for _, tc := range []struct{ old, new, want string }{
		{`"on":true,`, ``, "on: missing"},
		{`"on"`, `"no":1,"on"`, "no: unknown field"},
		{`"on":true`, `"on":1`, "on: 1: must be true or false"},
		{`"on":true`, `"on":true,"on":false`, "on: stands twice"},
		{`"name":"a"`, `"name":""`, "name: 0 characters: must be at least 1 and at most 8"},
		{`"name":"a"`, `"name":null`, "name: null: must be a string"},
		{`"hue":"red"`, `"hue":"blue"`, `hue: "blue": must be red`},
		{`"hue":"red"`, `"hue":7`, `hue: 7: must be a string`},
		{`[1,-2,3e0]`, `[1,-2]`, "at: 2 elements: must be 3"},
		{`[1,-2,3e0]`, `[1,-11,3]`, "at[1]: -11: must be at least -10 and at most 10"},
		{`[1,-2,3e0]`, `[1,-2,1e999]`, "at[2]: 1e999: must be at least -10"},
		{`[1,-2,3e0]`, `{"x":1}`, "at: an object: must be a list"},
		{`[1,-2,3e0]`, `[1,-2,NaN]`, "line 1, column"},
		{`"columns":4`, `"columns":4.5`, "parts[0].columns: 4.5: must be a whole number"},
		{`"columns":4`, `"columns":0`, "parts[0].columns: 0: must be at least 1 and at most 100"},
		{`"columns":4`, `"columns":"4"`, `parts[0].columns: "4": must be a number`},
		{`"size":0.5`, `"size":0.4999`, "parts[0].size: 0.4999: must be at least 0.5"},
		{`[{"columns":4,"size":0.5}]`, `[]`, "parts: 0 elements: must be at least 1"},
		{`[{"columns":4,"size":0.5}]`, `[3]`, "parts[0]: 3: must be an object"},
		{`}]}`, `}]`, "ends too early"},
		{`}]}`, `}]} x`, "line 1, column"},
		{`}]}`, `}]}{}`, "text after the end"},
	} {
		bad := strings.Replace(good, tc.old, tc.new, 1)
		if bad == good {
			t.Fatalf("%q does not stand in the document", tc.old)
		}
		err := strict.Decode([]byte(bad), new(doc))
		if err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: got %v, want %q", bad, err, tc.want)
		}
	}
	if err := strict.Decode(nil, new(doc)); err == nil {
		t.Error("an empty document is accepted")
	}
	if err := strict.Decode([]byte("{}"), doc{}); err == nil {
		t.Error("a struct without a pointer is accepted")
	}
	if err := strict.Decode([]byte("{}"), new(doc)); strings.Count(err.Error(), "missing") != 5 {
		t.Errorf("not all missing fields are named together:\n%v", err)
	}
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte(good))
	f.Add([]byte(`{"at":[[[[{}]]]]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		_ = strict.Decode(data, new(doc)) // any error is fine, a panic is not
	})
}
