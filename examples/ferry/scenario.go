package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"example.com/platewright/examples/internal/program"
	"example.com/platewright/projection/offaxis"
	timing "example.com/platewright/sync"
	"gonum.org/v1/gonum/spatial/r3"
)

// scenario is the file that describes a shoot and its replay. Fields that are pointers
// here are optional; all others must be given. The name of a field has its unit.
type scenario struct {
	Note        string       `json:"note" len:"0,1000"`
	Name        string       `json:"name" len:"1,200"`
	Plates      plateSpec    `json:"plates"`
	Light       []lightSpec  `json:"light" len:"1,16"`
	Vessel      vesselSpec   `json:"vessel"`
	Delivery    rasterSpec   `json:"delivery"`
	Shots       []shotSpec   `json:"shots" len:"1,32"`
	Surround    surroundSpec `json:"surround"`
	Walls       []wallSpec   `json:"walls" len:"1,8"`
	Drive       driveSpec    `json:"drive"`
	Mains       timing.Rate  `json:"mains"`
	StageCamera stageSpec    `json:"stage_camera"`
	Actor       actorSpec    `json:"actor"`
	Limits      limitsSpec   `json:"limits"`
}

type plateSpec struct {
	Rate          timing.Rate   `json:"rate"`
	ShutterDeg    float64       `json:"shutter_deg" min:"1" max:"360"`
	ExposureIndex float64       `json:"exposure_index" min:"25" max:"102400"`
	Format        formatSpec    `json:"format"`
	Photosite     photositeSpec `json:"photosite"`
	Lens          lensSpec      `json:"lens"`
	RowTimeUs     float64       `json:"row_time_us" min:"0" max:"1000"`
	Cameras       []cameraSpec  `json:"cameras" len:"1,32"`
	Boxes         []boxSpec     `json:"boxes" len:"0,64"`
	Balls         []ballSpec    `json:"balls" len:"0,64"`
	ParallaxPx    float64       `json:"parallax_px" min:"0.01" max:"10000"`
	FeatherPx     float64       `json:"feather_px" min:"0" max:"10000"`
	Compression   float64       `json:"compression" min:"1" max:"100"`
	StoreTB       float64       `json:"store_tb" min:"0.001" max:"100000"`
	TakeMin       float64       `json:"take_min" min:"0.01" max:"1440"`
	DayMin        []float64     `json:"day_min" min:"0" max:"1440" len:"1,100"` // when each take begins
	MediumTB      float64       `json:"medium_tb" min:"0.001" max:"1000"`
	MediaSets     int           `json:"media_sets" min:"1" max:"100"`
	SwapMin       float64       `json:"swap_min" min:"0" max:"600"`
	Station       stationSpec   `json:"station"`
	OffsetUs      float64       `json:"offset_us" min:"0" max:"1000000"`
	ClockPpm      float64       `json:"clock_ppm" min:"0.0001" max:"1000"`
}

