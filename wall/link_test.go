package wall_test

import (
	"math"
	"math/bits"
	"math/rand/v2"
	"slices"
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
		{5.94e9, 30, 1, 4976640000}, // 3840 · 2160 · 20 · 30
		{5.94e9, 24, 1, 3981312000}, // one raster a frame
		{5.94e9, 15, 1, 0},          // no rate of the standards
		{5.94e9, 60, 1, 0},          // too fast
		{5.94e9, 30000, 1001, 0},    // its line rate is not divided by 1.001
		{5.94e9 / 1.001, 24, 1, 0},
		{5.94e9 / 1.001, 24000, 1001, 3977334665.3},
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

// The blanking of every rate as ST 274, ST 2048-1 and ST 2036-1 print it, and the line
// rate that it fills.
func TestLinkRates(t *testing.T) {
	samples := map[int64]int{24: 2750, 25: 2640, 30: 2200, 48: 2750, 50: 2640, 60: 2200} // a line of 1920 pixels
	want := map[float64][]int64{1.485e9: {24, 25, 30}, 2.97e9: {24, 25, 30, 48, 50, 60}, 5.94e9: {24, 25, 30}, 11.88e9: {24, 25, 30, 48, 50, 60}}
	for _, l := range wall.Links() {
		var nominal []int64
		for _, c := range l.Rates() {
			rate := c.Num
			if l.Den == 1001 {
				rate = c.Num / 1000
				ref.Equal(t, "W-L10", c.Den, 1001, l, c)
			} else {
				ref.Equal(t, "W-L10", c.Den, 1, l, c)
			}
			nominal = append(nominal, rate)
			ref.Equal(t, "W-L10", [2]int{c.TotalX, c.TotalY}, [2]int{samples[rate] * l.Width / 1920, 1125 * l.Height / 1080}, l, c)
			filled := must[float64](t)(wall.PayloadRate(c.TotalX, c.TotalY, 20*c.Rasters, c.Num, c.Den))
			ref.Near(t, "W-L5", filled, l.LineRate, l, c)
		}
		if l.Den == 1001 {
			assert.NotContains(t, nominal, int64(25))
			nominal = slices.DeleteFunc(slices.Clone(want[math.Round(l.LineRate*1.001)]), func(r int64) bool { return r%25 == 0 })
			assert.Len(t, l.Rates(), len(nominal))
		} else {
			assert.Equal(t, want[l.LineRate], nominal)
		}
	}
	assert.Empty(t, wall.Link{}.Rates())
}

func TestLinkLimit(t *testing.T) {
	fast, slow := wall.Links()[7], wall.Links()[5]
	for _, tc := range []struct {
		l        wall.Link
		bits     int
		num, den int64
		ok       bool
	}{
		{fast, 20, 60, 1, true}, {fast, 21, 60, 1, false}, {fast, 40, 24, 1, true}, {fast, 41, 24, 1, false}, {fast, 30, 48, 1, false},
		{slow, 20, 24, 1, true}, {slow, 30, 24, 1, false}, {slow, 20, 24000, 1001, false}, {slow, 0, 24, 1, false}, {slow, 20, 60, 1, false},
	} {
		limit, ok := tc.l.Limit(tc.bits, tc.num, tc.den)
		ref.Equal(t, "W-L11", ok, tc.ok, tc)
		if ok {
			ref.Equal(t, "W-L11", limit, wall.Limit{Width: 3840, Height: 2160}, tc)
		} else {
			assert.Zero(t, limit)
		}
	}
}

// tiles is a flat wall of panels of 10 by 20 pixels.
func tiles(t testing.TB, columns, rows int) wall.Wall {
	return must[wall.Wall](t)(wall.New(wall.Spec{
		PanelWidth: 1, PanelHeight: 2, PanelPixelsX: 10, PanelPixelsY: 20, Columns: columns, Rows: rows,
	}))
}

// within says by plain arithmetic whether a part is within a limit, at a frame a second.
func within(l wall.Limit, columns, rows int) bool {
	x, y := 10*columns, 20*rows
	return (l.Width == 0 || x <= l.Width) && (l.Height == 0 || y <= l.Height) && (l.Pixels == 0 || x*y <= l.Pixels) &&
		(l.PixelRate == 0 || float64((x+l.BlankingX)*(y+l.BlankingY)) <= l.PixelRate)
}

// Every cut of small walls, tried: of columns and of rows at any places into bands, and
// of each band at any places into parts; and all cuts into rectangles whatever.
func TestSplit(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 1))
	proved, beaten := 0, 0
	for range 400 {
		columns, rows := 1+rng.IntN(5), 1+rng.IntN(4)
		limit := wall.Limit{PixelRate: float64(300 + rng.IntN(3000)), BlankingX: rng.IntN(8), BlankingY: rng.IntN(8)}
		switch rng.IntN(4) {
		case 0:
			limit = wall.Limit{Width: 10 + rng.IntN(50)}
		case 1:
			limit.Height = 20 + rng.IntN(60)
		case 2:
			limit = wall.Limit{Pixels: 200 + rng.IntN(2000), Height: 20 + rng.IntN(80)}
		}
		w := tiles(t, columns, rows)
		s, err := w.Split(limit, 1, 1)
		if !within(limit, 1, 1) {
			assert.ErrorIs(t, err, wall.ErrInvalid)
			continue
		}
		require.NoError(t, err, limit)

		seen := make([]bool, columns*rows)
		last := wall.Part{Row: -1}
		for _, p := range s.Parts {
			require.True(t, within(limit, p.Columns, p.Rows), "%+v over %+v", p, limit)
			require.True(t, p.Row > last.Row || p.Row == last.Row && p.Column > last.Column, "out of order: %+v", s.Parts)
			last = p
			for i := p.Column; i < p.Column+p.Columns; i++ {
				for j := p.Row; j < p.Row+p.Rows; j++ {
					require.False(t, seen[j*columns+i], "a panel on two links: %+v", s.Parts)
					seen[j*columns+i] = true
				}
			}
		}
		require.NotContains(t, seen, false, "a panel on no link: %+v", s.Parts)

		// A bit of the mask is a cut; whatever does not fit counts as a thousand parts.
		cuts := func(n, mask int, cost func(length int) int) (sum int) {
			from := 0
			for k := 1; k <= n; k++ {
				if k == n || mask>>(k-1)&1 == 1 {
					sum += cost(k - from)
					from = k
				}
			}
			return sum
		}
		least := func(n int, cost func(length int) int) int {
			best := math.MaxInt
			for mask := range 1 << (n - 1) {
				best = min(best, cuts(n, mask, cost))
			}
			return best
		}
		part := func(c, r int) int {
			if within(limit, c, r) {
				return 1
			}
			return 1000
		}
		want := min(
			least(rows, func(r int) int { return least(columns, func(c int) int { return part(c, r) }) }),
			least(columns, func(c int) int { return least(rows, func(r int) int { return part(c, r) }) }),
		)
		ref.Equal(t, "W-L12", len(s.Parts), want, limit, columns, rows)

		any := fewestRectangles(columns, rows, limit)
		require.LessOrEqual(t, s.AtLeast, any, "a lower bound above what is possible: %+v", limit)
		if s.AtLeast == len(s.Parts) {
			proved++
		}
		if any < len(s.Parts) {
			beaten++
		}
	}
	t.Logf("proved %d, beaten by other cuts %d of 400", proved, beaten)
	assert.Greater(t, proved, 100, "the bound proves little")
}

