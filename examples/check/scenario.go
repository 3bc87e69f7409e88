package main

import (
	"context"
	"errors"
	"fmt"

	"example.com/platewright/examples/internal/program"
	"example.com/platewright/internal/enum"
	timing "example.com/platewright/sync"
)

// scenario is the file that says what was predicted of a take. Fields that are pointers
// are optional: without them, questions that need them are not asked. The name of a
// field has its unit.
type scenario struct {
	Note    string       `json:"note" len:"0,1000"`
	Name    string       `json:"name" len:"1,200"`
	Rate    timing.Rate  `json:"rate"`  // frames a second
	Mains   *timing.Rate `json:"mains"` // lamps flicker at twice this rate
	Cameras []cameraSpec `json:"cameras" len:"1,64"`
	Wall    *wallSpec    `json:"wall"` // which the witness cameras film
	Limits  limitsSpec   `json:"limits"`
}

// cameraKind says which questions are asked of a camera.
type cameraKind uint8

const (
	plateCamera   cameraKind = iota + 1 // one of the array
	witnessCamera                       // films a wall
)

var cameraKinds = enum.New[cameraKind](errInvalid, []string{plateCamera: "plate", witnessCamera: "witness"})

func (k cameraKind) String() string               { return cameraKinds.Name(k) }
func (k cameraKind) MarshalText() ([]byte, error) { return cameraKinds.Marshal(k) }
func (k *cameraKind) UnmarshalText(t []byte) error {
	return cameraKinds.Unmarshal(k, t)
}

// curveName is the curve from light to code.
type curveName uint8

const (
	linearCurve curveName = iota + 1
	srgbCurve             // IEC 61966-2-1
)

var curveNames = enum.New[curveName](errInvalid, []string{linearCurve: "linear", srgbCurve: "sRGB"})

func (k curveName) String() string               { return curveNames.Name(k) }
func (k curveName) MarshalText() ([]byte, error) { return curveNames.Marshal(k) }
func (k *curveName) UnmarshalText(t []byte) error {
	return curveNames.Unmarshal(k, t)
}

// cameraSpec is a camera whose folder has its name.
type cameraSpec struct {
	Name       string         `json:"name" len:"1,64"`
	Kind       cameraKind     `json:"kind"`
	Curve      curveName      `json:"curve"`
	BlackCode  float64        `json:"black_code" min:"0" max:"65535"`    // of no light
	WhiteCode  float64        `json:"white_code" min:"0.01" max:"65535"` // of light 1, and from which on samples are clipped
	LowestCode float64        `json:"lowest_code" min:"0" max:"65535"`   // up to which samples are crushed
	Format     formatSpec     `json:"format"`
	ShutterDeg float64        `json:"shutter_deg" min:"0.1" max:"360"`
	RowTimeUs  float64        `json:"row_time_us" min:"0" max:"1000"`
	Photosite  *photositeSpec `json:"photosite"`
	Lens       *lensSpec      `json:"lens"`
	Place      *placeSpec     `json:"place"`
}

type formatSpec struct {
	WidthMm  float64 `json:"width_mm" min:"0.1" max:"500"`
	HeightMm float64 `json:"height_mm" min:"0.1" max:"500"`
	Columns  int     `json:"columns" min:"16" max:"65536"`
	Rows     int     `json:"rows" min:"16" max:"65536"`
}

// photositeSpec predicts the noise: FullWellE electrons give WhiteCode.
type photositeSpec struct {
	FullWellE  float64 `json:"full_well_e" min:"100" max:"10000000"`
	ReadNoiseE float64 `json:"read_noise_e" min:"0.01" max:"1000"`
}

// lensSpec is a lens at one setting: the name of a closed form, or "table" with
// measured angles and image heights.
type lensSpec struct {
	Projection    string        `json:"projection" len:"1,32"`
	TableDegMm    *[][2]float64 `json:"table_deg_mm" min:"0" max:"1000" len:"2,1000"`
	FocalLengthMm float64       `json:"focal_length_mm" min:"0.1" max:"2000"`
	CentrePx      *[2]float64   `json:"centre_px" min:"-65536" max:"131072"` // of the optical axis; the middle of the raster if missing
	ImageCircleMm float64       `json:"image_circle_mm" min:"0.1" max:"1000"`
	FNumber       float64       `json:"f_number" min:"0.7" max:"64"`
	FocusM        float64       `json:"focus_m" min:"0.05" max:"100000"`
}

// placeSpec is where a camera stands: plate cameras in the frame of the array, witness
// cameras in that of the stage, as the wall.
type placeSpec struct {
	PositionM    [3]float64 `json:"position_m" min:"-1000" max:"1000"`
	HeadingDeg   float64    `json:"heading_deg" min:"-360" max:"360"`
	ElevationDeg float64    `json:"elevation_deg" min:"-90" max:"90"`
	RollDeg      float64    `json:"roll_deg" min:"-360" max:"360"`
}

