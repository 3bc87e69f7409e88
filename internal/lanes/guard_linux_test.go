package lanes

import (
	"fmt"
	"runtime/debug"
	"syscall"
	"testing"
	"unsafe"
)

// atEnd copies values to the end of a page behind which none may be read.
func atEnd[T any](t *testing.T, values []T) []T {
	t.Helper()
	page := syscall.Getpagesize()
	all, err := syscall.Mmap(-1, 0, 2*page, syscall.PROT_READ|syscall.PROT_WRITE, syscall.MAP_ANON|syscall.MAP_PRIVATE)
	if err != nil {
		t.Skip(err)
	}
	t.Cleanup(func() { syscall.Munmap(all) })
	if err := syscall.Mprotect(all[page:], syscall.PROT_NONE); err != nil {
		t.Skip(err)
	}
	size := len(values) * int(unsafe.Sizeof(values[0]))
	out := unsafe.Slice((*T)(unsafe.Pointer(&all[page-size])), len(values))
	copy(out, values)
	return out
}

// TestRunsEndWhereTheyEnd: eight weights are made at a time, but none is read
// from behind the last position, nor a place.
func TestRunsEndWhereTheyEnd(t *testing.T) {
	r := Raster[float32]{Pix: make([]float32, 40*40*3), Stride: 40 * 3, Channels: 3}
	for _, n := range []int{1, 3, 7, 8, 9, 15} {
		places, fractions := make([]int, n), make([]float32, n)
		at, u, v := atEnd(t, places), atEnd(t, fractions), atEnd(t, fractions)
		out := atEnd(t, make([]float32, 3*n+3))
		for name, f := range map[string]func(){
			"nearest":  func() { Nearest(out, r, at, 0) },
			"bilinear": func() { Bilinear(out, r, at, u, v, 0) },
			"window":   func() { Window(out, r, broad, broad, at, u, v, 0) },
		} {
			if fault := faults(f); fault != nil {
				t.Errorf("%s of %d: %v", name, n, fault)
			}
		}
	}
}

func faults(f func()) (fault any) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		if fault = recover(); fault != nil {
			fault = fmt.Sprint(fault)
		}
	}()
	f()
	return nil
}
