package subscribe

import (
	"crypto/subtle"
	"encoding/base64"
	"encoding/json"
	"strings"
	"time"
)

const linkReport = "report"

// Report is what a reporting link may write: sightings of one river, of one
// stage of one group or, where Group is empty, of any; by one person or, where
// Person is empty, by a visitor of the pages; until it expires. A link without a
// river is that of a person's own page, for all of their rivers.
type Report struct {
	Person  string    `json:"p,omitempty"`
	River   string    `json:"r,omitempty"`
	Group   string    `json:"g,omitempty"`
	Stage   string    `json:"s,omitempty"`
	Expires time.Time `json:"e"`
	Nonce   string    `json:"n,omitempty"` // tells links of one moment apart
}

// Report returns the token of a reporting link. Nothing is stored for it.
func (l Links) Report(r Report) string {
	r.Expires = r.Expires.UTC().Truncate(time.Second)
	b, _ := json.Marshal(r) // strings and a time always can be written
	body := base64.RawURLEncoding.EncodeToString(b)
	return body + "." + base64.RawURLEncoding.EncodeToString(l.mac(linkReport, body))
}

// longestReport is the longest token that is looked at.
const longestReport = 1000

// ReportOf returns what a token may write. A forged or expired one is ErrToken.
func (l Links) ReportOf(token string, now time.Time) (Report, error) {
	var r Report
	body, sum, ok := strings.Cut(token, ".")
	if !ok || len(token) > longestReport {
		return r, ErrToken
	}
	got, err := base64.RawURLEncoding.Strict().DecodeString(sum)
	if err != nil || subtle.ConstantTimeCompare(got, l.mac(linkReport, body)) != 1 {
		return r, ErrToken
	}
	b, err := base64.RawURLEncoding.Strict().DecodeString(body)
	if err != nil || json.Unmarshal(b, &r) != nil || !now.Before(r.Expires) {
		return Report{}, ErrToken
	}
	return r, nil
}
