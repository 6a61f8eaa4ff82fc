// Package bafu reads the newest readings of the gauges of the Swiss Federal
// Office for the Environment (BAFU): hydroweb XML in both of its schemas.
//
// A station and a span of time enter, or one saved response; its newest
// readings in SI units and UTC leave: the service keeps no history. It must not
// know insects, other feeds or how readings are stored.
package bafu
