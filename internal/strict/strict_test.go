package strict_test

import (
	"encoding/binary"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"testing"
	"unicode/utf16"

	"example.com/platewright/internal/strict"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
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
	Spare *part      `json:"spare"`
	Count *int       `json:"count"`
	Size  *float64   `json:"size"`
	Local string
}

type part struct {
	Columns int     `json:"columns" min:"1" max:"100"`
	Size    float64 `json:"size" min:"0.5" max:"2"`
}

const good = `{"name":"a","on":true,"hue":"red","at":[1,-2,3e0],"parts":[{"columns":4,"size":0.5}]}`

func TestGoodDocument(t *testing.T) {
	var d doc
	require.NoError(t, strict.Decode([]byte(good), &d))
	assert.Equal(t, doc{Name: "a", On: true, Hue: "red", At: [3]float64{1, -2, 3}, Parts: []part{{4, 0.5}}}, d)
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
		{`"on"`, `"count":2147483648,"on"`, "count: 2147483648: must be a whole number"},
		{`"on"`, `"count":-2147483648,"on"`, "count: -2147483648: must be a whole number"},
		{`"columns":4`, `"columns":101`, "parts[0].columns: 101: must be at least 1 and at most 100"},
		{`"columns":4`, `"columns":0`, "parts[0].columns: 0: must be at least 1 and at most 100"},
		{`"columns":4`, `"columns":"4"`, `parts[0].columns: "4": must be a number`},
		{`"size":0.5`, `"size":0.4999`, "parts[0].size: 0.4999: must be at least 0.5"},
		{`[{"columns":4,"size":0.5}]`, `[]`, "parts: 0 elements: must be at least 1"},
		{`[{"columns":4,"size":0.5}]`, `[3]`, "parts[0]: 3: must be an object"},
		{`}]}`, `}]`, "ends too early"},
		{`}]}`, `}]} x`, "line 1, column"},
		{`}]}`, `}]}{}`, "after top-level value"},
		{`"on":true`, `"on":true,"spare":null`, "spare: null: must be an object"},
		{`"on":true`, `"on":true,"spare":{"columns":7}`, "spare.size: missing"},
		{`"name":"a"`, `"name":"a\u001b[2J"`, `name: "a\x1b[2J": must not hold control characters`},
		{`"name":"a"`, `"name":"a\u202e"`, "must not hold control characters"},
		{`"name"`, "\"na\\u001bme\":1,\"name\"", `na\x1bme: unknown field`},
		{`"name"`, `"c":1,"a":1,"b":1,"name"`, "a: unknown field\nb: unknown field\nc: unknown field"},
		{`"hue":"red"`, `"hue":` + strings.Repeat("7", 60), "hue: " + strings.Repeat("7", 60) + ": must be a string"},
		{`"hue":"red"`, `"hue":` + strings.Repeat("7", 61), "hue: " + strings.Repeat("7", 60) + "…: must be a string"},
		{`"on":true`, `"on":"` + strings.Repeat("é", 60) + `"`, `on: "` + strings.Repeat("é", 60) + `": must be true`},
		{`"on":true`, `"on":"` + strings.Repeat("é", 61) + `"`, `on: "` + strings.Repeat("é", 60) + `…": must be true`},
		{`"name"`, `"` + strings.Repeat("n", 61) + `":1,"name"`, strings.Repeat("n", 60) + "…: unknown field"},
		{`"on"`, `"spare":{"` + strings.Repeat("n", 61) + `":1,"columns":7,"size":1},"on"`, "spare." + strings.Repeat("n", 60) + "…: unknown field"},
		{`"name"`, `"":1,"name"`, ": unknown field"},
	} {
		bad := strings.Replace(good, tc.old, tc.new, 1)
		require.NotEqual(t, good, bad, "%q does not stand in the document", tc.old)
		assert.ErrorContains(t, strict.Decode([]byte(bad), new(doc)), tc.want, bad)
	}
	assert.ErrorContains(t, strict.Decode(nil, new(doc)), "ends too early", "an empty document")
	assert.ErrorContains(t, strict.Decode([]byte("{"), new(doc)), "line 1, column 2: the document ends too early")
	assert.ErrorContains(t, strict.Decode([]byte("\x00{"), new(doc)), "is UTF-16")
	for _, into := range []any{doc{}, (*doc)(nil), new(int)} {
		assert.ErrorContains(t, strict.Decode([]byte("{}"), into), "takes a pointer to a struct")
	}
	err := strict.Decode([]byte("{}"), new(doc))
	require.Error(t, err)
	assert.Equal(t, 5, strings.Count(err.Error(), "missing"), "all missing fields are named together:\n%v", err)
}

// The first twenty faults are said, the others counted.
func TestManyFaults(t *testing.T) {
	for n := 19; n <= 22; n++ {
		err := strict.Decode([]byte(strings.Replace(good, `"on"`, strings.TrimSuffix(manyFields(n), ",")+`,"on"`, 1)), new(doc))
		require.Error(t, err)
		assert.Equal(t, min(n, 20), strings.Count(err.Error(), "unknown field"))
		assert.Equal(t, n > 20, strings.HasSuffix(err.Error(), fmt.Sprintf("\nand %d more faults", n-20)), err)
	}
}

