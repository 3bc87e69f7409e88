package motion_test

import (
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/sync/motion"
)

func TestHostileArguments(t *testing.T) {
	hostile.Calls(t, []any{motion.MotionSpec{Time: 0.02, Speed: 5, Distance: 30, Density: 40}}, motion.ImageMotion)
}
