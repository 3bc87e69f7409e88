//go:build !amd64 || purego

package lanes

const accelerated = false

func nearestFast[T Sample]([]float32, Raster[T], []int, int) {}

func bilinearFast[T Sample]([]float32, Raster[T], []int, []float32, []float32, int) {}

func windowFast[T Sample](_ []float32, _ Raster[T], _, _ *Kernel, _ []int, _, _ []float32, _ int) {}

func leanFast[T Sample](_ []float32, _ Raster[T], _, _ *Kernel, _ Slant, _ []int, _, _ []float32, _ int) {
}

func sumFast[T Sample]([]float32, []T, []int, []float32, int) int { return 0 }

func halveFast(_, _ []float32, _, _ int) {}

func roundFast[T Sample]([]T, []float32) int { return 0 }

func placeFast([]int, []float32, []float32, []float64, []float64, *Grid) (n int, all bool) {
	return 0, true
}

func positionsFast(_, _ []float64, _, _ *Quadratic, _, _, _, _ float64) (n int, within bool) {
	return 0, true
}
