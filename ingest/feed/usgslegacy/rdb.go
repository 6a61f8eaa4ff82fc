package usgslegacy

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/usgs"
)

// table walks an RDB file: comment lines with #, a line of column names, a
// line of types such as 5s 15s 20d, then rows, all split by tabs. A file about
// several sites repeats the names. The line of types may be gone after a
// journey through a spreadsheet.
type table struct {
	comment func(text string)
	head    func(line int, names []string) error
	row     func(line int, cells []string) error
}

func (t table) read(r io.Reader) error {
	sc := bufio.NewScanner(r)
	sc.Buffer(make([]byte, 64<<10), 1<<20)
	line, width, types := 0, 0, false
	for sc.Scan() {
		line++
		text := strings.TrimSuffix(sc.Text(), "\r")
		switch {
		case strings.HasPrefix(text, "#"):
			t.comment(strings.TrimSpace(strings.TrimLeft(text, "#")))
			continue
		case strings.TrimSpace(text) == "":
			continue
		}
		cells := strings.Split(text, "\t")
		if cells[0] == "agency_cd" || width == 0 {
			width, types = len(cells), true
			if cells[0] != "agency_cd" {
				return bad(fmt.Sprintf("line %d", line), "is not the line of column names of an RDB table, which begins with agency_cd", "save the answer with format=rdb; for other tables use the feed csv", nil)
			}
			if err := t.head(line, cells); err != nil {
				return err
			}
			continue
		}
		if types {
			types = false
			if isTypes(cells) {
				continue
			}
		}
		if len(cells) != width {
			return bad(fmt.Sprintf("line %d", line), fmt.Sprintf("has %d columns where the line of names has %d", len(cells), width), "the file may be cut; save the answer again", nil)
		}
		if err := t.row(line, cells); err != nil {
			return err
		}
	}
	if err := sc.Err(); err != nil {
		return bad(fmt.Sprintf("line %d", line+1), "cannot be read", "", err)
	}
	if width == 0 {
		return bad("file", "holds comments but no table", "the service writes this where it has no data; check site, parameter and dates", nil)
	}
	return nil
}

// isTypes recognises the line under the names: each cell is a width and one of
// the letters s, d, n.
func isTypes(cells []string) bool {
	for _, c := range cells {
		c = strings.TrimSpace(c)
		if len(c) < 2 || !strings.ContainsAny(c[len(c)-1:], "sdn") || strings.Trim(c[:len(c)-1], "0123456789") != "" {
			return false
		}
	}
	return true
}

// column is one series of the table and where it stands.
type column struct {
	at     int
	code   int // column of the qualifier codes, or -1
	series ingest.Series
	conv   ingest.Conversion
	name   string
	open   bool // false: not of the house's variables; only counted
	head   head
	n      int
}

// rdbReader turns the rows of one table after another into series.
type rdbReader struct {
	c            *collector
	descriptions map[string]string // "113391 00010 00001" -> "Temperature, ..."
	siteNames    map[string]string
	names        []string
	col          map[string]int
	columns      []*column
	site         string
	other        string // what the table is, if it is not of readings
	rows         int
}

func (c *collector) rdb(r io.Reader) error {
	d := &rdbReader{c: c, descriptions: map[string]string{}, siteNames: map[string]string{}}
	err := table{comment: d.comment, head: d.header, row: d.row}.read(r)
	if err != nil {
		return err
	}
	return d.flush()
}

// comment picks up the two facts that only the comments hold: what each column
// means, in words with the unit, and the name of the site.
func (d *rdbReader) comment(text string) {
	f := strings.Fields(text)
	isCode := func(s string) bool { return len(s) == 5 && strings.Trim(s, "0123456789") == "" }
	switch {
	case len(f) > 3 && isCode(f[1]) && isCode(f[2]) && strings.Trim(f[0], "0123456789") == "":
		d.descriptions[f[0]+"_"+f[1]+"_"+f[2]] = strings.Join(f[3:], " ")
	case len(f) > 2 && isCode(f[1]) && strings.Trim(f[0], "0123456789") == "":
		d.descriptions[f[0]+"_"+f[1]] = strings.Join(f[2:], " ")
	case len(f) > 2 && strings.ToUpper(f[0]) == f[0] && len(f[1]) >= 8 && strings.Trim(f[1], "0123456789") == "":
		d.siteNames[f[0]+"-"+f[1]] = strings.Join(f[2:], " ")
	}
}

