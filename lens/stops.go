package lens

import (
	"math"

	"example.com/platewright/internal/valid"
)

// FNumberAt is the f-number a count of stops above f/1:
//
//	N = 2^(k/2)
//
// Whole k give the exact values behind the marks 1, 1.4, 2, 2.8, 4, 5.6, 8,
// 11, 16, 22, 32; thirds of k the third stops. k lies from −2 to 20.
//
// Source: ISO 517, from memory.
func FNumberAt(stops float64) (float64, error) {
	c := valid.New("lens", ErrInvalid)
	c.Number("stops above f/1", stops, "", valid.Closed(-2.0, 20.0))
	if !c.OK() {
		return 0, c.Err()
	}
	return math.Exp2(stops / 2), nil
}

// Stops is how many stops darker one f-number is than another, negative where
// it is brighter:
//
//	2 log2(N2/N1)
//
// T-stops compare in the same way. Both lie from 0.5 to 1024.
//
// Source: common practice.
func Stops(from, to float64) (float64, error) {
	c := valid.New("lens", ErrInvalid)
	c.Number("from", from, "", fNumbers)
	c.Number("to", to, "", fNumbers)
	if !c.OK() {
		return 0, c.Err()
	}
	return 2 * math.Log2(to/from), nil
}

// TStop is the f-number of a lens without losses that would be as bright:
//
//	T = N/√τ
//
// The f-number lies from 0.5 to 1024, the transmission τ is more than 0 and
// at most 1.
//
// Source: common practice.
func TStop(fNumber, transmission float64) (float64, error) {
	c := valid.New("lens", ErrInvalid)
	c.Number("f-number", fNumber, "", fNumbers)
	c.Number("transmission", transmission, "", valid.Above(0.0, 1.0))
	if !c.OK() {
		return 0, c.Err()
	}
	return fNumber / math.Sqrt(transmission), nil
}

// Transmission is the part of the light that a lens lets through, from its
// f-number and T-stop:
//
//	τ = (N/T)²
//
// The f-number lies from 0.5 to 1024; the T-stop is finite and not less.
//
// Source: common practice.
func Transmission(fNumber, tStop float64) (float64, error) {
	c := valid.New("lens", ErrInvalid)
	c.Number("f-number", fNumber, "", fNumbers)
	least := fNumbers.Min
	if c.OK() {
		least = fNumber
	}
	c.Number("T-stop", tStop, "", valid.Below(least, math.Inf(1)))
	if !c.OK() {
		return 0, c.Err()
	}
	q := fNumber / tStop
	return q * q, nil
}
