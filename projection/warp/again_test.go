package warp_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/projection/warp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

// TestRemakeIsNewMap turns one map into others of every kind and size, in any order.
func TestRemakeIsNewMap(t *testing.T) {
	near.NumbersOnly(t)
	type pair struct {
		target warp.Target
		source warp.Source
	}
	bent := flat(150, 70)
	bent.breaksX = []float64{31.2, 90} // edges of cells or, in a source, joints
	wrapped := flat(64, 20)
	wrapped.wrap = true
	edge := newView(600, 300, 30*degree, 90*degree, 0, 0) // of both fisheyes, with smooth margins
	pairs := []pair{
		{equirect{600, 300, 0}, newFisheye(450, 190*degree, 10*degree, 0)}, // a limit, and a Margin
		{edge, newFisheye(2000, 190*degree, 0, 0)},
		{edge, newFisheye(2000, 190*degree, 185*degree, 10*degree)},
		{newView(120, 90, 70*degree, 20*degree, 30*degree, 5*degree), equirect{300, 150, 7}},
		{newView(33, 170, 100*degree, 0, 85*degree, 0), equirect{300, 150, 7}}, // a pole
		{bent, bent},
		{flat(64, 20), wrapped},
		{flat(1, 1), flat(3, 3)},
		{newView(90, 60, 20*degree, 180*degree, 0, 0), newFisheye(150, 100*degree, 0, 0)}, // nothing is seen
	}
	r := rand.New(rand.NewPCG(4, 1))
	var again warp.Map
	for round := range 40 {
		p := pairs[r.IntN(len(pairs))]
		workers := round % 3
		require.NoError(t, again.Remake(t.Context(), p.target, p.source, warp.MapOptions{Workers: workers}))
		anew := newMap(t, p.target, p.source)
		got, want := again.Report(), anew.Report()
		got.Bytes, want.Bytes = 0, 0 // it keeps memory
		require.Equal(t, want, got)
		w, h := p.target.Size()
		sw, sh := p.source.Size()
		src, all := newFrame[uint16](t, sw, sh, 1), newFrame[uint16](t, w, h, 1)
		random(src, uint64(round))
		whole := newMap(t, flat(w, h), flat(w, h))
		var filled [2]warp.Frame[uint16]
		var seams [2][]*warp.Priority
		for i, m := range []*warp.Map{&again, anew} {
			filled[i] = newFrame[uint16](t, w, h, 1)
			layers := []warp.Layer[uint16]{{Frame: src, Map: m, Feather: 9}, {Frame: all, Map: whole, Feather: 3}}
			require.NoError(t, warp.Blend(t.Context(), filled[i], layers, warp.Options{}))
			var err error
			seams[i], err = warp.FindSeams(t.Context(), layers, warp.SeamOptions{})
			require.NoError(t, err)
		}
		require.True(t, equal(filled[0], filled[1]), "round %d", round)
		require.Equal(t, seams[1], seams[0], "round %d", round)
	}
}

func TestRemakeThatFails(t *testing.T) {
	m := newMap(t, flat(60, 20), flat(60, 20))
	cancelled, cancel := context.WithCancel(t.Context())
	cancel()
	for name, remake := range map[string]func() error{
		"cancelled": func() error { return m.Remake(cancelled, flat(60, 20), flat(60, 20), warp.MapOptions{}) },
		"no target": func() error { return m.Remake(t.Context(), nil, flat(60, 20), warp.MapOptions{}) },
		"size":      func() error { return m.Remake(t.Context(), flat(60, 20), flat(0, 20), warp.MapOptions{}) },
	} {
		require.NoError(t, m.Remake(t.Context(), flat(60, 20), flat(60, 20), warp.MapOptions{}), name)
		require.Error(t, remake(), name)
		_, _, ok := m.At(5, 5)
		assert.False(t, ok, name)
		f := newFrame[uint8](t, 60, 20, 1)
		assert.ErrorIs(t, warp.Warp(t.Context(), f, newFrame[uint8](t, 60, 20, 1), m, warp.Options{}), warp.ErrInvalid, name)
	}
	broken := flat(60, 20)
	broken.hostile = func(x, y float64) (float64, float64, bool) { panic("broken") }
	assert.Panics(t, func() { _ = m.Remake(t.Context(), flat(60, 20), broken, warp.MapOptions{}) })
	_, _, ok := m.At(5, 5)
	assert.False(t, ok, "after a panic")
	assert.ErrorIs(t, (*warp.Map)(nil).Remake(t.Context(), flat(60, 20), flat(60, 20), warp.MapOptions{}), warp.ErrInvalid)
}

