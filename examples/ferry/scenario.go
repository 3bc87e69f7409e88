package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"example.com/platewright/internal/strict"
	"example.com/platewright/projection"
	"example.com/platewright/sync"
	"gonum.org/v1/gonum/spatial/r3"
)

// scenario is the file that describes a shoot and its replay. Every field must
// be given; the unit stands in its name.
type scenario struct {
	Note        string      `json:"note" len:"0,1000"`
	Name        string      `json:"name" len:"1,200"`
	Plates      plateSpec   `json:"plates"`
	Light       []lightSpec `json:"light" len:"1,16"`
	Vessel      vesselSpec  `json:"vessel"`
	Delivery    rasterSpec  `json:"delivery"`
	Shots       []shotSpec  `json:"shots" len:"1,32"`
	Walls       []wallSpec  `json:"walls" len:"1,8"`
	Drive       driveSpec   `json:"drive"`
	Mains       sync.Rate   `json:"mains"`
	StageCamera stageSpec   `json:"stage_camera"`
	Actor       actorSpec   `json:"actor"`
}

type plateSpec struct {
	Rate          sync.Rate     `json:"rate"`
	ShutterDeg    float64       `json:"shutter_deg" min:"1" max:"360"`
	ExposureIndex float64       `json:"exposure_index" min:"25" max:"102400"`
	Format        formatSpec    `json:"format"`
	Photosite     photositeSpec `json:"photosite"`
	Lens          lensSpec      `json:"lens"`
	Cameras       []placeSpec   `json:"cameras" len:"1,32"`
	Boxes         []boxSpec     `json:"boxes" len:"0,64"`
	Balls         []ballSpec    `json:"balls" len:"0,64"`
	ParallaxPx    float64       `json:"parallax_px" min:"0.01" max:"10000"`
	FeatherPx     float64       `json:"feather_px" min:"0" max:"10000"`
	Compression   float64       `json:"compression" min:"1" max:"100"`
	StoreTB       float64       `json:"store_tb" min:"0.001" max:"100000"`
	TakeMin       float64       `json:"take_min" min:"0.01" max:"1440"`
	OffsetUs      float64       `json:"offset_us" min:"0" max:"1000000"`
	ClockPpm      float64       `json:"clock_ppm" min:"0.0001" max:"1000"`
}

type formatSpec struct {
	WidthMm  float64 `json:"width_mm" min:"1" max:"500"`
	HeightMm float64 `json:"height_mm" min:"1" max:"500"`
	Columns  int     `json:"columns" min:"16" max:"65536"`
	Rows     int     `json:"rows" min:"16" max:"65536"`
}

type photositeSpec struct {
	FullWellE         float64 `json:"full_well_e" min:"100" max:"10000000"`
	ReadNoiseE        float64 `json:"read_noise_e" min:"0.01" max:"1000"`
	QuantumEfficiency float64 `json:"quantum_efficiency" min:"0.01" max:"1"`
	Bits              int     `json:"bits" min:"8" max:"16"`
}

type lensSpec struct {
	Projection      projection.Form `json:"projection"`
	FocalLengthMm   float64         `json:"focal_length_mm" min:"1" max:"2000"`
	FNumber         float64         `json:"f_number" min:"0.7" max:"64"`
	Transmission    float64         `json:"transmission" min:"0.1" max:"1"`
	ImageCircleMm   float64         `json:"image_circle_mm" min:"1" max:"1000"`
	FocusM          float64         `json:"focus_m" min:"0.05" max:"100000"`
	SharpPhotosites float64         `json:"sharp_photosites" min:"0.5" max:"50"`
}

type placeSpec struct {
	Name         string     `json:"name" len:"1,32"`
	PositionM    [3]float64 `json:"position_m" min:"-1000" max:"1000"`
	HeadingDeg   float64    `json:"heading_deg" min:"-360" max:"360"`
	ElevationDeg float64    `json:"elevation_deg" min:"-90" max:"90"`
	RollDeg      float64    `json:"roll_deg" min:"-360" max:"360"`
}

