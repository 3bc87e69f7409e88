package valid

import "reflect"

// Absent reports whether an argument of interface type holds nothing that can
// be called: no value at all, or a nil pointer, function or map.
func Absent(v any) bool {
	if v == nil {
		return true
	}
	switch r := reflect.ValueOf(v); r.Kind() {
	case reflect.Pointer, reflect.Func, reflect.Map:
		return r.IsNil()
	}
	return false
}
