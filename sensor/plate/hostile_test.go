package plate_test

import (
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/sensor/plate"
	"gonum.org/v1/gonum/unit"
)

func TestHostileArguments(t *testing.T) {
	frame := filled[float32](160, 160, 0.5)
	for i := range frame.Pix {
		frame.Pix[i] += float32(i*i%97) / 1000
	}
	bytes := filled[uint8](24, 16, 9)
	light := plate.LightSpec{Region: plate.Region{X: 8, Y: 8, Width: 140, Height: 120}, White: 2}
	var times []unit.Time
	var stops []plate.Estimate
	for i := range 30 {
		times = append(times, unit.Time(i))
		stops = append(stops, plate.Estimate{Value: float64(i % 4), Uncertainty: 0.1})
	}
	m := must[*plate.LevelMeter[uint8]](t)(plate.NewLevelMeter[uint8](plate.LevelSpec{}))
	if err := m.Add(bytes); err != nil {
		t.Fatal(err)
	}
	levels := must[plate.Levels](t)(m.Measure())
	hostile.Calls(t, []any{frame, bytes, light, times, stops, stops[3], levels, plate.LevelSpec{Cell: 8}, plate.DefectSpec{Limit: 0.1}, plate.FlareSpec{LightSpec: light}, plate.Hot},
		plate.MeasureLight[float32], plate.MeasureLight[uint8], plate.Stops, plate.MeasureDrift,
		plate.MeasureNoise[float32], plate.MeasureNoise[uint8], plate.MeasureFlare[float32], plate.MeasureFlare[uint8],
		plate.Levels.Percentile, plate.Levels.Count, plate.DefectKind.String, plate.DefectKind.MarshalText,
		func(s plate.LevelSpec, p plate.Plane[uint8]) (plate.Levels, error) {
			m, err := plate.NewLevelMeter[uint8](s)
			if err == nil {
				err = m.Add(p)
			}
			if err != nil {
				return plate.Levels{}, err
			}
			return m.Measure()
		},
		func(s plate.DefectSpec, p plate.Plane[float32]) (plate.Defects, error) {
			m, err := plate.NewDefectMeter[float32](s)
			for i := 0; i < 12 && err == nil; i++ {
				err = m.Add(p)
			}
			if err != nil {
				return plate.Defects{}, err
			}
			return m.Measure()
		},
	)
}