// boxSpec and ballSpec are parts of the vessel or the rig that hide the view.
type boxSpec struct {
	Name       string     `json:"name" len:"1,64"`
	CentreM    [3]float64 `json:"centre_m" min:"-1000" max:"1000"`
	SizeM      [3]float64 `json:"size_m" min:"0.001" max:"1000"`
	HeadingDeg float64    `json:"heading_deg" min:"-360" max:"360"`
}

type ballSpec struct {
	Name    string     `json:"name" len:"1,64"`
	CentreM [3]float64 `json:"centre_m" min:"-1000" max:"1000"`
	RadiusM float64    `json:"radius_m" min:"0.001" max:"1000"`
}

type lightSpec struct {
	Name string  `json:"name" len:"1,64"`
	CdM2 float64 `json:"cd_m2" min:"0.000001" max:"10000000"`
}

type vesselSpec struct {
	SpeedKmH float64 `json:"speed_km_h" min:"0" max:"400"`
	NearestM float64 `json:"nearest_m" min:"0.1" max:"100000"`
}

type rasterSpec struct {
	Columns int `json:"columns" min:"16" max:"65536"`
	Rows    int `json:"rows" min:"16" max:"65536"`
}

type shotSpec struct {
	Name         string  `json:"name" len:"1,64"`
	HeadingDeg   float64 `json:"heading_deg" min:"-360" max:"360"`
	ElevationDeg float64 `json:"elevation_deg" min:"-90" max:"90"`
	AcrossDeg    float64 `json:"across_deg" min:"1" max:"170"`
}

type wallSpec struct {
	Name          string     `json:"name" len:"1,32"`
	PanelWidthMm  float64    `json:"panel_width_mm" min:"50" max:"5000"`
	PanelHeightMm float64    `json:"panel_height_mm" min:"50" max:"5000"`
	PanelColumns  int        `json:"panel_columns" min:"8" max:"8192"`
	PanelRows     int        `json:"panel_rows" min:"8" max:"8192"`
	Columns       int        `json:"columns" min:"1" max:"1000"`
	Rows          int        `json:"rows" min:"1" max:"1000"`
	RadiusM       float64    `json:"radius_m" min:"0" max:"1000"`
	CentreM       [3]float64 `json:"centre_m" min:"-1000" max:"1000"`
	HeadingDeg    float64    `json:"heading_deg" min:"-360" max:"360"`
	ElevationDeg  float64    `json:"elevation_deg" min:"-90" max:"90"`
	RollDeg       float64    `json:"roll_deg" min:"-360" max:"360"`
	CdM2          float64    `json:"cd_m2" min:"0.01" max:"20000"`
	Fill          float64    `json:"fill" min:"0.01" max:"1"`
}

type driveSpec struct {
	Rate       sync.Rate `json:"rate"`
	Bits       int       `json:"bits" min:"8" max:"16"`
	LinkGbitS  float64   `json:"link_gbit_s" min:"0.1" max:"1000"`
	PortPixels int       `json:"port_pixels" min:"1000" max:"1000000000"`
	Refresh    sync.Rate `json:"refresh"`
	Duty       float64   `json:"duty" min:"0.001" max:"1"`
}

type stageSpec struct {
	Rate          sync.Rate   `json:"rate"`
	ShutterDeg    float64     `json:"shutter_deg" min:"1" max:"360"`
	ExposureIndex float64     `json:"exposure_index" min:"25" max:"102400"`
	RowTimeUs     float64     `json:"row_time_us" min:"0" max:"1000"`
	Format        formatSpec  `json:"format"`
	Lens          lensSpec    `json:"lens"`
	Positions     []placeSpec `json:"positions" len:"2,16"`
}

type actorSpec struct {
	PositionM    [3]float64 `json:"position_m" min:"-1000" max:"1000"`
	HeadingDeg   float64    `json:"heading_deg" min:"-360" max:"360"`
	ElevationDeg float64    `json:"elevation_deg" min:"-90" max:"90"`
}

// maxPixels is what the plates together, or one frame, may hold: 12 GB of
// plates at 6 bytes a pixel.
const maxPixels = 2e9

