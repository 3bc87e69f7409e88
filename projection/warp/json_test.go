package warp_test

import (
	"encoding/json"
	"testing"

	"example.com/platewright/projection/warp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A spec that embeds the options goes to a file and comes back, without what exists only
// in a running program.
func TestOptionsInJSON(t *testing.T) {
	progress := func(_, _ int) {}
	for _, tc := range []struct {
		want string
		v    any
	}{
		{`{"Filter":"Lanczos 3","Minify":"anti-alias","Edge":"constant","Fill":[0,0,0,1],"Workers":2}`,
			warp.Options{Filter: warp.Lanczos3, Edge: warp.Constant, Fill: [4]float32{3: 1}, Workers: 2, Progress: progress}},
		{`{"Tolerance":0.125,"Workers":0}`, warp.MapOptions{Tolerance: 0.125, Progress: progress}},
		{`{"Pitch":8,"Length":0.5,"Workers":0}`, warp.SeamOptions{Pitch: 8, Length: 0.5, Cost: func(_, _ int, _, _ float64) float64 { return 1 }, Progress: progress}},
		{`{"Width":4,"Height":3,"WrapX":true,"WrapY":false}`, warp.SourceSpec{Width: 4, Height: 3, WrapX: true, Margin: func(_, _ float64) float64 { return 1 }}},
	} {
		text, err := json.Marshal(tc.v)
		require.NoError(t, err)
		assert.JSONEq(t, tc.want, string(text))
	}
	var back struct {
		warp.Options
		Map warp.MapOptions
	}
	require.NoError(t, json.Unmarshal([]byte(`{"Filter": "Lanczos 3", "Map": {"Tolerance": 0.5}}`), &back))
	assert.Equal(t, warp.Lanczos3, back.Filter)
	assert.Equal(t, 0.5, back.Map.Tolerance)
}
