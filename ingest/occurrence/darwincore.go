package occurrence

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"example.org/eclose/ingest/feed/response"
)

// SourceName is the source of records that come as a Darwin Core file.
const SourceName = "darwin-core"

const dwc response.Feed = SourceName

// most bounds what one file may hold: a download of a whole order has some
// million records.
const mostRecords = 5_000_000

// row is the fields of one line, by term in lower case.
type row struct {
	at    map[string]int
	cells []string
	fixed map[string]string // values that meta.xml gives for all lines
}

// get returns the first of the terms that has a value.
func (r row) get(terms ...string) string {
	for _, t := range terms {
		if i, ok := r.at[t]; ok && i < len(r.cells) {
			if s := strings.TrimSpace(r.cells[i]); s != "" {
				return s
			}
		}
		if s := r.fixed[t]; s != "" {
			return s
		}
	}
	return ""
}

func (r row) number(terms ...string) float64 {
	v, err := strconv.ParseFloat(r.get(terms...), 64)
	if err != nil || math.IsInf(v, 0) {
		return math.NaN()
	}
	return v
}

// ReadText reads a Darwin Core table whose header names the terms, separated by
// commas or tabs: a CSV of occurrences or GBIF's download. It yields each record
// once read, so that memory does not grow with the file.
func ReadText(r io.Reader, yield func(Record) error) error {
	br, _, err := dwc.Begin(r)
	if err != nil {
		return err
	}
	first, err := br.Peek(br.Size())
	if len(first) == 0 {
		return dwc.Fault("file", "could not be read", "", err)
	}
	line, _, _ := bytes.Cut(first, []byte("\n"))
	t := table{separator: ',', quoted: true}
	if bytes.Count(line, []byte("\t")) > bytes.Count(line, []byte(",")) {
		t.separator, t.quoted = '\t', false
	}
	next := t.rows(br)
	header, err := next()
	if err != nil {
		return err
	}
	at := map[string]int{}
	for i, h := range header {
		at[term(h)] = i
	}
	if _, ok := at["scientificname"]; !ok {
		return dwc.Fault("line 1", "has no column scientificName", "the file must be Darwin Core with a header", nil)
	}
	return eachRow(next, row{at: at}, func(x row) error { return yield(recordOf(x, nil)) })
}

// term is a term without its namespace, in lower case.
func term(s string) string {
	s = strings.TrimSpace(s)
	s = s[strings.LastIndexAny(s, "/:#")+1:]
	return strings.ToLower(s)
}

func eachRow(next func() ([]string, error), x row, do func(row) error) error {
	for n := 0; ; n++ {
		cells, err := next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if n >= mostRecords {
			return dwc.Fault("file", fmt.Sprintf("has more than %d records", mostRecords), "split it", nil)
		}
		x.cells = cells
		if err := do(x); err != nil {
			return err
		}
	}
}

// table says how the lines of a text file are split.
type table struct {
	separator rune
	quoted    bool // cells may stand within double quotes
}

// maxLine is the longest line; GBIF's have some kilobytes.
const maxLine = 4 << 20

func (t table) rows(r io.Reader) func() ([]string, error) {
	if t.quoted {
		c := csv.NewReader(r)
		c.Comma, c.FieldsPerRecord, c.LazyQuotes, c.ReuseRecord = t.separator, -1, true, true
		return func() ([]string, error) {
			cells, err := c.Read()
			if err != nil && !errors.Is(err, io.EOF) {
				return nil, dwc.Fault("file", "is not a table", "", err)
			}
			return cells, err
		}
	}
	lines := bufio.NewScanner(r)
	lines.Buffer(make([]byte, 64<<10), maxLine)
	return func() ([]string, error) {
		for lines.Scan() {
			if s := strings.TrimSuffix(lines.Text(), "\r"); strings.TrimSpace(s) != "" {
				return strings.Split(s, string(t.separator)), nil
			}
		}
		if err := lines.Err(); err != nil {
			return nil, dwc.Fault("file", "is not a table of lines", "", err)
		}
		return nil, io.EOF
	}
}

