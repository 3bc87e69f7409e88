package main

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/platewright/projection/warp"

	"example.com/platewright/internal/near"
)

// aligned is a maker whose small plates are of a size at which the harbour has
// detail.
func aligned(t *testing.T, change func(cameras []any)) *maker {
	t.Helper()
	doc := smaller(t)
	format := plates(doc)["format"].(map[string]any)
	for _, k := range []string{"columns", "rows"} {
		format[k] = format[k].(float64) * 6
	}
	cameras := plates(doc)["cameras"].([]any)
	for _, c := range cameras {
		delete(c.(map[string]any), "lens")
	}
	if change != nil {
		change(cameras)
	}
	m := makerOf(t, doc)
	require.NoError(t, m.lookOut())
	return m
}

// take gives m the plates of another, for its own cameras.
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
	m := aligned(t, nil)
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

// Files exchanged, mirrored, and headings of the wrong sign are found and named.
func TestOverlapsTellMistakes(t *testing.T) {
	near.NumbersOnly(t)
	shot := aligned(t, nil)
	require.NoError(t, shot.takePlates(nil))
	swap := func(m *maker, i, j int) { // bow, starboard, stern, port, sky
		m.kept[i].small.frame, m.kept[j].small.frame = m.kept[j].small.frame, m.kept[i].small.frame
	}
	flip := func(which ...int) {
		for _, i := range which {
			mirror(shot.kept[i].small.frame)
		}
	}
	for _, tc := range []struct {
		name    string
		spoil   func(m *maker)
		restore func(m *maker)
		want    string
	}{
		{"exchanged", func(m *maker) { swap(m, 1, 3) }, nil, "the plates of starboard and port exchanged"},
		{"mirrored", func(*maker) { flip(2) }, func(*maker) { flip(2) }, "the plate of stern mirrored"},
		{"all mirrored", func(*maker) { flip(0, 1, 2, 3, 4) }, func(*maker) { flip(0, 1, 2, 3, 4) }, "every plate mirrored"},
		{"two mistakes", func(m *maker) { flip(0); swap(m, 1, 2) }, func(m *maker) { flip(0) }, "check poses"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			m := newMaker(t.Context(), shot.job, shot.output, shot.stderr)
			m.outlooks = shot.outlooks
			copy(m.kept, shot.kept)
			tc.spoil(m)
			require.NoError(t, m.compareOverlaps())
			if tc.restore != nil {
				tc.restore(m)
			}
			assert.Contains(t, m.made.suspect, tc.want)
		})
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

// A camera that stood 1° rolled shows by how far its neighbours are off: at 45°
// from its axis 1°·sin 45°, some 8 px of these plates, up or down.
func TestOverlapsTellARoll(t *testing.T) {
	near.NumbersOnly(t)
	rolled := aligned(t, func(cameras []any) { cameras[0].(map[string]any)["roll_deg"] = 1. })
	require.NoError(t, rolled.takePlates(nil))
	m := aligned(t, nil)
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
