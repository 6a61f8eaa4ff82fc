// Package client fetches public feeds politely: a User-Agent that says who we
// are, one request at a time per host with a pause between, bounded bodies,
// bounded time, retries only where a retry helps.
//
// A URL and headers enter, a body or an *ingest.Error leaves. It must not know
// what is in the body, and no content of a body may choose a host.
package client
