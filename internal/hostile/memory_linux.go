package hostile

import (
	"runtime/debug"
	"syscall"
	"testing"
	"unsafe"
)

// Guarded returns n values that lie between two inaccessible pages: the last
// value ends at the second page if atEnd is true, otherwise the first value
// begins behind the first page.
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

// Faults runs f and returns the fault if f touches inaccessible memory,
// otherwise nil.
func Faults(f func()) (fault any) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() { fault = recover() }()
	f()
	return nil
}
