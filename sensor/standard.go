package sensor

import "gonum.org/v1/gonum/unit"

// Aperture is a published picture area of 35 mm film, with which formats are
// compared. Its zero value is none.
//
// Sources: the encyclopedia article "35 mm film, technical specifications",
// in inches; the full aperture also in Practical Cinematography, 2nd ed.,
// ch. 20; the still frame in an excerpt of the BKSTS Illustrated Dictionary,
// app. C (ISO 1007).
type Aperture int

// The apertures.
const (
	// ApertureFull is the full (silent) camera aperture, and that of four
	// perforations of Super 35: 0.980 in × 0.735 in.
	ApertureFull Aperture = iota + 1
	// ApertureAcademy is the camera aperture with a sound track: 0.866 × 0.630 in.
	ApertureAcademy
	// ApertureAnamorphic is the camera aperture of anamorphic pictures, on the
	// film before they are widened: 0.866 × 0.732 in.
	ApertureAnamorphic
	// ApertureSuper185 is taken out of the full width for 1.85:1: 0.945 × 0.511 in.
	ApertureSuper185
	// ApertureSuper239 is taken out of the full width for 2.39:1: 0.945 × 0.394 in.
	ApertureSuper239
	// ApertureProjector137 is projected at 1.37:1: 0.825 × 0.602 in.
	ApertureProjector137
	// ApertureProjector166 is projected at 1.66:1: 0.825 × 0.497 in.
	ApertureProjector166
	// ApertureProjector185 is projected at 1.85:1: 0.825 × 0.446 in.
	ApertureProjector185
	// ApertureProjectorAnamorphic is projected through an anamorphic lens:
	// 0.825 × 0.690 in.
	ApertureProjectorAnamorphic
	// ApertureStill is the still frame: 36 × 24 mm.
	ApertureStill
)

const inch = 25.4 * millimetre

var apertures = [...]struct {
	name          string
	width, height unit.Length
}{
	ApertureFull:                {"full aperture", 0.980 * inch, 0.735 * inch},
	ApertureAcademy:             {"Academy aperture", 0.866 * inch, 0.630 * inch},
	ApertureAnamorphic:          {"anamorphic aperture", 0.866 * inch, 0.732 * inch},
	ApertureSuper185:            {"Super 35 extraction 1.85:1", 0.945 * inch, 0.511 * inch},
	ApertureSuper239:            {"Super 35 extraction 2.39:1", 0.945 * inch, 0.394 * inch},
	ApertureProjector137:        {"projector aperture 1.37:1", 0.825 * inch, 0.602 * inch},
	ApertureProjector166:        {"projector aperture 1.66:1", 0.825 * inch, 0.497 * inch},
	ApertureProjector185:        {"projector aperture 1.85:1", 0.825 * inch, 0.446 * inch},
	ApertureProjectorAnamorphic: {"anamorphic projector aperture", 0.825 * inch, 0.690 * inch},
	ApertureStill:               {"still frame", 36 * millimetre, 24 * millimetre},
}

// Size is the width and the height of the aperture, zero where it is none of
// the constants.
func (a Aperture) Size() (width, height unit.Length) {
	if a < 1 || int(a) >= len(apertures) {
		return 0, 0
	}
	return apertures[a].width, apertures[a].height
}

// String is like "still frame".
func (a Aperture) String() string {
	if a < 1 || int(a) >= len(apertures) {
		return "no aperture"
	}
	return apertures[a].name
}

// Delivery is a published raster in which pictures are delivered. Its zero
// value is none.
//
// Sources: FFmpeg, ffmpeg-utils manual, section "Video size" (names 2k to
// 4kscope, uhd2160, uhd4320); the latter two also ITU-R BT.2020 (from memory).
type Delivery int

// The delivery rasters.
const (
	// Cinema2K is the 2048 × 1080 container of digital cinema.
	Cinema2K Delivery = iota + 1
	// Cinema2KFlat is 1998 × 1080, 1.85:1 within Cinema2K.
	Cinema2KFlat
	// Cinema2KScope is 2048 × 858, 2.39:1 within Cinema2K.
	Cinema2KScope
	// Cinema4K is the 4096 × 2160 container of digital cinema.
	Cinema4K
	// Cinema4KFlat is 3996 × 2160, 1.85:1 within Cinema4K.
	Cinema4KFlat
	// Cinema4KScope is 4096 × 1716, 2.39:1 within Cinema4K.
	Cinema4KScope
	// UHD2160 is 3840 × 2160.
	UHD2160
	// UHD4320 is 7680 × 4320.
	UHD4320
)

var deliveries = [...]struct {
	name   string
	raster Raster
}{
	Cinema2K:      {"cinema 2K", Raster{2048, 1080}},
	Cinema2KFlat:  {"cinema 2K flat", Raster{1998, 1080}},
	Cinema2KScope: {"cinema 2K scope", Raster{2048, 858}},
	Cinema4K:      {"cinema 4K", Raster{4096, 2160}},
	Cinema4KFlat:  {"cinema 4K flat", Raster{3996, 2160}},
	Cinema4KScope: {"cinema 4K scope", Raster{4096, 1716}},
	UHD2160:       {"UHD 2160", Raster{3840, 2160}},
	UHD4320:       {"UHD 4320", Raster{7680, 4320}},
}

// Raster is the raster delivered, zero where it is none of the constants.
func (d Delivery) Raster() Raster {
	if d < 1 || int(d) >= len(deliveries) {
		return Raster{}
	}
	return deliveries[d].raster
}

// String is like "cinema 4K flat".
func (d Delivery) String() string {
	if d < 1 || int(d) >= len(deliveries) {
		return "no delivery"
	}
	return deliveries[d].name
}
