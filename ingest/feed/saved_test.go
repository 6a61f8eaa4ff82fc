package feed_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed"
	"example.org/eclose/ingest/feed/bafu"
)

func TestASavedFileGivesItsPartAndSaysWhenItIsOfAnotherSite(t *testing.T) {
	const body = `<locations><station number="2009" name="Brig" easting="700000" northing="100000"><parameter type="3" variant="1" unit="°C"><datetime>2019-06-01T12:00:00</datetime><value>11.5</value></parameter><parameter type="3" variant="2" unit="°C"><datetime>2019-06-01T12:15:00</datetime><value>11.6</value></parameter></station></locations>`
	path := filepath.Join(t.TempDir(), "saved.xml")
	if err := os.WriteFile(path, []byte(body), 0o600); err != nil {
		t.Fatal(err)
	}
	s := feed.Saved{Parser: bafu.Parser{}, Path: path, Now: now}
	var got []ingest.Series
	take := func(x ingest.Series) error { got = append(got, x); return nil }
	req := ingest.Request{Site: "2009", Variables: []ingest.Variable{ingest.WaterTemperature}, To: time.Date(2019, 6, 1, 10, 15, 0, 0, time.UTC)}
	if err := s.Fetch(t.Context(), req, take); err != nil || len(got) != 1 || got[0].Len() != 1 || got[0].Value[0] != 11.5 || got[0].Retrieved[0] != theEnd.UnixMicro() {
		t.Fatalf("%+v, %v", got, err)
	}
	req.Site = "2016"
	if err := s.Fetch(t.Context(), req, take); err == nil || !strings.Contains(err.Error(), "no series of site 2016") || !strings.Contains(err.Error(), path) {
		t.Errorf("another site: %v", err)
	}
	if err := os.WriteFile(path, []byte(body[:80]), 0o600); err != nil {
		t.Fatal(err)
	}
	err := s.Fetch(t.Context(), req, take)
	if again, _ := ingest.Retryable(err); err == nil || again || !strings.Contains(err.Error(), path) {
		t.Errorf("a cut file: %v", err)
	}
	s.Path = filepath.Join(t.TempDir(), "absent")
	if err := s.Fetch(t.Context(), req, take); !errors.As(err, new(*ingest.Error)) || strings.Count(err.Error(), s.Path) != 1 {
		t.Errorf("an absent file: %v", err)
	}
}
