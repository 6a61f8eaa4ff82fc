package export

import (
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"example.org/eclose/forecast"
)

// TestOthersCanOpenTheFiles hands the files to DuckDB, Polars, Apache Arrow for
// JavaScript, pandas and GDAL. It runs only where ECLOSE_NODE names a folder whose
// node_modules hold the first three (.ci/others makes one); Debian 12 has no
// library with which its pandas opens Parquet.
func TestOthersCanOpenTheFiles(t *testing.T) {
	modules := os.Getenv("ECLOSE_NODE")
	if modules == "" {
		if os.Getenv("ECLOSE_CI") != "" {
			t.Fatal("ECLOSE_NODE is not set")
		}
		t.Skip("ECLOSE_NODE is not set: DuckDB, Polars, Arrow, pandas and GDAL are not asked")
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
	predictions := slices.Collect(Predictions(outlook("wend", 240), nil, 0, 0))
	var predicted float64
	for _, p := range predictions {
		predicted += p.Prediction
	}
	if _, err := WriteTableFile(filepath.Join(dir, "efi.parquet"), Parquet, EFI, meta, Rows(predictions)); err != nil {
		t.Fatal(err)
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
	out, err := exec.CommandContext(t.Context(), "node", "testdata/open.mjs", modules, dir).Output()
	if err != nil {
		t.Fatalf("node: %v\n%s", err, stderr(err))
	}
	var got struct {
		Parquet, CSV, JSON, Arrow seen
		Sniffed                   seen `json:"csv_sniffed"`
		Polars                    seen `json:"polars_parquet"`
		ArrowJS                   struct {
			seen
			Comment string
			Water   float64
		} `json:"arrow_js"`
		EFI             seen `json:"efi"`
		Metadata, Types map[string]string
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
	compare("Arrow for JavaScript", got.ArrowJS.seen)
	if a := got.ArrowJS; a.First != rows[0].Day.String() || a.Comment != forecast.StandingCaution || a.Water != rows[0].WaterC[1] {
		t.Errorf("Arrow for JavaScript saw %+v", a)
	}
	if got.EFI.N != len(predictions) || math.Abs(got.EFI.P-predicted) > 1e-6 || got.EFI.Rivers != 1 {
		t.Errorf("DuckDB saw %+v in the convention's Parquet, want %d rows with the sum %v", got.EFI, len(predictions), predicted)
	}
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
	out, err = exec.CommandContext(t.Context(), "/usr/bin/python3", "testdata/open.py", dir).Output()
	if err != nil {
		t.Fatalf("python3: %v\n%s", err, stderr(err))
	}
	var pandas seen
	if err := json.Unmarshal(out, &pandas); err != nil {
		t.Fatal(err)
	}
	compare("pandas", pandas)
	var onMap struct {
		N        int       `json:"n"`
		Extent   []float64 `json:"extent"`
		Cautions []string  `json:"cautions"`
		Water    []float64 `json:"water"`
		P        int       `json:"p"`
	}
	out, err = exec.CommandContext(t.Context(), "/usr/bin/python3", "testdata/gdal.py", filepath.Join(dir, "out.geojson")).Output()
	if err != nil {
		t.Fatalf("GDAL: %v\n%s", err, stderr(err))
	}
	if err := json.Unmarshal(out, &onMap); err != nil {
		t.Fatal(err)
	}
	r := rows[0]
	if onMap.N != 10 || !slices.Equal(onMap.Extent, []float64{r.Lon, r.Lon, r.Lat, r.Lat}) || !slices.Equal(onMap.Cautions, []string{forecast.StandingCaution}) ||
		len(onMap.Water) == 0 || onMap.Water[0] != r.WaterC[1] || onMap.P == 0 {
		t.Errorf("GDAL saw %+v", onMap)
	}
}

func stderr(err error) []byte {
	if e, ok := err.(*exec.ExitError); ok { //nolint:errorlint // exec returns it unwrapped
		return e.Stderr
	}
	return nil
}
