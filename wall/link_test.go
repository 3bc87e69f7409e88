package wall_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/wall"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Each link against the raster with its blanking, samples a line and lines, that
// fills it at 20 bit a sample.
func TestLinks(t *testing.T) {
	type link struct {
		standard      string
		nominal       float64
		width, height int
		total         [2]int
		num, den      int64
	}
	links := wall.Links()
	want := []link{
		{"SMPTE ST 292-1", 1.485e9 / 1.001, 1920, 1080, [2]int{2200, 1125}, 30000, 1001},
		{"SMPTE ST 292-1", 1.485e9, 1920, 1080, [2]int{2200, 1125}, 30, 1},
		{"SMPTE ST 424", 2.97e9 / 1.001, 1920, 1080, [2]int{2200, 1125}, 60000, 1001},
		{"SMPTE ST 424", 2.97e9, 1920, 1080, [2]int{2200, 1125}, 60, 1},
		{"SMPTE ST 2081-10", 5.94e9 / 1.001, 3840, 2160, [2]int{4400, 2250}, 30000, 1001},
		{"SMPTE ST 2081-10", 5.94e9, 3840, 2160, [2]int{4400, 2250}, 30, 1},
		{"SMPTE ST 2082-10", 11.88e9 / 1.001, 3840, 2160, [2]int{4400, 2250}, 60000, 1001},
		{"SMPTE ST 2082-10", 11.88e9, 3840, 2160, [2]int{4400, 2250}, 60, 1},
	}
	require.Len(t, links, len(want))
	for i, w := range want {
		l := links[i]
		ref.Equal(t, "W-L4", l, wall.Link{Standard: w.standard, LineRate: w.nominal, Width: w.width, Height: w.height, Num: w.num, Den: w.den})
		filled := must[float64](t)(wall.PayloadRate(w.total[0], w.total[1], 20, w.num, w.den))
		ref.Near(t, "W-L5", filled, l.LineRate, w)
		capacity, ok := l.Capacity(l.Num, l.Den)
		assert.True(t, ok)
		active := float64(l.Width*l.Height) / float64(w.total[0]*w.total[1])
		ref.Near(t, "W-L5", capacity, l.LineRate*active, "the active part of the line rate", w)
	}
	links[0].LineRate = 0
	assert.NotZero(t, wall.Links()[0].LineRate, "a caller can change the table")
}

func TestLinkCapacity(t *testing.T) {
	uhd := map[float64]wall.Link{}
	for _, l := range wall.Links()[4:] {
		uhd[l.LineRate] = l
	}
	for _, tc := range []struct {
		rate     float64
		num, den int64
		want     float64
	}{
		{5.94e9, 30, 1, 4976640000},         // 3840 · 2160 · 20 · 30
		{5.94e9, 24, 1, 3981312000},         // one raster a frame
		{5.94e9, 15, 1, 4976640000},         // two
		{5.94e9, 60, 1, 0},                  // too fast
		{5.94e9, 30000, 1001, 4971668331.7}, // less by 1.001
		{5.94e9 / 1.001, 30000, 1001, 4971668331.7},
		{5.94e9 / 1.001, 30, 1, 0}, // just too fast
		{11.88e9, 60, 1, 9953280000},
		{11.88e9, 25, 1, 8294400000}, // two rasters a frame, a picture of 40 bit
		{11.88e9, 24, 1, 7962624000}, {11.88e9, 0, 1, 0}, {11.88e9, 24, 0, 0}, {11.88e9, -24, -1, 0},
	} {
		got, ok := uhd[tc.rate].Capacity(tc.num, tc.den)
		ref.Near(t, "W-L9", got, tc.want, tc.rate, tc.num)
		assert.Equal(t, tc.want > 0, ok, "%v, %v/%v", tc.rate, tc.num, tc.den)
	}
	// A rate given by large numbers is the same rate.
	for d := int64(1 << 45); d < 1<<45+1000; d++ {
		capacity, ok := uhd[11.88e9].Capacity(30*d, d)
		_, okSlow := uhd[5.94e9/1.001].Capacity(30000*d, 1001*d)
		require.True(t, ok && okSlow && capacity > 9.9e9, "a rate over %d: %v", d, capacity)
	}
	_, ok := wall.Link{}.Capacity(24, 1)
	assert.False(t, ok, "the zero link carries a picture")
}

