package lens

import (
	"encoding/json"
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// DepthOfField is what looks sharp around the focus distance. Where that
// reaches infinity, Far and Total are +Inf in Go and null in JSON, which has no
// infinity.
type DepthOfField struct {
	Near, Far unit.Length
	Total     unit.Length // Far − Near, to full precision where they are close
}

// depthJSON is a DepthOfField as JSON holds it.
type depthJSON struct {
	Near       unit.Length
	Far, Total *unit.Length
}

// MarshalJSON writes the three lengths in metres, null for an infinite one.
func (d DepthOfField) MarshalJSON() ([]byte, error) {
	j := depthJSON{Near: d.Near}
	if !math.IsInf(float64(d.Far), 1) {
		j.Far, j.Total = &d.Far, &d.Total
	}
	return json.Marshal(j)
}

// UnmarshalJSON reads what MarshalJSON writes.
func (d *DepthOfField) UnmarshalJSON(data []byte) error {
	far, total := unit.Length(math.Inf(1)), unit.Length(math.Inf(1))
	j := depthJSON{Far: &far, Total: &total}
	if err := json.Unmarshal(data, &j); err != nil {
		return err
	}
	*d = DepthOfField{Near: j.Near, Far: far, Total: total}
	return nil
}

// Hyperfocal is the nearest focus distance at which infinity still looks
// sharp:
//
//	H = f²/(N c) + f
//
// f is the paraxial focal length. Sharp is meant by geometry, without
// diffraction; the package comment says more, and where distances are measured.
// The circle of confusion c is the widest blur on the sensor that counts as
// sharp: see CircleOfConfusion, or take a count of photosites, like 2 * pitch.
// It is more than 0 and less than the diameter of the entrance pupil f/N;
// otherwise there is no answer.
//
// Source: geometry of the thin lens; common practice.
func (l Lens) Hyperfocal(confusion unit.Length) (unit.Length, bool) {
	q, ok := l.confusionOfPupil(confusion)
	if !ok {
		return 0, false
	}
	h := l.focal/q + l.focal
	return unit.Length(h), !math.IsInf(h, 1)
}

// DepthOfField is what looks sharp with the lens focused at a distance, by the
// geometry of a thin lens, without diffraction:
//
//	near = s (H − f)/(H + s − 2f)
//	far  = s (H − f)/(H − s), +Inf for s ≥ H
//
// with the hyperfocal distance H of the circle of confusion, whose domain is
// that of Hyperfocal. The focus distance s is more than the focal length and
// may be +Inf; otherwise there is no answer. near ≤ s ≤ far always. A far
// limit beyond about 10^15 times the focus distance is taken for infinity. There
// is no answer where the near limit is beyond the largest float64.
//
// Source: geometry of the thin lens, after R. Kingslake, Lenses in Photography
// (1951), from memory.
func (l Lens) DepthOfField(focus, confusion unit.Length) (DepthOfField, bool) {
	q, ok := l.confusionOfPupil(confusion)
	s := float64(focus)
	if !ok || !l.focusable(s) {
		return DepthOfField{}, false
	}
	// In reciprocal distances the limits lie evenly about the focus, at 1/s ± d.
	d := q * vergence(l.focal, s)
	near := math.Min(1/(1/s+d), s)
	if math.IsInf(near, 1) {
		return DepthOfField{}, false
	}
	far := math.Inf(1)
	if w := 1/s - d; w > 0x1p-50/s {
		far = math.Max(1/w, s)
	}
	total := far
	if !math.IsInf(far, 1) {
		total = 2 * d * near * far
	}
	return DepthOfField{Near: unit.Length(near), Far: unit.Length(far), Total: unit.Length(total)}, true
}

// FocusBetween is the focus distance and the widest aperture at which all from
// near to far looks sharp:
//
//	1/s = (1/near + 1/far)/2
//	N   = f² (far − near)/(c (s − f)(far + near))
//
// The f-number of the lens itself plays no part, and the answer may be one
// that no lens has. near is more than the focal length, far more than near and
// may be +Inf, the circle of confusion is positive and finite; otherwise there
// is no answer.
//
// Source: as DepthOfField, solved for s and N.
func (l Lens) FocusBetween(near, far, confusion unit.Length) (focus unit.Length, fNumber float64, ok bool) {
	n, f, c := float64(near), float64(far), float64(confusion)
	if !l.focusable(n) || !(f > n) || !(c > 0) || math.IsInf(c, 1) {
		return 0, 0, false
	}
	s := 2 / (1/n + 1/f)
	// 2/(1/n + 1/n) may round to below n, where f is close to it.
	s = math.Max(s, n)
	fNumber = l.focal / c * (vergence(n, f) / 2 / vergence(l.focal, s))
	if !(fNumber > 0) || math.IsInf(fNumber, 1) {
		return 0, 0, false
	}
	return unit.Length(s), fNumber, true
}

// Blur is the diameter on the sensor of the disc into which a point of an
// object blurs, when the lens is focused at another distance:
//
//	b = (f/N) f |s − d|/(d (s − f))
//
// Diffraction is left out. The focus distance is that of DepthOfField; the
// object distance d is more than 0 and may be +Inf.
//
// Source: as DepthOfField.
func (l Lens) Blur(focus, object unit.Length) (unit.Length, bool) {
	s, d := float64(focus), float64(object)
	if !l.focusable(s) || !(d > 0) {
		return 0, false
	}
	b := l.focal / l.fNumber * (vergence(s, d) / vergence(l.focal, s))
	return unit.Length(b), !math.IsInf(b, 1)
}

// WorkingFNumber is the f-number of the cone of light that reaches the sensor
// when the lens is focused at a distance:
//
//	N (1 + |m|) = N s/(s − f)
//
// Exposure and diffraction follow it. The focus distance is that of
// DepthOfField.
//
// Source: OpenStax, University Physics Volume 3 (2016), section 2.4, for m; a
// lens whose two pupils are of one size, common practice.
func (l Lens) WorkingFNumber(focus unit.Length) (float64, bool) {
	s := float64(focus)
	if !l.focusable(s) {
		return 0, false
	}
	return l.fNumber / (l.focal * vergence(l.focal, s)), true
}

// CircleOfConfusion is the blur on the sensor that a viewer sees under an
// angle, when what the sensor records is shown enlarged:
//
//	c = 2 D tan(a/2)/M
//
// D is the viewing distance and M the length of anything in the picture shown
// over its length on the sensor. The angle lies between 0 and 180°; a sharp
// eye tells apart about one arc-minute (common practice). The distance is
// more than 0 and at most 100 km, the enlargement from 0.001 to 1e6.
//
// Source: plane geometry.
func CircleOfConfusion(angle unit.Angle, distance unit.Length, enlargement float64) (unit.Length, error) {
	c := valid.New("lens", ErrInvalid)
	c.Angle("angle", angle, valid.Between[unit.Angle](0, math.Pi))
	c.Length("viewing distance", distance, valid.Above(0, 100*unit.Kilo*unit.Metre))
	c.Number("enlargement", enlargement, "", valid.Closed(1e-3, 1e6))
	if !c.OK() {
		return 0, c.Err()
	}
	return unit.Length(2 * math.Tan(float64(angle)/2) * (float64(distance) / enlargement)), nil
}

// confusionOfPupil is the circle of confusion in diameters of the entrance
// pupil. A circle as wide as the pupil would call everything sharp; nearly
// always it is one in the wrong unit.
func (l Lens) confusionOfPupil(confusion unit.Length) (float64, bool) {
	q := float64(confusion) / (l.focal / l.fNumber)
	return q, q > 0 && q < 1
}

// focusable reports whether a real image of a distance exists.
func (l Lens) focusable(s float64) bool { return l.focal > 0 && s > l.focal }

// vergence is |1/a − 1/b|, to full precision for a near b. Either may be +Inf.
func vergence(a, b float64) float64 {
	lo, hi := math.Min(a, b), math.Max(a, b)
	switch {
	case math.IsInf(lo, 1):
		return 0
	case math.IsInf(hi, 1):
		return 1 / lo
	}
	return (hi - lo) / hi / lo
}
