// Package strict reads a JSON document that must fit a Go struct exactly. No
// field may be missing, unknown or repeated, and each has the right type and
// lies in the range that its tag gives. All faults are reported together, one
// a line, each with the path of its field.
package strict

import (
	"bytes"
	"encoding"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Limits of what is read and said: a document may be hostile.
const (
	deepest   = 32  // objects and lists in one another
	mostSaid  = 20  // faults
	longest   = 200 // characters of a fault
	longValue = 60  // characters of a value in a fault
)

// Decode fills the struct that into points to. Struct fields carry the tags
//
//	json:"name"            the key; without it the field is not read
//	min:"0.1" max:"100"    range of a number, or of each number of an array or slice
//	len:"1,64"             shortest and longest slice or string
//
// Supported are structs, slices, fixed arrays, strings, booleans, int,
// float64, pointers to these, and every type that implements
// encoding.TextUnmarshaler. A field that is a pointer may be missing and is
// nil then. A number that is an int in Go must be whole in JSON. Strings hold
// no control characters.
//
// The document is UTF-8 (RFC 8259, section 8.1) without a byte order mark,
// nested at most 32 deep. Decode takes memory in proportion to its length. It
// reports the first 20 faults, each in at most 200 characters, none of which
// is a control character.
func Decode(data []byte, into any) error {
	target := reflect.ValueOf(into)
	if target.Kind() != reflect.Pointer || target.IsNil() || target.Elem().Kind() != reflect.Struct {
		return errors.New("strict: Decode takes a pointer to a struct")
	}
	if err := checkEncoding(data); err != nil {
		return err
	}
	if offset, err := checkSyntax(data); err != nil {
		line, column := position(data, offset)
		return fmt.Errorf("line %d, column %d: %w", line, column, err)
	}
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.UseNumber()
	tree, err := parse(dec, nil)
	if err != nil {
		return err
	}
	var f faults
	f.fill(nil, tree, target.Elem(), "")
	return f.join()
}

// checkEncoding reports encodings other than UTF-8 that editors write.
func checkEncoding(data []byte) error {
	switch {
	case bytes.HasPrefix(data, []byte("\xef\xbb\xbf")):
		return errors.New("line 1, column 1: begins with a byte order mark: save it as UTF-8 without one")
	case bytes.HasPrefix(data, []byte("\xff\xfe")), bytes.HasPrefix(data, []byte("\xfe\xff")),
		len(data) > 1 && (data[0] == 0) != (data[1] == 0):
		return errors.New("is UTF-16 or UTF-32: save it as UTF-8")
	}
	for i := 0; i < len(data); {
		r, n := utf8.DecodeRune(data[i:])
		if r == utf8.RuneError && n == 1 {
			line, column := position(data, i)
			return fmt.Errorf("line %d, column %d: the byte %#x is not UTF-8", line, column, data[i])
		}
		i += n
	}
	return nil
}

// checkSyntax checks that data is one JSON document and not nested too deep.
// offset is the byte at which it fails.
func checkSyntax(data []byte) (offset int, err error) {
	depth, inString := 0, false
	for i := 0; i < len(data); i++ {
		switch c := data[i]; {
		case inString && c == '\\':
			i++
		case c == '"':
			inString = !inString
		case inString:
		case c == '{' || c == '[':
			if depth++; depth > deepest {
				return i, fmt.Errorf("objects and lists more than %d deep", deepest)
			}
		case c == '}' || c == ']':
			depth--
		}
	}
	err = json.Unmarshal(data, new(json.RawMessage))
	var syntax *json.SyntaxError
	switch {
	case !errors.As(err, &syntax):
		return 0, err
	case strings.HasPrefix(syntax.Error(), "unexpected end"):
		return len(data), errors.New("the document ends too early")
	}
	return int(syntax.Offset) - 1, err // Offset counts the wrong byte too
}

// object is a JSON object whose keys are known to differ.
type object map[string]any

// parse reads a document whose syntax has been checked.
func parse(dec *json.Decoder, at *place) (any, error) {
	tok, err := dec.Token()
	if err != nil {
		return nil, err
	}
	switch tok {
	case json.Delim('{'):
		obj := object{}
		for dec.More() {
			key, err := dec.Token()
			if err != nil {
				return nil, err
			}
			name := key.(string)
			here := at.field(name)
			if _, twice := obj[name]; twice {
				var f faults
				f.add(here, "stands twice")
				return nil, f.join()
			}
			if obj[name], err = parse(dec, here); err != nil {
				return nil, err
			}
		}
		_, err = dec.Token()
		return obj, err
	case json.Delim('['):
		list := []any{}
		for dec.More() {
			v, err := parse(dec, at.element(len(list)))
			if err != nil {
				return nil, err
			}
			list = append(list, v)
		}
		_, err = dec.Token()
		return list, err
	}
	return tok, nil
}

// place is the path of a value in the document. It is formatted only for a
// fault, since names may be long and most values are right.
type place struct {
	above *place
	name  string // of a field
	index int    // of an element of a list; -1 for a field
}

func (p *place) field(name string) *place { return &place{above: p, name: name, index: -1} }
func (p *place) element(i int) *place     { return &place{above: p, index: i} }

func (p *place) String() string {
	if p == nil {
		return "document"
	}
	var steps []string
	for ; p != nil; p = p.above {
		switch {
		case p.index >= 0:
			steps = append(steps, fmt.Sprintf("[%d]", p.index))
		case p.above == nil:
			steps = append(steps, Printable(p.name, longValue))
		default:
			steps = append(steps, "."+Printable(p.name, longValue))
		}
	}
	slices.Reverse(steps)
	return strings.Join(steps, "")
}

type faults struct {
	said []error
	more int // faults not said
}

func (f *faults) add(at *place, format string, args ...any) {
	if len(f.said) == mostSaid {
		f.more++
		return
	}
	f.said = append(f.said, errors.New(Printable(at.String()+": "+fmt.Sprintf(format, args...), longest)))
}

func (f *faults) join() error {
	if f.more > 0 {
		return errors.Join(append(f.said, fmt.Errorf("and %d more faults", f.more))...)
	}
	return errors.Join(f.said...)
}

// Printable returns text for a terminal, cut to at most most characters.
// Characters that do not print are escaped as in Go.
func Printable(text string, most int) string {
	var b strings.Builder
	n := 0
	for _, r := range text {
		if n++; n > most {
			return b.String() + "…"
		}
		if strconv.IsPrint(r) {
			b.WriteRune(r)
			continue
		}
		quoted := strconv.QuoteRune(r)
		b.WriteString(quoted[1 : len(quoted)-1])
	}
	return b.String()
}

func (f *faults) fill(at *place, from any, to reflect.Value, tag reflect.StructTag) {
	if u, ok := to.Addr().Interface().(encoding.TextUnmarshaler); ok {
		s, ok := from.(string)
		if !ok {
			f.add(at, "%s: must be a string", describe(from))
		} else if err := u.UnmarshalText([]byte(s)); err != nil {
			f.add(at, "%v", err)
		}
		return
	}
	switch to.Kind() {
	case reflect.Pointer:
		to.Set(reflect.New(to.Type().Elem()))
		f.fill(at, from, to.Elem(), tag)
	case reflect.Struct:
		f.fillStruct(at, from, to)
	case reflect.Slice, reflect.Array:
		f.fillList(at, from, to, tag)
	case reflect.String:
		s, ok := from.(string)
		if !ok {
			f.add(at, "%s: must be a string", describe(from))
			return
		}
		f.length(at, "characters", utf8.RuneCountInString(s), tag)
		if strings.ContainsFunc(s, func(r rune) bool { return !strconv.IsPrint(r) }) {
			f.add(at, "%s: must not hold control characters", describe(s))
		}
		to.SetString(s)
	case reflect.Bool:
		b, ok := from.(bool)
		if !ok {
			f.add(at, "%s: must be true or false", describe(from))
			return
		}
		to.SetBool(b)
	case reflect.Int, reflect.Float64:
		f.fillNumber(at, from, to, tag)
	default:
		f.add(at, "package strict does not read a %s", to.Type())
	}
}

func (f *faults) fillStruct(at *place, from any, to reflect.Value) {
	obj, ok := from.(object)
	if !ok {
		f.add(at, "%s: must be an object", describe(from))
		return
	}
	known := map[string]bool{}
	for i := range to.NumField() {
		field := to.Type().Field(i)
		name := field.Tag.Get("json")
		if name == "" {
			continue
		}
		known[name] = true
		if v, ok := obj[name]; ok {
			f.fill(at.field(name), v, to.Field(i), field.Tag)
		} else if field.Type.Kind() != reflect.Pointer {
			f.add(at.field(name), "missing")
		}
	}
	var unknown []string
	for name := range obj {
		if !known[name] {
			unknown = append(unknown, name)
		}
	}
	slices.Sort(unknown)
	for _, name := range unknown {
		f.add(at.field(name), "unknown field")
	}
}

func (f *faults) fillList(at *place, from any, to reflect.Value, tag reflect.StructTag) {
	list, ok := from.([]any)
	if !ok {
		f.add(at, "%s: must be a list", describe(from))
		return
	}
	if to.Kind() == reflect.Array {
		if len(list) != to.Len() {
			f.add(at, "%d elements: must be %d", len(list), to.Len())
			return
		}
	} else {
		if !f.length(at, "elements", len(list), tag) {
			return
		}
		to.Set(reflect.MakeSlice(to.Type(), len(list), len(list)))
	}
	for i, v := range list {
		f.fill(at.element(i), v, to.Index(i), tag)
	}
}

func (f *faults) fillNumber(at *place, from any, to reflect.Value, tag reflect.StructTag) {
	n, ok := from.(json.Number)
	if !ok {
		f.add(at, "%s: must be a number", describe(from))
		return
	}
	v, err := strconv.ParseFloat(n.String(), 64)
	low, high := bound(tag, "min", math.Inf(-1)), bound(tag, "max", math.Inf(1))
	switch {
	case err != nil || v < low || v > high:
		f.add(at, "%s: must be at least %s and at most %s", describe(n), tag.Get("min"), tag.Get("max"))
	case to.Kind() == reflect.Float64:
		to.SetFloat(v)
	case v != math.Trunc(v) || math.Abs(v) > 1<<31-1:
		f.add(at, "%s: must be a whole number", describe(n))
	default:
		to.SetInt(int64(v))
	}
}

func (f *faults) length(at *place, what string, n int, tag reflect.StructTag) bool {
	low, high, ok := strings.Cut(tag.Get("len"), ",")
	if !ok {
		return true
	}
	shortest, _ := strconv.Atoi(low)
	longest, _ := strconv.Atoi(high)
	if n < shortest || n > longest {
		f.add(at, "%d %s: must be at least %d and at most %d", n, what, shortest, longest)
		return false
	}
	return true
}

func bound(tag reflect.StructTag, key string, otherwise float64) float64 {
	if v, err := strconv.ParseFloat(tag.Get(key), 64); err == nil {
		return v
	}
	return otherwise
}

func describe(v any) string {
	switch v := v.(type) {
	case nil:
		return "null"
	case string:
		if utf8.RuneCountInString(v) > longValue {
			v = string([]rune(v)[:longValue]) + "…"
		}
		return strconv.Quote(v)
	case json.Number:
		return Printable(v.String(), longValue)
	case object:
		return "an object"
	case []any:
		return "a list"
	}
	return fmt.Sprint(v)
}

// position is the line and column, from 1, of a byte offset; columns count
// characters.
func position(data []byte, offset int) (line, column int) {
	before := data[:min(max(offset, 0), len(data))]
	return 1 + bytes.Count(before, []byte("\n")), 1 + utf8.RuneCount(before[bytes.LastIndexByte(before, '\n')+1:])
}
