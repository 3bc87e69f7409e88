package valid_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"slices"
	"testing"

	"example.com/platewright/internal/valid"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The limits in SI units, written out.
func TestLimits(t *testing.T) {
	const open = true
	limits := map[string][2]valid.Range{ // the variable, and what it has to be
		"FNumbers":      {valid.FNumbers, {Min: 0.5, Max: 1024}},
		"FocalLengths":  {valid.FocalLengths, {Min: 0.0001, Max: 2}},
		"ImageCircles":  {valid.ImageCircles, {Min: 0.0001, Max: 1}},
		"SensorSides":   {valid.SensorSides, {Min: 0.0000001, Max: 1}},
		"Pitches":       {valid.Pitches, {Min: 0.0000001, Max: 0.001}},
		"Wavelengths":   {valid.Wavelengths, {Min: 0.00000001, Max: 0.00003}},
		"Distances":     {valid.Distances, {OpenMin: open, Max: 1000000000}},
		"Coordinates":   {valid.Coordinates, {Min: -1000000, Max: 1000000}},
		"Turns":         {valid.Turns, {Min: -6.283185307179586, Max: 6.283185307179586}},
		"FieldsOfView":  {valid.FieldsOfView, {Min: 0.000000001, Max: 3.141592653589793, OpenMin: open, OpenMax: open}},
		"Acuities":      {valid.Acuities, {Min: 0.000000001, Max: 1.5707963267948966, OpenMin: open, OpenMax: open}},
		"ExposureTimes": {valid.ExposureTimes, {Min: 0.000000001, Max: 1000000}},
		"Luminances":    {valid.Luminances, {Min: 0.000000000001, Max: 1000000000000}},
		"Illuminances":  {valid.Illuminances, {Min: 0.000000000001, Max: 1000000000000}},
		"Frequencies":   {valid.Frequencies, {Max: 1000000000}},
	}
	for name, l := range limits {
		assert.Empty(t, cmp.Diff(l[1], l[0], cmpopts.EquateApprox(1e-15, 0)), name)
	}

	file, err := parser.ParseFile(token.NewFileSet(), "limits.go", nil, 0)
	require.NoError(t, err)
	var names []string
	ast.Inspect(file, func(n ast.Node) bool {
		if v, ok := n.(*ast.ValueSpec); ok && v.Names[0].Name != "MaxSide" {
			names = append(names, v.Names[0].Name)
		}
		return true
	})
	assert.ElementsMatch(t, slices.Collect(maps.Keys(limits)), names, "every limit stands in the table")
}