// fewestRectangles is the fewest rectangles of whole panels within a limit, of all cuts.
func fewestRectangles(columns, rows int, limit wall.Limit) int {
	best := columns * rows
	var fill func(taken uint32, parts int)
	fill = func(taken uint32, parts int) {
		if parts >= best {
			return
		}
		at := bits.TrailingZeros32(^taken)
		if at >= columns*rows {
			best = parts
			return
		}
		// The first free panel is the top left of a part.
		c0, r0 := at%columns, at/columns
		for r := 1; r0+r <= rows; r++ {
			for c := columns - c0; c >= 1; c-- {
				if !within(limit, c, r) {
					continue
				}
				row := uint32(1<<c-1) << c0
				var mask uint32
				for j := r0; j < r0+r; j++ {
					mask |= row << (j * columns)
				}
				if taken&mask == 0 {
					fill(taken|mask, parts+1)
				}
			}
		}
	}
	fill(0, 0)
	return best
}

func TestSplitOfWheelhouse(t *testing.T) {
	w := must[wall.Wall](t)(wall.New(wheelhouse())) // 50 × 12 panels of 200 px
	limit, ok := wall.Links()[7].Limit(30, 24, 1)
	require.True(t, ok)
	// By hand: 19 × 10 panels a link, so that a band of 10 rows needs three, and the
	// two rows left as many; made even.
	s, err := w.Split(limit, 24, 1)
	require.NoError(t, err)
	ref.Equal(t, "W-L12", len(s.Parts), 6)
	ref.Equal(t, "W-L12", s.AtLeast, 4)
	ref.Equal(t, "W-L12", s.Parts[0], wall.Part{Columns: 16, Rows: 6})
	ref.Equal(t, "W-L12", s.Parts[5], wall.Part{Column: 33, Row: 6, Columns: 17, Rows: 6})

	// Three panels on links of two, and a rate just as high as is allowed.
	s, err = tiles(t, 3, 1).Split(wall.Limit{Width: 20}, 1e6, 1)
	require.NoError(t, err)
	ref.Equal(t, "W-L12", s.AtLeast, 2)
	ref.Equal(t, "W-L12", len(s.Parts), 2)

	// A port of exactly one panel with its blanking, at 60 frames a second.
	limit = wall.Limit{PixelRate: 60 * 220 * 210, BlankingX: 20, BlankingY: 10}
	s, err = w.Split(limit, 60, 1)
	require.NoError(t, err)
	ref.Equal(t, "W-L12", len(s.Parts), 600)
	_, err = w.Split(limit, 61, 1)
	assert.ErrorContains(t, err, "limit of pixel rate 2.772e+06 px/s: must be at least that of one panel of 200 × 200 px, 2.8182e+06 px/s")
}

