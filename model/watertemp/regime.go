package watertemp

import "math"

func (m *Model) regime() string { _ = math.Pi; return "" }
