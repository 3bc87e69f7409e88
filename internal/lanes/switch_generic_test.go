//go:build !amd64 || purego

package lanes

func setAccelerated(bool) bool { return false }
