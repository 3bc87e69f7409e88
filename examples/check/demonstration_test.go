package main

import (
	"bytes"
	"flag"
	"fmt"
	"math"
	"path/filepath"
	"testing"

	"example.com/platewright/internal/near"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// seeds is the number of demonstrations of full size that are made and measured.
var seeds = flag.Int("seeds", 0, "make and measure so many demonstrations of full `number`, with and without faults")

// checked makes a demonstration, measures it, and compares what is over the limits with
// what was put in. It returns the number of values beyond three uncertainties.
func checked(t *testing.T, opts demoOptions) (values, beyond int) {
	t.Helper()
	folder := t.TempDir()
	faults, err := demonstrate(t.Context(), folder, opts)
	require.NoError(t, err)
	var progress bytes.Buffer
	r, err := inspect(t.Context(), options{folders: []string{folder}, scenario: filepath.Join(folder, "scenario.json")}, &progress)
	require.NoError(t, err)
	key := func(q question, what, camera, channel string, frame int) string {
		if q == asksLevels || q == asksRepeats {
			return fmt.Sprint(q, " ", what, " ", camera, " ", channel, " ", map[bool]int{true: frame, false: -1}[q == asksRepeats])
		}
		return fmt.Sprint(q, " ", what, " ", camera)
	}
	want := map[string]demoFault{}
	for _, f := range faults {
		want[key(f.Question, f.What, f.Camera, f.Channel, f.Frame)] = f
	}
	seen := map[string]bool{}
	for _, f := range r.Findings {
		if f.Verdict != over {
			continue
		}
		frame := -1
		if f.Frames != nil {
			frame = f.Frames.First
		}
		k := key(f.Question, f.What, f.Camera, f.Channel, frame)
		fault, ok := want[k]
		if !assert.True(t, ok, "seed %d: %s was not put in: %s; %s", opts.Seed, k, valueText(f), f.Why) {
			continue
		}
		seen[k] = true
		switch {
		case f.Question == asksRepeats: // no value
		case *f.Uncertainty == 0:
			t.Logf("%s: %.4g, put in %.4g", k, *f.Value, fault.Value)
			assert.InEpsilon(t, fault.Value, *f.Value, 0.02, "%s: noise about the limit of clipping", k)
		default:
			values++
			off := (*f.Value - fault.Value) / *f.Uncertainty
			if math.Abs(off) > 3 {
				beyond++
			}
			t.Logf("%s: %s, put in %.4g: %.1f uncertainties off", k, valueText(f), fault.Value, off)
		}
	}
	for k := range want {
		assert.True(t, seen[k], "seed %d: %s was not found", opts.Seed, k)
	}
	if t.Failed() {
		var text bytes.Buffer
		r.write(&text)
		t.Log(text.String())
	}
	return values, beyond
}

func TestFullDemonstrations(t *testing.T) {
	if *seeds == 0 {
		t.Skip("takes half a minute each; -args -seeds 20")
	}
	values, beyond := 0, 0
	for seed := range *seeds {
		v, b := checked(t, demoOptions{Seed: uint64(seed)})
		values, beyond = values+v, beyond+b
		checked(t, demoOptions{Seed: uint64(seed), Clean: true})
	}
	t.Logf("%d of %d values beyond three uncertainties", beyond, values)
	assert.LessOrEqual(t, beyond, 1+values/50)
}

func TestDemonstrationIsFound(t *testing.T) {
	near.NumbersOnly(t)
	_, beyond := checked(t, demoOptions{Seed: 1, Small: true})
	assert.Zero(t, beyond)
}

func TestCleanDemonstrationIsClean(t *testing.T) {
	near.NumbersOnly(t)
	checked(t, demoOptions{Seed: 1, Small: true, Clean: true})
}
