package transfer_test

import (
	"image"
	"image/png"
	"os"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/same"
	"example.com/platewright/lens/transfer"
	"github.com/stretchr/testify/require"
)

// An edge that SciPy drew in closed form, in 16 bits.
func TestEdgeBesidePeer(t *testing.T) {
	near.NumbersOnly(t)
	f, err := os.Open("../../testdata/measured-edge.png")
	require.NoError(t, err)
	defer f.Close()
	img, err := png.Decode(f)
	require.NoError(t, err)
	grey := img.(*image.Gray16)
	p := transfer.Plane[uint16]{Width: grey.Rect.Dx(), Height: grey.Rect.Dy()}
	for y := range p.Height {
		for x := range p.Width {
			p.Pix = append(p.Pix, grey.Gray16At(x, y).Y)
		}
	}
	want := same.Answers(t, "edge")["SciPy 1.10.1 brentq"][0]
	got := must[transfer.Edge](t)(transfer.MeasureEdge(p, transfer.EdgeSpec{}))
	ref.Near(t, "L-EDGE-PEER", has[transfer.Estimate](t)(got.FrequencyAt(0.5)).Value, want[0])
	for i, f := range []float64{0.1, 0.25, 0.4, 0.5} {
		ref.Near(t, "L-EDGE-PEER", has[transfer.Contrast](t)(got.At(f)).OTF.Value, want[i+1], f)
	}
}
