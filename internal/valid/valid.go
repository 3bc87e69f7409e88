// Package valid checks the fields of a spec and words the errors.
//
// A constructor makes one Checker, passes every field to it, and returns its
// Err. That error holds all faults together. Each fault names the field, its
// value with the unit, and the range allowed, and wraps the sentinel of the
// calling package.
package valid

import (
	"errors"
	"fmt"
	"math"

	"example.com/platewright/internal/quantity"
	"gonum.org/v1/gonum/unit"
)

// Range is the set of values a field may take. NaN is in no range.
type Range struct {
	Min, Max         float64
	OpenMin, OpenMax bool // the end itself is not allowed
}

// Closed is min ≤ v ≤ max.
func Closed[T ~float64](min, max T) Range { return Range{Min: float64(min), Max: float64(max)} }

// Above is min < v ≤ max.
func Above[T ~float64](min, max T) Range {
	return Range{Min: float64(min), Max: float64(max), OpenMin: true}
}

// Below is min ≤ v < max.
func Below[T ~float64](min, max T) Range {
	return Range{Min: float64(min), Max: float64(max), OpenMax: true}
}

// Between is min < v < max.
func Between[T ~float64](min, max T) Range {
	return Range{Min: float64(min), Max: float64(max), OpenMin: true, OpenMax: true}
}

// Finite is every number but the infinities and NaN.
func Finite() Range { return Between(math.Inf(-1), math.Inf(1)) }

// Contains reports whether v is in the range.
func (r Range) Contains(v float64) bool {
	low := v > r.Min || (!r.OpenMin && v == r.Min)
	high := v < r.Max || (!r.OpenMax && v == r.Max)
	return low && high
}

func (r Range) text(format func(float64) string) string {
	low := "at least "
	if r.OpenMin {
		low = "more than "
	}
	high := "at most "
	if r.OpenMax {
		high = "less than "
	}
	switch {
	case math.IsInf(r.Min, -1) && math.IsInf(r.Max, 1):
		return "a finite number"
	case math.IsInf(r.Max, 1):
		return low + format(r.Min)
	case math.IsInf(r.Min, -1):
		return high + format(r.Max)
	}
	return low + format(r.Min) + " and " + high + format(r.Max)
}

// Checker gathers the faults of one spec. Its zero value is not usable: call New.
type Checker struct {
	pkg      string
	sentinel error
	faults   []error
}

// New returns a Checker whose faults begin with the package's name and wrap its sentinel.
func New(pkg string, sentinel error) *Checker { return &Checker{pkg: pkg, sentinel: sentinel} }

// Length checks a length. Messages print it in the unit that suits its size.
// If a length is too large and would fit in a smaller unit, the message asks
// whether that unit was meant, since the compiler takes a bare 12 for 12
// metres.
func (c *Checker) Length(field string, v unit.Length, r Range) {
	text := func(x float64) string { return quantity.Length(unit.Length(x)) }
	if float64(v) > r.Max {
		for _, smaller := range []unit.Length{unit.Milli, unit.Micro, unit.Nano} {
			if r.Contains(float64(v * smaller)) {
				c.Fault(field, text(float64(v)), "must be %s (a bare number is in metres: is %s meant?)", r.text(text), quantity.Length(v*smaller))
				return
			}
		}
	}
	c.check(field, float64(v), r, text)
}

// Angle checks an angle. Messages print degrees. If an angle is more than two
// turns and its number would fit as degrees, the message asks whether degrees
// were meant, since the compiler takes a bare 90 for 90 radians.
func (c *Checker) Angle(field string, v unit.Angle, r Range) {
	text := func(x float64) string { return quantity.Angle(unit.Angle(x)) }
	degrees := v * quantity.Degree
	if math.Abs(float64(v)) > 4*math.Pi && !r.Contains(float64(v)) && r.Contains(float64(degrees)) {
		c.Fault(field, text(float64(v)), "must be %s (a bare number is in radians: is %v*Degree meant?)", r.text(text), float64(v))
		return
	}
	c.check(field, float64(v), r, text)
}

// Time checks a time.
func (c *Checker) Time(field string, v unit.Time, r Range) {
	c.check(field, float64(v), r, func(x float64) string { return quantity.Time(unit.Time(x)) })
}

// Frequency checks a frequency.
func (c *Checker) Frequency(field string, v unit.Frequency, r Range) {
	c.check(field, float64(v), r, func(x float64) string { return quantity.Frequency(unit.Frequency(x)) })
}

// Number checks a number. unitName is its unit, "" if it has none.
func (c *Checker) Number(field string, v float64, unitName string, r Range) {
	c.check(field, v, r, func(x float64) string { return quantity.Number(x, unitName) })
}

// Int checks a whole number from min to max. unitName is its unit, "" if it
// has none.
func (c *Checker) Int(field string, v int, unitName string, min, max int) {
	if v < min || v > max {
		c.Fault(field, withUnit(fmt.Sprint(v), unitName), "must be at least %d and at most %s", min, withUnit(fmt.Sprint(max), unitName))
	}
}

// Fault adds a fault that no range describes: the field, its value as text,
// and what is allowed.
func (c *Checker) Fault(field, value, format string, args ...any) {
	c.faults = append(c.faults, &fault{
		text:     fmt.Sprintf("%s: %s %s: %s", c.pkg, field, value, fmt.Sprintf(format, args...)),
		sentinel: c.sentinel,
	})
}

// Refuse is Fault and Err: it adds a fault, and gives all of them joined.
func (c *Checker) Refuse(field, value, format string, args ...any) error {
	c.Fault(field, value, format, args...)
	return c.Err()
}

// Unset adds a fault for a field that must have a value and has none.
func (c *Checker) Unset(field string) {
	c.faults = append(c.faults, &fault{text: fmt.Sprintf("%s: %s: must be set", c.pkg, field), sentinel: c.sentinel})
}

// Set adds a fault if a value that must be set is the zero value of its type.
func Set[T comparable](c *Checker, field string, v T) {
	if v == *new(T) {
		c.Unset(field)
	}
}

// Add adds the error of a nested part under the name of its field. A nil error
// adds nothing. The part may be of another package: the sentinels of both are
// wrapped.
func (c *Checker) Add(field string, err error) {
	if err != nil {
		c.faults = append(c.faults, &part{fmt.Errorf("%s: %w", field, err), c.sentinel})
	}
}

// OK reports whether no fault has been found so far.
func (c *Checker) OK() bool { return len(c.faults) == 0 }

// Err returns all faults joined, or nil if there are none.
func (c *Checker) Err() error { return errors.Join(c.faults...) }

func (c *Checker) check(field string, v float64, r Range, format func(float64) string) {
	if !r.Contains(v) {
		c.Fault(field, format(v), "must be %s", r.text(format))
	}
}

func withUnit(s, unitName string) string {
	if unitName == "" {
		return s
	}
	return s + " " + unitName
}

type fault struct {
	text     string
	sentinel error
}

func (f *fault) Error() string { return f.text }
func (f *fault) Unwrap() error { return f.sentinel }

type part struct {
	error
	sentinel error
}

func (p *part) Unwrap() []error { return []error{p.error, p.sentinel} }
