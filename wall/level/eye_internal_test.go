package level

import (
	"math"
	"testing"

	"example.com/platewright/internal/ref"
	"github.com/stretchr/testify/require"
)

// Parts of Barten's model, and the whole, against printed values of another library.
func TestBarten(t *testing.T) {
	for _, tc := range [][3]float64{{4, .01, .968910791191297}, {8, .01, .881323136669471}, {4, .05, .454040738727245}} {
		ref.Near(t, "W-LV14", opticalMTF(tc[0], tc[1]), tc[2], tc)
	}
	ref.Near(t, "W-LV14", pupil(20, 60), 3.262346170373243)
	ref.Near(t, "W-LV14", pupil(0.2, 600), 3.262346170373243)
	ref.Near(t, "W-LV14", pupil(20, math.Sqrt(60*30)), 3.519054451149336)
	ref.Near(t, "W-LV14", spread(2.1), .008791157173231)
	// The field of 60°, 12° of summing, 15 cycles.
	ref.Near(t, "W-LV14", extent(4, 60), 3.572948005052482)
	ref.Near(t, "W-LV14", extent(8, 60), 1.851640199545103)
	ref.Near(t, "W-LV14", extent(4, 120), 3.577708763999663)

	// The printed whole has a pupil of 2.1 mm, and not the one printed above.
	ref.Near(t, "W-LV15", sensitivityWith(4, 20, 60, 2.1), 360.8691122)
	whole, err := ContrastSensitivity(4, 20, math.Pi/3)
	require.NoError(t, err)
	ref.Near(t, "W-LV14", whole, sensitivityWith(4, 20, 60, 3.262346170373243))
}
