package hostile

import (
	"runtime/debug"
	"syscall"
	"testing"
	"unsafe"
)

// Guarded is n values between two pages that must not be touched: next to the
// first of them, or to the last.
func Guarded[T any](t testing.TB, n int, atEnd bool) []T {
	t.Helper()
	page := syscall.Getpagesize()
	size := n * int(unsafe.Sizeof(*new(T)))
	room := (size + page - 1) / page * page
	all, err := syscall.Mmap(-1, 0, room+2*page, syscall.PROT_READ|syscall.PROT_WRITE, syscall.MAP_ANON|syscall.MAP_PRIVATE)
	if err != nil {
		t.Skip(err)
	}
	t.Cleanup(func() { syscall.Munmap(all) })
	for _, guard := range [][]byte{all[:page], all[page+room:]} {
		if err := syscall.Mprotect(guard, syscall.PROT_NONE); err != nil {
			t.Skip(err)
		}
	}
	from := page
	if atEnd {
		from += room - size
	}
	return unsafe.Slice((*T)(unsafe.Pointer(&all[from])), n)
}

// Faults says whether f touches memory that it must not.
func Faults(f func()) (fault any) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() { fault = recover() }()
	f()
	return nil
}
