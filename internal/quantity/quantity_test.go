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
		{quantity.Length(1500), "1.5 km"}, {quantity.Length(12), "12 m"},
		{quantity.Length(35 * unit.Milli * unit.Metre), "35 mm"}, {quantity.Length(-3 * unit.Milli * unit.Metre), "-3 mm"},
		{quantity.Length(4.39453125 * unit.Micro * unit.Metre), "4.39453 µm"},
		{quantity.Length(550 * unit.Nano * unit.Metre), "550 nm"}, {quantity.Length(2e-12), "0.002 nm"},
		{quantity.Time(9000), "2.5 h"}, {quantity.Time(2100), "35 min"}, {quantity.Time(4), "4 s"},
		{quantity.Time(unit.Time(1) / 48), "20.8333 ms"}, {quantity.Time(260e-6), "260 µs"}, {quantity.Time(1.5e-9), "1.5 ns"},
		{quantity.Time(1e-12), "0.001 ns"}, {quantity.Frequency(3.5e9), "3.5 GHz"}, {quantity.Frequency(148.5e6), "148.5 MHz"},
		{quantity.Frequency(3840), "3.84 kHz"}, {quantity.Frequency(60000.0 / 1001), "59.9401 Hz"},
		{quantity.Frequency(0.25), "250 mHz"}, {quantity.Frequency(1e-6), "0.001 mHz"},
		{quantity.Angle(unit.Angle(math.Pi)), "180°"}, {quantity.Angle(unit.Angle(math.Copysign(0, -1))), "0°"},
		{quantity.Number(78.5, "lp/mm"), "78.5 lp/mm"}, {quantity.Number(2.8, ""), "2.8"},
		// Six digits are printed: what they would round up to the next unit has it.
		{quantity.Length(0.9999994 * unit.Metre), "999.999 mm"}, {quantity.Length(0.9999996 * unit.Metre), "1 m"},
		{quantity.Frequency(999.9994), "999.999 Hz"}, {quantity.Frequency(-999.9996), "-1 kHz"},
		{quantity.Time(59.9999), "59.9999 s"}, {quantity.Time(3600), "1 h"}, {quantity.Length(1 - 0.5e-6), "1 m"},
		{quantity.Length(0), "0 m"}, {quantity.Time(unit.Time(math.Copysign(0, -1))), "0 s"}, {quantity.Frequency(0), "0 Hz"},
		{quantity.Length(unit.Length(math.NaN())), "NaN m"}, {quantity.Length(unit.Length(math.Inf(1))), "+Inf m"},
		{quantity.Time(unit.Time(math.Inf(-1))), "-Inf s"},
	} {
		assert.Equal(t, tc.want, tc.got)
	}
}
