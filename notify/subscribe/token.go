package subscribe

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"net/netip"
)

// ErrToken is wrapped where a token is unknown, expired, used up or forged. It
// does not say which: a stranger learns nothing.
var ErrToken = errors.New("this link is invalid or has expired")

// hashToken needs no salt: what it hashes is random already.
func hashToken(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}

// What a lasting link may do. The one in a mail's header may only unsubscribe.
const (
	linkUnsubscribe = "unsubscribe"
	linkManage      = "manage"
	linkConfirm     = "confirm" // of an invitation, which expires
	linkNever       = "never"   // of an invitation: the one in its mail's header may do no more
)

// Links makes and checks the tokens of mails: an id under a key. Those of a
// person never expire and nothing is stored for them, so a mail of three years
// ago still unsubscribes. That of an invitation is looked up by its hash.
type Links struct{ key []byte }

// macBytes of the MAC are kept: 128 bits cannot be guessed.
const macBytes = 16

func (l Links) mac(purpose, person string) []byte {
	m := hmac.New(sha256.New, l.key)
	fmt.Fprintf(m, "%s\x00%s", purpose, person) // a hash never fails to be written to
	return m.Sum(nil)[:macBytes]
}

func (l Links) make(purpose, person string) string {
	return person + "." + base64.RawURLEncoding.EncodeToString(l.mac(purpose, person))
}

// Unsubscribe returns the token for the List-Unsubscribe header of a person's
// mails.
func (l Links) Unsubscribe(person string) string { return l.make(linkUnsubscribe, person) }

// Manage returns the token for the page on which a person sees, pauses,
// changes, takes away and deletes what we hold of them.
func (l Links) Manage(person string) string { return l.make(linkManage, person) }

// confirmation is the token of an invitation. The id cannot be seen in it.
func (l Links) confirmation(id string) string {
	return base64.RawURLEncoding.EncodeToString(l.mac(linkConfirm, id))
}

// Person returns whose unsubscribe or manage token it is.
func (l Links) person(purpose, token string) (string, error) {
	const n = 32 // hex digits of an id
	if len(token) < n+1 || len(token) > 100 || token[n] != '.' {
		return "", ErrToken
	}
	got, err := base64.RawURLEncoding.Strict().DecodeString(token[n+1:])
	if err != nil || subtle.ConstantTimeCompare(got, l.mac(purpose, token[:n])) != 1 {
		return "", ErrToken
	}
	return token[:n], nil
}

// keyed is the hash under which an address or a network is kept in logs and
// limits: without the key nobody can try addresses against it.
func (l Links) keyed(kind, s string) string {
	m := hmac.New(sha256.New, l.key)
	fmt.Fprintf(m, "%s\x00%s", kind, s) // a hash never fails to be written to
	return hex.EncodeToString(m.Sum(nil)[:10])
}

// NetworkOf is the network that limits count: the /24 of an IPv4 address, the
// /48 of an IPv6 one (our own default: the most that a provider hands to one site).
func NetworkOf(a netip.Addr) string {
	if !a.IsValid() {
		return ""
	}
	a = a.Unmap()
	bits := 48
	if a.Is4() {
		bits = 24
	}
	p, err := a.Prefix(bits)
	if err != nil {
		return ""
	}
	return p.String()
}

func newID() string {
	var b [16]byte
	_, _ = rand.Read(b[:]) // never fails: see crypto/rand
	return hex.EncodeToString(b[:])
}
