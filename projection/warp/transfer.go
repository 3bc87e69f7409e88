package warp

import (
	"context"
	"fmt"
	"math"
	"sync"

	"example.com/platewright/internal/valid"
)

// Curve relates a coded signal, 0 to 1, to linear light, by the formulas of the
// package comment. Narrow range has codes below 0 and above 1: curves continue
// there, below 0 by symmetry. BT709 has the α and β of BT.2020-2 (2015), Table 4, in
// full: with the rounded 1.099 and 0.018 the curve has a step.
type Curve uint8

const (
	Power  Curve = iota // linear = signal^Gamma
	SRGB                // IEC 61966-2-1 (1999)
	BT1886              // Recommendation ITU-R BT.1886 (2011), Annex 1, black of 0; 1 is the display's white
	BT709               // the camera of ITU-R BT.709-6 (2015), 1.2; 1 is its white
	PQ                  // SMPTE ST 2084 (2014), 5; display light, 1 is 10 000 cd/m²
	HLG                 // the camera of ARIB STD-B67 (2015), without the display's system gamma; scene light
)

// TransferSpec says how samples are coded.
type TransferSpec struct {
	Curve Curve
	Gamma float64 // exponent of Power, 0.2 to 5; 0: 1

	// Narrow puts black and white at the codes 16·2ⁿ⁻⁸ and 235·2ⁿ⁻⁸ of n bits
	// (BT.2100-2, Table 9), not at 0 and 2ⁿ − 1. In uint16 a signal of fewer bits
	// stands in the upper ones.
	Narrow bool

	// Alpha says that the last channel, of two or four, is an alpha, without a curve
	// and never narrow. Colours must have been multiplied by it as linear light.
	Alpha   bool
	Workers int // goroutines per call; 0, or more than GOMAXPROCS: GOMAXPROCS
}

// Transfer turns coded samples into linear light and back.
type Transfer[T uint8 | uint16] struct{ coder *coder[T] }

// coder holds the light of every code, and the light at which each code begins. Both
// directions use these tables, so that they are exact inverses.
type coder[T uint8 | uint16] struct {
	spec   TransferSpec
	linear []float32 // of each code
	from   []float32 // the least light that is nearer to code i than to i − 1
	alpha  []float32 // of each code
	zero   T         // the code of 0
	near   []uint16  // a code, by the upper bits of its light
	jobs   sync.Pool
}

// The light of most codes is found by the upper bits of a float32: 512 ranges
// an octave from nearFrom to nearTo. Below, where codes are few, and above,
// they are searched for.
const (
	nearShift = 14
	nearFrom  = 1.0 / (1 << 40)
	nearTo    = 4
)

// NewTransfer makes the tables of a transfer, some hundred kilobytes.
func NewTransfer[T uint8 | uint16](spec TransferSpec) (Transfer[T], error) {
	c := valid.New("warp", ErrInvalid)
	curves.Check(c, "Curve", spec.Curve)
	checkWorkers(c, spec.Workers)
	if spec.Gamma == 0 {
		spec.Gamma = 1
	}
	c.Number("Gamma", spec.Gamma, "", valid.Closed(0.2, 5.0))
	if spec.Curve != Power && spec.Gamma != 1 {
		c.Fault("Gamma", fmt.Sprint(spec.Gamma), "must be 0 or 1 with %v", spec.Curve)
	}
	if !c.OK() {
		return Transfer[T]{}, c.Err()
	}
	top := int(^T(0))
	black, span := 0.0, float64(top)
	if spec.Narrow {
		step := float64(top+1) / 256
		black, span = 16*step, 219*step
	}
	code := &coder[T]{spec: spec, zero: T(black)}
	light := func(code float64) float64 {
		signal := (code - black) / span
		return math.Copysign(linear(spec.Curve, spec.Gamma, math.Abs(signal)), signal)
	}
	for i := range top + 1 {
		code.linear = append(code.linear, float32(light(float64(i))))
		code.alpha = append(code.alpha, float32(float64(i)/float64(top)))
		start := light(float64(i) - 0.5)
		from := float32(start)
		if float64(from) < start {
			from = math.Nextafter32(from, math.MaxFloat32)
		}
		code.from = append(code.from, from)
	}
	for bits := math.Float32bits(nearFrom); bits <= math.Float32bits(nearTo)+1<<nearShift; bits += 1 << nearShift {
		code.near = append(code.near, uint16(code.search(math.Float32frombits(bits))))
	}
	code.jobs.New = func() any {
		j := &conversion[T]{code: code}
		j.linearizeFn, j.encodeFn = j.linearize, j.encode
		return j
	}
	return Transfer[T]{code}, nil
}

// linear is the light of a signal, 0 or more.
func linear(c Curve, gamma, signal float64) float64 {
	switch c {
	case SRGB:
		if signal <= 0.04045 {
			return signal / 12.92
		}
		return math.Pow((signal+0.055)/1.055, 2.4)
	case BT1886:
		return math.Pow(signal, 2.4)
	case BT709:
		const alpha, beta = 1.09929682680944, 0.018053968510807
		if signal < 4.5*beta {
			return signal / 4.5
		}
		return math.Pow((signal+(alpha-1))/alpha, 1/0.45)
	case PQ:
		const m1, m2 = 2610.0 / 16384, 2523.0 / 4096 * 128
		const c1, c2, c3 = 3424.0 / 4096, 2413.0 / 4096 * 32, 2392.0 / 4096 * 32
		n := math.Pow(signal, 1/m2)
		return math.Pow(max(n-c1, 0)/(c2-c3*n), 1/m1)
	case HLG:
		const a = 0.17883277
		const b = 1 - 4*a
		c := 0.5 - a*math.Log(4*a)
		if signal <= 0.5 {
			return signal * signal / 3
		}
		return (math.Exp((signal-c)/a) + b) / 12
	}
	return math.Pow(signal, gamma)
}

