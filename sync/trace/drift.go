package trace

import (
	"math"
	"strconv"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// Drift is the result of MeasureDrift.
type Drift struct {
	// PPM is by how many millionths the offset grows in a time of a's clock. It is
	// positive if frames of b last longer than b's rate says, by a's clock. Error is its
	// standard uncertainty, one standard deviation.
	PPM, Error float64

	Start, StartError unit.Time // the offset at frame 0 of a, as Offset.Time

	Windows []Window // those in which the offset could be measured
	Refused int      // the number of those in which it could not
}

// Window is the offset in a part of a take.
type Window struct {
	Middle unit.Time // of the part, from frame 0 of a
	Offset Offset
}

// MeasureDrift finds by how much the clock of one recording runs away from that of
// another: the offset in windows along the take, and the line through them.
//
//	offset(t) = Start + PPM · 10⁻⁶ t
//
// The first window that has an offset is searched for in all of b, and each further one
// within a window's length of where the one before was. The uncertainty is that of the
// windows, or what their distance from the line says if that is more.
//
// A window outside 2 s to an hour, one that holds fewer than 64 frames of a trace, and
// more than 10000 windows are errors. So are fewer than five windows in which
// MeasureOffset has an answer, and windows that no line fits: a clock that jumped, or
// frames that were dropped.
func MeasureDrift(a, b Trace, window unit.Time) (Drift, error) {
	c := newChecker()
	a.check(c, "a")
	b.check(c, "b")
	c.Time("window", window, valid.Closed[unit.Time](2, 3600))
	if !c.OK() {
		return Drift{}, c.Err()
	}
	w := float64(window)
	each := int(w * a.fps())
	if n := int(w * math.Min(a.fps(), b.fps())); n < leastValues {
		c.Fault("window", strconv.Itoa(n)+" frames", "must hold at least %d frames of each trace", leastValues)
	} else if n := len(a.Values) / each; n > 10000 {
		c.Fault("windows", strconv.Itoa(n), "must be at most 10000: use a longer window")
	}
	if !c.OK() {
		return Drift{}, c.Err()
	}

	// An offset that changes within a window is that of the place where most happens. So
	// the windows are measured again with the drift taken out.
	var d Drift
	for range 2 {
		slope := d.PPM * 1e-6
		d = windows(a, b, w, each, slope)
		if n := len(d.Windows); n < 5 {
			return Drift{}, c.Refuse("windows", strconv.Itoa(n), "must be at least 5 in which the offset can be measured")
		}
		if !d.line() {
			return Drift{}, c.Refuse("windows", "on no line", "must have offsets that change evenly: a clock jumped, frames were dropped, or a window is wrong")
		}
	}
	return d, nil
}

// windows measures the offset in each window of w seconds and each frames, if it grows
// by slope.
func windows(a, b Trace, w float64, each int, slope float64) (d Drift) {
	known := false
	var before float64
	for from := 0; from+each <= len(a.Values); from += each {
		begin := float64(from) / a.fps()
		part, first := b, 0
		if known {
			lo := max(0, int((begin-before-w)*b.fps()))
			hi := min(len(b.Values), int((begin-before+2*w)*b.fps()))
			if hi-lo < leastValues {
				d.Refused++
				continue
			}
			part.Values, first = b.Values[lo:hi], lo
		}
		o, fault := offset(Trace{a.Rate, a.Values[from : from+each]}, part, 1/(1-slope))
		if fault != "" {
			d.Refused++
			continue
		}
		at := begin + float64(o.Time) // of the first frame of the part of b
		o.Time = unit.Time(at - float64(first)/b.fps() + slope*(begin+w/2-at))
		known, before = true, float64(o.Time)
		d.Windows = append(d.Windows, Window{Middle: unit.Time(begin + w/2), Offset: o})
	}
	return d
}

// line fits the line, weighed by the uncertainties. It is false if the offsets lie
// farther from it than chance allows.
func (d *Drift) line() bool {
	var s, st, stt, so, sto float64
	for _, w := range d.Windows {
		t, o := float64(w.Middle), float64(w.Offset.Time)
		k := weight(w)
		s, st, stt, so, sto = s+k, st+k*t, stt+k*t*t, so+k*o, sto+k*t*o
	}
	mean, level := st/s, so/s
	spread := stt - s*mean*mean
	slope := (sto - so*mean) / spread
	chi, worst := 0.0, 0.0
	for _, w := range d.Windows {
		off := math.Abs(float64(w.Offset.Time) - level - slope*(float64(w.Middle)-mean))
		chi += off * off * weight(w)
		worst = math.Max(worst, off*math.Sqrt(weight(w)))
	}
	free := float64(len(d.Windows) - 2)
	scale := math.Max(1, chi/free) * free / (free - 2) // the variance of Student's t, for few windows
	d.PPM, d.Error = slope*1e6, math.Sqrt(scale/spread)*1e6
	d.Start = unit.Time(level - slope*mean)
	d.StartError = unit.Time(math.Sqrt(scale * (1/s + mean*mean/spread)))
	return worst < 8
}

// weight is 1 over the square of the uncertainty, of which 1 µs is not known.
func weight(w Window) float64 {
	e := math.Max(float64(w.Offset.Error), 1e-6)
	return 1 / (e * e)
}