func (d *rdbReader) header(line int, names []string) error {
	if err := d.flush(); err != nil {
		return err
	}
	d.names, d.col, d.columns, d.site, d.rows, d.other = names, map[string]int{}, nil, "", 0, ""
	for i, n := range names {
		d.col[n] = i
	}
	_, station := d.col["station_nm"]
	_, month := d.col["month_nu"]
	_, datetime := d.col["datetime"]
	switch {
	case month:
		d.other = "statistics of past years"
	case station:
		d.other = "site descriptions"
	case !datetime:
		return bad(fmt.Sprintf("line %d", line), "has no column datetime", "save an answer of the services dv, iv, site or stat", nil)
	}
	if d.other != "" {
		return nil
	}
	if _, ok := d.col["site_no"]; !ok {
		return bad(fmt.Sprintf("line %d", line), "has no column site_no", "save the answer again", nil)
	}
	return nil
}

// begin opens the columns for the site of the row at hand.
func (d *rdbReader) begin(line int, agency, number string) error {
	d.site = agency + "-" + number
	d.columns = nil
	_, zone := d.col["tz_cd"]
	for i, n := range d.names {
		part := strings.Split(n, "_")
		if len(part) < 2 || len(part) > 3 || part[len(part)-1] == "cd" || strings.Trim(part[0], "0123456789") != "" || part[0] == "" || len(part[1]) != 5 {
			continue
		}
		h := head{agency: agency, number: number, name: d.siteNames[d.site], lat: math.NaN(), lon: math.NaN(), parameter: part[1]}
		if len(part) == 3 {
			h.statistic = part[2]
		}
		where := fmt.Sprintf("line %d, column %s", line, n)
		if p, ok := usgs.ParameterOf(h.parameter); ok {
			h.unit = p.Unit
			if words, ok := d.descriptions[n]; ok && !strings.Contains(strings.ToLower(words), p.Words) {
				return bad(where, fmt.Sprintf("is described as %q, which does not say %s", ingest.Clip(words), p.Words), "the parameter code and its description disagree; report it with the saved file", nil)
			}
		}
		col := &column{at: i, code: -1, name: n, head: h}
		if j, ok := d.col[n+"_cd"]; ok {
			col.code = j
		}
		if _, ok := usgs.StatisticOf(h.statistic); ok && h.unit != "" {
			var err error
			if col.series, col.conv, col.open, err = d.c.open(where, h, part[0], !zone, 0); err != nil {
				return err
			}
		}
		d.columns = append(d.columns, col)
	}
	if len(d.columns) == 0 {
		return bad(fmt.Sprintf("line %d", line), "belongs to a table without columns of values", "column names look like 113391_00010_00003", nil)
	}
	return nil
}

func (d *rdbReader) row(line int, cells []string) error {
	d.rows++
	if d.other != "" {
		return nil
	}
	agency, number := strings.TrimSpace(cells[0]), strings.TrimSpace(cells[d.col["site_no"]])
	if agency == "" || number == "" {
		return bad(fmt.Sprintf("line %d", line), "does not name its site", "save the answer again", nil)
	}
	if agency+"-"+number != d.site {
		if err := d.flush(); err != nil {
			return err
		}
		d.rows = 1
		if err := d.begin(line, agency, number); err != nil {
			return err
		}
	}
	at, err := d.time(cells)
	if err != nil {
		return bad(fmt.Sprintf("line %d, column datetime", line), err.Error(), "", nil)
	}
	for _, c := range d.columns {
		c.n++
		if !c.open {
			continue
		}
		v, word, err := usgs.Value(cells[c.at])
		if err != nil {
			return bad(fmt.Sprintf("line %d, column %s", line, c.name), "the value "+err.Error(), "report it with the saved file", nil)
		}
		var r remark
		if c.code >= 0 {
			r = d.c.qualifiers(strings.TrimSpace(cells[c.code]))
		}
		if word != "" {
			r.rest = join(word, r.rest)
		}
		s := &c.series
		s.Time, s.Value = append(s.Time, at), append(s.Value, c.conv.Apply(v))
		s.Qualifier, s.Approval = append(s.Qualifier, r.rest), append(s.Approval, r.approval)
	}
	return nil
}

