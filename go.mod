module example.com/platewright

go 1.24.0

require gonum.org/v1/gonum v0.17.0
