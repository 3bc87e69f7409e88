//go:build amd64 && !purego

package lanes

// setAccelerated turns the assembly on, where it runs, or off.
func setAccelerated(on bool) (was bool) {
	was = accelerated
	accelerated = on && avx2()
	return was
}
