// Package subscribe keeps who wants to hear of what, and proof that they asked.
//
// Requests, tokens and bounces enter; people with their subscriptions leave, each
// confirmed by a POST from the address itself. It must not know what an
// email looks like or when one is due, and it never logs or keeps an address
// where a hash will do.
package subscribe
