// Package records keeps dated records of open sources and says which of them
// stand for a stage of an insect group, and why the others do not.
//
// Occurrences enter; judged records leave, by place, group and date, with how
// much people looked, and the credit that each record needs. It must not know how
// a forecast uses them.
package records
