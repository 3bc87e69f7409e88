package offaxis

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Matrix is a 4 × 4 matrix by rows, Matrix[row][column]. It acts on columns
// (x, y, z, 1). A program that stores matrices by columns, or multiplies rows from
// the left, needs it transposed.
type Matrix [4][4]float64

func (m Matrix) finite() bool {
	for _, row := range m {
		for _, e := range row {
			if !(math.Abs(e) <= math.MaxFloat64) {
				return false
			}
		}
	}
	return true
}

func (m Matrix) times(n Matrix) (p Matrix) {
	for i := range p {
		for j := range p[i] {
			for k := range n {
				p[i][j] += m[i][k] * n[k][j]
			}
		}
	}
	return p
}

// row is the part of a row that acts on directions.
func (m Matrix) row(i int) r3.Vec { return r3.Vec{X: m[i][0], Y: m[i][1], Z: m[i][2]} }
