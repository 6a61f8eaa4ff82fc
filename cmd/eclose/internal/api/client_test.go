package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/page/pagetest"
	"example.org/eclose/forecast"
)

// tools is a folder with what makes and runs a client in TypeScript, from npm.
func tools(t *testing.T) string {
	t.Helper()
	dir := filepath.Join(os.TempDir(), fmt.Sprintf("eclose-openapi-%d", os.Getuid()))
	if _, err := os.Stat(filepath.Join(dir, "node_modules", ".bin", "openapi-typescript")); err == nil {
		return dir
	}
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	out, err := exec.CommandContext(ctx, "npm", "install", "--prefix", dir, "--no-audit", "--no-fund", "--ignore-scripts", "openapi-typescript@7", "openapi-fetch@0.17", "typescript@5").CombinedOutput()
	if err != nil {
		if os.Getenv("ECLOSE_CI") == "1" {
			t.Fatalf("npm: %v\n%s", err, out)
		}
		t.Skipf("no npm here, so no client in another language is made: %v", err)
	}
	return dir
}

// A client is generated from the document in another language, compiled with its
// types, and run against the API; what it read is what the API has.
func TestAGeneratedClientInTypeScriptReadsTheAPI(t *testing.T) {
	modules := tools(t)
	server := httptest.NewServer(nil)
	defer server.Close()
	w := newWorld(t, func(o *Options) { o.PublicURL = server.URL })
	server.Config.Handler = w
	dir := t.TempDir()
	run := func(name string, args ...string) []byte {
		t.Helper()
		c := exec.CommandContext(t.Context(), name, args...)
		c.Dir = dir
		out, err := c.CombinedOutput()
		if err != nil {
			t.Fatalf("%s: %v\n%s", filepath.Base(name), err, out)
		}
		return out
	}
	client, err := os.ReadFile("testdata/client.ts")
	if err != nil {
		t.Fatal(err)
	}
	for name, b := range map[string][]byte{"openapi.json": w.get(Root + "/openapi.json").Body.Bytes(), "client.ts": client, "package.json": []byte(`{"type":"module"}`),
		"tsconfig.json": []byte(`{"compilerOptions":{"strict":true,"target":"es2022","module":"nodenext","types":[],"skipLibCheck":true},"files":["client.ts"]}`)} {
		if err := os.WriteFile(filepath.Join(dir, name), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink(filepath.Join(modules, "node_modules"), filepath.Join(dir, "node_modules")); err != nil {
		t.Fatal(err)
	}
	bin := filepath.Join(modules, "node_modules", ".bin")
	run(filepath.Join(bin, "openapi-typescript"), "openapi.json", "-o", "schema.d.ts")
	run(filepath.Join(bin, "tsc"))
	var got struct {
		River, Next, Until, Standing, Answer, Title string
		Windows, Days, Status                       int
		Stages, Ranges                              []string
		P50                                         float64
		Known                                       bool
	}
	out := run("node", "client.js", server.URL)
	if err := json.Unmarshal(out, &got); err != nil {
		t.Fatalf("%v in %s", err, out)
	}
	all, _ := pagetest.Outlooks(t, nil)
	o := all["wend"]
	laying := 0
	for i := range o.Stages {
		if o.Stages[i].Stage == forecast.EggLaying {
			laying++
		}
	}
	day, _ := o.Flow.On(forecast.DateOf(time.Date(2026, 5, 24, 0, 0, 0, 0, time.UTC)))
	if got.River != "wend" || got.Windows != laying || laying == 0 || !slices.Equal(got.Stages, []string{"egg-laying"}) || got.Days != 15 || got.P50 != day.P50 || got.Known || got.Until == "" ||
		got.Standing != forecast.StandingCaution || got.Answer == "" || !slices.Equal(got.Ranges, []string{"water_p50"}) || got.Status != 404 || got.Title != "Not Found" || got.Next != server.URL+Root+"/rivers?limit=1&offset=1" {
		t.Errorf("the client read %+v; %d windows of egg-laying, flow %v", got, laying, day.P50)
	}
}
