package warp

import (
	"syscall"
	"unsafe"
)

// largePage is the usual size of large pages on Linux.
const largePage = 2 << 20

// inLargePages asks the system to back the samples with large pages, before
// they are first touched: a warp jumps from row to row, and with small pages
// spends half of its time on finding them.
func inLargePages[T Sample](pix []T) {
	size := uintptr(len(pix)) * unsafe.Sizeof(pix[0])
	if size < 4*largePage {
		return
	}
	begin := uintptr(unsafe.Pointer(unsafe.SliceData(pix)))
	first := (begin + largePage - 1) &^ (largePage - 1)
	last := (begin + size) &^ (largePage - 1)
	// Advice only: an error means small pages.
	_, _, _ = syscall.Syscall(syscall.SYS_MADVISE, first, last-first, syscall.MADV_HUGEPAGE)
}
