// Package mail words emails, sends them to a relay over SMTP and reads the reports
// of those that bounced.
//
// An email with its facts enters; the bytes of a message leave, the same bytes
// for the same email and date, or the relay's answer to them. It must not
// decide whether an email is due, compute anything of rivers or insects, or log
// an address or a token.
package mail
