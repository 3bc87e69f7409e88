package wide

import (
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// Fisheye170 is a published fisheye of 170° and f/1.8, scaled to a focal length. Its
// pupil walks forward by 4.2 focal lengths between the axis and 85°.
//
// The table comes from an exact ray trace of the prescription in light of 587.6 nm. Its
// rays go through the middle of the aperture, and its illumination is the limit of a
// small aperture: rims do not vignette, and surfaces reflect nothing. It is a lens to
// plan with, and says nothing about a lens as built. A focal length that is not from
// 0.1 mm to 28 mm is an error.
//
// Source: M. Laikin, Lens Design, 4th edition (2007), p. 114.
func Fisheye170(focalLength unit.Length) (Spec, error) {
	return scaled(focalLength, 28*unit.Milli*unit.Metre, 1.8, fisheye170[:])
}

// Retrofocus100 is a published wide-angle lens of 100° and f/4, scaled to a focal length.
// It is nearer to a fisheye than to a rectilinear lens: at 50° its image height is 8 %
// less than f θ and 33 % less than f tan θ. The table is made as that of Fisheye170. A
// focal length that is not from 0.1 mm to 100 mm is an error.
//
// Source: M. Laikin, Lens Design, 4th edition (2007), p. 108.
func Retrofocus100(focalLength unit.Length) (Spec, error) {
	return scaled(focalLength, 100*unit.Milli*unit.Metre, 4, retrofocus100[:])
}

// row is a Point with lengths in focal lengths and angles in degrees.
type row struct{ angle, height, pupil, illumination, aspect float64 }

func scaled(focalLength, longest unit.Length, fNumber float64, rows []row) (Spec, error) {
	c := valid.New("wide", ErrInvalid)
	// Longer ones would have their pupil more than 1 m from the sensor.
	c.Length("focal length", focalLength, valid.Closed(unit.Length(valid.FocalLengths.Min), longest))
	if !c.OK() {
		return Spec{}, c.Err()
	}
	spec := Spec{FNumber: fNumber, Points: make([]Point, len(rows))}
	for i, r := range rows {
		spec.Points[i] = Point{
			FieldAngle: unit.Angle(r.angle) * degree, ImageHeight: unit.Length(r.height) * focalLength,
			Pupil: unit.Length(r.pupil) * focalLength, Illumination: r.illumination, PupilAspect: r.aspect,
		}
	}
	return spec, nil
}

var fisheye170 = [...]row{
	{0, 0, 31.068551, 1, 1},
	{5, 0.0872018, 31.078368, 0.999797, 0.997149},
	{10, 0.1740167, 31.107974, 0.999190, 0.988648},
	{15, 0.2600646, 31.157848, 0.998193, 0.974647},
	{20, 0.3449780, 31.228805, 0.996826, 0.955387},
	{25, 0.4284074, 31.322021, 0.995115, 0.931184},
	{30, 0.5100244, 31.439071, 0.993092, 0.902403},
	{35, 0.5895231, 31.581977, 0.990796, 0.869436},
	{40, 0.6666182, 31.753259, 0.988266, 0.832659},
	{45, 0.7410398, 31.956007, 0.985546, 0.792402},
	{50, 0.8125239, 32.193939, 0.982681, 0.748903},
	{55, 0.8807985, 32.471464, 0.979720, 0.702275},
	{60, 0.9455657, 32.793713, 0.976713, 0.652479},
	{65, 1.0064811, 33.166517, 0.973711, 0.599342},
	{70, 1.0631363, 33.596297, 0.970773, 0.542626},
	{75, 1.1150515, 34.089808, 0.967960, 0.482194},
	{80, 1.1616913, 34.653740, 0.965336, 0.418259},
	{85, 1.2025124, 35.294194, 0.962966, 0.351641},
}

var retrofocus100 = [...]row{
	{0, 0, 9.203788, 1, 1},
	{5, 0.0871914, 9.207145, 1.000074, 0.997049},
	{10, 0.1739333, 9.217274, 1.000296, 0.988234},
	{15, 0.2597813, 9.234350, 1.000675, 0.973664},
	{20, 0.3443005, 9.258671, 1.001220, 0.953523},
	{25, 0.4270703, 9.290662, 1.001943, 0.928056},
	{30, 0.5076888, 9.330883, 1.002856, 0.897572},
	{35, 0.5857763, 9.380046, 1.003968, 0.862430},
	{40, 0.6609786, 9.439024, 1.005285, 0.823036},
	{45, 0.7329699, 9.508870, 1.006806, 0.779830},
	{50, 0.8014541, 9.590836, 1.008524, 0.733279},
}
