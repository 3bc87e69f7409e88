package banding_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/same"
	"example.com/platewright/sync/banding"
)

// Rows with bands of two harmonics behind a falloff.
func TestBandsBesidePeers(t *testing.T) {
	near.NumbersOnly(t)
	answers := same.Answers(t, "bands")
	spacings, depths := map[string][]float64{}, map[string][]float64{}
	for k := range 60 {
		r := same.Random{Seed: uint64(800 + k)}
		spacing, depth, turn := 15+float64(r.Below(60_000))/1000, 0.01+float64(r.Below(150))/1000, float64(r.Below(6000))/1000
		wave := func(i float64) float64 {
			return depth * (math.Cos(2*math.Pi*i/spacing+turn) + 0.2*math.Cos(4*math.Pi*i/spacing))
		}
		var rows []float64
		for i := range 480 {
			u := float64(i)/240 - 1
			rows = append(rows, 1000*(1-0.3*u*u+0.05*u)*(1+wave(float64(i)))+float64(r.Noise())/65536*2)
		}
		least, most := math.Inf(1), math.Inf(-1)
		for i := range 10000 {
			v := wave(float64(i) / 10000 * spacing)
			least, most = min(least, v), max(most, v)
		}
		truth := (most - least) / (2 + most + least)
		got, err := banding.MeasureBands(rows)
		if err != nil || got.Depth == 0 {
			got = banding.Measurement{Depth: math.NaN(), Spacing: math.NaN()}
		}
		spacings["ours"], depths["ours"] = append(spacings["ours"], got.Spacing/spacing-1), append(depths["ours"], got.Depth-truth)
		for peer, a := range answers {
			spacings[peer], depths[peer] = append(spacings[peer], a[k][0]/spacing-1), append(depths[peer], a[k][1]-truth)
		}
	}
	ref.Within(t, "T-BAND-PEER", same.Behind(t, "spacing, relative", spacings), "spacing")
	ref.Within(t, "T-BAND-PEER", same.Behind(t, "depth", depths), "depth")
}
