package series

import (
	"fmt"
	"strings"
	"time"

	"example.org/eclose/ingest"
)

// bundle is what shares files: one series, or all members of one ensemble.
type bundle struct {
	Feed       string           `json:"feed"`
	Site       string           `json:"site"`
	Variable   ingest.Variable  `json:"variable"`
	Statistic  ingest.Statistic `json:"statistic"`
	Period     string           `json:"period,omitempty"`
	TimeSeries string           `json:"time_series,omitempty"`
	Ensemble   bool             `json:"ensemble,omitempty"`
}

func bundleOf(k ingest.Key) bundle {
	return bundle{k.Feed, k.Site, k.Variable, k.Statistic, k.Period, k.TimeSeries, k.Member != 0}
}

func (s bundle) key(member int) ingest.Key {
	return ingest.Key{Feed: s.Feed, Site: s.Site, Variable: s.Variable, Statistic: s.Statistic,
		Period: s.Period, TimeSeries: s.TimeSeries, Member: member}
}

// path is the bundle as a folder, the same under index, data and past.
func (s bundle) path() string {
	last := undotted(string(s.Statistic))
	if s.Period != "" {
		last += "." + undotted(s.Period)
	}
	if s.TimeSeries != "" {
		last += ".ts-" + undotted(s.TimeSeries)
	}
	if s.Ensemble {
		last += ".members"
	}
	return escape(s.Feed) + "/" + escape(s.Site) + "/" + escape(string(s.Variable)) + "/" + last
}

// maxFolderName keeps a folder name within what file systems allow (255 bytes).
const maxFolderName = 240

func checkBundle(s bundle) error {
	for name := range strings.SplitSeq(s.path(), "/") {
		if len(name) > maxFolderName {
			return fmt.Errorf("series %s: the name %.40s... is too long to be stored (%d bytes written out, at most %d)", s.key(0), name, len(name), maxFolderName)
		}
	}
	return nil
}

// escape makes a word fit to be one folder name everywhere: letters, digits and
// "_-,+" stay, all else becomes %XX, the dot only where it leads. No "=" is left,
// which other tools would take for a column in the name of a folder.
func escape(word string) string {
	var b strings.Builder
	for i := range len(word) {
		switch c := word[i]; {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c >= '0' && c <= '9', c == '_', c == '-', c == ',', c == '+',
			c == '.' && i > 0:
			b.WriteByte(c)
		default:
			fmt.Fprintf(&b, "%%%02X", c)
		}
	}
	return b.String()
}

// undotted is escape for a word beside others that are joined by dots.
func undotted(word string) string { return strings.ReplaceAll(escape(word), ".", "%2E") }

// daily says whether a period is a day or longer: an ISO 8601 duration without
// a time part.
func daily(period string) bool {
	return len(period) > 1 && period[0] == 'P' && !strings.Contains(period, "T")
}

// span is one file's stretch of time: [from, to) in microseconds UTC.
type span struct {
	name     string
	from, to int64
}

func (s span) holds(t int64) bool { return t >= s.from && t < s.to }

// spanOf finds the span of this bundle that holds t.
func (s bundle) spanOf(t int64) span {
	at := time.UnixMicro(t).UTC()
	year, month, _ := at.Date()
	switch {
	case s.Ensemble && !daily(s.Period):
		from := time.Date(year, month, 1, 0, 0, 0, 0, time.UTC)
		return span{from.Format("2006-01"), from.UnixMicro(), from.AddDate(0, 1, 0).UnixMicro()}
	case !s.Ensemble && (daily(s.Period) || rare(s.Variable)):
		first := year - ((year%10)+10)%10
		from := time.Date(first, 1, 1, 0, 0, 0, 0, time.UTC)
		return span{fmt.Sprintf("%04ds", first), from.UnixMicro(), from.AddDate(10, 0, 0).UnixMicro()}
	}
	from := time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC)
	return span{fmt.Sprintf("%04d", year), from.UnixMicro(), from.AddDate(1, 0, 0).UnixMicro()}
}

// rare marks the variables that people measure by hand, some times a year.
func rare(v ingest.Variable) bool {
	return v == ingest.ChannelWidth || v == ingest.ChannelArea || v == ingest.ChannelVelocity
}
