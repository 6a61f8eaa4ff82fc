// Package syndicate writes what a river's readers subscribe to without an email:
// calendars, Atom feeds and warnings in CAP 1.2.
//
// An outlook, its verdict and a caution enter, with the windows as they were last
// published; iCalendar, Atom and CAP leave, and the changes between two outlooks. It must
// not compute a forecast, know who reads, or let a missing reading end a caution.
package syndicate
