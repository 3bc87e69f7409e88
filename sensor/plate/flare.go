package plate

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"example.com/platewright/internal/plane"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
)

// FlareSpec says where a frame is searched for its darkest part, and what black would be
// there without a veil.
type FlareSpec struct {
	LightSpec
	// NoLight is the light that stands for none, in the unit of Linear: the mean of a dark
	// frame, or the black of the recording's curve.
	NoLight Estimate
	// DarkFraction is the fraction of the region that counts as its darkest part, 0.001
	// to 0.5; 0 means 0.01.
	DarkFraction float64
}

// Flare is the result of MeasureFlare.
type Flare struct {
	// AtMost is the light of the darkest part over NoLight: the veil is no more than
	// that, and as much as that if the surface there reflects nothing.
	AtMost Estimate
	// FractionOfMean is AtMost over the mean light of the region over NoLight; 0 if that
	// is not positive.
	FractionOfMean float64
	// Darkest is the darkest block of all: look there, whether it is black.
	Darkest Region
}

const (
	darkFraction = 0.01
	fewestDark   = 4
)

// MeasureFlare bounds the veiling flare of a frame by its darkest part.
//
//	veil ≤ light of the darkest blocks − light of no light
//
// One frame cannot tell a veil from a dark surface that is lit: the bound is close where
// the scene holds something black, as a hole or a black velvet, and the flare is even. It
// says nothing of ghosts and of flare about lamps. A veil that the recording has already
// taken out, as by a raised black, cannot be seen.
//
// Blocks of 8 × 8 samples are sorted by half of their samples, as on a chessboard, and
// measured by the others. So noise does not make the darkest ones darker than they are.
// The uncertainty holds that of NoLight and the scatter of the darkest part, of samples in
// blocks or from block to block, whichever is more.
//
// A region of fewer than 400 blocks, crushed samples in its darkest part, which hide the
// veil, or light that is darker than NoLight by more than 3 uncertainties, is an error.
func MeasureFlare[T Sample](frame Plane[T], spec FlareSpec) (Flare, error) {
	c := newChecker()
	part := cut(c, frame, spec.Region, blockSide)
	ends := newEnds[T](c, spec.White, spec.Black)
	if spec.DarkFraction == 0 {
		spec.DarkFraction = darkFraction
	}
	c.Number("dark fraction", spec.DarkFraction, "", valid.Closed(0.001, 0.5))
	c.Number("no light", spec.NoLight.Value, "", valid.Closed(-math.MaxFloat32, math.MaxFloat32))
	c.Number("no light: uncertainty", spec.NoLight.Uncertainty, "", valid.Closed(0.0, math.MaxFloat32))
	columns, rows := part.Width/blockSide, part.Height/blockSide
	if c.OK() && columns*rows < fewestDark*fewestBlocks {
		c.Fault("region", strconv.Itoa(columns*rows)+" blocks of 8 × 8 samples", "must be at least %d", fewestDark*fewestBlocks)
	}
	if err := c.Err(); err != nil {
		return Flare{}, err
	}
	lights := plane.NewLights[T](spec.Linear, part.Width*part.Height)
	type dark struct {
		sorts, shows float64 // mean light of both halves
		squares      float64 // mean of the second
		crushed      int
		at           int
	}
	const half = blockSide * blockSide / 2
	blocks := make([]dark, columns*rows)
	mean := 0.0
	for j := range rows {
		for i := range columns {
			b := dark{at: j*columns + i}
			for y := j * blockSide; y < (j+1)*blockSide; y++ {
				row, step := part.Row(y)
				for x := i * blockSide; x < (i+1)*blockSide; x++ {
					v := row[x*step]
					l := lights.Of(v)
					if !(math.Abs(l) <= math.MaxFloat32 && finite(v)) {
						return Flare{}, notFinite(x+spec.Region.X, y+spec.Region.Y)
					}
					if (x+y)%2 == 0 {
						b.sorts += l / half
					} else {
						b.shows += l / half
						b.squares += l * l / half
					}
					if float64(v) <= ends.black {
						b.crushed++
					}
				}
			}
			blocks[b.at] = b
			mean += (b.sorts + b.shows) / 2 / float64(len(blocks))
		}
	}
	slices.SortFunc(blocks, func(a, b dark) int { return cmp.Or(cmp.Compare(a.sorts, b.sorts), cmp.Compare(a.at, b.at)) })
	darkest := blocks[:max(fewestDark, int(spec.DarkFraction*float64(len(blocks))))]
	light, within, scatter, crushed := 0.0, 0.0, 0.0, 0
	n := float64(len(darkest))
	for _, b := range darkest {
		light += b.shows / n
		within += max(0, b.squares-b.shows*b.shows) / (half - 1)
		crushed += b.crushed
	}
	for _, b := range darkest {
		scatter += (b.shows - light) * (b.shows - light) * n / (n - 1)
	}
	if float64(crushed) > mostClipped*n*2*half {
		return Flare{}, newChecker().Refuse("darkest part", quantity.Number(100*float64(crushed)/(n*2*half), "% crushed"), "must be at most 0.5 %%: the veil is cut off with the black")
	}
	f := Flare{AtMost: Estimate{Value: light - spec.NoLight.Value, Uncertainty: math.Hypot(math.Sqrt(max(within, scatter))/n, spec.NoLight.Uncertainty)}}
	if f.AtMost.Value < -leastInLights*f.AtMost.Uncertainty {
		return Flare{}, newChecker().Refuse("no light", quantity.Number(spec.NoLight.Value, ""), "must be at most the light of the darkest part, %s", quantity.Number(light, ""))
	}
	if signal := mean - spec.NoLight.Value; signal > 0 {
		f.FractionOfMean = f.AtMost.Value / signal
	}
	at := darkest[0].at
	f.Darkest = Region{spec.Region.X + at%columns*blockSide, spec.Region.Y + at/columns*blockSide, blockSide, blockSide}
	return f, nil
}
