//go:build race

package client

const raceEnabled = true // the race detector multiplies memory
