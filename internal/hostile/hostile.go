// Package hostile calls functions with hostile arguments in tests, and guards
// the memory they touch.
package hostile

import (
	"math"
	"reflect"
	"runtime"
	"strings"
	"testing"
)

// Calls calls each function, or method expression like Rate.Time, with every
// combination of hostile arguments. For a parameter these are the zero value
// of its type and the values of sound that have this type. For a number they
// are also 1, −1, the ends of the range, ±Inf and NaN. For a struct in sound
// they are also copies in which one field is zero or one number is NaN.
//
// A call fails the test if it panics, if it returns NaN as an answer, if its
// error names NaN or an infinity as the end of a range, or if a result beside an
// error or a final false is not its zero value.
func Calls(t testing.TB, sound []any, functions ...any) {
	t.Helper()
	for _, f := range functions {
		fn := reflect.ValueOf(f)
		name := runtime.FuncForPC(fn.Pointer()).Name()
		name = name[strings.LastIndexByte(name, '/')+1:]
		choices := make([][]reflect.Value, fn.Type().NumIn())
		for i := range choices {
			choices[i] = arguments(fn.Type().In(i), sound)
		}
		each(choices, nil, func(args []reflect.Value) { call(t, name, fn, args) })
	}
}

func each(choices [][]reflect.Value, args []reflect.Value, f func([]reflect.Value)) {
	if len(choices) == 0 {
		f(args)
		return
	}
	for _, v := range choices[0] {
		each(choices[1:], append(args[:len(args):len(args)], v), f)
	}
}

func arguments(typ reflect.Type, sound []any) []reflect.Value {
	values := []reflect.Value{reflect.Zero(typ)}
	switch typ.Kind() {
	case reflect.Float64:
		for _, x := range []float64{1, -1, 1e300, math.Inf(1), math.NaN()} {
			values = append(values, reflect.ValueOf(x).Convert(typ))
		}
	case reflect.Int, reflect.Int64:
		for _, n := range []int64{1, -1, math.MinInt, math.MaxInt} {
			values = append(values, reflect.ValueOf(n).Convert(typ))
		}
	}
	for _, s := range sound {
		v := reflect.ValueOf(s)
		if !v.Type().AssignableTo(typ) {
			continue
		}
		values = append(values, v)
		for i := 0; v.Kind() == reflect.Struct && i < v.NumField(); i++ {
			spoiled := reflect.New(v.Type()).Elem()
			spoiled.Set(v)
			field := spoiled.Field(i)
			if !field.CanSet() {
				continue
			}
			field.SetZero()
			values = append(values, reflect.ValueOf(spoiled.Interface()))
			if field.Kind() == reflect.Float64 {
				field.SetFloat(math.NaN())
				values = append(values, reflect.ValueOf(spoiled.Interface()))
			}
		}
	}
	return values
}

func call(t testing.TB, name string, fn reflect.Value, args []reflect.Value) {
	t.Helper()
	defer func() {
		if r := recover(); r != nil {
			t.Errorf("%s(%v): panic: %v", name, shown(args), r)
		}
	}()
	answered := true
	results := fn.Call(args)
	for _, r := range results {
		switch v := r.Interface().(type) {
		case error:
			answered = false
			for _, end := range []string{"least NaN", "than NaN", "most NaN", "least +Inf", "than +Inf", "least -Inf", "than -Inf"} {
				if strings.Contains(v.Error(), end) {
					t.Errorf("%s(%v): %v", name, shown(args), v)
				}
			}
		case bool:
			answered = answered && v
		}
	}
	for _, r := range results {
		if answered && holdsNaN(r) {
			t.Errorf("%s(%v) = %v", name, shown(args), shown(results))
		}
		if _, isError := r.Interface().(error); !answered && !isError && !r.IsZero() {
			t.Errorf("%s(%v) = %v: a value beside no answer", name, shown(args), shown(results))
		}
	}
}

func shown(values []reflect.Value) []any {
	list := make([]any, len(values))
	for i, v := range values {
		list[i] = v.Interface()
	}
	return list
}

func holdsNaN(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.Float64:
		return math.IsNaN(v.Float())
	case reflect.Struct:
		for i := range v.NumField() {
			if holdsNaN(v.Field(i)) {
				return true
			}
		}
	case reflect.Array, reflect.Slice:
		for i := range v.Len() {
			if holdsNaN(v.Index(i)) {
				return true
			}
		}
	}
	return false
}
