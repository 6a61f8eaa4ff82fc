// Package trip helps to decide which river, which week, and what to tie.
//
// Outlooks, past seasons of flow and the catalogue's groups enter; weeks in
// order, the best stay with its risks and its doubts, a second choice and a
// tying list leave. It must not issue an outlook, read a clock or a store, or
// call a stretch of water fit to wade: it counts past seasons and says so.
package trip