// TestStillFramesGiveTheSame through maps that need more levels and fewer, of
// sources that wrap and do not, from several goroutines at once.
func TestStillFramesGiveTheSame(t *testing.T) {
	src := newFrame[uint16](t, 400, 200, 3)
	random(src, 3)
	still := src.Still()
	plain, wrapped := flat(400, 200), flat(400, 200)
	wrapped.wrap, wrapped.noPoles = true, true
	var maps []*warp.Map
	for _, scale := range []float64{2.6, 1, 5, 20, 40, 9} {
		for _, source := range []warp.Source{plain, wrapped, equirect{400, 200, 0}} {
			var target warp.Target = turned(30, 20, scale, 0.2, 200, 100)
			if _, panorama := source.(equirect); panorama {
				target = equirect{30, 20, int(scale)} // with both poles
			}
			maps = append(maps, newMap(t, target, source))
		}
	}
	want := make([]warp.Frame[uint16], len(maps))
	for i, m := range maps {
		want[i] = newFrame[uint16](t, 30, 20, 3)
		mustWarp(t, want[i], newFrame[uint16](t, 400, 200, 3), maps[len(maps)-3], warp.Options{}) // leaves black levels behind
		mustWarp(t, want[i], src, m, warp.Options{})
	}
	var all sync.WaitGroup
	for g := range 4 {
		got := newFrame[uint16](t, 30, 20, 3)
		other := newFrame[uint16](t, 400, 200, 3) // uses the memory of others in between
		all.Add(1)
		go func() {
			defer all.Done()
			for k := range 3 * len(maps) {
				i := (k*(2*g+1) + g) % len(maps)
				assert.NoError(t, warp.Warp(t.Context(), got, still, maps[i], warp.Options{}))
				assert.True(t, equal(want[i], got), "map %d", i)
				assert.NoError(t, warp.Warp(t.Context(), got, other, maps[i], warp.Options{}))
			}
		}()
	}
	all.Wait()
}

// TestStillFramesKeepTheirLevels: a change of samples is not seen until Still is asked
// for again, and a level that was not finished is made by the next call.
func TestStillFramesKeepTheirLevels(t *testing.T) {
	src, dst := newFrame[uint8](t, 640, 640, 1), newFrame[uint8](t, 64, 64, 1)
	m := newMap(t, turned(64, 64, 10, 0, 320, 320), flat(640, 640))
	still := src.Still()
	cancelled, cancel := context.WithCancel(t.Context())
	cancel()
	require.ErrorIs(t, warp.Warp(cancelled, dst, still, m, warp.Options{}), context.Canceled)
	value := func() uint8 {
		mustWarp(t, dst, still, m, warp.Options{})
		return dst.Row(30)[30]
	}
	paint(src, func(_, _, _ int) float64 { return 100 })
	assert.EqualValues(t, 100, value())
	paint(src, func(_, _, _ int) float64 { return 200 })
	assert.EqualValues(t, 100, value())
	still = still.Still()
	assert.EqualValues(t, 200, value())
	assert.Equal(t, warp.Frame[uint8]{}, warp.Frame[uint8]{}.Still())
}

// TestMovingEyeAllocatesNothing: a new map of a source with a Margin for each frame,
// and a plate that stays.
func TestMovingEyeAllocatesNothing(t *testing.T) {
	if near.RaceDetector {
		t.Skip("pools drop memory at random under the race detector")
	}
	var source warp.Source = newFisheye(900, 100*degree, 0, 0)
	still := newFrame[uint16](t, 900, 900, 3).Still()
	dst := newFrame[uint16](t, 96, 64, 3)
	var targets []warp.Target
	for i := range 8 {
		targets = append(targets, newView(96, 64, 70*degree, unit.Angle(i)*9*degree, 0, 0)) // across the limit
	}
	var m warp.Map
	layers := []warp.Layer[uint16]{{Frame: still, Map: &m, Feather: 5}}
	n := 0
	var err error
	frame := func() {
		err = errors.Join(err, m.Remake(t.Context(), targets[n%len(targets)], source, warp.MapOptions{}))
		err = errors.Join(err, warp.Blend(t.Context(), dst, layers, warp.Options{}))
		n++
	}
	for range targets {
		frame()
	}
	assert.Zero(t, testing.AllocsPerRun(2*len(targets), frame), "allocations per frame")
	require.NoError(t, err)
}

// TestSequenceOfAStillPlate: the eye moves, and one of two layers is read.
func TestSequenceOfAStillPlate(t *testing.T) {
	still := newFrame[uint16](t, 80, 20, 1)
	paint(still, func(x, _, _ int) float64 { return float64(x) })
	maps := []*warp.Map{new(warp.Map), new(warp.Map)}
	for _, depth := range []int{1, 3} {
		s := warp.Sequence[uint16]{
			First: 2, Count: 9, Channels: 1, Depth: depth,
			Layers: []warp.Layer[uint16]{{Frame: still.Still()}, {Gain: [4]float64{1}}},
			Map: func(ctx context.Context, n, layer int) (*warp.Map, error) {
				target := flat(40, 20)
				target.x0 = float64(n)
				var source warp.Source = flat(80, 20)
				if layer == 1 {
					source = &offset{flat(20, 20), 20}
				}
				return maps[layer], maps[layer].Remake(ctx, target, source, warp.MapOptions{})
			},
			Read: func(_ context.Context, n int, into []frame16) error {
				if w, _ := into[0].Size(); w != 0 {
					return fmt.Errorf("%d px to fill of a still frame", w)
				}
				paint(into[1], func(_, _, _ int) float64 { return float64(1000 * n) })
				return nil
			},
			Write: func(_ context.Context, n int, f frame16, _ frame32) error {
				assert.EqualValues(t, n+5, f.Row(10)[5])
				return nil
			},
		}
		require.NoError(t, warp.RunSequence(t.Context(), s))
		s.Layers, s.Read = s.Layers[:1], nil
		require.NoError(t, warp.RunSequence(t.Context(), s))
	}
}
