package qc

import (
	"strings"

	"example.org/eclose/ingest"
)

// remark is what a word of an agency means for the reading it stands beside.
type remark struct {
	flag ingest.Flag
	test string
}

var (
	broken  = remark{ingest.Fail, TestAgency}
	doubted = remark{ingest.Suspect, TestAgency}
	iced    = remark{ingest.Suspect, TestIce}
)

// remarks: feed -> word in lower case -> meaning. Words that are not listed
// leave the reading alone. Sources: USGS water-services documentation of
// qualification codes; GHCN-Daily readme, section III; Environment Agency
// Hydrology API reference; Water Survey of Canada data symbols; api.weather.gov
// quality control codes (after MADIS). An estimated value is used, marked.
var remarks = map[string]map[string]remark{
	"usgs": usgs,
	"ghcn": {"m:p": doubted}, // missing, presumed zero
	"ea":   {"suspect": broken, "missing": broken, "estimated": doubted, "incomplete": doubted},
	"eccc": {"b": iced, "ice conditions": iced, "ice": iced, "e": doubted, "estimated": doubted, "estimate": doubted, "a": doubted, "partial day": doubted,
		"e:estimated": doubted, "b:ice": iced},
	"nws": {"x": broken, "q": doubted, "b": broken},
	"csv": {"ice": iced},
}

var usgs = map[string]remark{
	"ice": iced, "e": doubted, "estimated": doubted, "[4]": doubted, "bkw": doubted, "backwater": doubted,
	"eqp": broken, "equipment": broken, "dis": broken, "discontinued": broken, "ssn": broken, "seasonal": broken, "mnt": broken, "maintenance": broken,
	"rat": broken, "dry": broken, "fld": doubted, "flood": doubted, "***": broken, "--": broken, "<": doubted, ">": doubted,
}

// agency applies what the agency itself says of its readings.
func (r *run) agency() {
	words := remarks[r.s.Feed]
	if r.s.Qualifier == nil || (words == nil && r.s.Feed != "ghcn") {
		return
	}
	// Runs of readings carry the same remark, so the last answer is kept.
	last, answer := "", remark{}
	for i, q := range r.s.Qualifier {
		if q == "" {
			continue
		}
		if q != last {
			last, answer = q, judge(r.s.Feed, words, q)
		}
		if answer.flag != 0 {
			r.set(i, answer.flag, answer.test)
		}
	}
}

// judge is the worst meaning of a list of words.
func judge(feed string, words map[string]remark, q string) (out remark) {
	for w := range strings.SplitSeq(strings.ToLower(q), ",") {
		w = strings.TrimSpace(w)
		m := words[w]
		if feed == "ghcn" && strings.HasPrefix(w, "q:") {
			m = broken // any quality flag means that the value failed a check
		}
		if rank(m.flag) > rank(out.flag) {
			out = m
		}
	}
	return out
}
