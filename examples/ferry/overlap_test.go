package main

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/platewright/projection/warp"

	"example.com/platewright/internal/near"
)

// aligned returns a maker with plates large enough that the harbour has detail in
// their small copies.
func aligned(t *testing.T, change func(cameras []any)) *maker {
	t.Helper()
	doc := smaller(t)
	format := object(doc, "plates.format")
	for _, k := range []string{"columns", "rows"} {
		format[k] = format[k].(float64) * 6
	}
	cameras := object(doc, "plates")["cameras"].([]any)
	for _, c := range cameras {
		delete(c.(map[string]any), "lens")
	}
	change(cameras)
	m := makerOf(t, doc)
	require.NoError(t, m.lookOut())
	return m
}

// take gives m the plates of another maker, as if its own cameras had shot them.
func (m *maker) take(t *testing.T, other *maker) {
	for i := range m.kept {
		camera, err := m.shoot.cameras[i].Bin(smallScale, smallScale)
		require.NoError(t, err)
		m.kept[i].small = source{other.kept[i].small.frame, camera, smallScale}
	}
}

func mirror(f warp.Frame[uint16]) {
	w, h := f.Size()
	for y := range h {
		row := f.Row(y)
		for a, b := 0, w-1; a < b; a, b = a+1, b-1 {
			for k := range 3 {
				row[3*a+k], row[3*b+k] = row[3*b+k], row[3*a+k]
			}
		}
	}
}

func TestOverlapsAgree(t *testing.T) {
	near.NumbersOnly(t)
	m := aligned(t, func([]any) {})
	require.NoError(t, m.takePlates(nil))
	require.NoError(t, m.compareOverlaps())
	told := 0
	for _, o := range m.made.overlaps {
		if o.detail {
			told++
			assert.Greater(t, o.correlation, 0.9, o)
			assert.Less(t, o.shiftPx, 4., o)
		}
	}
	assert.GreaterOrEqual(t, told, 6)
	assert.Empty(t, m.made.suspect)
}

// The comparison of overlaps names plates that are exchanged or mirrored, and headings
// of the wrong sign.
func TestOverlapsTellMistakes(t *testing.T) {
	near.NumbersOnly(t)
	shot := aligned(t, func([]any) {})
	require.NoError(t, shot.takePlates(nil))
	flip := func(which []int) {
		for _, i := range which {
			mirror(shot.kept[i].small.frame)
		}
	}
	for _, tc := range []struct { // numbers of bow, starboard, stern, port, sky
		swap     [2]int
		mirrored []int
		want     string
	}{
		{[2]int{1, 3}, nil, "the plates of starboard and port exchanged"},
		{[2]int{}, []int{2}, "the plate of stern mirrored"},
		{[2]int{}, []int{0, 1, 2, 3, 4}, "every plate mirrored"},
		{[2]int{1, 2}, []int{0}, "check poses"},
	} {
		m := newMaker(t.Context(), shot.job, shot.output, shot.stderr)
		m.outlooks = shot.outlooks
		copy(m.kept, shot.kept)
		a, b := &m.kept[tc.swap[0]].small.frame, &m.kept[tc.swap[1]].small.frame
		*a, *b = *b, *a
		flip(tc.mirrored)
		require.NoError(t, m.compareOverlaps())
		flip(tc.mirrored) // shot is as it was
		assert.Contains(t, m.made.suspect, tc.want)
	}
	// The scenario has headings of the wrong sign; the plates are right.
	m := aligned(t, func(cameras []any) {
		for _, c := range cameras {
			c := c.(map[string]any)
			c["heading_deg"] = -c["heading_deg"].(float64)
		}
	})
	m.take(t, shot)
	require.NoError(t, m.compareOverlaps())
	assert.Contains(t, m.made.suspect, "starboard and port exchanged, or their headings of the other sign")
}

// A camera that was rolled by 1° shows as a shift against its neighbours: at 45° from
// its axis 1°·sin 45°, some 8 px of these plates, up or down.
func TestOverlapsTellARoll(t *testing.T) {
	near.NumbersOnly(t)
	rolled := aligned(t, func(cameras []any) { cameras[0].(map[string]any)["roll_deg"] = 1. })
	require.NoError(t, rolled.takePlates(nil))
	m := aligned(t, func([]any) {})
	m.take(t, rolled)
	require.NoError(t, m.compareOverlaps())
	for _, o := range m.made.overlaps {
		if o.b == "starboard" && o.a == "bow" || o.a == "bow" && o.b == "port" {
			d, ok := m.shoot.cameras[0].Density(direction(45, 0))
			require.True(t, ok)
			assert.InDelta(t, d.Tangential*0.7071, o.shiftPx, 0.25*d.Tangential, o)
		}
	}
}
