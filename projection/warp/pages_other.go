//go:build !linux

package warp

func inLargePages[T Sample]([]T) {}
