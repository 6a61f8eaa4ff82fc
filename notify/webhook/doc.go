// Package webhook sends what changed to the addresses that an operator names, signed so
// that a receiver knows who sent it and whether it was sent before.
//
// Events enter, in the transaction that makes their cause; HTTP requests leave, in the
// form of the Standard Webhooks specification. It must not decide what is news, when a
// message is tried again, or know any reader.
package webhook
