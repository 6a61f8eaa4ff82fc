package webhook

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"strconv"
	"strings"
	"time"
)

// The secret of a hook, as the Standard Webhooks specification writes it: base64 with
// this prefix, 24 to 64 bytes.
const (
	secretPrefix = "whsec_"
	secretLeast  = 24
	secretMost   = 64
)

// errSecret is a secret that is not written as it must be.
var errSecret = errors.New(`a webhook's secret is "whsec_" and 24 to 64 random bytes in base64, such as: echo whsec_$(openssl rand -base64 32)`)

// ParseSecret reads a secret.
func ParseSecret(text string) ([]byte, error) {
	b, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(strings.TrimSpace(text), secretPrefix))
	if err != nil || len(b) < secretLeast || len(b) > secretMost {
		return nil, errSecret
	}
	return b, nil
}

// sign returns the signature of a message at the time of an attempt: HMAC-SHA256 over
// id, time and body with dots between, version 1 of Standard Webhooks.
func sign(secret []byte, id string, at time.Time, body []byte) string {
	h := hmac.New(sha256.New, secret)
	h.Write([]byte(id + "." + strconv.FormatInt(at.Unix(), 10) + "."))
	h.Write(body)
	return "v1," + base64.StdEncoding.EncodeToString(h.Sum(nil))
}
