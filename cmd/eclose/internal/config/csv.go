package config

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/csvfile"
)

// CSVLayout is what the columns of a CSV file mean.
type CSVLayout struct {
	Columns      []Column `toml:"column"`
	TimeCol      string   `toml:"time-column"`
	TimeLayout   string   `toml:"time-layout"`
	Zone         string   `toml:"zone"`
	Century      int      `toml:"two-digit-years-from"`
	Missing      []string `toml:"missing"`
	Comma        string   `toml:"delimiter"`
	DecimalComma bool     `toml:"decimal-comma"`
	SkipRows     int      `toml:"skip-lines"`
}

// Column declares one value column of a CSV file.
type Column struct {
	Name      string `toml:"name"`
	Variable  string `toml:"variable"`
	Unit      string `toml:"unit"`
	Statistic string `toml:"statistic"`
	Period    string `toml:"period"`
	Remarks   string `toml:"remarks"`
}

// Parser reads files of this layout as readings of a site.
func (l CSVLayout) Parser(site string, skipped func(ingest.Skipped)) csvfile.Parser {
	p := csvfile.Parser{Site: site, TimeColumn: l.TimeCol, Layout: l.TimeLayout, Zone: l.Zone, TwoDigitYearsFrom: l.Century, Missing: l.Missing,
		Delimiter: l.Comma, DecimalComma: l.DecimalComma, SkipLines: l.SkipRows, Skipped: skipped}
	for _, c := range l.Columns {
		p.Columns = append(p.Columns, csvfile.Column{Name: c.Name, Variable: ingest.Variable(c.Variable), Unit: c.Unit, Statistic: ingest.Statistic(c.Statistic), Period: c.Period, Qualifier: c.Remarks})
	}
	return p
}

// CSVLayout returns the layout of that name; the empty name is the one that
// [feeds.csv] itself declares, or the only one there is.
func (c *Config) CSVLayout(name string) (CSVLayout, error) {
	f := c.Feeds[csvfile.FeedName]
	if name != "" {
		if l, ok := f.Layouts[name]; ok {
			return l, nil
		}
		return CSVLayout{}, fmt.Errorf("no CSV layout %q; %s", name, f.layoutNames())
	}
	if len(f.Columns) == 0 && len(f.Layouts) == 1 {
		for _, l := range f.Layouts {
			return l, nil
		}
	}
	if len(f.Columns) == 0 {
		return CSVLayout{}, fmt.Errorf("no CSV layout is named; %s", f.layoutNames())
	}
	return f.CSVLayout, nil
}

func (f Feed) layoutNames() string {
	if len(f.Layouts) == 0 {
		return "declare the columns as [[feeds.csv.column]]"
	}
	return "layouts are " + strings.Join(slices.Sorted(maps.Keys(f.Layouts)), ", ")
}

// layoutFaults says what is wrong with the layouts themselves.
func (f Feed) layoutFaults(add func(string, ...any)) {
	check := func(where string, l CSVLayout) {
		for _, err := range l.Parser("", nil).Faults() {
			add("%s: %v", where, err)
		}
	}
	if len(f.Columns) > 0 || len(f.Layouts) == 0 && (f.TimeCol != "" || f.TimeLayout != "") {
		check("feeds.csv", f.CSVLayout)
	}
	for _, name := range slices.Sorted(maps.Keys(f.Layouts)) {
		check("feeds.csv.layout."+name, f.Layouts[name])
	}
}

// layoutFault says what is wrong with the layout that a gauge or the weather
// names.
func (c *Config) layoutFault(who, feed, layout string, add func(string, ...any)) {
	if feed != csvfile.FeedName {
		if layout != "" {
			add("%s: layout is for feed = \"csv\" only", who)
		}
		return
	}
	if _, err := c.CSVLayout(layout); err != nil {
		add("%s: %v", who, err)
	}
}
