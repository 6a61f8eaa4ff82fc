// Package mail words letters, carries them to a relay over SMTP and reads the
// reports of those that came back.
//
// A letter with its facts enters; the bytes of a message leave, the same bytes
// for the same letter and date, or the relay's answer to them. It must not
// decide whether a mail is due, compute anything of rivers or insects, or log
// an address or a token.
package mail
