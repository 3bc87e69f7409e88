package transfer

import (
	"math"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/special"
	"example.com/platewright/internal/valid"
	"example.com/platewright/lens"
	"gonum.org/v1/gonum/unit"
)

// SystemSpec describes everything between a scene and the numbers of a sensor
// that takes contrast from detail. A zero field below Wavelength takes none.
type SystemSpec struct {
	// Lens comes from lens.New. Of its model only the paraxial focal length counts.
	// JSON cannot hold it.
	Lens lens.Lens
	// Wavelength is from 10 nm to 30 µm. The eye is most sensitive to 555 nm.
	Wavelength unit.Length
	// Pitch is the distance from photosite to photosite, from 100 nm to 1 mm.
	// Zero means that there are none.
	Pitch unit.Length
	// Aperture is the shape of the part of a photosite that is sensitive to light,
	// and ApertureWidth its side or diameter, up to two pitches. A width of zero is
	// that of the pitch: microlenses make it so (common practice).
	Aperture      Aperture
	ApertureWidth unit.Length
	// LowPass is the filter in front of the photosites.
	LowPass LowPass
	// Motion is the movement of the picture during the exposure.
	Motion Motion
	// Vibration is the standard deviation of the picture's displacement by
	// vibration, the same in all directions, as in JitterOTF.
	Vibration unit.Length
}

// Aperture is the shape of the part of a photosite that is sensitive to light.
type Aperture uint8

const (
	// SquareAperture has its sides along rows and columns.
	SquareAperture Aperture = iota
	// RoundAperture is a disc.
	RoundAperture
)

var apertures = enum.New[Aperture](ErrInvalid, []string{SquareAperture: "square", RoundAperture: "round"})

// String gives a name like "square".
func (a Aperture) String() string { return apertures.Name(a) }

// MarshalText gives the name. An unknown Aperture is an error.
func (a Aperture) MarshalText() ([]byte, error) { return apertures.Marshal(a) }

// UnmarshalText reads a name. Any other text is an error and leaves a unchanged.
func (a *Aperture) UnmarshalText(text []byte) error { return apertures.Unmarshal(a, text) }

// LowPass is an optical low-pass filter: birefringent plates, which double the
// picture. The transfer function of two spots is the first line, that of four
// spots the second:
//
//	cos(π ν d cos δ)
//	cos(π ν d cos δ) cos(π ν d sin δ)
//
// d is the Separation, and δ the angle from Direction to the direction in which
// the pattern varies. A separation of one pitch takes all contrast from the
// Nyquist frequency along Direction.
//
// Source: J. E. Greivenkamp, Color dependent optical prefilter for the suppression
// of aliasing artifacts, Applied Optics 29 (1990) 676, from memory.
type LowPass struct {
	Spots Spots
	// Separation is the distance between the two spots, or the side of the square
	// that the four are the corners of.
	Separation unit.Length
	// Direction is that of the line through two spots, or of a side of the square.
	Direction unit.Angle
}

// Spots says of how many pictures a low-pass filter makes one.
type Spots uint8

const (
	// NoSpots is no filter.
	NoSpots Spots = iota
	// TwoSpots is one plate.
	TwoSpots
	// FourSpots is two plates that double in directions at right angles.
	FourSpots
)

var spots = enum.New[Spots](ErrInvalid, []string{NoSpots: "none", TwoSpots: "two spots", FourSpots: "four spots"})

// String gives a name like "two spots".
func (s Spots) String() string { return spots.Name(s) }

// MarshalText gives the name. An unknown Spots is an error.
func (s Spots) MarshalText() ([]byte, error) { return spots.Marshal(s) }

// UnmarshalText reads a name. Any other text is an error and leaves s unchanged.
func (s *Spots) UnmarshalText(text []byte) error { return spots.Unmarshal(s, text) }

// Motion is the straight, uniform movement of the picture on the sensor during
// the exposure.
type Motion struct {
	Length    unit.Length
	Direction unit.Angle
}

// System is a lens with a sensor behind it. It is immutable, and safe for
// concurrent use. Systems from equal specs are equal with == if the models of
// their lenses are comparable. The methods of the zero System give ok = false or
// an error.
type System struct {
	spec    SystemSpec
	focal   float64 // m, paraxial
	fNumber float64
}

