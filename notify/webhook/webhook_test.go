package webhook

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
)

const secret = "whsec_SW52ZW50ZWQgZm9yIHRlc3RzLCBub3QgYSBzZWNyZXQ="

func key(t *testing.T) []byte {
	t.Helper()
	b, err := ParseSecret(secret)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestEventsBecomeOneMessageForEachHookThatWantsThem(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		now := time.Date(2026, 5, 18, 19, 0, 0, 0, time.UTC)
		status, got := http.StatusOK, []string{}
		receiver := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			got = append(got, r.Header.Get("webhook-id"))
			http.Redirect(w, r, "/elsewhere", status)
		}))
		defer receiver.Close()
		s := &Store{DB: d, Now: func() time.Time { return now }, To: []Receiver{{Name: "all", URL: receiver.URL, Secret: key(t)}, {Name: "wend", URL: receiver.URL, Secret: key(t), Rivers: []string{"wend"}, Events: []string{WindowMoved}}}}
		add := func(events ...Event) (out []Pending) {
			t.Helper()
			if err := d.Tx(t.Context(), func(tx *db.Tx) (err error) { out, err = s.Add(t.Context(), tx, events); return err }); err != nil {
				t.Fatal(err)
			}
			return out
		}
		moved := Event{Type: WindowMoved, River: "wend", At: now, About: "a", Data: map[string]string{"river": "wend"}}
		all := add(moved, Event{Type: CautionChanged, River: "wend", At: now}, Event{Type: WindowMoved, River: "garrow", At: now, About: "a"})
		if len(all) != 4 {
			t.Fatalf("%d messages: %+v", len(all), all)
		}
		if again := add(moved); len(again) != 0 {
			t.Errorf("told again it is new: %+v", again)
		}
		// A failure leaves the message to be sent; a redirect is one.
		for _, code := range []int{500, 302, 404} {
			status = code
			if err := s.Send(t.Context(), all[0].ID); err == nil || errors.Is(err, ErrGone) {
				t.Errorf("%d: %v", code, err)
			}
		}
		status = 204
		for range 2 { // what was delivered is not sent again
			if err := s.Send(t.Context(), all[0].ID); err != nil {
				t.Error(err)
			}
		}
		if len(got) != 4 {
			t.Errorf("asked %d times", len(got))
		}
		status = http.StatusGone
		if err := s.Send(t.Context(), all[1].ID); !errors.Is(err, ErrGone) {
			t.Errorf("410: %v", err)
		}
		s.To = s.To[1:]
		if err := s.Send(t.Context(), all[2].ID); all[2].Hook == "all" && !errors.Is(err, ErrGone) {
			t.Errorf("a hook that was removed: %v", err)
		}
		now = now.Add(keptFor + time.Hour)
		if n, err := s.Clean(t.Context()); err != nil || n["webhook messages"] != 4 {
			t.Errorf("forgot %v, %v", n, err)
		}
		if err := s.Send(t.Context(), all[3].ID); !errors.Is(err, ErrGone) {
			t.Errorf("a message that was forgotten: %v", err)
		}
	})
}

func TestTheCautionIsNewsOnlyWhereItChanges(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		for i, x := range []struct {
			level int
			known bool
			want  bool
		}{{1, true, true}, {1, true, false}, {1, false, true}, {1, false, false}, {3, false, true}, {0, true, true}} {
			var news bool
			err := d.Tx(t.Context(), func(tx *db.Tx) (err error) {
				news, err = CautionNews(t.Context(), tx, "wend", x.level, x.known, time.Now())
				return err
			})
			if err != nil || news != x.want {
				t.Errorf("step %d: %v, %v", i, news, err)
			}
		}
	})
}

// The library of Standard Webhooks, in another language, takes what we sign and refuses
// it once it is changed.
func TestTheLibraryOfStandardWebhooksVerifiesWhatIsSent(t *testing.T) {
	dir := filepath.Join(os.TempDir(), fmt.Sprintf("eclose-webhooks-%d", os.Getuid()))
	if _, err := os.Stat(filepath.Join(dir, "node_modules", "standardwebhooks")); err != nil {
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		defer cancel()
		if out, err := exec.CommandContext(ctx, "npm", "install", "--prefix", dir, "--no-audit", "--no-fund", "--ignore-scripts", "standardwebhooks@1").CombinedOutput(); err != nil {
			if os.Getenv("ECLOSE_CI") == "1" {
				t.Fatalf("npm: %v\n%s", err, out)
			}
			t.Skipf("no npm here, so no other library verifies: %v", err)
		}
	}
	var headers http.Header
	var body []byte
	receiver := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		headers = r.Header
		body, _ = io.ReadAll(r.Body)
	}))
	defer receiver.Close()
	d := dbtest.Open(t, dbtest.SQLiteURL(t))
	s := &Store{DB: d, Now: time.Now, To: []Receiver{{Name: "club", URL: receiver.URL, Secret: key(t)}}}
	var sent []Pending
	err := d.Tx(t.Context(), func(tx *db.Tx) (err error) {
		sent, err = s.Add(t.Context(), tx, []Event{{Type: WindowMoved, River: "wend", At: time.Now(), Data: map[string]string{"river": "Wend, 11 °C"}}})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Send(t.Context(), sent[0].ID); err != nil {
		t.Fatal(err)
	}
	verify := func(body string, at string) string {
		t.Helper()
		in, _ := json.Marshal(map[string]any{"secret": secret, "body": body, "headers": map[string]string{"webhook-id": headers.Get("webhook-id"), "webhook-timestamp": at, "webhook-signature": headers.Get("webhook-signature")}})
		c := exec.CommandContext(t.Context(), "node", "testdata/verify.mjs", dir)
		c.Stdin = bytes.NewReader(in)
		out, err := c.CombinedOutput()
		if err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		return string(out)
	}
	at := headers.Get("webhook-timestamp")
	if out := verify(string(body), at); !strings.Contains(out, `"type":"window.moved"`) || !strings.Contains(out, "11 °C") {
		t.Errorf("the library says %s", out)
	}
	if out := verify(strings.Replace(string(body), "11", "12", 1), at); !strings.Contains(out, "refused") {
		t.Errorf("another body: %s", out)
	}
	n, _ := strconv.Atoi(at)
	if out := verify(string(body), strconv.Itoa(n+1)); !strings.Contains(out, "refused") {
		t.Errorf("another time: %s", out)
	}
}

func TestASecretIsBase64OfTwentyFourBytesOrMore(t *testing.T) {
	for _, text := range []string{"", "whsec_", "whsec_c2hvcnQ=", "not base64 at all!!!!!!!!!!!!!!!!!!!!!!", "whsec_" + strings.Repeat("QUFB", 30)} {
		if _, err := ParseSecret(text); !errors.Is(err, errSecret) {
			t.Errorf("%q: %v", text, err)
		}
	}
	if b := key(t); len(b) < secretLeast {
		t.Error(len(b))
	}
}