// search is the code of an amount of light.
func (c *coder[T]) search(v float32) int {
	low, high := 0, len(c.from) // from[low] ≤ v, but for 0; from[high] > v
	for high-low > 1 {
		if mid := (low + high) / 2; v >= c.from[mid] {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

// code is the same, and faster: it interpolates between the codes at the ends of a
// short range of light, and then steps to the right one.
func (c *coder[T]) code(v float32) T {
	switch {
	case v == 0:
		return c.zero
	case !(v >= nearFrom && v < nearTo):
		return T(c.search(v)) // NaN: 0
	}
	at := math.Float32bits(v) - nearBits
	a, b := int(c.near[at>>nearShift]), int(c.near[at>>nearShift+1])
	k := a + (b-a)*int(at&(1<<nearShift-1))>>nearShift
	for k > 0 && v < c.from[k] {
		k--
	}
	for k+1 < len(c.from) && v >= c.from[k+1] {
		k++
	}
	return T(k)
}

var nearBits = math.Float32bits(nearFrom)

// Linearize fills dst with the light of coded samples, to the nearest float32, in
// units of the curve's white. The frames must have the same size and channels, and
// must not overlap.
func (t Transfer[T]) Linearize(ctx context.Context, dst Frame[float32], src Frame[T]) error {
	return t.convert(ctx, dst, src, true)
}

// Encode fills dst with the codes nearest to linear samples, by signal. Light beyond
// the codes becomes the first or the last code; NaN becomes code 0. The output of
// Linearize becomes the code it was. The frames must be as for Linearize.
func (t Transfer[T]) Encode(ctx context.Context, dst Frame[T], src Frame[float32]) error {
	return t.convert(ctx, src, dst, false)
}

func (t Transfer[T]) convert(ctx context.Context, light Frame[float32], coded Frame[T], linearize bool) error {
	c := valid.New("warp", ErrInvalid)
	checkContext(c, ctx)
	switch {
	case t.coder == nil:
		c.Fault("transfer", "without curve", "must be made by NewTransfer")
	case light.pix == nil || coded.pix == nil:
		c.Fault("frame", "without pixels", "must be made by NewFrame")
	case light.width != coded.width || light.height != coded.height || light.ch != coded.ch:
		c.Fault("coded frame", fmt.Sprintf("%d × %d px, %d channels", coded.width, coded.height, coded.ch),
			"must be as the linear one, %d × %d px, %d channels", light.width, light.height, light.ch)
	case overlap(light, coded):
		c.Fault("coded frame", "in the memory of the linear one", "must not overlap it")
	case t.coder.spec.Alpha && coded.ch%2 != 0:
		c.Fault("frame", fmt.Sprintf("%d channels", coded.ch), "must have 2 or 4, the last an alpha")
	}
	if !c.OK() {
		return c.Err()
	}
	j := t.coder.jobs.Get().(*conversion[T])
	defer j.release()
	j.light, j.coded = light, coded
	work := j.encodeFn
	if linearize {
		work = j.linearizeFn
	}
	return j.workers.run(ctx, t.coder.spec.Workers, (light.height+tileHeight-1)/tileHeight, nil, work)
}

// conversion is one call of Linearize or Encode.
type conversion[T uint8 | uint16] struct {
	workers
	code  *coder[T]
	light Frame[float32]
	coded Frame[T]

	linearizeFn, encodeFn func(band int, _ *scratch) // bound once: binding allocates
}

func (j *conversion[T]) release() {
	j.light, j.coded = Frame[float32]{}, Frame[T]{}
	j.code.jobs.Put(j)
}

func (j *conversion[T]) linearize(band int, _ *scratch) {
	c := j.code
	for y := band * tileHeight; y < min((band+1)*tileHeight, j.coded.height); y++ {
		in, out := j.coded.Row(y), j.light.Row(y)
		for i, v := range in {
			out[i] = c.linear[v]
		}
		if c.spec.Alpha {
			for i := j.coded.ch - 1; i < len(in); i += j.coded.ch {
				out[i] = c.alpha[in[i]]
			}
		}
	}
}

func (j *conversion[T]) encode(band int, _ *scratch) {
	c := j.code
	top := float64(^T(0))
	for y := band * tileHeight; y < min((band+1)*tileHeight, j.coded.height); y++ {
		in, out := j.light.Row(y), j.coded.Row(y)
		for i, v := range in {
			out[i] = c.code(v)
		}
		if c.spec.Alpha {
			for i := j.coded.ch - 1; i < len(in); i += j.coded.ch {
				v := float64(in[i])
				if v != v {
					v = 0
				}
				out[i] = T(min(max(v, 0), 1)*top + 0.5)
			}
		}
	}
}