// NewSystem checks a spec.
func NewSystem(spec SystemSpec) (System, error) {
	c := valid.New("transfer", ErrInvalid)
	infinity := unit.Length(math.Inf(1))
	n, ok := spec.Lens.WorkingFNumber(infinity)
	if !ok {
		c.Fault("lens", "Lens{}", "must come from lens.New")
	}
	c.Length("wavelength", spec.Wavelength, valid.Wavelengths)
	if spec.Pitch != 0 {
		c.Length("pitch", spec.Pitch, valid.Pitches)
	}
	widest := valid.Pitches.Max
	if c.OK() {
		widest = float64(spec.Pitch)
	}
	apertures.Check(c, "aperture", spec.Aperture)
	c.Length("width of the aperture", spec.ApertureWidth, valid.Closed(0, 2*widest))
	spots.Check(c, "low-pass filter", spec.LowPass.Spots)
	c.Length("separation of the spots", spec.LowPass.Separation, spreads)
	if spec.LowPass.Spots == NoSpots && spec.LowPass.Separation != 0 {
		c.Unset("number of spots of the low-pass filter")
	}
	c.Angle("direction of the low-pass filter", spec.LowPass.Direction, valid.Turns)
	c.Length("length of the motion", spec.Motion.Length, spreads)
	c.Angle("direction of the motion", spec.Motion.Direction, valid.Turns)
	c.Length("vibration", spec.Vibration, spreads)
	if !c.OK() {
		return System{}, c.Err()
	}
	if spec.ApertureWidth == 0 {
		spec.ApertureWidth = spec.Pitch
	}
	// Focused at infinity, a thing at 1 m blurs to f²/N over 1 m.
	blur, _ := spec.Lens.Blur(infinity, 1*unit.Metre)
	return System{spec: spec, focal: math.Sqrt(float64(blur) * n), fNumber: n}, nil
}

// OTF is the transfer function of the whole system: the product of those of its
// parts, with its sign. The lens contributes DefocusOTF, which contains
// diffraction, for the Blur of the object and the WorkingFNumber of the focus.
//
// The frequency is in line pairs per millimetre on the sensor. The direction is
// that in which the pattern varies, from −360° to 360°: 0° for vertical stripes.
// ok is false if an argument is outside its range, if the focus distance is not
// more than the focal length, or if the blur is too large for DefocusOTF.
//
// Source: transforms of independent spreads multiply.
func (s System) OTF(linePairsPerMM float64, direction unit.Angle, focus, object unit.Length) (otf float64, ok bool) {
	spot, blur, ok := s.spread(focus, object)
	if !ok || !valid.Frequencies.Contains(linePairsPerMM) || !valid.Turns.Contains(float64(direction)) {
		return 0, false
	}
	optics, ok := defocused(linePairsPerMM, spot, blur)
	if !ok {
		return 0, false
	}
	return optics*s.behind(linePairsPerMM, float64(direction)) + 0, true // no −0
}

// spread is λ times the working f-number, and the diameter of the blur, in metres.
func (s System) spread(focus, object unit.Length) (spot, blur float64, ok bool) {
	b, okBlur := s.spec.Lens.Blur(focus, object)
	n, okN := s.spec.Lens.WorkingFNumber(focus)
	return float64(s.spec.Wavelength) * n, float64(b), okBlur && okN
}

// behind is the transfer function of all that is not the lens.
func (s System) behind(linePairsPerMM, direction float64) float64 {
	nu := 1e3 * linePairsPerMM
	return s.photosite(nu, direction) * s.lowPass(nu, direction) * s.motion(nu, direction) * s.vibration(nu)
}

// The parts behind the lens take the frequency in periods per metre.

func (s System) photosite(nu, direction float64) float64 {
	x := nu * float64(s.spec.ApertureWidth)
	if s.spec.Aperture == RoundAperture {
		return jinc(x)
	}
	sin, cos := math.Sincos(direction)
	return special.Sinc(x*cos) * special.Sinc(x*sin)
}

func (s System) lowPass(nu, direction float64) float64 {
	f := s.spec.LowPass
	sin, cos := math.Sincos(direction - float64(f.Direction))
	x := math.Pi * nu * float64(f.Separation)
	otf := math.Cos(x * cos)
	if f.Spots == FourSpots {
		otf *= math.Cos(x * sin)
	}
	return otf
}

func (s System) motion(nu, direction float64) float64 {
	m := s.spec.Motion
	return special.Sinc(nu * float64(m.Length) * math.Cos(direction-float64(m.Direction)))
}