// recordOf makes a record of a line; event is the line of its sampling event,
// which fills what the occurrence leaves out.
func recordOf(x row, event *row) Record {
	get := func(terms ...string) string {
		if s := x.get(terms...); s != "" || event == nil {
			return s
		}
		return event.get(terms...)
	}
	number := func(terms ...string) float64 {
		if v := x.number(terms...); !math.IsNaN(v) || event == nil {
			return v
		}
		return event.number(terms...)
	}
	r := blank(SourceName)
	r.Dataset = get("datasetname", "datasetkey", "datasetid")
	r.Key = KeyOf(x.get("occurrenceid"), x.get("gbifid"), r.Dataset, x.get("catalognumber"))
	r.Name = PlainName(cmpOr(x.get("species"), x.get("scientificname")), x.get("scientificnameauthorship"))
	if n := x.get("genericname", "genus"); x.get("species") == "" && strings.EqualFold(x.get("taxonrank"), "genus") && n != "" {
		r.Name = n
	}
	r.Rank, r.Genus, r.Family, r.Order = strings.ToLower(x.get("taxonrank")), x.get("genus"), x.get("family"), x.get("order")
	r.Stage = ParseStage(get("lifestage"))
	if r.Stage == StageUnknown {
		r.Stage = ParseStage(x.get("vitality", "preparations"))
		if r.Stage != Exuvia {
			r.Stage = StageUnknown
		}
	}
	if s := get("eventdate"); s != "" {
		if a, b, err := ParseDates(s); err == nil {
			r.Start, r.End = a, b
		}
	} else if a, b, ok := partsDate(get("year"), get("month"), get("day")); ok {
		r.Start, r.End = a, b
	}
	r.LatDeg, r.LonDeg = number("decimallatitude"), number("decimallongitude")
	r.UncertaintyM = number("coordinateuncertaintyinmeters")
	r.ElevationM = number("elevation")
	if lo, hi := number("minimumelevationinmeters"), number("maximumelevationinmeters"); math.IsNaN(r.ElevationM) && !math.IsNaN(lo) {
		r.ElevationM = lo
		if !math.IsNaN(hi) {
			r.ElevationM = (lo + hi) / 2
		}
	}
	r.Obscured = get("informationwithheld", "datageneralizations") != ""
	r.Locality = get("locality", "waterbody")
	r.Count = x.number("individualcount", "organismquantity")
	r.Absent = strings.EqualFold(x.get("occurrencestatus"), "absent") || r.Count == 0
	r.Captive = Captive(get("degreeofestablishment", "establishmentmeans"))
	r.Basis = get("basisofrecord")
	r.Confirmed = true // who publishes Darwin Core stands for the identification
	r.Doubt = doubts(x.get("issue", "issues"))
	r.Event, r.Effort = get("eventid", "parenteventid"), get("samplingeffort")
	r.EffortHours = hoursOf(number("samplesizevalue"), get("samplesizeunit"), r.Effort)
	r.Protocol, r.Behaviour, r.Vernacular = get("samplingprotocol"), x.get("behavior", "behaviour"), x.get("vernacularname")
	if _, err := strconv.ParseFloat(x.get("organismquantity"), 64); err != nil {
		r.Amount = x.get("organismquantity")
	}
	r.Licence = ParseLicence(get("license", "rights"))
	r.Holder, r.Observer, r.URL = get("rightsholder"), get("recordedby", "recordedbyid"), x.get("references")
	return r
}

// PlainName takes the author off a scientific name.
func PlainName(name, author string) string {
	if author != "" {
		name = strings.TrimSpace(strings.TrimSuffix(name, author))
	}
	words := strings.Fields(name)
	for i, w := range words {
		lower := w[0] >= 'a' && w[0] <= 'z'
		if i > 0 && (!lower || strings.ContainsAny(w, "().,&0123456789")) || i > 2 {
			// A subgenus in brackets stands between genus and species.
			if i == 1 && strings.HasPrefix(w, "(") && strings.HasSuffix(w, ")") && len(words) > 2 && words[2][0] >= 'a' && words[2][0] <= 'z' {
				return PlainName(words[0]+" "+strings.Join(words[2:], " "), "")
			}
			words = words[:i]
			break
		}
	}
	return strings.Join(words, " ")
}

// Captive reports whether an establishmentMeans or degreeOfEstablishment says that
// the organism was bred, kept or planted.
func Captive(s string) bool {
	switch strings.ToLower(s) {
	case "captive", "cultivated", "managed", "released", "introducedassistedcolonisation":
		return true
	}
	return false
}

// doubts returns the first of GBIF's issues that makes a record useless for a
// date at a place; the others (rounded coordinates, a continent derived) do not.
func doubts(issues string) string {
	for _, s := range strings.FieldsFunc(issues, func(r rune) bool { return r == ';' || r == ',' || r == '|' }) {
		s = strings.ToUpper(strings.TrimSpace(s))
		switch s {
		case "RECORDED_DATE_INVALID", "RECORDED_DATE_UNLIKELY", "RECORDED_DATE_MISMATCH", "ZERO_COORDINATE", "COORDINATE_INVALID",
			"COORDINATE_OUT_OF_RANGE", "COUNTRY_COORDINATE_MISMATCH", "PRESUMED_SWAPPED_COORDINATE", "PRESUMED_NEGATED_LATITUDE",
			"PRESUMED_NEGATED_LONGITUDE", "TAXON_MATCH_FUZZY", "TAXON_MATCH_NONE":
			return s
		}
	}
	return ""
}

// Doubts is doubts for a list.
func Doubts(issues []string) string { return doubts(strings.Join(issues, ";")) }

// hoursOf is the effort in hours: sampleSizeValue in a unit of time, else a
// samplingEffort such as "2 hours" or "1.5 h"; NaN if it says something else.
func hoursOf(value float64, unit, effort string) float64 {
	if h := value * hoursIn(unit); h > 0 {
		return h
	}
	words := strings.Fields(strings.ToLower(effort))
	if len(words) < 2 {
		return math.NaN()
	}
	v, err := strconv.ParseFloat(words[0], 64)
	if h := v * hoursIn(words[1]); err == nil && h > 0 && !math.IsInf(h, 0) {
		return h
	}
	return math.NaN()
}

func hoursIn(unit string) float64 {
	switch strings.TrimSuffix(strings.ToLower(unit), "s") {
	case "h", "hour", "hr", "observer-hour", "trap-hour":
		return 1
	case "min", "minute":
		return 1.0 / 60
	case "day", "trap-day", "night", "trap-night":
		return 24
	}
	return math.NaN()
}
