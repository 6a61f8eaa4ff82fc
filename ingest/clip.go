package ingest

import "strings"

// mostClipped is how much of what somebody else wrote a message may carry, in
// bytes.
const mostClipped = 200

// Clip makes text of others fit for a message: one line, and not too long.
func Clip(s string) string {
	cut := len(s) > 2*mostClipped
	if cut {
		s = s[:2*mostClipped]
	}
	s = strings.Join(strings.FieldsFunc(strings.ToValidUTF8(s, ""), func(r rune) bool { return r <= ' ' || r == 0x7f }), " ")
	if cut || len(s) > mostClipped {
		return strings.ToValidUTF8(s[:min(mostClipped, len(s))], "") + "..."
	}
	return s
}
