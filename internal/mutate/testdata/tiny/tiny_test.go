package tiny

import "testing"

func TestTiny(t *testing.T) {
	if Sum(3, 0) != 3 {
		t.Error("sum")
	}
	if Difference(5, 3) != 2 {
		t.Error("difference")
	}
	if Larger(3, 5) != 5 || Larger(5, 3) != 5 || Larger(4, 4) != 4 {
		t.Error("larger")
	}
	if Divide(3, 3) != 0 {
		t.Error("divide")
	}
	if !Second([2]bool{false, true}) {
		t.Error("second")
	}
}
