package feed

import (
	"math"
	"sort"
	"strings"
	"time"

	"example.org/eclose/ingest"
)

// Summary is what one series of an answer amounts to. Min and Max are in Unit
// and nil where no reading has a value.
type Summary struct {
	ID         string         `json:"id"`
	Feed       string         `json:"feed"`
	Site       string         `json:"site"`
	Variable   string         `json:"variable"`
	Statistic  string         `json:"statistic"`
	Period     string         `json:"period"`
	Unit       string         `json:"unit"`
	SourceUnit string         `json:"source_unit"`
	Count      int            `json:"count"`
	Missing    int            `json:"missing"`
	First      *time.Time     `json:"first"`
	Last       *time.Time     `json:"last"`
	Min        *float64       `json:"min"`
	Max        *float64       `json:"max"`
	Qualifiers map[string]int `json:"qualifiers"`
	Approved   int            `json:"approved"`
}

// Summarize sums up one series. A reading with two qualifiers counts under
// each.
func Summarize(s *ingest.Series) Summary {
	out := Summary{ID: s.String(), Feed: s.Feed, Site: s.Site, Variable: string(s.Variable), Statistic: string(s.Statistic), Period: s.Period,
		Unit: s.Variable.Unit(), SourceUnit: s.SourceUnit, Count: s.Len(), Missing: s.MissingCount(), Qualifiers: map[string]int{}}
	if n := s.Len(); n > 0 {
		first, last := s.At(0), s.At(n-1)
		out.First, out.Last = &first, &last
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range s.Value {
		if !math.IsNaN(v) {
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
	}
	if lo <= hi {
		out.Min, out.Max = &lo, &hi
	}
	for _, q := range s.Qualifier {
		for _, w := range strings.FieldsFunc(q, func(r rune) bool { return r == ',' }) {
			out.Qualifiers[w]++
		}
	}
	for _, a := range s.Approval {
		if a == ingest.Approved {
			out.Approved++
		}
	}
	return out
}

// Words lists qualifiers with their counts in a fixed order: "Ice 39, e 7".
func (s Summary) Words() []string {
	out := make([]string, 0, len(s.Qualifiers))
	for q := range s.Qualifiers {
		out = append(out, q)
	}
	sort.Strings(out)
	return out
}
