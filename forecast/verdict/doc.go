// Package verdict says what a forecast means to somebody who wants to be there: which
// river, which days, which two or three insects at what hours with what fly, how sure,
// and what the flow allows.
//
// Forecasts of one or more rivers with their past flow and today's caution enter, and the
// moment at which somebody asks; a typed verdict leaves, with its words for terminal and
// mail. It must not read a clock, a file or a store, call water fit to wade, or invite
// while the caution is unknown or at least "better not to wade".
//
// A page builds it once per request and lays out its fields:
//
//	v := verdict.Of(verdict.Question{Now: now, Units: u}, rivers, catalogue.Group)
//	v.Answer          // Go, Draw, Water, Nothing or Stale: which heading to write
//	v.Invite          // false: never write "go", whatever Answer says
//	v.First.Stay      // the river and its days; v.Second the other side of a Draw
//	v.First.Catches   // two or three rows: insect, stage, chance beside the calendar's, hours, fly
//	v.Rivers[i].Today // what is still to come today, in the order of the day
//	v.Rivers[i].Days  // the days ahead: chance, too high, too warm
//	v.Rivers[i].Next  // the ten that matter, in the order in which they open
//	v.Headline(), v.Lines() // the same in words
//
// For one river pass one; for a trip see package trip, which orders by the same worth.
package verdict
