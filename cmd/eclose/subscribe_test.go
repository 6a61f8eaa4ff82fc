package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// eclose runs the program as a user would.
func ecloseRun(t *testing.T, in string, args ...string) (out, errs string, code int) {
	t.Helper()
	var o, e bytes.Buffer
	code = runEnv(&env{
		ctx: t.Context(), stdin: strings.NewReader(in), stdout: &o, stderr: &e,
		now: func() time.Time { return time.Date(2026, 6, 6, 12, 0, 0, 0, time.UTC) },
	}, args)
	return o.String(), e.String(), code
}

func TestAnAddressIsAskedConfirmedShownGivenAndDeleted(t *testing.T) {
	dir := t.TempDir()
	database := "--database=" + filepath.Join(dir, "e.db")
	cfg := filepath.Join(dir, "e.toml")
	if err := os.WriteFile(cfg, []byte(`
[serve]
public-url = "https://eclose.example.org"
[mail]
host = "relay.example.org"
from = "alerts@example.org"
[[river]]
name = "River Wend"
slug = "wend"
region = "british-upland"
zone = "Europe/London"
lat = 54.5
lon = -2.5
[[river.gauge]]
feed = "usgs"
site = "01234567"
variables = ["discharge"]
`), 0o600); err != nil {
		t.Fatal(err)
	}
	eml := filepath.Join(dir, "q.eml")
	if _, errs, code := ecloseRun(t, "", "subscribe", "add", "a@example.org", "--river=wend", database); code != 2 || !strings.Contains(errs, "--consent") {
		t.Errorf("neither consent nor relay: %d %s", code, errs)
	}
	out, errs, code := ecloseRun(t, "", "subscribe", "add", "a@example.org", "--river=wend", "--quiet-hours=22:00-07:00", "--config="+cfg, "--eml="+eml, database)
	if code != 0 || strings.Contains(out+errs, "confirm/") {
		t.Fatalf("add: %d %s %s", code, out, errs)
	}
	if out, _, _ := ecloseRun(t, "", "subscribe", "list", "--format=json", database); strings.TrimSpace(out) != "[]" {
		t.Errorf("before the address confirmed: %s", out)
	}
	b, err := os.ReadFile(eml)
	if err != nil {
		t.Fatal(err)
	}
	body := strings.ReplaceAll(string(b), "=\r\n", "") // quoted-printable's soft breaks
	m := regexp.MustCompile(`/confirm/([A-Za-z0-9_-]+)`).FindStringSubmatch(body)
	if m == nil {
		t.Fatalf("no link in\n%s", b)
	}
	if out, errs, code = ecloseRun(t, "", "subscribe", "confirm", database, "--", m[1]); code != 0 {
		t.Fatalf("confirm: %d %s %s", code, out, errs)
	}
	if _, errs, code = ecloseRun(t, "", "subscribe", "confirm", database, "--", m[1]); code != 1 || !strings.Contains(errs, "invalid or has expired") {
		t.Errorf("a second time: %d %s", code, errs)
	}
	if out, _, _ = ecloseRun(t, "", "subscribe", "list", database); !strings.Contains(out, "a@example.org  active  wend   any fishable") {
		t.Errorf("list:\n%s", out)
	}
	if out, _, code = ecloseRun(t, "address,river\nb@example.org,wend\nc@example.org,wend\n", "subscribe", "import", "-", "--consent=w1", database); code != 0 || !strings.Contains(out, "2 people") {
		t.Errorf("import: %d %s", code, out)
	}
	if _, errs, code = ecloseRun(t, "address,river\nnobody,wend\n", "subscribe", "import", "-", "--consent=w1", database); code != 1 || !strings.Contains(errs, "standard input, line 2") {
		t.Errorf("import of a fault: %d %s", code, errs)
	}
	if _, _, code = ecloseRun(t, "", "subscribe", "pause", "a@example.org", "--until=2026-06-30", database); code != 0 {
		t.Errorf("pause: %d", code)
	}
	if out, _, _ = ecloseRun(t, "", "subscribe", "list", database); !strings.Contains(out, "paused until 2026-07-01") {
		t.Errorf("list:\n%s", out)
	}
	if _, _, code = ecloseRun(t, "", "subscribe", "pause", "a@example.org", "--until=2020-01-01", database); code != 2 {
		t.Errorf("a pause that is over: %d", code)
	}
	out, _, code = ecloseRun(t, "", "subscribe", "export", "a@example.org", database)
	var data map[string]any
	if err := json.Unmarshal([]byte(out), &data); code != 0 || err != nil || data["person"] == nil {
		t.Errorf("export: %d %v %s", code, err, out)
	}
	if _, _, code = ecloseRun(t, "", "subscribe", "remove", "b@example.org", database); code != 0 {
		t.Errorf("remove: %d", code)
	}
	for _, a := range []string{"a", "b", "c"} {
		if out, _, code = ecloseRun(t, "", "subscribe", "delete", a+"@example.org", database); code != 0 || !strings.Contains(out, "deleted") {
			t.Errorf("delete: %d %s", code, out)
		}
	}
	if out, _, _ := ecloseRun(t, "", "subscribe", "list", "--format=json", database); strings.TrimSpace(out) != "[]" {
		t.Errorf("after deleting all: %s", out)
	}
	files, err := filepath.Glob(filepath.Join(dir, "e.db*"))
	if err != nil || len(files) == 0 {
		t.Fatalf("the files of the database: %v, %v", files, err)
	}
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Contains(b, []byte("@example.org")) {
			t.Errorf("%s still holds an address after all were deleted", filepath.Base(f))
		}
	}
}

func TestASubscriptionMayWaitForAValueAtTheGauge(t *testing.T) {
	database := "--database=" + filepath.Join(t.TempDir(), "e.db")
	if _, errs, code := ecloseRun(t, "", "subscribe", "add", "a@example.org", "--river=garrow", "--group=salmonfly", "--when=flow < 600 cfs", "--consent=told", database); code != 0 {
		t.Fatal(errs)
	}
	out, errs, code := ecloseRun(t, "", "subscribe", "export", "a@example.org", database)
	if code != 0 || !strings.Contains(out, `"read flow \u003c 16.99010796 m3/s"`) && !strings.Contains(out, `"read flow < 16.99010796 m3/s"`) {
		t.Errorf("%d: %s%s", code, out, errs)
	}
	for _, bad := range []string{"flow < 600", "forecast height < 2 ft", "safe"} {
		if _, errs, code := ecloseRun(t, "", "subscribe", "add", "b@example.org", "--river=garrow", "--when="+bad, "--consent=told", database); code != 2 || !strings.Contains(errs, "write it like") {
			t.Errorf("%q: %d %s", bad, code, errs)
		}
	}
}
