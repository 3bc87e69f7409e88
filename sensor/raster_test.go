package sensor_test

import (
	"encoding/json"
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/sensor"
	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestHeadroom(t *testing.T) {
	delivered := sensor.Cinema2K.Raster()
	for _, tc := range []struct {
		plate sensor.Raster
		want  sensor.Headroom
	}{
		{sensor.Raster{Columns: 12288, Rows: 6480}, sensor.Headroom{Across: 6, Down: 6, Factor: 6}},
		{sensor.Raster{Columns: 8192, Rows: 4320}, sensor.Headroom{Across: 4, Down: 4, Factor: 4}},
		{sensor.Raster{Columns: 4 * 12288, Rows: 6480}, sensor.Headroom{Across: 24, Down: 6, Factor: 6, Limit: sensor.Vertical}},
		{sensor.Raster{Columns: 1024, Rows: 1080}, sensor.Headroom{Across: 0.5, Down: 1, Factor: 0.5, Limit: sensor.Horizontal}},
	} {
		h, ok := tc.plate.Headroom(delivered)
		assert.True(t, ok)
		ref.Equal(t, "S-HEADROOM", h, tc.want, tc)
	}
}

func TestDeliveries(t *testing.T) {
	for _, tc := range []struct {
		d             sensor.Delivery
		columns, rows int
	}{
		{sensor.Cinema2K, 2048, 1080},
		{sensor.Cinema2KFlat, 1998, 1080},
		{sensor.Cinema2KScope, 2048, 858},
		{sensor.Cinema4K, 4096, 2160},
		{sensor.Cinema4KFlat, 3996, 2160},
		{sensor.Cinema4KScope, 4096, 1716},
		{sensor.UHD2160, 3840, 2160},
		{sensor.UHD4320, 7680, 4320},
		{sensor.HD1080, 1920, 1080},
	} {
		ref.Equal(t, "S-DELIVERY-RASTER", tc.d.Raster(), sensor.Raster{Columns: tc.columns, Rows: tc.rows}, tc.d)
	}
	assert.Zero(t, (sensor.HD1080 + 1).Raster(), "an unknown delivery has a raster")
}

func TestRastersOutOfRangeHaveNoHeadroom(t *testing.T) {
	good := sensor.Cinema2K.Raster()
	for _, bad := range []sensor.Raster{{}, {Columns: -1, Rows: 1}, {Columns: 1, Rows: math.MinInt}, {Columns: 1<<24 + 1, Rows: 1}, {Columns: 1, Rows: 1<<24 + 1}} {
		for _, pair := range [][2]sensor.Raster{{bad, good}, {good, bad}} {
			h, ok := pair[0].Headroom(pair[1])
			assert.False(t, ok, pair)
			assert.Zero(t, h, pair)
		}
	}
	_, ok := sensor.Raster{Columns: 1 << 24, Rows: 1 << 24}.Headroom(sensor.Raster{Columns: 1, Rows: 1})
	assert.True(t, ok, "the ends of the range")
}

// Every constant has its name, in print and in JSON, and is read back from it.
func TestNames(t *testing.T) {
	type enums struct {
		Deliveries []sensor.Delivery
		Gates      []sensor.Gate
		Directions []sensor.Direction
		Reductions []sensor.Reduction
	}
	all := enums{
		[]sensor.Delivery{
			sensor.Cinema2K, sensor.Cinema2KFlat, sensor.Cinema2KScope,
			sensor.Cinema4K, sensor.Cinema4KFlat, sensor.Cinema4KScope, sensor.UHD2160, sensor.UHD4320, sensor.HD1080,
		},
		[]sensor.Gate{
			sensor.GateFull, sensor.GateAcademyProjector, sensor.GateStill, sensor.GateAcademy, sensor.GateAnamorphic,
			sensor.GateAnamorphicProjector, sensor.GateProjector166, sensor.GateProjector185, sensor.GateSuper35Flat, sensor.GateSuper35Scope,
		},
		[]sensor.Direction{sensor.BothDirections, sensor.Horizontal, sensor.Vertical},
		[]sensor.Reduction{sensor.Binning, sensor.Skipping, sensor.Scaling},
	}
	want := `{"Deliveries":["cinema 2K","cinema 2K flat","cinema 2K scope","cinema 4K","cinema 4K flat","cinema 4K scope","UHD 2160","UHD 4320","HD 1080"],` +
		`"Gates":["full gate","academy projector gate","still gate","academy camera gate","anamorphic camera gate",` +
		`"anamorphic projector gate","1.66 projector gate","1.85 projector gate","super 35 flat gate","super 35 scope gate"],` +
		`"Directions":["both directions","horizontal","vertical"],"Reductions":["binning","skipping","scaling"]}`
	text, err := json.Marshal(all)
	require.NoError(t, err)
	assert.Equal(t, want, string(text))
	var back enums
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Empty(t, cmp.Diff(all, back))

	for want, got := range map[string]interface{ String() string }{
		"cinema 2K": sensor.Cinema2K, "still gate": sensor.GateStill, "vertical": sensor.Vertical,
		"Delivery(0)": sensor.Delivery(0), "Delivery(10)": sensor.HD1080 + 1,
		"Gate(0)": sensor.Gate(0), "Gate(11)": sensor.GateSuper35Scope + 1, "Direction(3)": sensor.Vertical + 1,
	} {
		assert.Equal(t, want, got.String())
	}
	_, err = json.Marshal(sensor.Gate(0))
	assert.ErrorIs(t, err, sensor.ErrInvalid)
	assert.ErrorIs(t, json.Unmarshal([]byte(`"UHD"`), new(sensor.Delivery)), sensor.ErrInvalid)
}

// A Headroom reads well in JSON.
func TestHeadroomAsJSON(t *testing.T) {
	h, ok := sensor.Raster{Columns: 8192, Rows: 4608}.Headroom(sensor.Raster{Columns: 2048, Rows: 1024})
	require.True(t, ok)
	text, err := json.Marshal(h)
	require.NoError(t, err)
	assert.JSONEq(t, `{"Across": 4, "Down": 4.5, "Factor": 4, "Limit": "horizontal"}`, string(text))
}
