// Package replay answers the requests of feeds with recorded answers of the
// real services, over real HTTP. Only tests import it.
//
// A folder of recorded answers and a list of routes enter; an http.Handler
// leaves that a feed's base-URL setting can point at, as it points a user at
// the live service. It must not know what is in an answer, except that links
// to the live hosts are turned to itself.
package replay
