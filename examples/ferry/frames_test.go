package main

import (
	"bytes"
	"math"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"example.com/platewright/projection"
	"example.com/platewright/projection/panorama"
	"example.com/platewright/projection/warp"

	"example.com/platewright/internal/near"
)

func makerOf(t *testing.T, doc map[string]any) *maker {
	t.Helper()
	return newMaker(t.Context(), prepared(t, options{scenario: writeScenario(t, doc)}), outputIn(t, filepath.Join(t.TempDir(), "out")), new(bytes.Buffer))
}

// A pole hides different directions from the bow and the starboard camera, 25° to
// starboard. Each plate shows what the pole hides in the other, so the walls show the
// bright scene everywhere and the black pole nowhere.
func TestWallsSeePastThePole(t *testing.T) {
	near.NumbersOnly(t)
	m := makerOf(t, smaller(t, func(doc map[string]any) {
		plates := object(doc, "plates")
		plates["boxes"] = append(plates["boxes"].([]any), map[string]any{
			"name": "pole", "centre_m": []any{0.42, 4.2, -1.07}, "size_m": []any{0.1, 1., 0.1}, "heading_deg": 0.,
		})
	}))
	m.scene = slopes{}
	require.NoError(t, m.frames())
	hidden := direction(25, 2)
	require.Zero(t, m.shoot.alone[0].Count(hidden), "the bow camera sees past the pole")
	require.NotZero(t, m.shoot.alone[1].Count(hidden), "the starboard camera does not")
	require.Len(t, m.made.checks, 5)
	for _, c := range m.made.checks {
		assert.Greater(t, c.off.belowScale(), 80., c.what)
		assert.NotZero(t, c.off.n, c.what)
	}
}

// A frame shows the vessel where every plate shows it, instead of a hole.
func TestVesselIsShownWhereNothingElseIs(t *testing.T) {
	m := makerOf(t, smaller(t))
	m.scene = slopes{}
	require.NoError(t, m.lookOut())
	view, err := projection.NewView(projection.ViewSpec{
		Width: 64, Height: 64, Across: 4 * deg, Pose: projection.Pose{Heading: 180 * deg, Elevation: -15 * deg}, // the radar dome
	})
	require.NoError(t, err)
	require.NoError(t, m.takePlates([]warp.Target{view}))
	f, err := m.blend(view, part, "dome", moving)
	require.NoError(t, err)
	for k, v := range vesselTint {
		assert.InDelta(t, v*m.plateGain()*65535, float64(f.Row(32)[3*32+k]), 1)
	}
}

// The maker keeps parts of plates. Frames made from them are the same as from whole
// plates.
func TestPartsOfPlatesAreEnough(t *testing.T) {
	near.NumbersOnly(t)
	made := func(whole bool) (all []warp.Frame[uint16], kept int) {
		m := makerOf(t, smaller(t))
		require.NoError(t, m.lookOut())
		frames, err := m.list()
		require.NoError(t, err)
		var targets []warp.Target
		for _, f := range frames {
			targets = append(targets, f.target)
		}
		if whole {
			sphere, err := panorama.NewEquirect(512, 256, projection.Pose{})
			require.NoError(t, err)
			targets = append(targets, sphere)
		}
		require.NoError(t, m.takePlates(targets))
		for _, k := range m.kept {
			w, h := k.part.frame.Size()
			kept += w * h
		}
		for _, f := range frames {
			p, err := m.blend(f.target, part, f.what, f.how)
			require.NoError(t, err)
			all = append(all, p)
		}
		return all, kept
	}
	parts, some := made(false)
	wholes, all := made(true)
	require.Less(t, some, all)
	for i := range parts {
		w, h := parts[i].Size()
		for y := range h {
			a, b := parts[i].Row(y), wholes[i].Row(y)
			for x := range 3 * w {
				// Map positions may differ by 1/64 px.
				require.InDelta(t, float64(b[x]), float64(a[x]), 40+0.02*float64(b[x]), "frame %d at %d, %d", i, x/3, y)
			}
		}
	}
}

// Walls show the surround: a thing on the dome appears at the wall pixel through
// which the eye would see it.
func TestWallsShowThingsWhereTheyStand(t *testing.T) {
	near.NumbersOnly(t)
	const radius = 8.
	centre := r3.Vec{Y: 1.6}
	m := makerOf(t, smaller(t, set("surround", map[string]any{"shape": "sphere", "centre_m": []any{0., centre.Y, 0.}, "radius_m": radius})))
	lamp := direction(17, 3) // from the surround's centre
	m.scene = spot{lamp}
	require.NoError(t, m.lookOut())
	frames, err := m.list()
	require.NoError(t, err)
	for i, at := range m.shoot.StageCamera.Positions {
		f := frames[2*i] // the bow wall
		require.NoError(t, m.takePlates([]warp.Target{f.target}))
		p, err := m.blend(f.target, part, f.what, f.how)
		require.NoError(t, err)
		var sum, sx, sy float64
		w, h := p.Size()
		for y := range h {
			for x := range w {
				v := float64(p.Row(y)[3*x+1])
				sum, sx, sy = sum+v, sx+v*(float64(x)+0.5), sy+v*(float64(y)+0.5)
			}
		}
		thing := r3.Add(centre, r3.Scale(radius, lamp))
		x, y, ok := m.shoot.walls[0].Pixel(at.position(), r3.Sub(thing, at.position()))
		require.True(t, ok)
		assert.InDelta(t, x, sx/sum, 0.5, at.Name)
		assert.InDelta(t, y, sy/sum, 0.5, at.Name)
	}
}

// spot is a small light in a dark scene.
type spot struct{ dir r3.Vec }

func (s spot) Radiance(d r3.Vec) rgb {
	const width = 0.02
	v := math.Exp(-r3.Norm2(r3.Sub(d, s.dir)) / (2 * width * width))
	return rgb{v, v, v}
}

func (spot) Smooth(r3.Vec) bool { return false }
