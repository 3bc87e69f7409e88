package flicker_test

import (
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/sync/flicker"
)

func TestHostileArguments(t *testing.T) {
	hostile.Calls(t, []any{[]float64{1, 2, 1, 2}}, flicker.PercentFlicker, flicker.FlickerIndex, flicker.FlickerLimits)
}
