package page

import (
	"bytes"
	"context"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/diary"
)

// sheetOf is the hand-out of an invented river.
func sheetOf(t testing.TB, w *world, i int) string {
	t.Helper()
	river := invented[i]
	st, err := w.Data.State(context.Background(), river.Slug)
	if err != nil {
		t.Fatal(err)
	}
	seen, err := w.diary.List(context.Background(), diary.Filter{River: river.Slug})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := (Sheet{River: river, Outlook: st.Outlook, Catalogue: w.Catalogue, Sightings: seen}).Write(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestASheetNamesTheGradeAndSourcesOfEachGroupAndTheCautionOnBothSides(t *testing.T) {
	w := newWorld(t, nil)
	if _, err := w.diary.Add(context.Background(), diary.Sighting{Day: noon.AddDate(-1, 1, 4).Truncate(24 * 3600 * 1e9), River: "wend", Group: "western-green-drake", Stage: diary.Emergence, Amount: diary.Many, Hours: 2}); err != nil {
		t.Fatal(err)
	}
	text := sheetOf(t, w, 0)
	front, back, ok := strings.Cut(text, `<section class="back">`)
	if !ok {
		t.Fatal("the sheet has no back")
	}
	for side, s := range map[string]string{"front": front, "back": back} {
		if !strings.Contains(s, forecast.StandingCaution) {
			t.Errorf("the %s lacks the caution", side)
		}
	}
	rows := strings.Split(back, "<tr>")[2:]
	if n := strings.Count(front, "<li>"); n < 10 || n != len(rows) {
		t.Fatalf("%d groups on the front, %d on the back", n, len(rows))
	}
	graded := regexp.MustCompile(`<td>((measured|published|partly|derived|related|prior|practice|sightings)[^<;]*; (\d+, )*\d+|(practice|guess|default))</td></tr>`)
	for _, r := range rows {
		if !graded.MatchString(r) {
			t.Errorf("no grade with sources in %.400s", r)
		}
	}
	for _, want := range []string{"seen 2025: 22 Jun", "Drunella", "<b>1</b>", "past seasons of water temperature"} {
		if !strings.Contains(text, want) {
			t.Errorf("the sheet lacks %q", want)
		}
	}
	if unwanted.MatchString(text) || strings.Contains(text, "://") {
		t.Error("the sheet says the word that is never said of water, or leads away")
	}
	if odd := sheetOf(t, w, 2); strings.Contains(odd, "<script>") || strings.Count(odd, "</style>") != 1 {
		t.Error("a hostile name gets out of its place")
	}
}

func TestASheetIsSavedFromItsRiver(t *testing.T) {
	w := newWorld(t, nil)
	rec := w.get("/river/odd/sheet.html")
	if rec.Code != http.StatusOK || rec.Header().Get("Content-Disposition") != `attachment; filename="odd-season.html"` || !strings.Contains(rec.Body.String(), `<section class="back">`) {
		t.Errorf("%d, %q", rec.Code, rec.Header())
	}
	for _, p := range []string{"/river/dry/sheet.html", "/river/none/sheet.html"} {
		if rec := w.get(p); rec.Code != http.StatusNotFound {
			t.Errorf("%s: %d", p, rec.Code)
		}
	}
}

func TestASheetPrintsOnBothSidesOfOneSheet(t *testing.T) {
	b := newBrowser(t)
	text := sheetOf(t, b.world, 0)
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.Write([]byte(text))
	}))
	defer srv.Close()
	b.do(t, as(1280, "light"), chromedp.Navigate(srv.URL))
	for name, size := range map[string][2]float64{"A4": {8.27, 11.69}, "Letter": {8.5, 11}} {
		var pdf []byte
		b.do(t, chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
			r, err := chromedp.Call(ctx, page.PrintToPDF, page.PrintToPDFParams{PrintBackground: new(true), PaperWidth: size[0], PaperHeight: size[1]})
			if err == nil {
				pdf = r.Data
			}
			return err
		}))
		if n := len(regexp.MustCompile(`/Type /Page\b[^s]`).FindAll(pdf, -1)); n != 2 {
			t.Errorf("on %s it takes %d pages", name, n)
		}
		if dir := os.Getenv("ECLOSE_SHOTS"); dir != "" {
			if err := os.WriteFile(filepath.Join(dir, "sheet-"+name+".pdf"), pdf, 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	b.forget() // the browser asks for an icon that is not there
	b.shoot(t, "sheet-screen")
}
