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
// Blocks of 8 × 8 samples are sorted by two of their corners, opposite ones of 3 × 3
// samples, and measured by the other two. So noise does not make the darkest ones darker
// than they are, unless its grain is larger than 3 px: then the bound is too low by up to
// 3 standard deviations of such noise.
// The uncertainty holds that of NoLight and the scatter of the darkest part, from corner to
// corner or from block to block, whichever is more.
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
	blocks := make([]darkBlock, columns*rows)
	total := 0.0
	for j := range rows {
		for i := range columns {
			b := darkBlock{at: j*columns + i}
			for y := j * blockSide; y < (j+1)*blockSide; y++ {
				row, step := part.Row(y)
				for x := i * blockSide; x < (i+1)*blockSide; x++ {
					v := row[x*step]
					l := lights.Of(v)
					if !(math.Abs(l) <= math.MaxFloat32 && finite(v)) {
						return Flare{}, notFinite(x+spec.Region.X, y+spec.Region.Y)
					}
					total += l
					if column, row := corner(x%blockSide), corner(y%blockSide); column >= 0 && row >= 0 {
						b.corners[row][column] += l / (cornerSide * cornerSide)
					}
					if float64(v) <= ends.black {
						b.crushed++
					}
				}
			}
			blocks[b.at] = b
		}
	}
	slices.SortFunc(blocks, func(a, b darkBlock) int { return cmp.Or(cmp.Compare(a.sorts(), b.sorts()), cmp.Compare(a.at, b.at)) })
	darkest := blocks[:max(fewestDark, int(spec.DarkFraction*float64(len(blocks))))]
	light, within, scatter, crushed := 0.0, 0.0, 0.0, 0
	n := float64(len(darkest))
	for _, b := range darkest {
		light += b.shows() / n
		within += b.variance()
		crushed += b.crushed
	}
	for _, b := range darkest {
		scatter += (b.shows() - light) * (b.shows() - light) * n / (n - 1)
	}
	if samples := n * blockSide * blockSide; float64(crushed) > mostClipped*samples {
		return Flare{}, newChecker().Refuse("darkest part", quantity.Number(100*float64(crushed)/samples, "% crushed"), "must be at most 0.5 %%: the veil is cut off with the black")
	}
	f := Flare{AtMost: Estimate{Value: light - spec.NoLight.Value, Uncertainty: math.Hypot(student(2*n)*math.Sqrt(max(within, scatter))/n, spec.NoLight.Uncertainty)}}
	if f.AtMost.Value < -leastInLights*f.AtMost.Uncertainty {
		return Flare{}, newChecker().Refuse("no light", quantity.Number(spec.NoLight.Value, ""), "must be at most the light of the darkest part, %s", quantity.Number(light, ""))
	}
	if signal := total/float64(len(blocks)*blockSide*blockSide) - spec.NoLight.Value; signal > 0 {
		f.FractionOfMean = f.AtMost.Value / signal
	}
	at := darkest[0].at
	f.Darkest = Region{spec.Region.X + at%columns*blockSide, spec.Region.Y + at/columns*blockSide, blockSide, blockSide}
	return f, nil
}

// darkBlock is a block of which two corners sort, and the other two show.
type darkBlock struct {
	corners [2][2]float64 // mean light, by row and column
	crushed int
	at      int
}

const cornerSide = 3 // two samples lie between corners

// corner is 0 for the first samples of a block's side, 1 for the last ones and −1 between.
func corner(x int) int {
	switch {
	case x < cornerSide:
		return 0
	case x >= blockSide-cornerSide:
		return 1
	}
	return -1
}

func (b *darkBlock) sorts() float64 { return (b.corners[0][0] + b.corners[1][1]) / 2 }
func (b *darkBlock) shows() float64 { return (b.corners[0][1] + b.corners[1][0]) / 2 }

// variance is that of shows, as the differences of opposite corners say.
func (b *darkBlock) variance() float64 {
	d, e := b.corners[0][0]-b.corners[1][1], b.corners[0][1]-b.corners[1][0]
	return (d*d + e*e) / 8
}
