package sensor

import (
	"example.com/platewright/internal/enum"
	"gonum.org/v1/gonum/unit"
)

// Direction is a direction of a raster. Its zero value is BothDirections.
type Direction uint8

// The directions of a raster.
const (
	BothDirections Direction = iota
	Horizontal               // along a row
	Vertical                 // along a column
)

var directions = enum.New[Direction](ErrInvalid, []string{
	BothDirections: "both directions", Horizontal: "horizontal", Vertical: "vertical",
})

// String gives a name like "horizontal".
func (d Direction) String() string { return directions.Name(d) }

// MarshalText gives the name. An unknown Direction is an error.
func (d Direction) MarshalText() ([]byte, error) { return directions.Marshal(d) }

// UnmarshalText reads a name. Any other text is an error and leaves d unchanged.
func (d *Direction) UnmarshalText(text []byte) error { return directions.Unmarshal(d, text) }

// Gate is the picture area of 35 mm film in a camera or projector, with which
// sensor formats are compared. Its zero value is no gate.
//
// Sources: Practical Cinematography, 2nd ed., ch. 20 (full gate); SMPTE ST 59 for
// cameras and ST 195 for projectors (from memory); common practice (Super 35); the
// OpenUSD schema UsdGeomCamera, fallback apertures (Academy projector gate, from
// memory); BKSTS Illustrated Dictionary, app. C, after ISO 1007 (still gate).
type Gate uint8

// The gates.
const (
	// GateFull is the full camera gate, 0.980 × 0.735 in. Super 35 with four
	// perforations uses it.
	GateFull Gate = iota + 1
	// GateAcademyProjector is 0.825 × 0.602 in: the default of OpenUSD cameras.
	GateAcademyProjector
	// GateStill is the gate of 35 mm still cameras, 36 × 24 mm.
	GateStill
	GateAcademy             // camera, 0.866 × 0.630 in, 1.375:1
	GateAnamorphic          // camera, 0.866 × 0.732 in, for lenses that squeeze by 2
	GateAnamorphicProjector // 0.825 × 0.690 in, 2.39:1 when it is unsqueezed
	GateProjector166        // 0.825 × 0.497 in, 1.66:1
	GateProjector185        // 0.825 × 0.446 in, 1.85:1
	GateSuper35Flat         // 0.945 × 0.511 in, 1.85:1 within GateFull
	GateSuper35Scope        // 0.945 × 0.394 in, 2.39:1 within GateFull
)

var gates = enum.New[Gate](ErrInvalid, []string{
	GateFull: "full gate", GateAcademyProjector: "academy projector gate", GateStill: "still gate",
	GateAcademy: "academy camera gate", GateAnamorphic: "anamorphic camera gate", GateAnamorphicProjector: "anamorphic projector gate",
	GateProjector166: "1.66 projector gate", GateProjector185: "1.85 projector gate",
	GateSuper35Flat: "super 35 flat gate", GateSuper35Scope: "super 35 scope gate",
})

// String gives a name like "still gate".
func (g Gate) String() string { return gates.Name(g) }

// MarshalText gives the name. An unknown Gate is an error.
func (g Gate) MarshalText() ([]byte, error) { return gates.Marshal(g) }

// UnmarshalText reads a name. Any other text is an error and leaves g unchanged.
func (g *Gate) UnmarshalText(text []byte) error { return gates.Unmarshal(g, text) }

// Size gives the width and height of the gate, zeros for an unknown Gate.
func (g Gate) Size() (width, height unit.Length) {
	const inch = 25.4 * millimetre
	switch g {
	case GateFull:
		return 0.980 * inch, 0.735 * inch
	case GateAcademyProjector:
		return 0.825 * inch, 0.602 * inch
	case GateStill:
		return 36 * millimetre, 24 * millimetre
	case GateAcademy:
		return 0.866 * inch, 0.630 * inch
	case GateAnamorphic:
		return 0.866 * inch, 0.732 * inch
	case GateAnamorphicProjector:
		return 0.825 * inch, 0.690 * inch
	case GateProjector166:
		return 0.825 * inch, 0.497 * inch
	case GateProjector185:
		return 0.825 * inch, 0.446 * inch
	case GateSuper35Flat:
		return 0.945 * inch, 0.511 * inch
	case GateSuper35Scope:
		return 0.945 * inch, 0.394 * inch
	}
	return 0, 0
}

// Delivery is a standard raster for delivered pictures. Its zero value is none.
//
// Sources: FFmpeg, ffmpeg-utils manual, section "Video size" (names 2k to
// 4kscope, uhd2160, uhd4320). From memory: SMPTE ST 428-1 for those of digital
// cinema, ITU-R BT.709 for HD1080, ITU-R BT.2020 for the two of UHD.
type Delivery uint8

// The delivery rasters.
const (
	Cinema2K      Delivery = iota + 1 // 2048 × 1080, the container of digital cinema
	Cinema2KFlat                      // 1998 × 1080, 1.85:1 within Cinema2K
	Cinema2KScope                     // 2048 × 858, 2.39:1 within Cinema2K
	Cinema4K                          // 4096 × 2160, the container of digital cinema
	Cinema4KFlat                      // 3996 × 2160, 1.85:1 within Cinema4K
	Cinema4KScope                     // 4096 × 1716, 2.39:1 within Cinema4K
	UHD2160                           // 3840 × 2160
	UHD4320                           // 7680 × 4320
	HD1080                            // 1920 × 1080
)

var deliveries = enum.New[Delivery](ErrInvalid, []string{
	Cinema2K: "cinema 2K", Cinema2KFlat: "cinema 2K flat", Cinema2KScope: "cinema 2K scope",
	Cinema4K: "cinema 4K", Cinema4KFlat: "cinema 4K flat", Cinema4KScope: "cinema 4K scope",
	UHD2160: "UHD 2160", UHD4320: "UHD 4320", HD1080: "HD 1080",
})

// String gives a name like "cinema 4K flat".
func (d Delivery) String() string { return deliveries.Name(d) }

// MarshalText gives the name. An unknown Delivery is an error.
func (d Delivery) MarshalText() ([]byte, error) { return deliveries.Marshal(d) }

// UnmarshalText reads a name. Any other text is an error and leaves d unchanged.
func (d *Delivery) UnmarshalText(text []byte) error { return deliveries.Unmarshal(d, text) }

// Raster is the raster of the delivery, zero for an unknown Delivery.
func (d Delivery) Raster() Raster {
	switch d {
	case Cinema2K:
		return Raster{2048, 1080}
	case Cinema2KFlat:
		return Raster{1998, 1080}
	case Cinema2KScope:
		return Raster{2048, 858}
	case Cinema4K:
		return Raster{4096, 2160}
	case Cinema4KFlat:
		return Raster{3996, 2160}
	case Cinema4KScope:
		return Raster{4096, 1716}
	case UHD2160:
		return Raster{3840, 2160}
	case UHD4320:
		return Raster{7680, 4320}
	case HD1080:
		return Raster{1920, 1080}
	}
	return Raster{}
}
