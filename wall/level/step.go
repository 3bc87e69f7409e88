package level

import (
	"fmt"
	"math"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// Measure is a way to judge whether a step of luminance is visible.
type Measure uint8

const (
	GSDF   Measure = iota + 1 // in indices of the GSDF: an average step in an ordinary picture
	Barten                    // in thresholds of Barten's model at the best spatial frequency: stricter
)

var measures = enum.New[Measure](ErrInvalid, []string{GSDF: "GSDF", Barten: "Barten"})

func (m Measure) String() string { return measures.Name(m) }

// MarshalText gives the name of the measure.
func (m Measure) MarshalText() ([]byte, error) { return measures.Marshal(m) }

// UnmarshalText reads the name of a measure.
func (m *Measure) UnmarshalText(text []byte) error { return measures.Unmarshal(m, text) }

// Viewer is who looks. The zero Viewer is an eye on the set.
type Viewer struct {
	// Gain is the luminance seen over the luminance of the wall, 1e-6 to 1e6; 0: 1.
	// It is the screen's luminance over the wall's for somebody who watches the filmed
	// picture, if camera and screen together are linear.
	Gain  float64
	Field unit.Angle // side of the field that the viewer looks at, 0.1° to 180°; 0: 40°
}

func (v Viewer) checked(c *valid.Checker) Viewer {
	if v.Gain == 0 {
		v.Gain = 1
	}
	if v.Field == 0 {
		v.Field = 40 * Degree
	}
	c.Number("gain", v.Gain, "", valid.Closed(1e-6, 1e6))
	c.Angle("field", v.Field, fields)
	return v
}

// Step is the step from a code to the next.
type Step struct {
	Code     int     // the lower one
	From, To float64 // cd/m², as the viewer sees them
	Contrast float64 // modulation, (To − From)/(To + From)

	// JND is the step in indices of the GSDF. InGSDF is false if From or To is outside
	// 0.05 to 3993.4 cd/m²; JND is 0 then and says nothing.
	JND    float64
	InGSDF bool

	// Thresholds is the step in thresholds of Barten's model, (4/π) Contrast S, where S
	// is ContrastSensitivity at the best spatial frequency and 4/π makes a row of bands
	// of its fundamental.
	Thresholds float64
}

// Step is the step from a code to the next, for a viewer. A step of more than one
// JND, or one threshold, can show as a band in a smooth gradient: the sky, a wall, mist.
// The last code has no step: it, and any outside the codes, is an error.
//
// Source of the factor 4/π: Report ITU-R BT.2246, from memory.
func (d Display) Step(code int, viewer Viewer) (Step, error) {
	c := d.check()
	viewer = viewer.checked(c)
	if d.t != nil {
		c.Int("code", code, "", 0, len(d.t.luminances)-2)
	}
	if !c.OK() {
		return Step{}, c.Err()
	}
	return d.t.step(code, code+1, viewer), nil
}

func (t *table) step(code, to int, v Viewer) Step {
	s := Step{Code: code, From: t.luminances[code] * v.Gain, To: t.luminances[to] * v.Gain}
	from, okFrom := JNDIndex(s.From)
	above, okTo := JNDIndex(s.To)
	if okFrom && okTo {
		s.JND, s.InGSDF = above-from, true
	}
	if s.To > s.From {
		s.Contrast = (s.To - s.From) / (s.To + s.From)
		s.Thresholds = 4 / math.Pi * s.Contrast * bestSensitivity((s.From+s.To)/2, float64(v.Field/Degree))
	}
	return s
}

// by is a step in one measure. ok is false if the measure does not reach so far.
func (s Step) by(m Measure) (size float64, ok bool) {
	if m == Barten {
		return s.Thresholds, true
	}
	return s.JND, s.InGSDF || s.From == s.To
}

// Banding says where single steps of code are visible.
type Banding struct {
	Ranges   []Range // from dark to bright; none: no step that was judged is visible
	Unjudged int     // steps outside the GSDF, of which nothing is known; 0 by Barten
}

// Range is a run of codes whose steps are all visible. Steps between codes that show
// the same do not end it.
type Range struct {
	First, Last int     // codes at the lower ends of the first and last visible step
	From, To    float64 // cd/m², as the viewer sees them, from code First to Last + 1
	Worst       Step    // by the measure
}

// Banding finds the codes at which a step exceeds limit, in JND or thresholds: 1 is
// just visible. The limit is 1e-3 to 1e3. A range is where a slow gradient can show
// bands; noise and texture of the plate hide them.
func (d Display) Banding(by Measure, limit float64, viewer Viewer) (Banding, error) {
	c := d.check()
	viewer = checkJudge(c, by, limit, viewer)
	if !c.OK() {
		return Banding{}, c.Err()
	}
	var b Banding
	open := false // the last range goes on
	worst := 0.0
	for code := range len(d.t.luminances) - 1 {
		if d.t.luminances[code] == d.t.luminances[code+1] {
			continue
		}
		s := d.t.step(code, code+1, viewer)
		size, ok := s.by(by)
		if !ok {
			b.Unjudged++
		}
		if !(size > limit) {
			open = false
			continue
		}
		if !open {
			open, worst = true, 0
			b.Ranges = append(b.Ranges, Range{First: code, From: s.From})
		}
		r := &b.Ranges[len(b.Ranges)-1]
		r.Last, r.To = code, s.To
		if size > worst {
			worst, r.Worst = size, s
		}
	}
	return b, nil
}

// FirstVisible is the lowest code that stands out from black by more than limit, in
// JND or thresholds: 1 is just visible. Codes below it show black; set light on
// the wall raises it. The limit is 1e-3 to 1e3. By GSDF, a black that the viewer
// sees below 0.05 cd/m² is an error. So is a wall on which no code stands out.
func (d Display) FirstVisible(by Measure, limit float64, viewer Viewer) (code int, err error) {
	c := d.check()
	viewer = checkJudge(c, by, limit, viewer)
	if !c.OK() {
		return 0, c.Err()
	}
	unjudged := false
	for code := 1; code < len(d.t.luminances); code++ {
		if d.t.luminances[code] == d.t.luminances[code-1] {
			continue
		}
		size, ok := d.t.step(0, code, viewer).by(by)
		if !ok {
			unjudged = true
			break
		}
		if size > limit {
			return code, nil
		}
	}
	if unjudged {
		c.Fault("luminance of black", fmt.Sprintf("%g cd/m² seen", d.t.luminances[0]*viewer.Gain), "must be in the GSDF, as must the codes above: 0.05 to 3993.4 cd/m²; judge by %v", Barten)
	} else {
		c.Fault("limit", fmt.Sprint(limit), "must be less, since no code stands out from black so far")
	}
	return 0, c.Err()
}

func checkJudge(c *valid.Checker, by Measure, limit float64, viewer Viewer) Viewer {
	measures.Check(c, "measure", by)
	c.Number("limit", limit, "", valid.Closed(1e-3, 1e3))
	return viewer.checked(c)
}
