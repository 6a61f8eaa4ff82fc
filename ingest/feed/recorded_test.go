package feed_test

import (
	"encoding/csv"
	"fmt"
	"io/fs"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed"
	"example.org/eclose/ingest/feed/replay"
)

// The tables testdata/feeds/recorded-*.csv say what each recorded answer holds.
// Their figures come from a computation apart from our parsers: the script
// beside them of the same name reads the raw files with the Python standard
// library, in exact fractions, and shares no code with this project.
//
// Columns: file, feed, option (name=value, by blanks), series (its key; or, in
// a file of more than 20 series, "N series of variable/statistic/period",
// pooled; or "left out", whose count is what the parser must report as
// skipped; or "error", with words of the message in the column count), count,
// missing, first, last, min, max, qualifiers (name=count, by blanks), approved
// (may be empty: not judged).
type expected struct {
	feed, option string
	rows         map[string][]string
	fault        string
	left         int
	judgeLeft    bool
}

func TestRecordedAnswersParseToTheFiguresComputedApart(t *testing.T) {
	dir := replay.Shared(t, "feeds")
	tables, err := filepath.Glob(filepath.Join(replay.Root(t), "testdata", "feeds", "recorded-*.csv"))
	if err != nil || len(tables) == 0 {
		t.Fatalf("no tables of expected figures: %v", err)
	}
	want := map[string]*expected{}
	for _, table := range tables {
		readTable(t, table, want)
	}
	for _, name := range slices.Sorted(maps.Keys(want)) {
		t.Run(name, func(t *testing.T) { want[name].check(t, filepath.Join(dir, name)) })
	}
	everyFileIsInATable(t, dir, want)
}

func readTable(t *testing.T, table string, want map[string]*expected) {
	f, err := os.Open(table)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", table, err)
	}
	for _, r := range rows[1:] {
		e := want[r[0]]
		if e == nil {
			e = &expected{feed: r[1], option: r[2], rows: map[string][]string{}}
			want[r[0]] = e
		}
		switch r[3] {
		case "error":
			e.fault = r[4]
		case "left out":
			e.left, e.judgeLeft = atoi(t, r[4]), true
		default:
			e.rows[r[3]] = r[4:]
		}
	}
}

func atoi(t *testing.T, s string) int {
	n, err := strconv.Atoi(s)
	if err != nil {
		t.Fatalf("the table holds %q where a count is due", s)
	}
	return n
}

func (e *expected) check(t *testing.T, path string) {
	left := 0
	o := feed.Options{Skipped: func(s ingest.Skipped) { left += s.Readings }}
	for kv := range strings.FieldsSeq(e.option) {
		k, v, _ := strings.Cut(kv, "=")
		switch k {
		case "site":
			o.Site = v
		case "parameter":
			o.Parameter = v
		case "statistic":
			o.Statistic = v
		default:
			t.Fatalf("the table holds an unknown option %q", k)
		}
	}
	p, err := feed.Parser(e.feed, o)
	if err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	list, err := p.Parse(f)
	if e.fault != "" {
		if err == nil || !strings.Contains(err.Error(), e.fault) {
			t.Fatalf("error %v, want one that says %q", err, e.fault)
		}
		return
	}
	if err != nil {
		t.Fatal(err)
	}
	got := pool(t, list)
	for key, w := range e.rows {
		g, ok := got[key]
		if !ok {
			t.Errorf("no series %s; there are %v", key, slices.Sorted(maps.Keys(got)))
			continue
		}
		compare(t, key, g, w)
	}
	if len(got) != len(e.rows) {
		t.Errorf("%d series, want %d: %v", len(got), len(e.rows), slices.Sorted(maps.Keys(got)))
	}
	if e.judgeLeft && left != e.left {
		t.Errorf("%d readings reported as left out, want %d", left, e.left)
	}
}

