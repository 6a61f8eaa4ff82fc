// Package config reads the one TOML file that says which rivers to watch.
//
// The bytes of a file enter, a checked Config with every default filled in
// leaves, or one error that lists every fault with its line or its name. It
// must not open a store, ask a feed or know what a forecast is.
package config
