package sync_test

import (
	"testing"

	timing "example.com/platewright/sync"
	"example.com/platewright/sync/internal/trial"
)

// BenchmarkText writes and reads values, as a log of frames does.
func BenchmarkText(b *testing.B) {
	for _, text := range []string{"1001/24000 s", "20 ms"} {
		b.Run("ParseSeconds "+text, func(b *testing.B) {
			for b.Loop() {
				trial.Must(timing.ParseSeconds(text))
			}
		})
	}
	for _, text := range []string{"24000/1001", "23.976", "25"} {
		b.Run("ParseRate "+text, func(b *testing.B) {
			for b.Loop() {
				trial.Must(timing.ParseRate(text))
			}
		})
	}
	for _, text := range []string{"172.8°", "172800/1001°"} {
		b.Run("ParseShutterAngle "+text, func(b *testing.B) {
			for b.Loop() {
				trial.Must(timing.ParseShutterAngle(text))
			}
		})
		a := trial.Degrees(text)
		b.Run("ShutterAngle.String "+text, func(b *testing.B) {
			for b.Loop() {
				_ = a.String()
			}
		})
	}
	s, r := trial.Seconds(41708333, 1e9), trial.Rate(24000, 1001)
	b.Run("Seconds.String", func(b *testing.B) {
		for b.Loop() {
			_ = s.String()
		}
	})
	b.Run("Rate.String", func(b *testing.B) {
		for b.Loop() {
			_ = r.String()
		}
	})
	b.Run("Seconds.Add", func(b *testing.B) {
		for b.Loop() {
			trial.Must(s.Add(r.Period()))
		}
	})
}
