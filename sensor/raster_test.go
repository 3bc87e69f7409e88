package sensor_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/sensor"
)

func TestWholeWindows(t *testing.T) {
	for _, tc := range []struct {
		whole, part  sensor.Raster
		across, down int
		exact        bool
	}{
		{sensor.Raster{Columns: 12288, Rows: 6480}, sensor.Cinema4K.Raster(), 3, 3, true},
		{sensor.UHD4320.Raster(), sensor.UHD2160.Raster(), 2, 2, true},
		{sensor.Raster{Columns: 8192, Rows: 4320}, sensor.UHD2160.Raster(), 2, 2, false},
		{sensor.Cinema2K.Raster(), sensor.Cinema2K.Raster(), 1, 1, true},
		{sensor.Cinema2K.Raster(), sensor.Cinema4K.Raster(), 0, 0, false},
		{sensor.Raster{Columns: 8192, Rows: 2000}, sensor.Cinema4K.Raster(), 0, 0, false},
	} {
		across, down, exact := tc.whole.WholeWindows(tc.part)
		ref.Equal(t, "sensor-whole-windows", across, tc.across, tc)
		ref.Equal(t, "sensor-whole-windows", down, tc.down, tc)
		ref.Equal(t, "sensor-whole-windows", exact, tc.exact, tc)
	}
}

func TestHeadroom(t *testing.T) {
	delivered := sensor.Cinema2K.Raster()
	for _, tc := range []struct {
		plate        sensor.Raster
		across, down float64
		factor       float64
		limit        sensor.Direction
	}{
		{sensor.Raster{Columns: 12288, Rows: 6480}, 6, 6, 6, sensor.BothWays},
		{sensor.Raster{Columns: 8192, Rows: 4320}, 4, 4, 4, sensor.BothWays},
		{sensor.Raster{Columns: 4096, Rows: 2160}, 2, 2, 2, sensor.BothWays},
		{sensor.Raster{Columns: 4 * 12288, Rows: 6480}, 24, 6, 6, sensor.AlongColumns}, // 49152 columns
		{sensor.Raster{Columns: 1024, Rows: 1080}, 0.5, 1, 0.5, sensor.AlongRows},
	} {
		h, ok := tc.plate.Headroom(delivered)
		ref.Equal(t, "sensor-headroom", ok, true, tc)
		ref.Near(t, "sensor-headroom", h.Across, tc.across, tc)
		ref.Near(t, "sensor-headroom", h.Down, tc.down, tc)
		ref.Near(t, "sensor-headroom", h.Factor, tc.factor, tc)
		ref.Equal(t, "sensor-headroom", h.Limit, tc.limit, tc)
	}
	h, _ := sensor.Raster{Columns: 8192, Rows: 4608}.Headroom(sensor.UHD2160.Raster())
	ref.Near(t, "sensor-headroom-stops", h.Factor, 2.13333333333)
	ref.Near(t, "sensor-headroom-stops", h.Stops, 1.09310940439)
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
	} {
		ref.Equal(t, "sensor-delivery-raster", tc.d.Raster(), sensor.Raster{Columns: tc.columns, Rows: tc.rows}, tc.d)
	}
}

func TestRastersOutOfRangeHaveNoAnswer(t *testing.T) {
	good := sensor.Cinema2K.Raster()
	for _, bad := range []sensor.Raster{{}, {Columns: -1, Rows: 1}, {Columns: 1, Rows: math.MinInt}, {Columns: 1<<24 + 1, Rows: 1}, {Columns: math.MaxInt, Rows: math.MaxInt}} {
		for _, pair := range [][2]sensor.Raster{{bad, good}, {good, bad}} {
			if h, ok := pair[0].Headroom(pair[1]); ok || h != (sensor.Headroom{}) {
				t.Errorf("%v: headroom %v, %v", pair, h, ok)
			}
			if a, d, exact := pair[0].WholeWindows(pair[1]); a != 0 || d != 0 || exact {
				t.Errorf("%v: windows %d, %d, %v", pair, a, d, exact)
			}
		}
	}
}

func TestNames(t *testing.T) {
	for _, tc := range []struct{ got, want string }{
		{sensor.ApertureStill.String(), "still frame"},
		{sensor.ApertureFull.String(), "full aperture"},
		{sensor.Aperture(0).String(), "no aperture"},
		{sensor.Aperture(-1).String(), "no aperture"},
		{(sensor.ApertureStill + 1).String(), "no aperture"},
		{sensor.Cinema2K.String(), "cinema 2K"},
		{sensor.UHD4320.String(), "UHD 4320"},
		{sensor.Delivery(0).String(), "no delivery"},
		{(sensor.UHD4320 + 1).String(), "no delivery"},
		{sensor.BothWays.String(), "both ways"},
		{sensor.AlongRows.String(), "along rows"},
		{sensor.AlongColumns.String(), "along columns"},
		{sensor.Direction(9).String(), "no direction"},
	} {
		if tc.got != tc.want {
			t.Errorf("got %q, want %q", tc.got, tc.want)
		}
	}
	if w, h := (sensor.ApertureStill + 1).Size(); w != 0 || h != 0 {
		t.Error("an aperture that is none has a size")
	}
	if r := sensor.Delivery(-1).Raster(); r != (sensor.Raster{}) {
		t.Error("a delivery that is none has a raster")
	}
}