// A document may nest 32 deep.
func TestDeepest(t *testing.T) {
	for _, open := range []string{"[", `{"a":`} {
		shut := map[string]string{"[": "]", `{"a":`: "}"}[open]
		nested := func(n int) []byte { return []byte(strings.Repeat(open, n) + "1" + strings.Repeat(shut, n)) }
		assert.ErrorContains(t, strict.Decode(nested(33), new(doc)), fmt.Sprintf("line 1, column %d: objects and lists more than 32 deep", 32*len(open)+1))
		err := strict.Decode(nested(32), new(doc))
		require.Error(t, err)
		assert.NotContains(t, err.Error(), "deep")
	}
	// Brackets beside one another are not deep, nor are those in strings.
	d := strings.Replace(good, `"a"`, `"\\\"[[[["`, 1)
	require.NoError(t, strict.Decode([]byte(d), new(doc)))
	wide := `{"a":[` + strings.Repeat(`{},[],`, 40) + `1]}`
	assert.NotContains(t, strict.Decode([]byte(wide), new(doc)).Error(), "deep")
}

func TestPointersMayBeMissing(t *testing.T) {
	var d doc
	require.NoError(t, strict.Decode([]byte(good), &d))
	assert.Nil(t, d.Spare)
	require.NoError(t, strict.Decode([]byte(strings.Replace(good, `"on"`, `"spare":{"columns":7,"size":1},"on"`, 1)), &d))
	assert.Equal(t, &part{7, 1}, d.Spare)
	// Without a range any number is good, and an int in 32 bits.
	for _, n := range []int{1<<31 - 1, -1<<31 + 1} {
		require.NoError(t, strict.Decode([]byte(strings.Replace(good, `"on"`, fmt.Sprintf(`"count":%d,"size":-1e300,"on"`, n), 1)), &d))
		assert.Equal(t, n, *d.Count)
		assert.Equal(t, -1e300, *d.Size)
	}
}

// Eight characters are eight, however many bytes they take.
func TestLengthCountsCharacters(t *testing.T) {
	require.NoError(t, strict.Decode([]byte(strings.Replace(good, `"a"`, `"Überfähr"`, 1)), new(doc)))
}

func TestSyntaxErrorsNameTheirLine(t *testing.T) {
	lines := strings.Split(strings.Repeat("{\"n\": [1, 2, 3]},\n", 300), "\n")
	for _, n := range []int{1, 7, 141, 235, 300} {
		bad := slices.Clone(lines)
		bad[n-1] = "é? {}"
		err := strict.Decode([]byte("[\n"+strings.Join(bad, "\n")+"{}]"), new(doc))
		require.ErrorContains(t, err, fmt.Sprintf("line %d, column 1: ", n+1))
		bad[n-1] = `{"é": tru}`
		err = strict.Decode([]byte("[\n"+strings.Join(bad, "\n")+"{}]"), new(doc))
		require.ErrorContains(t, err, fmt.Sprintf("line %d, column 10: ", n+1))
	}
}

func TestEncodingsAreNamed(t *testing.T) {
	wide := func(order binary.AppendByteOrder, start ...uint16) []byte {
		var b []byte
		for _, u := range append(start, utf16.Encode([]rune(good))...) {
			b = order.AppendUint16(b, u)
		}
		return b
	}
	for want, data := range map[string][]byte{
		"byte order mark":     []byte("\ufeff" + good),
		"is UTF-16":           wide(binary.LittleEndian, 0xfeff),
		"is UTF-16 ":          wide(binary.BigEndian, 0xfeff),
		"is UTF-16 or":        wide(binary.LittleEndian),
		"is UTF-16 or UTF-32": wide(binary.BigEndian),
		"line 2, column 3: the byte 0xe9 is not UTF": []byte("{\n  \xe9"),
	} {
		require.ErrorContains(t, strict.Decode(data, new(doc)), want)
	}
}

// A document of a megabyte takes megabytes, whatever it is made of, and its
// faults a screen.
func TestHostileDocuments(t *testing.T) {
	const size = 1 << 20
	name := strings.Repeat("n", size/2)
	for what, data := range map[string]string{
		"deep lists":      strings.Repeat("[", size),
		"deep objects":    strings.Repeat(`{"a":`, size/5),
		"closed lists":    strings.Repeat("[", size/2) + strings.Repeat("]", size/2),
		"many unknown":    "{" + manyFields(size/16) + `"on":true}`,
		"a long name":     `{"` + name + `":[` + strings.Repeat(`1,`, size/4) + `1]}`,
		"a long number":   strings.Replace(good, "[1,-2", "[1,-2"+strings.Repeat("9", size), 1),
		"a long word":     strings.Replace(good, `"red"`, `"`+strings.Repeat("\\u001b", size/6)+`"`, 1),
		"a long string":   strings.Replace(good, `"a"`, `"`+name+`"`, 1),
		"the same name":   `{"` + name + `":1,"` + name + `":2}`,
		"brackets quoted": strings.Replace(good, `"a"`, `"\"`+strings.Repeat("[", size)+`"`, 1),
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		err := strict.Decode([]byte(data), new(doc))
		runtime.ReadMemStats(&after)
		require.Error(t, err, what)
		assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(100*size), "%s: memory", what)
		assert.Less(t, len(err.Error()), 8000, "%s: length of the error", what)
		assert.NotContains(t, err.Error(), "\x1b", what)
	}
}

func manyFields(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, `"f%d":[1],`, i)
	}
	return b.String()
}

func TestPrintable(t *testing.T) {
	assert.Equal(t, `a\x1b[2Jé\u202e\n`, strict.Printable("a\x1b[2Jé\u202e\n", 20))
	assert.Equal(t, "ééé…", strict.Printable("éééé", 3))
	assert.Equal(t, "ééé", strict.Printable("ééé", 3))
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte(good))
	f.Add([]byte(`{"at":[[[[{}]]]]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		_ = strict.Decode(data, new(doc)) // any error is fine, a panic is not
	})
}
