package main

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/ingest/series"
)

// yearServer answers any span of continuous values with one reading a week, the
// pages turned round, and blocks at the request that stop says.
type yearServer struct {
	mu    sync.Mutex
	asked []string
	stop  func(span string) bool
	at    chan struct{}
}

func (y *yearServer) answer(w http.ResponseWriter, r *http.Request) {
	span := r.URL.Query().Get("datetime")
	from, to, _ := strings.Cut(span, "/")
	a, err1 := time.Parse(time.RFC3339, from)
	b, err2 := time.Parse(time.RFC3339, to)
	if err1 != nil || err2 != nil {
		http.Error(w, span, http.StatusBadRequest)
		return
	}
	y.mu.Lock()
	y.asked = append(y.asked, span)
	stop := y.stop != nil && y.stop(from)
	y.mu.Unlock()
	if stop {
		close(y.at)
		<-r.Context().Done()
		return
	}
	var rows []string
	for t := a.Truncate(7 * 24 * time.Hour).Add(7 * 24 * time.Hour); t.Before(b); t = t.Add(7 * 24 * time.Hour) {
		rows = append([]string{fmt.Sprintf(`{"type":"Feature","id":"x","geometry":null,"properties":{"time_series_id":"%032d","monitoring_location_id":"USGS-99000009","parameter_code":"00010","statistic_id":"00011","time":%q,"value":"%d","unit_of_measure":"degC","approval_status":"Approved","qualifier":null}}`,
			7, t.Format("2006-01-02T15:04:05+00:00"), 5+t.YearDay()%10)}, rows...)
	}
	w.Header().Set("Content-Type", "application/geo+json")
	_, _ = io.WriteString(w, `{"type":"FeatureCollection","features":[`+strings.Join(rows, ",")+`],"links":[]}`)
}

// The process is killed while the sixth of twelve years is on its way. The next
// run asks that year and those after it, no other, and the store then holds
// what an ingest without a break holds, every reading with its flag.
func TestABackfillThatWasKilledGoesOnWhereItWas(t *testing.T) {
	t.Parallel()
	y := &yearServer{at: make(chan struct{}), stop: func(from string) bool { return strings.HasPrefix(from, "2019-") }}
	base := scripted(t, y.answer)
	dir, path := write(t, strings.Replace(oneGauge(base), "backfill-years = 1\n", "backfill-years = 12\n", 1))
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	cmd := exec.CommandContext(t.Context(), exe)
	cmd.Env = append(os.Environ(), "ECLOSE_TEST_RUN=ingest\n--config\n"+path)
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	select {
	case <-y.at:
	case <-time.After(30 * time.Second):
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		t.Fatalf("the sixth year was never asked for: %v\n%s", y.asked, out.String())
	}
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = cmd.Wait() // it says "killed"
	y.mu.Lock()
	first := y.asked
	y.asked, y.stop = nil, nil
	y.mu.Unlock()
	if code, out, errs := call(t, demo.Issue, "ingest", "--config", path); code != 0 {
		t.Fatalf("%s%s", out, errs)
	}
	if len(first) != 6 || len(y.asked) != 8 || y.asked[0] != first[5] {
		t.Errorf("asked first\n%s\nthen\n%s", strings.Join(first, "\n"), strings.Join(y.asked, "\n"))
	}
	for _, a := range y.asked[1:] {
		for _, b := range first {
			if a == b {
				t.Errorf("%s was asked twice", a)
			}
		}
	}
	whole, wholePath := write(t, strings.Replace(oneGauge(base), "backfill-years = 1\n", "backfill-years = 12\n", 1))
	if code, out, errs := call(t, demo.Issue, "ingest", "--config", wholePath); code != 0 {
		t.Fatalf("%s%s", out, errs)
	}
	if a, b := digest(t, dir), digest(t, whole); a != b {
		t.Error("the store is not the one of an ingest without a break")
	}
	s := open(t, dir)
	keys, err := s.Keys(t.Context())
	if err != nil || len(keys) != 1 {
		t.Fatalf("%v, %v", keys, err)
	}
	got, err := s.Read(t.Context(), keys[0], series.Query{})
	if err != nil || got.Len() < 12*51 || got.Flag == nil {
		t.Fatalf("%d readings, %v", got.Len(), err)
	}
	for i, f := range got.Flag {
		if f == 0 {
			t.Fatalf("the reading of %s was never checked", got.At(i))
		}
	}
	// From now on only what is new is asked for.
	y.asked = nil
	if code, out, errs := call(t, demo.Issue, "ingest", "--config", path); code != 0 || len(y.asked) != 1 {
		t.Errorf("asked %v: %s%s", y.asked, out, errs)
	}
	// And on demand all of it again.
	y.asked = nil
	if code, out, errs := call(t, demo.Issue, "ingest", "--config", path, "--refetch"); code != 0 || len(y.asked) != 13 || !strings.Contains(out, "0 new, 0 revised") {
		t.Errorf("asked %v: %s%s", y.asked, out, errs)
	}
}

// A gauge without a thermometer is not asked for ten years of one at each pass.
func TestAVariableThatTheSiteLacksIsAskedFromTheBeginningOnce(t *testing.T) {
	t.Parallel()
	y := &yearServer{}
	base := scripted(t, y.answer)
	_, path := write(t, strings.NewReplacer("backfill-years = 1\n", "backfill-years = 4\n", `["water_temperature"]`, `["water_temperature", "discharge"]`).Replace(oneGauge(base)))
	for pass, want := range []int{5, 1, 1} {
		y.asked = nil
		if code, out, errs := call(t, demo.Issue.Add(time.Duration(pass)*time.Hour), "ingest", "--config", path); code != 0 || len(y.asked) != want {
			t.Errorf("pass %d asked %d times, want %d: %v\n%s%s", pass, len(y.asked), want, y.asked, out, errs)
		}
	}
}