// wallSpec is an LED wall and how it is driven.
type wallSpec struct {
	PanelWidthMm  float64     `json:"panel_width_mm" min:"50" max:"5000"`
	PanelHeightMm float64     `json:"panel_height_mm" min:"50" max:"5000"`
	PanelColumns  int         `json:"panel_columns" min:"8" max:"8192"`
	PanelRows     int         `json:"panel_rows" min:"8" max:"8192"`
	Columns       int         `json:"columns" min:"1" max:"1000"` // panels
	Rows          int         `json:"rows" min:"1" max:"1000"`
	RadiusM       float64     `json:"radius_m" min:"0" max:"1000"` // 0: flat
	CentreM       [3]float64  `json:"centre_m" min:"-1000" max:"1000"`
	HeadingDeg    float64     `json:"heading_deg" min:"-360" max:"360"`
	LitSide       float64     `json:"lit_side" min:"0.01" max:"1"` // of a pixel's square lit face, over the pitch
	Refresh       timing.Rate `json:"refresh"`
	Duty          float64     `json:"duty" min:"0.001" max:"1"`
	ScanGroups    int         `json:"scan_groups" min:"1" max:"1024"` // lit row by row
}

// limitsSpec holds the limits. A question whose limit is missing is not asked.
type limitsSpec struct {
	ClippedPercent  *float64 `json:"clipped_percent" min:"0" max:"100"` // of a channel's samples in the picture
	CrushedPercent  *float64 `json:"crushed_percent" min:"0" max:"100"`
	ExposureStops   *float64 `json:"exposure_stops" min:"0.001" max:"10"` // green of a camera against the median of all
	TintStops       *float64 `json:"tint_stops" min:"0.001" max:"10"`     // red and blue against green, in the same way
	DriftStops      *float64 `json:"drift_stops_per_min" min:"0.0001" max:"100"`
	NoiseRatio      *float64 `json:"noise_ratio" min:"1" max:"100"` // noise over that predicted
	VeilPercent     *float64 `json:"veil_percent" min:"0.001" max:"100"`
	Defects         *int     `json:"defects" min:"0" max:"1000000"`
	SeamPx          *float64 `json:"seam_px" min:"0.01" max:"1000"`   // median displacement along a seam
	ShakePx         *float64 `json:"shake_px" min:"0.001" max:"1000"` // amplitude of one frequency
	OffsetMs        *float64 `json:"offset_ms" min:"0.0001" max:"10000"`
	ClockPpm        *float64 `json:"clock_ppm" min:"0.001" max:"10000"`
	BandPercent     *float64 `json:"band_percent" min:"0.01" max:"100"`    // depth, (max − min)/(max + min)
	PatternPercent  *float64 `json:"pattern_percent" min:"0.1" max:"100"`  // contrast of a periodic pattern on a wall
	EvennessPercent *float64 `json:"evenness_percent" min:"0.1" max:"100"` // regions of a wall against their mean
}

// readScenario reads the file and checks its fields, types, ranges and names. The checks
// of the packages come later.
func readScenario(ctx context.Context, path string) (*scenario, error) {
	s := new(scenario)
	if err := program.ReadJSON(ctx, path, s); err != nil {
		return nil, err
	}
	var faults []error
	fault := func(format string, args ...any) { faults = append(faults, fmt.Errorf(format, args...)) }
	if f := float64(s.Rate.Frequency()); f < 1 || f > 1000 {
		fault("rate: %s: must be at least 1 and at most 1000 a second", s.Rate)
	}
	if s.Mains != nil {
		if f := float64(s.Mains.Frequency()); f < 15 || f > 1000 {
			fault("mains: %s: must be at least 15 and at most 1000 a second", *s.Mains)
		}
	}
	seen := map[string]bool{}
	for i, c := range s.Cameras {
		at := fmt.Sprintf("cameras[%d].", i)
		if seen[c.Name] {
			fault("%sname: %q: is used before", at, c.Name)
		}
		seen[c.Name] = true
		if c.BlackCode >= c.WhiteCode {
			fault("%sblack_code: %g: must be less than white_code, %g", at, c.BlackCode, c.WhiteCode)
		}
		if c.LowestCode >= c.WhiteCode {
			fault("%slowest_code: %g: must be less than white_code, %g", at, c.LowestCode, c.WhiteCode)
		}
		if c.Kind == witnessCamera && s.Wall == nil {
			fault("%skind: witness: goes with a wall, which is missing", at)
		}
		if c.Curve == srgbCurve && c.BlackCode != 0 {
			fault("%sblack_code: %g: must be 0 with the sRGB curve", at, c.BlackCode)
		}
	}
	return s, program.Prefix(path, errors.Join(faults...))
}

// camera finds the camera of a name.
func (s *scenario) camera(name string) *cameraSpec {
	if s == nil {
		return nil
	}
	for i := range s.Cameras {
		if s.Cameras[i].Name == name {
			return &s.Cameras[i]
		}
	}
	return nil
}
