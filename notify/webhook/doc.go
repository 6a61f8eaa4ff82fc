// Package webhook sends what changed to the addresses that an operator names, signed so
// that a receiver knows who sent it and whether it was sent before.
//
// Events enter, in the transaction that makes their cause; HTTP requests leave, as the
// Standard Webhooks specification has them. It must not decide what is news, when a
// message is tried again, or know any reader.
package webhook
