package lens

import (
	"math"

	"example.com/platewright/internal/valid"
)

// FNumberAt is the f-number that is a number of stops above f/1.
//
//	N = 2^(k/2)
//
// Whole k give the exact values behind the marks 1, 1.4, 2, 2.8, 4, 5.6, 8, 11,
// 16, 22, 32 of a lens; thirds of k give the third stops. k outside −2 to 20 is
// an error.
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

// Stops is by how many stops the picture is darker at one f-number than at
// another. It is negative where the picture is brighter.
//
//	2 log2(N2/N1)
//
// T-stops compare in the same way.
//
// Source: common practice.
func Stops(from, to float64) (float64, error) {
	c := valid.New("lens", ErrInvalid)
	c.Number("from", from, "", valid.FNumbers)
	c.Number("to", to, "", valid.FNumbers)
	if !c.OK() {
		return 0, c.Err()
	}
	return 2 * math.Log2(to/from), nil
}

// TStop is the f-number of a lens without losses that gives a picture as bright.
//
//	T = N/√τ
//
// τ is the transmission of the lens, more than 0 and at most 1.
//
// Source: common practice.
func TStop(fNumber, transmission float64) (float64, error) {
	c := valid.New("lens", ErrInvalid)
	c.Number("f-number", fNumber, "", valid.FNumbers)
	c.Number("transmission", transmission, "", valid.Above(0.0, 1.0))
	if !c.OK() {
		return 0, c.Err()
	}
	return fNumber / math.Sqrt(transmission), nil
}

// Transmission is the fraction of the light that a lens lets through, from its
// f-number and T-stop.
//
//	τ = (N/T)²
//
// The T-stop is finite, and not less than the f-number.
//
// Source: common practice.
func Transmission(fNumber, tStop float64) (float64, error) {
	c := valid.New("lens", ErrInvalid)
	c.Number("f-number", fNumber, "", valid.FNumbers)
	least := valid.FNumbers.Min
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
