package main

import (
	"gonum.org/v1/plot/plotter"
	"math"
	"testing"
)

func TestChartX(t *testing.T) {
	c := overSphere("Something over the sphere", "pixels per degree", 0, 80, func(h, e float64) float64 {
		if e < -60 {
			return math.NaN()
		}
		return 40 + 30*math.Sin(h/20)
	})
	c.marks = []mark{{"bow", []plotter.XY{{X: 0, Y: 0}}}, {"a shot", []plotter.XY{{X: 20, Y: 20}, {X: 60, Y: 20}, {X: 60, Y: 40}, {X: 20, Y: 40}, {X: 20, Y: 20}}}}
	if err := c.save("/tmp/scene/chart.png"); err != nil {
		t.Fatal(err)
	}
}
