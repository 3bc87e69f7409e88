package offaxis_test

import (
	"encoding/json"
	"math"
	"testing"

	"example.com/platewright/projection"
	"example.com/platewright/projection/offaxis"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// JSON has no infinity, and a far plane may be infinitely far.
func TestFrustaInJSON(t *testing.T) {
	f := offaxis.Frustum{Left: -1, Right: 2, Bottom: -0.5, Top: 0.75, Near: 0.1, Far: 100,
		Pose: projection.Pose{Position: r3.Vec{X: 1, Y: 2, Z: 3}, Heading: 10 * deg, Elevation: -5 * deg, Roll: 1 * deg}}
	for _, far := range []float64{100, math.Inf(1)} {
		f.Far = unit.Length(far)
		text, err := json.Marshal(struct{ View offaxis.Frustum }{f})
		require.NoError(t, err)
		var back struct{ View offaxis.Frustum }
		require.NoError(t, json.Unmarshal(text, &back))
		assert.Equal(t, f, back.View, string(text))
	}
	text, err := json.Marshal(f)
	require.NoError(t, err)
	assert.JSONEq(t, `{"Left":-1,"Right":2,"Bottom":-0.5,"Top":0.75,"Near":0.1,"Far":null,"Pose":{"Position":{"X":1,"Y":2,"Z":3},
		"Heading":0.17453292519943295,"Elevation":-0.08726646259971647,"Roll":0.017453292519943295}}`, string(text))
	// What cannot be read leaves a frustum as it was; one without Far is not sound.
	assert.Error(t, json.Unmarshal([]byte(`{"Left":"far"}`), &f))
	assert.Equal(t, unit.Length(-1), f.Left)
	require.NoError(t, json.Unmarshal([]byte(`{"Left":-1,"Right":1,"Bottom":-1,"Top":1,"Near":1}`), &f))
	_, ok := f.StageToEye()
	assert.False(t, ok)
}
