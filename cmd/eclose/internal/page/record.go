package page

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"path"
	"slices"
	"strings"
)

// maxReport bounds what is read of one file of a report.
const maxReport = 8 << 20

// record shows what past seasons say of the forecasts: the plain sentence of
// the backtest, and its files.
func (s *site) record(*http.Request) (*answer, error) {
	var body struct {
		Sentence []string
		Files    []string
	}
	if s.BacktestFiles != nil {
		entries, err := fs.ReadDir(s.BacktestFiles, ".")
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("reading the reports: %w", err)
		}
		for _, e := range entries {
			if _, ok := reportKinds[path.Ext(e.Name())]; ok && !e.IsDir() && !strings.HasPrefix(e.Name(), ".") {
				body.Files = append(body.Files, e.Name())
			}
		}
		if i := slices.Index(body.Files, "report.html"); i > 0 {
			body.Files = slices.Insert(slices.Delete(body.Files, i, i+1), 0, "report.html")
		}
		if slices.Contains(body.Files, "backtest.txt") {
			b, err := fs.ReadFile(s.BacktestFiles, "backtest.txt")
			if err != nil {
				return nil, fmt.Errorf("reading the reports: %w", err)
			}
			for line := range bytes.SplitSeq(b, []byte("\n")) {
				if len(bytes.TrimSpace(line)) == 0 {
					break
				}
				body.Sentence = append(body.Sentence, string(line))
			}
		}
	}
	return &answer{name: "record", title: "Track record", here: "record", body: body}, nil
}

var reportKinds = map[string]string{
	".txt": "text/plain; charset=utf-8", ".md": "text/plain; charset=utf-8", ".csv": "text/csv; charset=utf-8", ".json": "application/json",
	".svg": "image/svg+xml", ".png": "image/png", ".html": "text/html; charset=utf-8", ".parquet": "application/vnd.apache.parquet",
}

// reportFile hands a file of the report over. What a browser might run is
// saved, not shown.
func (s *site) reportFile(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("file")
	kind, ok := reportKinds[path.Ext(name)]
	if s.BacktestFiles == nil || !ok || !fs.ValidPath(name) || strings.Contains(name, "/") || strings.HasPrefix(name, ".") {
		s.fail(w, r, errNotFound)
		return
	}
	info, err := fs.Stat(s.BacktestFiles, name)
	if err != nil || info.IsDir() || info.Size() > maxReport {
		s.fail(w, r, errNotFound)
		return
	}
	b, err := fs.ReadFile(s.BacktestFiles, name)
	if err != nil {
		s.fail(w, r, fmt.Errorf("reading the report %s: %w", name, err))
		return
	}
	h := w.Header()
	h.Set("Content-Type", kind)
	switch path.Ext(name) {
	case ".txt", ".md", ".json", ".png":
	default:
		h.Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", name))
	}
	_, _ = w.Write(b) // a reader that went away is no fault
}