// readScenario reads the file and checks it as far as one file can be checked
// by itself: fields, types, ranges, names. What the packages refuse comes after.
func readScenario(ctx context.Context, path string) (scenario, error) {
	var s scenario
	data, err := readLimited(ctx, path, 1<<20)
	if err != nil {
		return s, err
	}
	if err := strict.Decode(data, &s); err != nil {
		return s, prefix(path, err)
	}
	var faults []error
	faults = append(faults, uniqueNames("plates.cameras", s.Plates.Cameras, func(p placeSpec) string { return p.Name })...)
	faults = append(faults, uniqueNames("stage_camera.positions", s.StageCamera.Positions, func(p placeSpec) string { return p.Name })...)
	faults = append(faults, uniqueNames("walls", s.Walls, func(w wallSpec) string { return w.Name })...)
	for _, r := range []struct {
		field     string
		rate      sync.Rate
		low, high float64
	}{
		{"plates.rate", s.Plates.Rate, 1, 1000}, {"stage_camera.rate", s.StageCamera.Rate, 1, 1000},
		{"drive.rate", s.Drive.Rate, 1, 1000}, {"drive.refresh", s.Drive.Refresh, 24, 1e6}, {"mains", s.Mains, 40, 70},
	} {
		if f := float64(r.rate.Frequency()); f < r.low || f > r.high {
			faults = append(faults, fmt.Errorf("%s: %s: must be at least %g and at most %g a second", r.field, r.rate, r.low, r.high))
		}
	}
	// What fits a field can still be too much together.
	together := func(field string, count, columns, rows int) {
		if px := float64(count) * float64(columns) * float64(rows); px > maxPixels {
			faults = append(faults, fmt.Errorf("%s: %.3g px together: must be at most %.3g", field, px, maxPixels))
		}
	}
	together("plates", len(s.Plates.Cameras), s.Plates.Format.Columns, s.Plates.Format.Rows)
	together("delivery", 1, s.Delivery.Columns, s.Delivery.Rows)
	for i, w := range s.Walls {
		together(fmt.Sprintf("walls[%d]", i), 1, w.Columns*w.PanelColumns, w.Rows*w.PanelRows)
	}
	return s, prefix(path, errors.Join(faults...))
}

// uniqueNames checks names that become file names: letters, digits, spaces and
// hyphens, each once.
func uniqueNames[T any](field string, list []T, name func(T) string) []error {
	var faults []error
	seen := map[string]bool{}
	for i, v := range list {
		n := fileName(name(v))
		at := fmt.Sprintf("%s[%d].name: %q: ", field, i, name(v))
		switch bad := strings.IndexFunc(n, func(r rune) bool {
			return r != '-' && (r < 'a' || r > 'z') && (r < '0' || r > '9')
		}); {
		case bad >= 0 || n == "":
			faults = append(faults, errors.New(at+"must be letters a to z, digits, spaces and hyphens"))
		case seen[n]:
			faults = append(faults, errors.New(at+"is used before"))
		}
		seen[n] = true
	}
	return faults
}

// fileName turns a name of the scenario into a part of a file's name.
func fileName(name string) string {
	return strings.ReplaceAll(strings.ToLower(strings.TrimSpace(name)), " ", "-")
}

func (p placeSpec) position() r3.Vec { return vec(p.PositionM) }

func vec(v [3]float64) r3.Vec { return r3.Vec{X: v[0], Y: v[1], Z: v[2]} }

// readLimited reads a whole file, but no more than limit bytes of it.
func readLimited(ctx context.Context, path string, limit int64) ([]byte, error) {
	f, err := open(ctx, path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, limit+1))
	if err != nil {
		return nil, err
	}
	if int64(len(data)) > limit {
		return nil, fmt.Errorf("%s: must be at most %d bytes", path, limit)
	}
	return data, nil
}

// prefix puts the file before each line of an error.
func prefix(path string, err error) error {
	if err == nil {
		return nil
	}
	return errors.New(path + ": " + strings.ReplaceAll(err.Error(), "\n", "\n"+path+": "))
}