// offsets of the zone abbreviations that USGS writes in tz_cd, in hours. The
// abbreviation tells the two autumn hours apart.
var offsets = map[string]int{
	"UTC": 0, "GMT": 0, "AST": -4, "ADT": -3, "EST": -5, "EDT": -4, "CST": -6, "CDT": -5, "MST": -7, "MDT": -6,
	"PST": -8, "PDT": -7, "AKST": -9, "AKDT": -8, "HST": -10, "HDT": -9, "SST": -11, "GST": 10, "ChST": 10,
}

func (d *rdbReader) time(cells []string) (int64, error) {
	s := strings.TrimSpace(cells[d.col["datetime"]])
	zone, instant := d.col["tz_cd"]
	if instant {
		hours, ok := offsets[strings.TrimSpace(cells[zone])]
		if !ok {
			return 0, fmt.Errorf("has the zone abbreviation %q, which is not in the table of USGS abbreviations", ingest.Clip(cells[zone]))
		}
		for _, layout := range []string{"2006-01-02 15:04", "2006-01-02 15:04:05"} {
			if t, err := time.Parse(layout, s); err == nil {
				t = t.Add(-time.Duration(hours) * time.Hour)
				return t.UnixMicro(), inRange(t)
			}
		}
		return 0, fmt.Errorf("%q is not of the form 2012-09-01 00:15", ingest.Clip(s))
	}
	if t, err := time.Parse("2006-01-02", s); err == nil {
		return t.UnixMicro(), inRange(t)
	}
	t, err := time.Parse("1/2/06", s)
	if err != nil {
		return 0, fmt.Errorf("%q is not of the form 2012-09-01", ingest.Clip(s))
	}
	from := d.c.p.TwoDigitYearsFrom
	if from == 0 {
		return 0, fmt.Errorf("%q has a two-digit year; add e.g. --two-digit-years-from 1930", ingest.Clip(s))
	}
	year := from + ((t.Year()%100-from%100)+100)%100
	t2 := time.Date(year, t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)
	if t2.Month() != t.Month() {
		return 0, fmt.Errorf("%q is not a day in %d", ingest.Clip(s), year)
	}
	return t2.UnixMicro(), inRange(t2)
}

// flush hands over the series of the table or site that just ended.
func (d *rdbReader) flush() error {
	if d.other != "" {
		d.c.skip("", d.other, "these are not readings", d.rows)
		d.other = ""
		return nil
	}
	for _, c := range d.columns {
		if !c.open {
			what, why := "parameter "+c.head.parameter, "unsupported variable"
			if _, ok := usgs.ParameterOf(c.head.parameter); ok {
				what, why = "statistic "+c.head.statistic+" of parameter "+c.head.parameter, "unsupported statistic"
			}
			d.c.skip(d.site, what, why, c.n)
			continue
		}
		if err := d.c.keep("column "+c.name, c.series); err != nil {
			return err
		}
	}
	d.columns = nil
	return nil
}

