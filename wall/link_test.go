package wall_test

import (
	"errors"
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/wall"
)

func TestLinks(t *testing.T) {
	type link struct {
		id, standard string
		rate         float64
	}
	want := []link{
		{"W-L2", "SMPTE 292M", 1.485e9 / 1.001}, {"W-L2", "SMPTE 292M", 1.485e9},
		{"W-L3", "SMPTE ST 424", 2.970e9 / 1.001}, {"W-L3", "SMPTE ST 424", 2.970e9},
		{"W-L4", "SMPTE ST 2081-10", 5.94e9 / 1.001}, {"W-L4", "SMPTE ST 2081-10", 5.94e9},
		{"W-L4", "SMPTE ST 2082-10", 11.88e9 / 1.001}, {"W-L4", "SMPTE ST 2082-10", 11.88e9},
	}
	links := wall.Links()
	if len(links) != len(want) {
		t.Fatalf("%d links, want %d", len(links), len(want))
	}
	for i, w := range want {
		ref.Equal(t, w.id, link{w.id, links[i].Standard, links[i].LineRate}, w)
	}
	links[0].LineRate = 0
	if wall.Links()[0].LineRate == 0 {
		t.Error("a caller can change the table")
	}
}

// What a link carries, from the rasters with blanking that fill its line rate:
// the share of active samples in 1125 lines of 1920 × 1080 and 2250 of
// 3840 × 2160.
func TestLinkPicture(t *testing.T) {
	totals := map[string][2]float64{ // samples a line at 60 or 30, and lines
		"SMPTE 292M": {2200, 1125}, "SMPTE ST 424": {2200, 1125},
		"SMPTE ST 2081-10": {4400, 2250}, "SMPTE ST 2082-10": {4400, 2250},
	}
	for _, l := range wall.Links() {
		total := totals[l.Standard]
		picture, ok := l.Picture(l.Num, l.Den)
		want := l.LineRate * float64(l.Width) * float64(l.Height) / (total[0] * total[1])
		ref.Near(t, "W-L8", picture, want, l.Standard, l.LineRate)
		ref.Equal(t, "W-L4", ok, true, l.Standard)
	}
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
		{11.88e9, 24, 1, 7962624000},
		{11.88e9, 0, 1, 0}, {11.88e9, 24, 0, 0}, {11.88e9, -24, -1, 0},
	} {
		got, ok := uhd[tc.rate].Picture(tc.num, tc.den)
		ref.Near(t, "W-L9", got, tc.want, tc.rate, tc.num)
		ref.Equal(t, "W-L4", ok, tc.want > 0, tc.rate, tc.num)
	}
	// A rate given by large numbers is the same rate.
	for d := int64(1 << 45); d < 1<<45+1000; d++ {
		if picture, ok := uhd[11.88e9].Picture(30*d, d); !ok || picture < 9.9e9 {
			t.Fatalf("at %d/%d: %v, %v", 30*d, d, picture, ok)
		}
		if _, ok := uhd[5.94e9/1.001].Picture(30000*d, 1001*d); !ok {
			t.Fatalf("at %d/%d: none", 30000*d, 1001*d)
		}
	}
	if _, ok := (wall.Link{}).Picture(24, 1); ok {
		t.Error("the zero link carries a picture")
	}

	// 17.28 Gbit/s of picture over 5.94 Gbit/s: not three links, as 2.9 line
	// rates would have it.
	payload := must[float64](t)(wall.PayloadRate(10000, 2400, 30, 24, 1))
	count, share, err := wall.LinksNeeded(payload, 4976640000)
	ref.Equal(t, "W-L6", count, 4)
	ref.Near(t, "W-L6b", 100*share, 86.8055555556)
	if err != nil {
		t.Error(err)
	}
}

func TestPayload(t *testing.T) {
	rate := must[float64](t)
	// Rasters with their blanking, 20 bit per luma clock, fill their links.
	for _, tc := range []struct {
		width, height int
		num, den      int64
		want          float64
	}{
		{2200, 1125, 60, 1, 2970000000},
		{2640, 1125, 50, 1, 2970000000},
		{4400, 2250, 30, 1, 5940000000},
		{4400, 2250, 60, 1, 11880000000},
	} {
		ref.Near(t, "W-L5", rate(wall.PayloadRate(tc.width, tc.height, 20, tc.num, tc.den)), tc.want, tc.width, tc.height)
	}
	ref.Near(t, "W-L5b", rate(wall.PayloadRate(2200, 1125, 20, 60000, 1001)), 2967032967.03)

	payload := rate(wall.PayloadRate(3840, 2160, 20, 60, 1))
	ref.Near(t, "W-L6", payload, 9953280000)
	count, share, err := wall.LinksNeeded(payload, 11.88e9)
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "W-L6b", 100*share, 83.7818181818)
	ref.Near(t, "W-L6b", float64(count), 1, "links")
}

func TestLinksNeeded(t *testing.T) {
	tenth := 0.1 // three times this is a little over 0.3
	for _, tc := range []struct {
		payload, capacity float64
		count             int
		share             float64
	}{
		{10, 10, 1, 1}, {10.5, 10, 2, 0.525}, {30, 10, 3, 1}, {1e-300, 10, 1, 1e-301}, {3 * tenth, tenth, 3, 1},
	} {
		count, share, err := wall.LinksNeeded(tc.payload, tc.capacity)
		if err != nil || count != tc.count || !(share-tc.share < 1e-15 && tc.share-share < 1e-15) {
			t.Errorf("%+v: %v, %v, %v", tc, count, share, err)
		}
	}
}

func TestPorts(t *testing.T) {
	w := must[wall.Wall](t)(wall.New(wheelhouse()))
	for _, tc := range []struct {
		pixels, ports int
		ok            bool
	}{
		{650000, 38, true},  // 16 panels of 40000 px a port, 600 panels
		{40000, 600, true},  // one panel a port
		{79999, 600, true},  // not quite two
		{24000000, 1, true}, // all on one
		{39999, 0, false},
		{0, 0, false},
		{math.MinInt, 0, false},
	} {
		ports, ok := w.Ports(tc.pixels)
		ref.Equal(t, "W-L7", [2]any{ports, ok}, [2]any{tc.ports, tc.ok}, tc.pixels)
	}
}

func TestLinkFaults(t *testing.T) {
	needed := func(payload, capacity float64) error {
		_, _, err := wall.LinksNeeded(payload, capacity)
		return err
	}
	for _, err := range []error{
		second(wall.PayloadRate(0, 1, 1, 1, 1)),
		second(wall.PayloadRate(1, 1<<25, 1, 1, 1)),
		second(wall.PayloadRate(1, 1, 0, 1, 1)),
		second(wall.PayloadRate(1, 1, 1, -24, 1)),
		second(wall.PayloadRate(1, 1, 1, 24, 0)),
		second(wall.PayloadRate(1, 1, 1, 1000001, 1)),
		second(wall.PayloadRate(1, 1, 1, math.MaxInt64, math.MinInt64)),
		needed(0, 1), needed(1, 0), needed(nan, 1), needed(1, nan), needed(inf, 1), needed(1e10, 1),
	} {
		if !errors.Is(err, wall.ErrInvalid) {
			t.Errorf("got %v", err)
		}
	}
}
