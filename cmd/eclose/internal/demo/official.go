package demo

import (
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"strings"
	"time"

	"gonum.org/v1/gonum/stat"
)

// A Spate is a flood that the invented truth has in store after Issue.
type Spate struct {
	River   string // slug
	After   time.Duration
	PeakM3s float64 // on top of what the river has anyway
}

// add lets a river rise within half a day and fall by a half every two days.
func (s Spate) add(rec record) {
	top := int(Issue.Add(s.After).Sub(start).Hours())
	for h := range rec.flow {
		switch d := float64(h - top); {
		case d >= 0:
			rec.flow[h] += s.PeakM3s * math.Exp2(-d/48)
		case d > -12:
			rec.flow[h] += s.PeakM3s * (1 + d/12)
		}
	}
}

// FlowM3s is the true mean flow of a river over so many hours from a moment on,
// m3/s.
func (w *World) FlowM3s(slug string, from time.Time, hours int) float64 {
	for _, r := range Rivers {
		if r.Slug == slug {
			h0 := int(from.Sub(start).Hours())
			return stat.Mean(w.records[r.Site].flow[h0:h0+hours], nil)
		}
	}
	return math.NaN()
}

// The forecasts of flow: how far they reach, their members, and by how much the model of
// the whole country has too much water here.
const (
	officialDays   = 5
	mediumDays     = 9
	longDays       = 30
	mediumMembers  = 6
	longMembers    = 4
	nationalExcess = 1.3
)

func (w *World) official(mux *http.ServeMux) {
	mux.HandleFunc("GET /nwps/v1/gauges/{id}", w.gauge)
	mux.HandleFunc("GET /nwps/v1/gauges/{id}/stageflow", w.stageflow)
	mux.HandleFunc("GET /nwps/v1/reaches/{id}/streamflow", w.streamflow)
	mux.HandleFunc("GET /alerts/active", func(rw http.ResponseWriter, _ *http.Request) {
		rw.Header().Set("Content-Type", "application/geo+json")
		fmt.Fprint(rw, `{"type":"FeatureCollection","title":"Current watches, warnings, and advisories","features":[]}`)
	})
}

// riverOf finds a river by its site or the name that the forecast service has for it.
func riverOf(id string) (i int, ok bool) {
	for i, r := range Rivers {
		if id == r.Site || id == lid(i) || id == reach(i) {
			return i, true
		}
	}
	return 0, false
}

func lid(i int) string   { return fmt.Sprintf("TFEL%d", i+1) }
func reach(i int) string { return fmt.Sprintf("9900%d", i+1) }

func (w *World) gauge(rw http.ResponseWriter, r *http.Request) {
	i, ok := riverOf(r.PathValue("id"))
	if !ok {
		http.NotFound(rw, r)
		return
	}
	rw.Header().Set("Content-Type", "application/json")
	none := `{"stage":-9999,"flow":-9999}`
	fmt.Fprintf(rw, `{"lid":%q,"usgsId":%q,"reachId":%q,"name":%q,"latitude":%g,"longitude":%g,"pedts":{"observed":"HGIRG","forecast":"HGIFF"},"flood":{"stageUnits":"ft","flowUnits":"kcfs","categories":{"action":%s,"minor":%s,"moderate":%s,"major":%s}}}`,
		lid(i), Rivers[i].Site, reach(i), Rivers[i].Name+" at the invented bridge", Rivers[i].Lat, Rivers[i].Lon, none, none, none, none)
}

const cubicFoot = 0.028316846592

// erring is the true flow from an issue on, m3/s, every so many hours, with an error that
// grows with lead.
func (w *World) erring(i, stream, days, every int, size float64) (at []time.Time, m3s []float64) {
	rng := rand.New(rand.NewPCG(Seed+uint64(stream), uint64(i)))
	drift := 0.0
	for h := 0; h <= 24*days; h += every {
		drift += size * math.Sqrt(float64(every)/24) * rng.NormFloat64()
		t := forecastIssue.Add(time.Duration(h) * time.Hour)
		at, m3s = append(at, t), append(m3s, w.FlowM3s(Rivers[i].Slug, t, 1)*math.Exp(drift))
	}
	return at, m3s
}

// forecastIssue is when the invented forecasts of flow were made.
var forecastIssue = Issue.Truncate(6 * time.Hour)

func (w *World) stageflow(rw http.ResponseWriter, r *http.Request) {
	i, ok := riverOf(r.PathValue("id"))
	if !ok {
		http.NotFound(rw, r)
		return
	}
	at, m3s := w.erring(i, 500, officialDays, 6, 0.03)
	var rows []string
	for k := range at {
		rows = append(rows, fmt.Sprintf(`{"validTime":%q,"generatedTime":%q,"primary":%.3f,"secondary":-999}`, at[k].Format(time.RFC3339), forecastIssue.Format(time.RFC3339), m3s[k]/cubicFoot/1000))
	}
	rw.Header().Set("Content-Type", "application/json")
	names := `"primaryName":"Flow","primaryUnits":"kcfs","secondaryName":"Stage","secondaryUnits":"ft"`
	fmt.Fprintf(rw, `{"observed":{%s,"data":[]},"forecast":{"issuedTime":%q,%s,"data":[%s]}}`, names, forecastIssue.Format(time.RFC3339), names, strings.Join(rows, ","))
}

func (w *World) streamflow(rw http.ResponseWriter, r *http.Request) {
	i, ok := riverOf(r.PathValue("id"))
	if !ok {
		http.NotFound(rw, r)
		return
	}
	series := map[string]string{"mediumRange": "{}", "longRange": "{}", "shortRange": "{}"}
	members := func(n, stream, days, every int, size float64) string {
		var runs []string
		for m := range n {
			at, m3s := w.erring(i, stream+m, days, every, size)
			var rows []string
			for k := range at {
				rows = append(rows, fmt.Sprintf(`{"validTime":%q,"flow":%.1f}`, at[k].Format(time.RFC3339), nationalExcess*m3s[k]/cubicFoot))
			}
			runs = append(runs, fmt.Sprintf(`"member%d":{"referenceTime":%q,"units":"ft³/s","data":[%s]}`, m+1, forecastIssue.Format(time.RFC3339), strings.Join(rows, ",")))
		}
		return "{" + strings.Join(runs, ",") + "}"
	}
	switch r.URL.Query().Get("series") {
	case "short_range":
		series["shortRange"] = strings.Replace(members(1, 600, 1, 1, 0.02), "member1", "series", 1)
	case "medium_range":
		series["mediumRange"] = members(mediumMembers, 610, mediumDays, 1, 0.05)
	case "long_range":
		series["longRange"] = members(longMembers, 620, longDays, 6, 0.08)
	}
	rw.Header().Set("Content-Type", "application/json")
	fmt.Fprintf(rw, `{"reach":{"reachId":%q,"name":%q},"shortRange":%s,"mediumRange":%s,"longRange":%s}`, reach(i), Rivers[i].Name, series["shortRange"], series["mediumRange"], series["longRange"])
}