// A limit on pixels alone is that of ports, which take chains: never more than Split.
func TestSplitOfPorts(t *testing.T) {
	w := must[wall.Wall](t)(wall.New(wheelhouse()))
	for _, pixels := range []int{40000, 130000, 650000, 2300000} {
		s, err := w.Split(wall.Limit{Pixels: pixels}, 24, 1)
		require.NoError(t, err)
		assert.GreaterOrEqual(t, len(s.Parts), must[int](t)(w.Ports(pixels)))
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
	small := tiles(t, 2, 2)
	refused(t, map[string]error{
		"limit: must be set":           second(small.Split(wall.Limit{BlankingX: 3}, 24, 1)),
		"limit of width -1 px":         second(small.Split(wall.Limit{Width: -1}, 24, 1)),
		"limit of height -1 px":        second(small.Split(wall.Limit{Height: -1}, 24, 1)),
		"limit of pixels 16777217 px":  second(small.Split(wall.Limit{Pixels: 1<<24 + 1}, 24, 1)),
		"limit of pixel rate NaN px/s": second(small.Split(wall.Limit{PixelRate: nan}, 24, 1)),
		"blanking x -1 px":             second(small.Split(wall.Limit{Width: 10, BlankingX: -1}, 24, 1)),
		"blanking y -1 px":             second(small.Split(wall.Limit{Width: 10, BlankingY: -1}, 24, 1)),
		"frame rate 0/1 fps":           second(small.Split(wall.Limit{Width: 10}, 0, 1)),
		"limit of width 9 px: must be at least that of one panel of 10 × 20 px, 10 px": second(small.Split(wall.Limit{Width: 9, Height: 20, Pixels: 200}, 24, 1)),
		"limit of height 8 px":                                                second(small.Split(wall.Limit{Width: 10, Height: 8}, 24, 1)),
		"limit of pixels 99 px":                                               second(small.Split(wall.Limit{Pixels: 99}, 24, 1)),
		"wall zero value: must come from New":                                 second(wall.Wall{}.Split(wall.Limit{Width: 9}, 24, 1)),
		"width 0 px: must be at least 1 and at most 16777216 px":              second(wall.PayloadRate(0, 1, 1, 1, 1)),
		"height 33554432 px":                                                  second(wall.PayloadRate(1, 1<<25, 1, 1, 1)),
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
