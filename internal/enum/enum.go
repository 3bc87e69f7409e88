// Package enum gives the enums of the library their text: a name to print, and
// the same name in JSON, in flags and in files.
//
// An enum has the base type uint8. Its constants start at iota + 1 where the
// zero value must be refused, and at iota where the zero value is the default.
// It needs these lines:
//
//	var forms = enum.New[Form](ErrInvalid, []string{Rectilinear: "rectilinear", Equidistant: "equidistant"})
//
//	// String gives a name like "rectilinear".
//	func (f Form) String() string { return forms.Name(f) }
//
//	// MarshalText gives the name. An unknown Form is an error.
//	func (f Form) MarshalText() ([]byte, error) { return forms.Marshal(f) }
//
//	// UnmarshalText reads a name. Any other text is an error and leaves f unchanged.
//	func (f *Form) UnmarshalText(text []byte) error { return forms.Unmarshal(f, text) }
//
// The constructor that takes the enum in its spec checks it:
//
//	forms.Check(c, "form", spec.Form) // c is the *valid.Checker
package enum

import (
	"fmt"
	"reflect"
	"strconv"
	"strings"
	"unicode"

	"example.com/platewright/internal/valid"
)

// Names holds the names of the constants of one enum. It is immutable.
type Names[E ~uint8] struct {
	pkg, typ string // like "projection" and "Form"
	field    string // like "form"
	sentinel error
	names    []string
	list     string // like "rectilinear, equidistant or equisolid"
}

// New returns the names of an enum. names[v] is the name of constant v; a value
// with an empty name, or beyond the end, is unknown. Names must differ, and
// there must be one at least. Errors wrap the sentinel of the enum's package.
func New[E ~uint8](sentinel error, names []string) Names[E] {
	pkg, typ, _ := strings.Cut(reflect.TypeFor[E]().String(), ".")
	n := Names[E]{pkg: pkg, typ: typ, field: words(typ), sentinel: sentinel, names: names}
	var known []string
	for _, name := range names {
		if name != "" {
			known = append(known, name)
		}
	}
	last := len(known) - 1
	n.list = known[last]
	if last > 0 {
		n.list = strings.Join(known[:last], ", ") + " or " + n.list
	}
	return n
}

// words turns "ShutterPhase" into "shutter phase".
func words(typ string) string {
	var b strings.Builder
	for i, r := range typ {
		if i > 0 && unicode.IsUpper(r) {
			b.WriteByte(' ')
		}
		b.WriteRune(unicode.ToLower(r))
	}
	return b.String()
}

// Known reports whether v is one of the constants.
func (n Names[E]) Known(v E) bool { return int(v) < len(n.names) && n.names[v] != "" }

// Name gives the name of v, or text like "Form(7)" if v is unknown.
func (n Names[E]) Name(v E) string {
	if !n.Known(v) {
		return fmt.Sprintf("%s(%d)", n.typ, uint8(v))
	}
	return n.names[v]
}

// Marshal gives the name of v. An unknown v is an error.
func (n Names[E]) Marshal(v E) ([]byte, error) {
	if !n.Known(v) {
		return nil, n.fault(n.field, n.Name(v))
	}
	return []byte(n.names[v]), nil
}

// Unmarshal sets *v to the constant that text names exactly. Any other text and
// a nil v are errors, and leave *v unchanged.
func (n Names[E]) Unmarshal(v *E, text []byte) error {
	if v == nil {
		c := valid.New(n.pkg, n.sentinel)
		c.Fault(n.field, "nil", "must point to what the text is read into")
		return c.Err()
	}
	for i, name := range n.names {
		if name != "" && name == string(text) {
			*v = E(i)
			return nil
		}
	}
	return n.fault(n.field, strconv.Quote(string(text)))
}

// Check adds a fault to c if v is unknown.
func (n Names[E]) Check(c *valid.Checker, field string, v E) {
	if !n.Known(v) {
		c.Fault(field, n.Name(v), "must be %s", n.list)
	}
}

func (n Names[E]) fault(field, value string) error {
	c := valid.New(n.pkg, n.sentinel)
	c.Fault(field, value, "must be %s", n.list)
	return c.Err()
}