// stationSpec is where media are copied and verified, before they are used again.
type stationSpec struct {
	Readers   int     `json:"readers" min:"1" max:"100"`
	ReadGBs   float64 `json:"read_gb_s" min:"0.001" max:"1000"`
	Copies    int     `json:"copies" min:"1" max:"10"`
	WriteGBs  float64 `json:"write_gb_s" min:"0.001" max:"1000"`
	VerifyGBs float64 `json:"verify_gb_s" min:"0.001" max:"1000"`
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

// lensSpec is a lens at one setting. Projection names its curve: the image
// height at each field angle. It is the name of a closed form, or "polynomial",
// with the coefficients c₁, c₂ … of r = f (c₁θ + c₂θ³ + …), or "table", with
// measured angles and heights.
//
// A calibration adds the focal lengths and the principal point in px, and the
// field angle at which it ends. The principal point counts from the outer corner
// of the top-left pixel. A calibration that counts from the centre of that pixel
// gives numbers half a pixel smaller.
type lensSpec struct {
	Projection      string        `json:"projection" len:"1,32"`
	Coefficients    *[]float64    `json:"coefficients" min:"-1000000" max:"1000000" len:"1,16"`
	TableDegMm      *[][2]float64 `json:"table_deg_mm" min:"0" max:"1000" len:"2,1000"`
	Distortion      *brownSpec    `json:"distortion"`
	FocalLengthMm   float64       `json:"focal_length_mm" min:"1" max:"2000"`
	FocalPx         *[2]float64   `json:"focal_px" min:"1" max:"1000000"`
	CentrePx        *[2]float64   `json:"centre_px" min:"-65536" max:"131072"`
	MaxAngleDeg     *float64      `json:"max_angle_deg" min:"1" max:"180"`
	FNumber         float64       `json:"f_number" min:"0.7" max:"64"`
	Transmission    float64       `json:"transmission" min:"0.1" max:"1"`
	ImageCircleMm   float64       `json:"image_circle_mm" min:"1" max:"1000"`
	FocusM          float64       `json:"focus_m" min:"0.05" max:"100000"`
	SharpPhotosites float64       `json:"sharp_photosites" min:"0.5" max:"50"`
}

// brownSpec is the distortion of a nearly rectilinear lens, as calibrations give
// it: radial, and tangential.
type brownSpec struct {
	K1 float64 `json:"k1" min:"-100" max:"100"`
	K2 float64 `json:"k2" min:"-100" max:"100"`
	K3 float64 `json:"k3" min:"-100" max:"100"`
	P1 float64 `json:"p1" min:"-10" max:"10"`
	P2 float64 `json:"p2" min:"-10" max:"10"`
}

// cameraSpec is a camera of the array. If it gives no format or lens of its own, it has
// those of the plates.
type cameraSpec struct {
	Name         string      `json:"name" len:"1,32"`
	PositionM    [3]float64  `json:"position_m" min:"-1000" max:"1000"`
	HeadingDeg   float64     `json:"heading_deg" min:"-360" max:"360"`
	ElevationDeg float64     `json:"elevation_deg" min:"-90" max:"90"`
	RollDeg      float64     `json:"roll_deg" min:"-360" max:"360"`
	Format       *formatSpec `json:"format"`
	Lens         *lensSpec   `json:"lens"`
}

func (c cameraSpec) place() placeSpec {
	return placeSpec{c.Name, c.PositionM, c.HeadingDeg, c.ElevationDeg, c.RollDeg}
}

// format and lens are those of camera i.
func (p plateSpec) format(i int) formatSpec {
	if f := p.Cameras[i].Format; f != nil {
		return *f
	}
	return p.Format
}

func (p plateSpec) lens(i int) lensSpec {
	if l := p.Cameras[i].Lens; l != nil {
		return *l
	}
	return p.Lens
}

// surroundSpec says how far away the things in the plates are assumed to be, as seen
// from the stage: at "infinity", or on a "sphere", an upright "cylinder" or a "dome" over
// level ground. Its centre is the point of the stage where the plates were shot.
type surroundSpec struct {
	Shape   offaxis.Shape `json:"shape"`
	CentreM [3]float64    `json:"centre_m" min:"-1000" max:"1000"`
	RadiusM *float64      `json:"radius_m" min:"0.5" max:"1000000"`
	GroundM *float64      `json:"ground_m" min:"0.1" max:"1000"`
}

// limitsSpec holds the limits of the report. A few more stand beside the fields that they
// limit.
type limitsSpec struct {
	ClockPx           float64 `json:"clock_px" min:"0.001" max:"1000"`
	WallUnseenPercent float64 `json:"wall_unseen_percent" min:"0" max:"100"`
	PlatePxPerWallPx  float64 `json:"plate_px_per_wall_px" min:"0.01" max:"100"`
	AcuityArcmin      float64 `json:"acuity_arcmin" min:"0.1" max:"60"`
	AliasPercent      float64 `json:"alias_percent" min:"0.001" max:"100"`
	SharpPercent      float64 `json:"sharp_percent" min:"1" max:"99"`  // contrast left of stripes of sharp_period
	SharpPeriod       float64 `json:"sharp_period" min:"2" max:"1000"` // photosites
	NoiseDB           float64 `json:"noise_db" min:"0" max:"60"`       // SNR of the darkest surface, delivered pixels
	RipplePercent     float64 `json:"ripple_percent" min:"0" max:"100"`
	ShutterPercent    float64 `json:"shutter_percent" min:"0" max:"5"`
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
	LitSide       float64    `json:"lit_side" min:"0.01" max:"1"` // of a pixel's square lit face, over the pitch
}

type driveSpec struct {
	Rate timing.Rate `json:"rate"`
	Bits int         `json:"bits" min:"8" max:"16"`
	// The rate of active picture that one link carries, without the blanking that
	// fills the rest of its line rate.
	LinkPictureGbitS float64     `json:"link_picture_gbit_s" min:"0.1" max:"1000"`
	PortPixels       int         `json:"port_pixels" min:"1000" max:"1000000000"`
	Refresh          timing.Rate `json:"refresh"`
	Duty             float64     `json:"duty" min:"0.001" max:"1"`
}

type stageSpec struct {
	Rate          timing.Rate `json:"rate"`
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

// maxPixels is the most pixels of all plates together, or of one frame: 12 GB at 6 bytes
// per pixel.
const maxPixels = 2e9

// readScenario reads the file and checks its fields, types, ranges and names. The checks
// of the packages come later.
func readScenario(ctx context.Context, path string) (scenario, error) {
	var s scenario
	if err := program.ReadJSON(ctx, path, &s); err != nil {
		return s, err
	}
	var faults []error
	faults = append(faults, uniqueNames("plates.cameras", s.Plates.Cameras, func(p cameraSpec) string { return p.Name })...)
	faults = append(faults, uniqueNames("stage_camera.positions", s.StageCamera.Positions, func(p placeSpec) string { return p.Name })...)
	faults = append(faults, uniqueNames("walls", s.Walls, func(w wallSpec) string { return w.Name })...)
	for _, r := range []struct {
		field     string
		rate      timing.Rate
		low, high float64
	}{
		{"plates.rate", s.Plates.Rate, 1, 1000}, {"stage_camera.rate", s.StageCamera.Rate, 1, 1000},
		{"drive.rate", s.Drive.Rate, 1, 1000}, {"drive.refresh", s.Drive.Refresh, 24, 1e6}, {"mains", s.Mains, 40, 70},
	} {
		if f := float64(r.rate.Frequency()); f < r.low || f > r.high {
			faults = append(faults, fmt.Errorf("%s: %s: must be at least %g and at most %g a second", r.field, r.rate, r.low, r.high))
		}
	}
	// Values that are in range one by one can be too large together.
	together := func(field string, px float64) {
		if px > maxPixels {
			faults = append(faults, fmt.Errorf("%s: %.3g px together: must be at most %.3g", field, px, maxPixels))
		}
	}
	var plates float64
	for i := range s.Plates.Cameras {
		f := s.Plates.format(i)
		plates += float64(f.Columns) * float64(f.Rows)
	}
	together("plates", plates)
	together("delivery", float64(s.Delivery.Columns)*float64(s.Delivery.Rows))
	for i, w := range s.Walls {
		together(fmt.Sprintf("walls[%d]", i), float64(w.Columns)*float64(w.PanelColumns)*float64(w.Rows)*float64(w.PanelRows))
	}
	return s, program.Prefix(path, errors.Join(faults...))
}

// uniqueNames checks names that become file names. They hold letters, digits, spaces and
// hyphens, and none occurs twice.
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
