// Package demo is an invented river country, the Tarn Fells, and a server in
// this process that answers for it in the formats of four real public feeds.
//
// A seed and a date enter; hourly weather, flow and water temperature of eight
// and more seasons leave, with the faults that real sensors have. Nothing in it
// was measured anywhere, and it must not know how its answers will be read.
package demo
