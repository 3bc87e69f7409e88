//go:build !purego

package lanes

import "unsafe"

// accelerated says whether the assembly runs here: AVX2, and an operating
// system that saves its registers. Tests turn it off.
var accelerated = avx2()

func avx2() bool {
	if top, _, _, _ := cpuid(0, 0); top < 7 {
		return false
	}
	_, _, c, _ := cpuid(1, 0)
	const osxsave, avx = 1 << 27, 1 << 28
	if c&osxsave == 0 || c&avx == 0 || xgetbv()&6 != 6 {
		return false
	}
	_, b, _, _ := cpuid(7, 0)
	return b&(1<<5) != 0
}

func cpuid(leaf, sub uint32) (a, b, c, d uint32)
func xgetbv() uint32

// The assembly, one of each for a type of sample. Strides and steps are bytes.
//
//go:noescape
func nearest8(out *float32, pix unsafe.Pointer, at *int, n, ch, ahead int)

//go:noescape
func bilinear8(out *float32, pix unsafe.Pointer, at *int, u, v *float32, n, stride, ch, ahead int)

//go:noescape
func nearest16(out *float32, pix unsafe.Pointer, at *int, n, ch, ahead int)

//go:noescape
func bilinear16(out *float32, pix unsafe.Pointer, at *int, u, v *float32, n, stride, ch, ahead int)

//go:noescape
func nearest32(out *float32, pix unsafe.Pointer, at *int, n, ch, ahead int)

//go:noescape
func bilinear32(out *float32, pix unsafe.Pointer, at *int, u, v *float32, n, stride, ch, ahead int)

//go:noescape
func sum8(out *float32, pix unsafe.Pointer, at *int, w *float32, n, runs, ahead int)

//go:noescape
func lean8(out *float32, pix unsafe.Pointer, at *int, u, v *float32, n, stride, ch, ahead int, along, down *Kernel, p *plan, shift, room float32)

//go:noescape
func window8(out *float32, pix unsafe.Pointer, at *int, u, v *float32, n, stride, ch, ahead int, along, down *Kernel, p *plan)

//go:noescape
func sum16(out *float32, pix unsafe.Pointer, at *int, w *float32, n, runs, ahead int)

//go:noescape
func lean16(out *float32, pix unsafe.Pointer, at *int, u, v *float32, n, stride, ch, ahead int, along, down *Kernel, p *plan, shift, room float32)

//go:noescape
func window16(out *float32, pix unsafe.Pointer, at *int, u, v *float32, n, stride, ch, ahead int, along, down *Kernel, p *plan)

//go:noescape
func sum32(out *float32, pix unsafe.Pointer, at *int, w *float32, n, runs, ahead int)

//go:noescape
func lean32(out *float32, pix unsafe.Pointer, at *int, u, v *float32, n, stride, ch, ahead int, along, down *Kernel, p *plan, shift, room float32)

//go:noescape
func window32(out *float32, pix unsafe.Pointer, at *int, u, v *float32, n, stride, ch, ahead int, along, down *Kernel, p *plan)

//go:noescape
func halve4(out, line *float32, n, ch int)

//go:noescape
func round8(out *uint8, values *float32, n int)

//go:noescape
func round16(out *uint16, values *float32, n int)

func nearestFast[T Sample](out []float32, r Raster[T], at []int, ahead int) {
	pix := unsafe.Pointer(unsafe.SliceData(r.Pix))
	switch unsafe.Sizeof(r.Pix[0]) {
	case 1:
		nearest8(&out[0], pix, &at[0], len(at), r.Channels, ahead)
	case 2:
		nearest16(&out[0], pix, &at[0], len(at), r.Channels, 2*ahead)
	case 4:
		nearest32(&out[0], pix, &at[0], len(at), r.Channels, 4*ahead)
	}
}

func bilinearFast[T Sample](out []float32, r Raster[T], at []int, u, v []float32, ahead int) {
	pix := unsafe.Pointer(unsafe.SliceData(r.Pix))
	switch unsafe.Sizeof(r.Pix[0]) {
	case 1:
		bilinear8(&out[0], pix, &at[0], &u[0], &v[0], len(at), r.Stride, r.Channels, ahead)
	case 2:
		bilinear16(&out[0], pix, &at[0], &u[0], &v[0], len(at), 2*r.Stride, r.Channels, 2*ahead)
	case 4:
		bilinear32(&out[0], pix, &at[0], &u[0], &v[0], len(at), 4*r.Stride, r.Channels, 4*ahead)
	}
}

