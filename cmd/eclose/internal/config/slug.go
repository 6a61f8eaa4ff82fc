package config

import (
	"regexp"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// maxSlug is how long a slug may be, in letters; it is part of file names.
const maxSlug = 60

var (
	notInSlug = regexp.MustCompile(`[^\p{Ll}\p{Lo}\p{Lm}\p{M}\p{Nd}]+`)
	slugRule  = regexp.MustCompile(`^[\p{Ll}\p{Lo}\p{Lm}\p{Nd}][\p{Ll}\p{Lo}\p{Lm}\p{M}\p{Nd}]*(-[\p{Ll}\p{Lo}\p{Lm}\p{Nd}][\p{Ll}\p{Lo}\p{Lm}\p{M}\p{Nd}]*)*$`)
)

// slugOf is the slug of a name: its letters and digits, whatever the script, in
// lower case, with hyphens for all that is between. Letters keep their accents:
// Río and Rio are two rivers.
func slugOf(name string) string {
	s := notInSlug.ReplaceAllString(norm.NFC.String(strings.ToLower(name)), "-")
	return strings.Trim(s, "-")
}

// goodSlug is the one rule for a slug, made by us or written in the config: it
// can stand in an address and in a file name, and leads nowhere else.
func goodSlug(s string) bool {
	return slugRule.MatchString(s) && utf8.RuneCountInString(s) <= maxSlug && norm.NFC.IsNormalString(s)
}
