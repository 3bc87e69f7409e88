// Package strict reads a JSON document that must fit a Go struct exactly: no
// field missing, none unknown, none twice, each of the right type and within
// the range that its tag gives. All faults are reported together, one a line,
// each with the path of its field.
package strict

import (
	"bytes"
	"encoding"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
)

// Decode fills the struct that into points to. Struct fields carry the tags
//
//	json:"name"            the key; without it the field is not read
//	min:"0.1" max:"100"    range of a number, or of each number of an array or slice
//	len:"1,64"             shortest and longest slice or string
//
// Supported are structs, slices, fixed arrays, strings, booleans, int, float64
// and whatever implements encoding.TextUnmarshaler. A number that is an int in
// Go must be whole in JSON.
func Decode(data []byte, into any) error {
	target := reflect.ValueOf(into)
	if target.Kind() != reflect.Pointer || target.IsNil() || target.Elem().Kind() != reflect.Struct {
		return errors.New("strict: Decode takes a pointer to a struct")
	}
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.UseNumber()
	tree, err := parse(dec, "")
	if err == nil {
		if _, extra := dec.Token(); extra != io.EOF {
			err = errors.New("text after the end of the document")
		}
	}
	if err != nil {
		line, column := position(data, dec.InputOffset())
		var syntax *json.SyntaxError
		if errors.As(err, &syntax) {
			line, column = position(data, syntax.Offset)
		}
		if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
			err = errors.New("the document ends too early")
		}
		return fmt.Errorf("line %d, column %d: %w", line, column, err)
	}
	var f faults
	f.fill("", tree, target.Elem(), "")
	return errors.Join(f...)
}

// object is a JSON object whose keys are known to differ.
type object map[string]any

func parse(dec *json.Decoder, path string) (any, error) {
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
			name := join(path, key.(string))
			if _, twice := obj[key.(string)]; twice {
				return nil, fmt.Errorf("%s: stands twice", name)
			}
			if obj[key.(string)], err = parse(dec, name); err != nil {
				return nil, err
			}
		}
		_, err = dec.Token()
		return obj, err
	case json.Delim('['):
		list := []any{}
		for dec.More() {
			v, err := parse(dec, fmt.Sprintf("%s[%d]", path, len(list)))
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

type faults []error

func (f *faults) add(path, format string, args ...any) {
	if path == "" {
		path = "document"
	}
	*f = append(*f, fmt.Errorf("%s: %s", path, fmt.Sprintf(format, args...)))
}

func (f *faults) fill(path string, from any, to reflect.Value, tag reflect.StructTag) {
	if u, ok := to.Addr().Interface().(encoding.TextUnmarshaler); ok {
		s, ok := from.(string)
		if !ok {
			f.add(path, "%s: must be a string", describe(from))
		} else if err := u.UnmarshalText([]byte(s)); err != nil {
			f.add(path, "%v", err)
		}
		return
	}
	switch to.Kind() {
	case reflect.Struct:
		f.fillStruct(path, from, to)
	case reflect.Slice, reflect.Array:
		f.fillList(path, from, to, tag)
	case reflect.String:
		s, ok := from.(string)
		if !ok {
			f.add(path, "%s: must be a string", describe(from))
			return
		}
		f.length(path, "characters", len(s), tag)
		to.SetString(s)
	case reflect.Bool:
		b, ok := from.(bool)
		if !ok {
			f.add(path, "%s: must be true or false", describe(from))
			return
		}
		to.SetBool(b)
	case reflect.Int, reflect.Float64:
		f.fillNumber(path, from, to, tag)
	default:
		f.add(path, "package strict does not read a %s", to.Type())
	}
}

func (f *faults) fillStruct(path string, from any, to reflect.Value) {
	obj, ok := from.(object)
	if !ok {
		f.add(path, "%s: must be an object", describe(from))
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
			f.fill(join(path, name), v, to.Field(i), field.Tag)
		} else {
			f.add(join(path, name), "missing")
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
		f.add(join(path, name), "unknown field")
	}
}

func (f *faults) fillList(path string, from any, to reflect.Value, tag reflect.StructTag) {
	list, ok := from.([]any)
	if !ok {
		f.add(path, "%s: must be a list", describe(from))
		return
	}
	if to.Kind() == reflect.Array {
		if len(list) != to.Len() {
			f.add(path, "%d elements: must be %d", len(list), to.Len())
			return
		}
	} else {
		if !f.length(path, "elements", len(list), tag) {
			return
		}
		to.Set(reflect.MakeSlice(to.Type(), len(list), len(list)))
	}
	for i, v := range list {
		f.fill(fmt.Sprintf("%s[%d]", path, i), v, to.Index(i), tag)
	}
}

func (f *faults) fillNumber(path string, from any, to reflect.Value, tag reflect.StructTag) {
	n, ok := from.(json.Number)
	if !ok {
		f.add(path, "%s: must be a number", describe(from))
		return
	}
	v, err := strconv.ParseFloat(n.String(), 64)
	low, high := bound(tag, "min", math.Inf(-1)), bound(tag, "max", math.Inf(1))
	switch {
	case err != nil || v < low || v > high:
		f.add(path, "%s: must be at least %s and at most %s", n, tag.Get("min"), tag.Get("max"))
	case to.Kind() == reflect.Float64:
		to.SetFloat(v)
	case v != math.Trunc(v) || math.Abs(v) > 1<<31-1:
		f.add(path, "%s: must be a whole number", n)
	default:
		to.SetInt(int64(v))
	}
}

func (f *faults) length(path, what string, n int, tag reflect.StructTag) bool {
	low, high, ok := strings.Cut(tag.Get("len"), ",")
	if !ok {
		return true
	}
	shortest, _ := strconv.Atoi(low)
	longest, _ := strconv.Atoi(high)
	if n < shortest || n > longest {
		f.add(path, "%d %s: must be at least %d and at most %d", n, what, shortest, longest)
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
		return strconv.Quote(v)
	case object:
		return "an object"
	case []any:
		return "a list"
	}
	return fmt.Sprint(v)
}

func join(path, name string) string {
	if path == "" {
		return name
	}
	return path + "." + name
}

// position is the line and column, from 1, of a byte offset.
func position(data []byte, offset int64) (line, column int) {
	before := data[:min(max(offset, 0), int64(len(data)))]
	return 1 + bytes.Count(before, []byte("\n")), len(before) - bytes.LastIndexByte(before, '\n')
}