// ParseSites reads an RDB answer of the site service.
func ParseSites(r io.Reader) ([]usgs.Location, error) {
	var out []usgs.Location
	var col map[string]int
	err := table{
		comment: func(string) {},
		head: func(line int, names []string) error {
			col = map[string]int{}
			for i, n := range names {
				col[n] = i
			}
			for _, n := range []string{"site_no", "station_nm", "dec_lat_va", "dec_long_va"} {
				if _, ok := col[n]; !ok {
					return bad(fmt.Sprintf("line %d", line), "has no column "+n, "save an answer of the site service", nil)
				}
			}
			return nil
		},
		row: func(_ int, cells []string) error {
			get := func(n string) string {
				if i, ok := col[n]; ok {
					return strings.TrimSpace(cells[i])
				}
				return ""
			}
			out = append(out, usgs.Location{ID: get("agency_cd") + "-" + get("site_no"), Name: get("station_nm"), SiteTypeCode: get("site_tp_cd"),
				Lat: num(get("dec_lat_va")), Lon: num(get("dec_long_va")), AltitudeM: num(get("alt_va")) * 0.3048, DrainageAreaKm2: math.NaN()})
			return nil
		},
	}.read(r)
	return out, err
}

func num(s string) float64 {
	f, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(f, 0) {
		return math.NaN()
	}
	return f
}

// percentiles of the statistics service and their columns.
var percentiles = []struct {
	column, computation string
	percentile          float64
}{
	{"max_va", "maximum", math.NaN()}, {"min_va", "minimum", math.NaN()}, {"mean_va", "arithmetic_mean", math.NaN()},
	{"p05_va", "percentile", 5}, {"p10_va", "percentile", 10}, {"p20_va", "percentile", 20}, {"p25_va", "percentile", 25},
	{"p50_va", "percentile", 50}, {"p75_va", "percentile", 75}, {"p80_va", "percentile", 80}, {"p90_va", "percentile", 90}, {"p95_va", "percentile", 95},
}

// ParseNormals reads an RDB answer of the statistics service with
// statReportType=daily. Cells that the agency left blank, because too few
// years stand behind them, make no entry.
func ParseNormals(r io.Reader) ([]usgs.Normal, error) {
	var out []usgs.Normal
	var col map[string]int
	err := table{
		comment: func(string) {},
		head: func(line int, names []string) error {
			col = map[string]int{}
			for i, n := range names {
				col[n] = i
			}
			for _, n := range []string{"site_no", "parameter_cd", "ts_id", "month_nu", "day_nu", "count_nu"} {
				if _, ok := col[n]; !ok {
					return bad(fmt.Sprintf("line %d", line), "has no column "+n, "save an answer of the statistics service with statReportType=daily", nil)
				}
			}
			return nil
		},
		row: func(line int, cells []string) error {
			get := func(n string) string { return strings.TrimSpace(cells[col[n]]) }
			p, ok := usgs.ParameterOf(get("parameter_cd"))
			if !ok {
				return nil
			}
			conv, err := ingest.ConversionOf(p.Variable, p.Unit)
			if err != nil {
				return err
			}
			month, err1 := strconv.Atoi(get("month_nu"))
			day, err2 := strconv.Atoi(get("day_nu"))
			years, err3 := strconv.Atoi(get("count_nu"))
			if err1 != nil || err2 != nil || err3 != nil || month < 1 || month > 12 || day < 1 || day > 31 {
				return bad(fmt.Sprintf("line %d", line), "month_nu, day_nu and count_nu do not name a day and a count", "report it with the saved file", nil)
			}
			for _, q := range percentiles {
				i, ok := col[q.column]
				if !ok || strings.TrimSpace(cells[i]) == "" {
					continue
				}
				v, _, err := usgs.Value(cells[i])
				if err != nil {
					return bad(fmt.Sprintf("line %d, column %s", line, q.column), "the value "+err.Error(), "report it with the saved file", nil)
				}
				out = append(out, usgs.Normal{Site: get("agency_cd") + "-" + get("site_no"), TimeSeries: get("ts_id"), Parameter: p.Code, Variable: p.Variable,
					OfYear: fmt.Sprintf("%02d-%02d", month, day), Span: "day_of_year", Computation: q.computation, Percentile: q.percentile, Value: conv.Apply(v), Years: years})
			}
			return nil
		},
	}.read(r)
	return out, err
}
