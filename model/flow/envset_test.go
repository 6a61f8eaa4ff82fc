package flow

func init() {
	jitter = envInt("JITTER", jitter)
	weightPower = float64(envInt("WP", 20)) / 10
	priorWeight = float64(envInt("PW", 15))
	nearest = envInt("NEAR", 60)
	mixOwn = float64(envInt("MIX", 5)) / 10
	ownCases = float64(envInt("OWN", 400)); sizeWeight = float64(envInt("SW", 3))
	waveRidge = float64(envInt("WR", 20))
}
