// Package forecast turns a river's checked series and the insect catalogue
// into an outlook: for each group, stage and day the chance that an observer
// would see it, with windows, the calendar-only chance beside it and the reasons.
//
// Series as known at the issue time and the parameters of the groups enter; an
// Outlook leaves, the same to the byte for the same inputs. It must not fetch
// anything, read a clock, or know who reads it.
package forecast
