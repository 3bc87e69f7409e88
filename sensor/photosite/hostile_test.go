package photosite_test

import (
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/sensor/photosite"
)

func TestHostileArguments(t *testing.T) {
	well := photosite.Spec{QuantumEfficiency: 0.5, ReadNoise: 2, SaturationCapacity: 3e4, Gain: 0.1}
	p, _ := photosite.New(well)
	hostile.Calls(t, []any{well, p},
		photosite.New, photosite.Photons,
		photosite.Photosite.DynamicRange, photosite.Photosite.MaxSNR,
		photosite.Photosite.SNR, photosite.Photosite.SaturationPhotons, photosite.Photosite.SaturationSpeed,
		photosite.Photosite.Signal, photosite.Photosite.Threshold,
	)
}
