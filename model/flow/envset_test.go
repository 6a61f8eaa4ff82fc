package flow

func init() {
	jitter = envInt("JITTER", jitter)
	weightPower = float64(envInt("WP", 20)) / 10
	priorWeight = float64(envInt("PW", 15))
	sizeWeight = float64(envInt("SW", 3))
	waveRidge = float64(envInt("WR", 20))
}
