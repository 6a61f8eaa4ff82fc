// Package insects holds the catalogue of insect groups: what each is called,
// when, where and how it emerges and lays, and how well each figure is known.
//
// A handful of embedded tables of one fact a line enter, and a reader's own
// table of the same form over them; typed groups, each value with its grade and
// source, each window with what it was collected over and how far it moves to a
// river, and the candidates that a name may mean leave.
// It must not know any river by name, season's weather or forecast, and it never
// picks one insect for a name that several bear.
package insects
