package quantity_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/quantity"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/unit"
)

func TestPrintedUnits(t *testing.T) {
	for _, tc := range []struct{ got, want string }{
		{quantity.Length(35 * unit.Milli * unit.Metre), "35 mm"},
		{quantity.Length(-3 * unit.Milli * unit.Metre), "-3 mm"},
		{quantity.Length(4.39453125 * unit.Micro * unit.Metre), "4.39453 µm"},
		{quantity.Length(0.9999999 * unit.Metre), "1 m"},
		{quantity.Length(0), "0 m"},
		{quantity.Length(1500), "1.5 km"},
		{quantity.Length(unit.Length(math.NaN())), "NaN m"},
		{quantity.Length(unit.Length(math.Inf(1))), "+Inf m"},
		{quantity.Angle(unit.Angle(math.Pi)), "180°"},
		{quantity.Time(unit.Time(1) / 48), "20.8333 ms"},
		{quantity.Time(2100), "35 min"},
		{quantity.Time(9000), "2.5 h"},
		{quantity.Frequency(3840), "3.84 kHz"},
		{quantity.Frequency(60000.0 / 1001), "59.9401 Hz"},
		{quantity.Number(78.5, "lp/mm"), "78.5 lp/mm"},
		{quantity.Number(2.8, ""), "2.8"},
	} {
		assert.Equal(t, tc.want, tc.got)
	}
}