func windowFast[T Sample](out []float32, r Raster[T], along, down *Kernel, at []int, u, v []float32, ahead int) {
	pix, p := unsafe.Pointer(unsafe.SliceData(r.Pix)), &plans[along.pairs][r.Channels]
	switch unsafe.Sizeof(r.Pix[0]) {
	case 1:
		window8(&out[0], pix, &at[0], &u[0], &v[0], len(at), r.Stride, r.Channels, ahead, along, down, p)
	case 2:
		window16(&out[0], pix, &at[0], &u[0], &v[0], len(at), 2*r.Stride, r.Channels, 2*ahead, along, down, p)
	case 4:
		window32(&out[0], pix, &at[0], &u[0], &v[0], len(at), 4*r.Stride, r.Channels, 4*ahead, along, down, p)
	}
}

func leanFast[T Sample](out []float32, r Raster[T], along, down *Kernel, slant Slant, at []int, u, v []float32, ahead int) {
	pix, p, shift, room := unsafe.Pointer(unsafe.SliceData(r.Pix)), &plans[along.pairs][r.Channels], slant.Shift, float32(slant.room)
	switch unsafe.Sizeof(r.Pix[0]) {
	case 1:
		lean8(&out[0], pix, &at[0], &u[0], &v[0], len(at), r.Stride, r.Channels, ahead, along, down, p, shift, room)
	case 2:
		lean16(&out[0], pix, &at[0], &u[0], &v[0], len(at), 2*r.Stride, r.Channels, 2*ahead, along, down, p, shift, room)
	case 4:
		lean32(&out[0], pix, &at[0], &u[0], &v[0], len(at), 4*r.Stride, r.Channels, 4*ahead, along, down, p, shift, room)
	}
}

// sumFast does as many samples as fill whole blocks, and says how many.
func sumFast[T Sample](out []float32, pix []T, at []int, w []float32, ahead int) int {
	n := len(out) &^ (4*Width - 1)
	if n == 0 {
		return 0
	}
	switch p := unsafe.Pointer(unsafe.SliceData(pix)); unsafe.Sizeof(pix[0]) {
	case 1:
		sum8(&out[0], p, &at[0], &w[0], n, len(at), ahead)
	case 2:
		sum16(&out[0], p, &at[0], &w[0], n, len(at), 2*ahead)
	case 4:
		sum32(&out[0], p, &at[0], &w[0], n, len(at), 4*ahead)
	}
	return n
}

func halveFast(out, line []float32, n, ch int) { halve4(&out[0], &line[0], n, ch) }

// roundFast does as many values as fill whole vectors, and says how many.
func roundFast[T Sample](out []T, values []float32) int {
	n := len(values) &^ (Width - 1)
	if n == 0 {
		return 0
	}
	switch p := unsafe.Pointer(&out[:n][0]); unsafe.Sizeof(out[0]) {
	case 1:
		round8((*uint8)(p), &values[0], n)
	case 2:
		round16((*uint16)(p), &values[0], n)
	default:
		return 0
	}
	return n
}

//go:noescape
func place4(at *int, us, vs *float32, xs, ys *float64, n int, grid *Grid) (outside int)

//go:noescape
func positions4(xs, ys *float64, n int, x, y *Quadratic, from, step, w, h float64) (outside int)

// placeFast does as many positions as fill whole vectors, and says how many.
func placeFast(at []int, us, vs []float32, xs, ys []float64, g *Grid) (n int, all bool) {
	n = len(at) &^ 3
	if n == 0 {
		return 0, true
	}
	return n, place4(&at[0], &us[:n][0], &vs[:n][0], &xs[:n][0], &ys[:n][0], n, g) == 0
}

func positionsFast(xs, ys []float64, x, y *Quadratic, from, step, w, h float64) (n int, within bool) {
	n = len(xs) &^ 3
	if n == 0 {
		return 0, true
	}
	return n, positions4(&xs[0], &ys[:n][0], n, x, y, from, step, w, h) == 0
}
