package banding_test

import (
	"testing"

	"example.com/platewright/sync/banding"
	"example.com/platewright/sync/internal/trial"
)

// BenchmarkWorst is the worst depth of 2160 rows over phase, and over rows where blur
// makes them different.
func BenchmarkWorst(b *testing.B) {
	spec := pulsed(trial.Rate(24, 1), trial.Rate(3840, 1), 0.25, seconds(0.0021), trial.Seconds(8, 2160_000), 2160)
	spec.Wall.Turns, spec.View.WallRowsPerCameraRow = trial.Must(banding.InOrder(8)), 0.71
	blurred := spec
	blurred.View.Blur = 1.8
	frames := spec
	frames.Wall.Rate, frames.Wall.Refreshes = trial.Rate(24, 1), 160
	frames.Wall.Greys = []banding.Waveform{trial.Must(banding.Scattered(700, 12, 160))}
	for name, spec := range map[string]banding.Spec{"pulse": spec, "blurred": blurred, "160 pulses a frame": frames} {
		b.Run(name, func(b *testing.B) {
			p := trial.Must(banding.New(spec))
			for b.Loop() {
				p.Worst()
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "predictions/s")
		})
	}
}
