// Package work does the work of each job: fetch, issue forecasts, judge the caution,
// queue alerts, recalibrate, export.
//
// The keys of a job enter; a row and a file in the stores leave, the row
// in one transaction with the jobs that follow. It must not know how jobs are
// queued, retried or shared among processes, and it computes nothing itself.
package work
