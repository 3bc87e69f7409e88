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

// FilterTransmission is the fraction of the light that a filter of an optical
// density lets through.
//
//	τ = 10^−d
//
// The densities of stacked filters add. The density is from 0 to 10; another one is
// an error. A τ multiplies that of the lens.
//
// Source: definition of optical density, ISO 5-1, from memory.
func FilterTransmission(density float64) (float64, error) {
	if err := checkDensity(density); err != nil {
		return 0, err
	}
	return math.Pow(10, -density), nil
}

// FilterStops is by how many stops a filter of an optical density darkens.
//
//	d log2(10)
//
// A density of 0.3 is sold as one stop, and is 0.997. The domain is that of
// FilterTransmission.
//
// Source: as FilterTransmission.
func FilterStops(density float64) (float64, error) {
	if err := checkDensity(density); err != nil {
		return 0, err
	}
	return density * (math.Ln10 / math.Ln2), nil
}

func checkDensity(density float64) error {
	c := valid.New("lens", ErrInvalid)
	c.Number("density", density, "", valid.Closed(0.0, 10.0))
	return c.Err()
}

// Mark is an f-number or T-stop as it is engraved or displayed, and the exact one
// behind it.
type Mark struct {
	Marked, Exact float64
}

// Marks is the series of marked stops from 1 to 32, in whole stops, halves or thirds:
// perStop is 1, 2 or 3, and other numbers are errors. A step from mark to mark is
// exactly 1/perStop stops. The marks are rounded, and their ratios are not: by its
// mark, 1.2 in thirds would be 0.14 stops brighter than it is.
//
// Source: ISO 517, from memory; halves and thirds, common practice.
func Marks(perStop int) ([]Mark, error) {
	c := valid.New("lens", ErrInvalid)
	c.Int("steps per stop", perStop, "", 1, len(marked))
	if !c.OK() {
		return nil, c.Err()
	}
	series := make([]Mark, 10*perStop+1)
	for i := range series {
		series[i] = Mark{Marked: marked[perStop-1][i], Exact: math.Exp2(float64(i) / float64(2*perStop))}
	}
	return series, nil
}

// marked are the marks from 1 to 32 in whole stops, halves and thirds.
var marked = [3][]float64{
	{1, 1.4, 2, 2.8, 4, 5.6, 8, 11, 16, 22, 32},
	{1, 1.2, 1.4, 1.7, 2, 2.4, 2.8, 3.3, 4, 4.8, 5.6, 6.7, 8, 9.5, 11, 13, 16, 19, 22, 27, 32},
	{1, 1.1, 1.2, 1.4, 1.6, 1.8, 2, 2.2, 2.5, 2.8, 3.2, 3.5, 4, 4.5, 5, 5.6, 6.3, 7.1, 8, 9, 10, 11, 13, 14, 16, 18, 20, 22, 25, 29, 32},
}