func (s System) vibration(nu float64) float64 { return gauss(nu * float64(s.spec.Vibration)) }

// reversal is the lowest frequency, in line pairs per millimetre, at which a part
// behind the lens leaves nothing. Below it all of them fall as the frequency
// grows; above it contrast may be reversed.
func (s System) reversal(direction float64) float64 {
	most := 0.0 // the greatest inverse, in metres
	zero := func(length, direction float64) {
		sin, cos := math.Sincos(direction)
		most = max(most, length*math.Abs(cos), length*math.Abs(sin))
	}
	if width := float64(s.spec.ApertureWidth); s.spec.Aperture == RoundAperture {
		most = width * math.Pi / airyZero
	} else {
		zero(width, direction)
	}
	f, m := s.spec.LowPass, s.spec.Motion
	if f.Spots == FourSpots {
		zero(2*float64(f.Separation), direction-float64(f.Direction))
	} else {
		most = max(most, 2*float64(f.Separation)*math.Abs(math.Cos(direction-float64(f.Direction))))
	}
	most = max(most, float64(m.Length)*math.Abs(math.Cos(direction-float64(m.Direction))))
	return 1e-3 / most
}

// Part is a part of a System that takes contrast.
type Part uint8

const (
	// Diffraction is that of the lens in focus.
	Diffraction Part = iota + 1
	// Defocus is what the lens takes beyond that because the object is out of focus.
	Defocus
	// PhotositeAperture is the averaging over the sensitive part of a photosite.
	PhotositeAperture
	// LowPassFilter is the filter in front of the photosites.
	LowPassFilter
	// UniformMotion is the movement during the exposure.
	UniformMotion
	// Vibration is the random movement during the exposure.
	Vibration
)

var parts = enum.New[Part](ErrInvalid, []string{
	Diffraction: "diffraction", Defocus: "defocus", PhotositeAperture: "photosite aperture",
	LowPassFilter: "low-pass filter", UniformMotion: "motion", Vibration: "vibration",
})

// String gives a name like "low-pass filter".
func (p Part) String() string { return parts.Name(p) }

// MarshalText gives the name. An unknown Part is an error.
func (p Part) MarshalText() ([]byte, error) { return parts.Marshal(p) }

// UnmarshalText reads a name. Any other text is an error and leaves p unchanged.
func (p *Part) UnmarshalText(text []byte) error { return parts.Unmarshal(p, text) }

// Losses are what each part of a system leaves of the contrast at a frequency.
// Each is from −1 to 1, and their product is System.OTF.
type Losses struct {
	Diffraction float64
	// Defocus is DefocusOTF over DiffractionOTF; from CutoffFrequency on it is 1.
	Defocus   float64
	Photosite float64
	LowPass   float64
	Motion    float64
	Vibration float64
}

// Losses says how the contrast at a frequency is lost. Arguments and ok are those
// of OTF.
func (s System) Losses(linePairsPerMM float64, direction unit.Angle, focus, object unit.Length) (l Losses, ok bool) {
	spot, blur, ok := s.spread(focus, object)
	if !ok || !valid.Frequencies.Contains(linePairsPerMM) || !valid.Turns.Contains(float64(direction)) {
		return Losses{}, false
	}
	return s.losses(linePairsPerMM, float64(direction), spot, blur)
}

func (s System) losses(linePairsPerMM, direction, spot, blur float64) (l Losses, ok bool) {
	optics, ok := defocused(linePairsPerMM, spot, blur)
	if !ok {
		return Losses{}, false
	}
	nu := 1e3 * linePairsPerMM
	l = Losses{
		Defocus: 1, Photosite: s.photosite(nu, direction), LowPass: s.lowPass(nu, direction),
		Motion: s.motion(nu, direction), Vibration: s.vibration(nu),
	}
	if l.Diffraction, _ = defocused(linePairsPerMM, spot, 0); l.Diffraction > 0 {
		l.Defocus = optics / l.Diffraction
	}
	return l, true
}

// Least is the part that leaves the least contrast. A part that reverses contrast
// leaves less than one that leaves none.
func (l Losses) Least() Part {
	least, value := Diffraction, l.Diffraction
	for i, v := range []float64{l.Defocus, l.Photosite, l.LowPass, l.Motion, l.Vibration} {
		if v < value {
			least, value = Defocus+Part(i), v
		}
	}
	return least
}
