// Package bafu reads saved files of the Swiss Federal Office for the
// Environment's gauges: hydroweb XML in both schemas and the older SMS list.
// The open files ended in June 2021; the precise ones need a password.
//
// One saved file enters; the newest reading of each station in SI units and
// UTC leaves. It must not fetch anything.
package bafu