// pool names series as the tables do.
func pool(t *testing.T, list []ingest.Series) map[string]feed.Summary {
	byName := map[string][]feed.Summary{}
	for i := range list {
		if err := list[i].Check(); err != nil {
			t.Errorf("the parser broke the rules of a series: %v", err)
		}
		s := feed.Summarize(&list[i])
		name := s.ID
		if len(list) > 20 {
			name = s.Variable + "/" + s.Statistic
			if s.Period != "" {
				name += "/" + s.Period
			}
		}
		byName[name] = append(byName[name], s)
	}
	out := map[string]feed.Summary{}
	for name, group := range byName {
		if len(list) > 20 {
			name = fmt.Sprintf("%d series of %s", len(group), name)
		}
		sum := group[0]
		for _, s := range group[1:] {
			sum.Count, sum.Missing, sum.Approved = sum.Count+s.Count, sum.Missing+s.Missing, sum.Approved+s.Approved
			sum.First, sum.Last = pick(sum.First, s.First, time.Time.Before), pick(sum.Last, s.Last, time.Time.After)
			sum.Min, sum.Max = pick(sum.Min, s.Min, func(a, b float64) bool { return a < b }), pick(sum.Max, s.Max, func(a, b float64) bool { return a > b })
			for q, n := range s.Qualifiers {
				sum.Qualifiers[q] += n
			}
		}
		out[name] = sum
	}
	return out
}

func pick[T any](a, b *T, better func(T, T) bool) *T {
	if a == nil || b != nil && better(*b, *a) {
		return b
	}
	return a
}

func compare(t *testing.T, key string, g feed.Summary, w []string) {
	moment := func(m *time.Time) string {
		if m == nil {
			return ""
		}
		return m.UTC().Format("2006-01-02T15:04:05Z")
	}
	words := g.Words()
	for i, q := range words {
		words[i] = fmt.Sprintf("%s=%d", q, g.Qualifiers[q])
	}
	for _, x := range []struct{ what, got, want string }{
		{"count", fmt.Sprint(g.Count), w[0]}, {"missing", fmt.Sprint(g.Missing), w[1]},
		{"first", moment(g.First), w[2]}, {"last", moment(g.Last), w[3]}, {"qualifiers", strings.Join(words, " "), w[6]},
	} {
		if x.got != x.want {
			t.Errorf("%s: %s %q, want %q", key, x.what, x.got, x.want)
		}
	}
	if w[7] != "" && fmt.Sprint(g.Approved) != w[7] {
		t.Errorf("%s: %d approved, want %s", key, g.Approved, w[7])
	}
	for _, x := range []struct {
		what string
		got  *float64
		want string
	}{{"min", g.Min, w[4]}, {"max", g.Max, w[5]}} {
		if (x.got == nil) != (x.want == "") {
			t.Errorf("%s: %s %v, want %q", key, x.what, x.got, x.want)
			continue
		}
		if x.got == nil {
			continue
		}
		f, err := strconv.ParseFloat(x.want, 64)
		if err != nil {
			t.Fatalf("%s: the table holds %q", key, x.want)
		}
		// The tables carry nine digits.
		if math.Abs(*x.got-f) > 1e-8*math.Max(1, math.Abs(f)) {
			t.Errorf("%s: %s %.12g, want %.12g", key, x.what, *x.got, f)
		}
	}
}

// unread are recorded responses of services that no feed reads, and why.
var unread = map[string]string{
	"usgs-legacy-json":                  "the service closes on 22 February 2027; the feed usgs has the same readings",
	"usgs-legacy-xml":                   "likewise",
	"usgs-legacy-rdb":                   "likewise; the feed csv reads tables of this format",
	"usgs-series":                       "likewise; other tests read them as long records",
	"no-nve":                            "needs a key, and no recorded response holds water temperature",
	"ch-bafu/SMS-2020-07-11-legacy.xml": "the service withdrew this format",
}

// everyFileIsInATable keeps a recorded answer from being passed over in
// silence. Tables of codes and lists of sites are in it as well, with what the
// parser says of them.
func everyFileIsInATable(t *testing.T, dir string, want map[string]*expected) {
	err := filepath.WalkDir(dir, func(path string, x fs.DirEntry, err error) error {
		if err != nil || x.IsDir() {
			return err
		}
		name, err := filepath.Rel(dir, path)
		if err != nil {
			return err
		}
		name = filepath.ToSlash(name)
		folder, _, _ := strings.Cut(name, "/")
		if name != "PROVENANCE.md" && unread[folder]+unread[name] == "" && want[name] == nil {
			t.Errorf("%s is in no table", name)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
