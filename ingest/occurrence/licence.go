package occurrence

import "strings"

// A Licence is under which terms a record was published.
type Licence string

// The licences that are distinguished. AllRights is every other one, and none.
const (
	CC0       Licence = "CC0"
	CCBY      Licence = "CC BY"
	CCBYNC    Licence = "CC BY-NC"
	AllRights Licence = "all rights reserved"
)

// ParseLicence reads the ways in which services and files write a licence: an
// address at creativecommons.org, a code such as cc-by-nc, GBIF's CC_BY_4_0.
// What is not surely open keeps all rights: share-alike and no-derivatives are
// terms that a table of windows could not keep.
func ParseLicence(s string) Licence {
	f := strings.Map(func(r rune) rune {
		if r >= 'A' && r <= 'Z' {
			return r + 'a' - 'A'
		}
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '/' {
			return r
		}
		return '-'
	}, strings.TrimSpace(s))
	if _, path, ok := strings.Cut(f, "creativecommons-org/"); ok {
		path = strings.TrimPrefix(strings.TrimPrefix(path, "licenses/"), "publicdomain/")
		f, _, _ = strings.Cut(path, "/")
	}
	f = strings.TrimPrefix(f, "cc-")
	for _, version := range []string{"-1-0", "-2-0", "-2-5", "-3-0", "-4-0"} {
		f = strings.TrimSuffix(f, version)
	}
	switch f {
	case "cc0", "zero", "0", "mark", "public-domain", "publicdomain":
		return CC0
	case "by":
		return CCBY
	case "by-nc":
		return CCBYNC
	}
	return AllRights
}
