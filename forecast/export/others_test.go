package export

import (
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"example.org/eclose/forecast"
)

// TestOthersCanOpenTheFiles hands the files to DuckDB, Polars and pandas. It
// runs only where ECLOSE_NODE names a folder whose node_modules hold the first
// two (see testdata/open.mjs) and /usr/bin/python3 has pandas.
func TestOthersCanOpenTheFiles(t *testing.T) {
	modules := os.Getenv("ECLOSE_NODE")
	if modules == "" {
		t.Skip("ECLOSE_NODE is not set: DuckDB, Polars and pandas are not asked")
	}
	dir := t.TempDir()
	rows := rowsOf(outlook("wend", 240), outlook("garrow", 240))
	var sum float64
	windows := 0
	fishable := 0
	for i := range rows {
		rows[i].RiverName = "Wend, \"upper\" # at Skärhult"
		sum += rows[i].P
		if rows[i].Window.Peak.P50 != 0 {
			windows++
		}
		if rows[i].Fishable {
			fishable++
		}
	}
	for _, f := range Formats {
		if _, err := WriteFile(filepath.Join(dir, "out."+string(f)), f, meta, Rows(rows)); err != nil {
			t.Fatal(err)
		}
	}
	type seen struct {
		N        int     `json:"n"`
		P        float64 `json:"p"`
		Rivers   int     `json:"rivers"`
		First    string  `json:"first_day"`
		Windows  int     `json:"windows"`
		Fishable int     `json:"fishable"`
		Issued   string  `json:"issued"`
		Name     string  `json:"name"`
	}
	compare := func(who string, s seen) {
		t.Helper()
		if s.N != len(rows) || math.Abs(s.P-sum) > 1e-6 || s.Windows != windows || s.Name != rows[0].RiverName {
			t.Errorf("%s saw %+v, want %d rows, p %v, %d windows", who, s, len(rows), sum, windows)
		}
	}
	out, err := exec.Command("node", "testdata/open.mjs", modules, dir).Output()
	if err != nil {
		t.Fatalf("node: %v\n%s", err, stderr(err))
	}
	var got struct {
		Parquet, CSV, JSON, Arrow seen
		Sniffed                   seen `json:"csv_sniffed"`
		Polars                    seen `json:"polars_parquet"`
		Metadata, Types           map[string]string
	}
	if err := json.Unmarshal(out, &got); err != nil {
		t.Fatalf("%v in %s", err, out)
	}
	for who, s := range map[string]seen{"DuckDB's Parquet": got.Parquet, "DuckDB's CSV": got.CSV, "DuckDB's JSON": got.JSON} {
		compare(who, s)
		if s.Rivers != 2 || s.First != rows[0].Day.String() || s.Fishable != fishable || s.Issued != "2026-05-01 23:30:00.123456" {
			t.Errorf("%s saw %+v", who, s)
		}
	}
	compare("Polars's Arrow", got.Arrow)
	if got.Polars.N != len(rows) || math.Abs(got.Polars.P-sum) > 1e-6 {
		t.Errorf("Polars's Parquet saw %+v", got.Polars)
	}
	if got.Metadata["schema_version"] != Outlooks.Version || got.Metadata["comment"] != forecast.StandingCaution {
		t.Errorf("DuckDB's metadata: %v", got.Metadata)
	}
	for name, want := range map[string]string{"day": "DATE", "issued_at": "TIMESTAMP WITH TIME ZONE", "p": "DOUBLE", "river": "VARCHAR", "members": "BIGINT", "fishable": "BOOLEAN"} {
		if got.Types[name] != want {
			t.Errorf("DuckDB takes %s for %s, want %s", name, got.Types[name], want)
		}
	}
	out, err = exec.Command("/usr/bin/python3", "testdata/open.py", dir).Output()
	if err != nil {
		t.Fatalf("python3: %v\n%s", err, stderr(err))
	}
	var pandas seen
	if err := json.Unmarshal(out, &pandas); err != nil {
		t.Fatal(err)
	}
	compare("pandas", pandas)
}

func stderr(err error) []byte {
	if e, ok := err.(*exec.ExitError); ok { //nolint:errorlint // exec returns it unwrapped
		return e.Stderr
	}
	return nil
}
