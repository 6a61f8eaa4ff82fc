package main

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/forecast"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
)

// python runs a script of testdata with the Python of this machine.
func python(t *testing.T, stdin []byte, script string, args ...string) []byte {
	t.Helper()
	path, err := exec.LookPath("python3")
	if err != nil {
		if os.Getenv("ECLOSE_CI") == "1" {
			t.Fatal(err)
		}
		t.Skip("no python3 here, so nothing that is not ours verifies the signature")
	}
	c := exec.CommandContext(t.Context(), path, append([]string{filepath.Join("testdata", script)}, args...)...)
	c.Stdin = bytes.NewReader(stdin)
	var errs bytes.Buffer
	c.Stderr = &errs
	out, err := c.Output()
	if err != nil {
		t.Fatalf("%s: %v\n%s", script, err, errs.String())
	}
	return out
}

// inbox is a receiver that keeps what it was sent, one line of JSON a request.
type inbox struct {
	mu    sync.Mutex
	lines bytes.Buffer
	n     int
}

func (b *inbox) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	body, _ := io.ReadAll(r.Body)
	headers := map[string]string{}
	for _, name := range []string{"webhook-id", "webhook-timestamp", "webhook-signature", "Content-Type"} {
		headers[name] = r.Header.Get(name)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	line, _ := json.Marshal(map[string]any{"headers": headers, "body": base64.StdEncoding.EncodeToString(body)})
	b.lines.Write(append(line, '\n'))
	b.n++
}

func (b *inbox) count() int { b.mu.Lock(); defer b.mu.Unlock(); return b.n }

// The whole way: eclose serve issues outlooks, its jobs tell a receiver over HTTP, and a
// program in another language that is written from the standard alone verifies each.
func TestServeTellsAReceiverWhatItIssuedSignedByTheStandard(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ name, database string }{{"sqlite", "eclose.db"}, {"postgres", ""}} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got := &inbox{}
			receiver := httptest.NewServer(got)
			t.Cleanup(receiver.Close)
			text := tarnFellsConfig(3)
			clock := from(demo.Issue)
			if c.database == "" { // the clock is the server's, and the demo's weather ends before
				c.database, clock = dbtest.PostgresURL(t), time.Now
				text = regexp.MustCompile(`(?m)^\s*\[river\.weather\]\n.*\n`).ReplaceAllString(text, "")
			}
			text = strings.Replace(text, `database = "eclose.db"`, `database = "`+c.database+`"`, 1) +
				fmt.Sprintf("\n[[webhook]]\nname = \"club\"\nurl = %q\nsecret-file = \"club.hook\"\n", receiver.URL+"/hooks/eclose")
			dir, path := write(t, text)
			secret := filepath.Join(dir, "club.hook")
			if err := os.WriteFile(secret, []byte("whsec_"+base64.StdEncoding.EncodeToString([]byte("invented for a test, 32 bytes ok"))+"\n"), 0o600); err != nil {
				t.Fatal(err)
			}
			url, log, stop := serve(t, clock, "--config", path)
			issued := map[string]string{}
			wait := func(what string, is func() bool) {
				t.Helper()
				for end := time.Now().Add(4 * time.Minute); !is(); time.Sleep(200 * time.Millisecond) {
					if time.Now().After(end) {
						t.Fatalf("waited in vain for %s\n%s", what, log)
					}
				}
			}
			wait("a forecast of each river", func() bool {
				for _, river := range []string{"wend", "garrow", "little-ash"} {
					var list struct {
						Items []struct {
							IssuedAt string `json:"issued_at"`
						}
					}
					if _, body := get(t, url+"/api/v1/rivers/"+river+"/forecasts"); json.Unmarshal([]byte(body), &list) == nil && len(list.Items) > 0 {
						issued[river] = list.Items[0].IssuedAt
					}
				}
				return len(issued) == 3
			})
			d := dbOf(t, dir, c.database)
			var kept int
			wait("delivery of every message", func() bool {
				var told, open int
				if err := d.SQL.QueryRow("SELECT COUNT(*), COALESCE(SUM(CASE WHEN delivered_at = 0 THEN 1 ELSE 0 END), 0) FROM webhook_message").Scan(&kept, &open); err != nil {
					t.Fatal(err)
				}
				if err := d.SQL.QueryRow("SELECT COUNT(DISTINCT river) FROM published_window").Scan(&told); err != nil {
					t.Fatal(err)
				}
				return told == 3 && open == 0 && got.count() >= kept
			})
			stop()
			if n := got.count(); n != kept {
				t.Errorf("%d messages were kept and %d came", kept, n)
			}
			var v struct {
				Right, Wrong, Forged int
				Messages             []struct {
					ID, Type string
					Data     struct {
						River    string
						IssuedAt string `json:"issued_at"`
						Standing string `json:"standing_caution"`
						Caution  struct {
							Known      *bool
							ValidUntil *time.Time `json:"valid_until"`
						}
						Change *struct {
							Change string
							Window struct {
								Group, Stage string
								Season       int
							}
						} `json:"window_change"`
					}
				}
			}
			raw := python(t, got.lines.Bytes(), "verify_webhooks.py", secret)
			if err := json.Unmarshal(raw, &v); err != nil {
				t.Fatalf("%v in %s", err, raw)
			}
			if v.Right != kept || v.Wrong != 0 || v.Forged != 0 {
				t.Errorf("the standard verifies %d of %d, refuses %d, takes %d that are forged", v.Right, kept, v.Wrong, v.Forged)
			}
			ids, told, forecasts := map[string]bool{}, []string{}, map[string]string{}
			for _, m := range v.Messages {
				if ids[m.ID] {
					t.Errorf("%s came twice", m.ID)
				}
				ids[m.ID] = true
				if m.Data.Standing != forecast.StandingCaution || m.Data.Caution.Known == nil || m.Data.Caution.ValidUntil == nil {
					t.Errorf("%s lacks the caution: %+v", m.Type, m.Data)
				}
				switch m.Type {
				case "forecast.issued":
					forecasts[m.Data.River] = m.Data.IssuedAt
				case "window.added":
					w := m.Data.Change.Window
					told = append(told, fmt.Sprintf("%s %s %s %d", m.Data.River, w.Group, w.Stage, w.Season))
				}
			}
			for river, at := range issued {
				if forecasts[river] != at {
					t.Errorf("%s: the API says issued %s, the message %s", river, at, forecasts[river])
				}
			}
			want := rowsOf(t, d, "SELECT river || ' ' || insect || ' ' || stage || ' ' || season FROM published_window")
			slices.Sort(told)
			slices.Sort(want)
			if !slices.Equal(told, want) || len(told) < 3 {
				t.Errorf("told %v, want %v", told, want)
			}
		})
	}
}

// dbOf is the database of a server, to be read.
func dbOf(t *testing.T, dir, name string) *db.DB {
	t.Helper()
	if !strings.Contains(name, "://") {
		name = filepath.Join(dir, name)
	}
	d, err := db.OpenReader(t.Context(), name)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.Close() })
	return d
}