func TestLinksNeeded(t *testing.T) {
	tenth := 0.1 // three times this is a little over 0.3
	uhd := must[float64](t)(wall.PayloadRate(3840, 2160, 20, 60, 1))
	all := must[float64](t)(wall.PayloadRate(10000, 2400, 30, 24, 1))
	ref.Near(t, "W-L6", uhd, 9953280000)
	ref.Near(t, "W-L6", all, 17280000000)
	ref.Near(t, "W-L6", must[float64](t)(wall.PayloadRate(1001, 2, 3, 60000, 1001)), 360000)
	for _, tc := range []struct {
		payload, capacity float64
		count             int
		filled            float64
	}{
		{10, 10, 1, 1}, {10.5, 10, 2, 0.525}, {30, 10, 3, 1}, {1e-300, 10, 1, 1e-301}, {3 * tenth, tenth, 3, 1}, {1e6, 1, 1e6, 1},
		{uhd, 11.88e9, 1, 0.837818181818182},
		// 17.28 Gbit/s of picture over 5.94 Gbit/s: not three links, as 2.9 line
		// rates would have it.
		{all, 4976640000, 4, 0.868055555555556},
	} {
		count, filled, err := wall.LinksNeeded(tc.payload, tc.capacity)
		require.NoError(t, err)
		ref.Near(t, "W-L6b", float64(count), float64(tc.count), tc.payload, tc.capacity)
		ref.Near(t, "W-L6b", filled, tc.filled, tc.payload, tc.capacity)
	}
}

func TestPorts(t *testing.T) {
	w := must[wall.Wall](t)(wall.New(wheelhouse()))
	for pixels, want := range map[int]int{
		650000:   38,  // 16 panels of 40000 px a port, 600 panels
		40000:    600, // one panel a port
		79999:    600, // not quite two
		24000000: 1,   // all on one
		1 << 30:  1,
	} {
		ref.Equal(t, "W-L7", must[int](t)(w.Ports(pixels)), want, pixels)
	}
	for _, pixels := range []int{39999, 0, -40000, math.MinInt} {
		assert.ErrorIs(t, second(w.Ports(pixels)), wall.ErrInvalid, pixels)
	}
	assert.EqualError(t, second(w.Ports(39999)), "wall: pixels per port 39999 px: must be at least 40000 px, which is one panel")
}

func TestLinkFaults(t *testing.T) {
	needed := func(payload, capacity float64) error {
		_, _, err := wall.LinksNeeded(payload, capacity)
		return err
	}
	refused(t, map[string]error{
		"width 0 px: must be at least 1 and at most 16777216 px": second(wall.PayloadRate(0, 1, 1, 1, 1)),
		"height 33554432 px": second(wall.PayloadRate(1, 1<<25, 1, 1, 1)),
		"bits 0 bit: must be at least 1 and at most 1024 bit":                 second(wall.PayloadRate(1, 1, 0, 1, 1)),
		"frame rate -24/1 fps: must be at most 1000000 fps":                   second(wall.PayloadRate(1, 1, 1, -24, 1)),
		"frame rate 24/0 fps":                                                 second(wall.PayloadRate(1, 1, 1, 24, 0)),
		"frame rate 1000001/1 fps":                                            second(wall.PayloadRate(1, 1, 1, 1000001, 1)),
		"frame rate":                                                          second(wall.PayloadRate(1, 1, 1, math.MaxInt64, math.MinInt64)),
		"payload 0 bit/s: must be more than 0 bit/s and at most 1e+06 bit/s":  needed(0, 1),
		"capacity 0 bit/s: must be more than 0 bit/s and at most 1e+18 bit/s": needed(1, 0),
		"payload NaN bit/s":                                                   needed(nan, 1),
		"capacity NaN bit/s":                                                  needed(1, nan),
		"payload +Inf bit/s":                                                  needed(inf, 1),
		"payload 1.1e+06 bit/s":                                               needed(1.1e6, 1),
	})
}
