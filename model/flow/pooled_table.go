package flow

// pooled is the prior from every fourth of 404 gauges of the United States (daily flow of
// the USGS, air of PRISM, October 2016 to September 2019); TestPooledTable makes it. Of
// rain it knows nothing.
var pooled = Prior{
	Factors:   [...]float64{-0.109, 0.009126, 0.01527, -0.05411, 3.099e-05, -0.01688, -0.03055, 0.005836, -0.007765, -0.03691, 0.2431, 0.2515, 0.3277, -0.05596, 0.02491, 0.03218, 0.01635, -0.04892, 0.05493, 0.0001734, -0.02747, -0.02298, -0.008277, 0.004683, 0.0006733, 0.01366, 0, 0, 0, 0.01998},
	FactorsSD: [...]float64{0.1053, 0.08306, 0.07779, 0.06198, 0.06986, 0.06744, 0.0576, 0.07676, 0.0769, 0.03895, 0.1592, 0.2566, 0.1621, 0.07053, 0.02454, 0.03643, 0.02826, 0.05962, 0.06907, 0.04218, 0.03427, 0.04902, 0.04442, 0.04735, 0.07061, 0.06364, 0.3, 0.3, 0.3, 0.02806},
	Sizes:     [...]float64{-1.885, 0.03404, 0.02294, 0.3918, 0.08378, -0.0113, 0.1968},
	SizesSD:   [...]float64{0.3994, 0.2067, 0.161, 0.3723, 0.1362, 0.2409, 0.1619},
	Corrections: [...]Correction{
		{Own: 0.845, Today: 0.171, Shift: -0.0034, Above: 1.250, Below: 1.350, OwnWidth: 0.90},
		{Own: 0.776, Today: 0.228, Shift: -0.0112, Above: 1.241, Below: 1.347, OwnWidth: 0.80},
		{Own: 0.742, Today: 0.262, Shift: -0.0140, Above: 1.236, Below: 1.343, OwnWidth: 0.70},
		{Own: 0.787, Today: 0.220, Shift: -0.0171, Above: 1.237, Below: 1.298, OwnWidth: 0.70},
		{Own: 0.711, Today: 0.277, Shift: -0.0278, Above: 1.216, Below: 1.278, OwnWidth: 0.60},
		{Own: 0.716, Today: 0.277, Shift: -0.0253, Above: 1.279, Below: 1.304, OwnWidth: 0.50},
		{Own: 0.644, Today: 0.315, Shift: -0.0422, Above: 1.287, Below: 1.301, OwnWidth: 0.50},
		{Own: 0.526, Today: 0.359, Shift: -0.0519, Above: 1.390, Below: 1.338, OwnWidth: 0.40},
		{Own: 0.425, Today: 0.365, Shift: -0.0542, Above: 1.403, Below: 1.407, OwnWidth: 0.40},
	},
}
