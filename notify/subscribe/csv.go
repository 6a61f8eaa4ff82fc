package subscribe

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"
)

// columns of a CSV file of subscriptions, one row per person and river.
var columns = []string{
	"address", "river", "groups", "stages", "threshold", "horizon_days", "cadence", "cautions", "when", "zone", "units", "quiet", "wake_for_3", "per_day",
}

// ReadCSV reads subscriptions, one row per person and river; rows of one address are
// one request. address and river are needed; lists are written with semicolons,
// quiet hours as 22:00-07:00, yes and no as yes and no. Every fault is
// reported, each with file, line and column.
func ReadCSV(in io.Reader, name string) ([]Request, error) {
	r := csv.NewReader(in)
	r.FieldsPerRecord = -1
	head, err := r.Read()
	if errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("%s: empty file; the header must name: %s", name, strings.Join(columns, ","))
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	at := map[string]int{}
	for i, h := range head {
		h = strings.ToLower(strings.TrimSpace(strings.TrimPrefix(h, "\ufeff")))
		if _, twice := at[h]; twice || !slices.Contains(columns, h) {
			return nil, fmt.Errorf("%s, line 1: column %q is unknown or repeated; use %s", name, h, strings.Join(columns, ","))
		}
		at[h] = i
	}
	for _, need := range []string{"address", "river"} {
		if _, ok := at[need]; !ok {
			return nil, fmt.Errorf("%s, line 1: column %q is missing", name, need)
		}
	}
	var out []Request
	var faults []error
	byAddress := map[string]int{}
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		line, _ := r.FieldPos(0)
		q, err := csvRow(row, at)
		if err != nil {
			faults = append(faults, fmt.Errorf("%s, line %d: %w", name, line, err))
			continue
		}
		i, seen := byAddress[fold(q.Address)]
		if !seen {
			byAddress[fold(q.Address)] = len(out)
			out = append(out, q)
			continue
		}
		out[i].Subscriptions = append(out[i].Subscriptions, q.Subscriptions...)
	}
	return out, errors.Join(faults...)
}

func csvRow(row []string, at map[string]int) (Request, error) {
	var faults []error
	field := func(name string) string {
		if i, ok := at[name]; ok && i < len(row) {
			return strings.TrimSpace(row[i])
		}
		return ""
	}
	fault := func(name, want string) {
		faults = append(faults, fmt.Errorf("column %s: %q; write %s", name, field(name), want))
	}
	number := func(name string) float64 {
		s := field(name)
		if s == "" {
			return 0
		}
		v, err := strconv.ParseFloat(s, 64)
		if err != nil || v != v {
			fault(name, "a number")
		}
		return v
	}
	whole := func(name string) int {
		s := field(name)
		if s == "" {
			return 0
		}
		v, err := strconv.Atoi(s)
		if err != nil {
			fault(name, "a whole number")
		}
		return v
	}
	yes := func(name string, empty bool) bool {
		switch strings.ToLower(field(name)) {
		case "":
			return empty
		case "yes":
			return true
		case "no":
			return false
		}
		fault(name, "yes or no")
		return false
	}
	list := func(name string) []string {
		var out []string
		for s := range strings.SplitSeq(field(name), ";") {
			if s = strings.TrimSpace(s); s != "" {
				out = append(out, s)
			}
		}
		return out
	}
	q := Request{
		Zone: field("zone"), Units: field("units"), WakeFor3: yes("wake_for_3", false), PerDay: whole("per_day"),
		Subscriptions: []Subscription{{
			River: field("river"), Groups: list("groups"), Stages: list("stages"), Threshold: number("threshold"),
			HorizonDays: whole("horizon_days"), Cadence: field("cadence"), Cautions: yes("cautions", true), When: field("when"),
		}},
	}
	var err error
	if q.Address, err = ParseAddress(field("address")); err != nil {
		faults = append(faults, err)
	}
	if s := field("quiet"); s != "" {
		if q.QuietFrom, q.QuietTo, err = ParseQuiet(s); err != nil {
			fault("quiet", "22:00-07:00")
		}
	}
	if len(faults) > 0 {
		return q, errors.Join(faults...)
	}
	filled := q
	filled.Subscriptions = slices.Clone(q.Subscriptions)
	filled.complete()
	return q, filled.check(Names{}) // here, where the line is known
}

// noQuiet is the beginning and the end of no quiet hours, where somebody wants none.
const noQuiet = 12 * 60

// ParseQuiet reads quiet hours written as 22:00-07:00, in minutes after local
// midnight, or "none".
func ParseQuiet(s string) (from, to int, err error) {
	if strings.EqualFold(s, "none") {
		return noQuiet, noQuiet, nil
	}
	a, b, ok := strings.Cut(s, "-")
	x, err1 := time.Parse("15:04", strings.TrimSpace(a))
	y, err2 := time.Parse("15:04", strings.TrimSpace(b))
	if !ok || err1 != nil || err2 != nil {
		return 0, 0, fmt.Errorf("quiet hours: %q; write as 22:00-07:00, or none", s)
	}
	return x.Hour()*60 + x.Minute(), y.Hour()*60 + y.Minute(), nil
}
