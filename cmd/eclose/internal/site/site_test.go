package site

import (
	"context"
	"fmt"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"github.com/chromedp/chromedp"
	"golang.org/x/net/html"

	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/cmd/eclose/internal/page/pagetest"
	"example.org/eclose/model/insects"
)

// club is where the copy is served: not at the root of its host.
const club = "/club/hatches/"

func copyOf(t *testing.T, dir, live string, now time.Time) Result {
	t.Helper()
	c, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	p, err := pages.New(pages.Options{Data: pagetest.Memory(t, c), Catalogue: c, Now: func() time.Time { return now }, PublicURL: "http://club.example.org" + strings.TrimSuffix(club, "/"), PerSecond: 1e6,
		BacktestFiles: fstest.MapFS{"backtest.txt": {Data: []byte("An invented report.\n")}, "scores.csv": {Data: []byte("scope\n")}}})
	if err != nil {
		t.Fatal(err)
	}
	r, err := Write(t.Context(), dir, Options{Pages: p, Live: live, Now: now})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func serve(t *testing.T, dir string) string {
	t.Helper()
	s := httptest.NewServer(http.StripPrefix(strings.TrimSuffix(club, "/"), http.FileServer(http.Dir(dir))))
	t.Cleanup(s.Close)
	return s.URL + club
}

// links are the addresses of a page, as a browser resolves them.
func links(t *testing.T, base string, body []byte) (out []string, forms []string) {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(string(body)))
	if err != nil {
		t.Fatal(err)
	}
	at, _ := url.Parse(base)
	var walk func(*html.Node)
	walk = func(n *html.Node) {
		for _, a := range n.Attr {
			switch {
			case n.Data == "form" && a.Key == "action":
				forms = append(forms, a.Val)
			case a.Key == "href" || a.Key == "src":
				u, err := at.Parse(a.Val)
				if err != nil {
					t.Fatalf("%s: %v", base, err)
				}
				u.Fragment = ""
				out = append(out, u.String())
			}
		}
		for k := n.FirstChild; k != nil; k = k.NextSibling {
			walk(k)
		}
	}
	walk(doc)
	return out, forms
}

// follow asks for every page of a copy and returns what it found.
func follow(t *testing.T, root string) (seen map[string][]byte, outside, forms map[string]bool) {
	t.Helper()
	seen, outside, forms = map[string][]byte{}, map[string]bool{}, map[string]bool{}
	queue := []string{root}
	for len(queue) > 0 {
		at := queue[0]
		queue = queue[1:]
		if _, done := seen[at]; done {
			continue
		}
		if !strings.HasPrefix(at, root) {
			outside[at] = true
			continue
		}
		r, err := http.Get(at)
		if err != nil {
			t.Fatal(err)
		}
		body := make([]byte, 0, 1<<16)
		buf := make([]byte, 1<<16)
		for {
			n, err := r.Body.Read(buf)
			body = append(body, buf[:n]...)
			if err != nil {
				break
			}
		}
		r.Body.Close()
		if r.StatusCode != http.StatusOK {
			t.Errorf("%s: %s", at, r.Status)
		}
		seen[at] = body
		if strings.HasPrefix(r.Header.Get("Content-Type"), "text/html") {
			next, f := links(t, r.Request.URL.String(), body)
			queue = append(queue, next...)
			for _, x := range f {
				forms[x] = true
			}
		}
	}
	return seen, outside, forms
}

func TestACopyOnAPlainFileServerHasNoDeadLink(t *testing.T) {
	for _, live := range []string{"", "https://rivers.example.org"} {
		dir := t.TempDir()
		copyOf(t, dir, live, pagetest.Noon)
		root := serve(t, dir)
		seen, outside, forms := follow(t, root)
		for _, want := range []string{"river/wend/index.html", "river/garrow/season/index.html", "river/wend/water/index.html", "river/wend/sheet.html", "river/wend/day/2026-05-20/index.html", "river/wend/calendar.ics", "river/wend/feed.atom", "river/wend/caution.xml", "record/scores.csv", "about/index.html"} {
			if seen[root+want] == nil {
				t.Errorf("live %q: nothing leads to %s", live, want)
			}
		}
		for at, body := range seen {
			if !strings.HasSuffix(at, ".html") && at != root {
				continue
			}
			if text := string(body); !strings.Contains(text, "not a wading forecast") || strings.Contains(text, `href="/`) || strings.Contains(text, `method="post"`) {
				t.Errorf("live %q: %s lacks the caution, or leads to the root of the host", live, at)
			} else if !strings.HasSuffix(at, "sheet.html") && !strings.Contains(text, "This is a copy made at 19:00 UTC on 18 May 2026") {
				t.Errorf("live %q: %s does not say that it is a copy", live, at)
			}
		}
		for x := range outside {
			if live == "" && !strings.Contains(x, "://") || live == "" && strings.Contains(x, "127.0.0.1") {
				t.Errorf("a copy without a server leads to %s", x)
			}
		}
		for f := range forms {
			if live == "" || !strings.HasPrefix(f, live+"/") {
				t.Errorf("live %q: a form leads to %s", live, f)
			}
		}
		if live != "" && (len(forms) == 0 || !outside[live+"/trip"]) {
			t.Errorf("forms %v, outside %v", forms, outside)
		}
		if feed := string(seen[root+"river/wend/feed.atom"]); !strings.Contains(feed, "http://club.example.org/club/hatches/river/wend") {
			t.Errorf("the feed does not know where it is:\n%.500s", feed)
		}
	}
}

func TestALaterCopyRenewsAndRemovesOnlyItsOwn(t *testing.T) {
	dir := t.TempDir()
	foreign := filepath.Join(dir, "river", "wend", "photo.jpg")
	if err := os.MkdirAll(filepath.Dir(foreign), 0o750); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(foreign, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	copyOf(t, dir, "", pagetest.Noon)
	old := filepath.Join(dir, "river", "wend", "day", "2026-05-18", "index.html")
	if _, err := os.Stat(old); err != nil {
		t.Fatal(err)
	}
	r := copyOf(t, dir, "", pagetest.Noon.AddDate(0, 0, 5))
	if _, err := os.Stat(filepath.Dir(old)); r.Removed == 0 || !os.IsNotExist(err) {
		t.Errorf("%d removed; the page of a day that is over: %v", r.Removed, err)
	}
	if _, err := os.Stat(foreign); err != nil {
		t.Errorf("a file of somebody else: %v", err)
	}
	follow(t, serve(t, dir))
	err := fs.WalkDir(os.DirFS(dir), ".", func(p string, d fs.DirEntry, err error) error {
		if info, _ := d.Info(); err == nil && !d.IsDir() && p != "river/wend/photo.jpg" && info.Mode().Perm()&0o044 != 0o044 {
			t.Errorf("%s cannot be read by a web server", p)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// Chromium opens the pages of a copy and goes from one to the next by their links;
// nothing that a page loads is missing and no script fails.
func TestACopyWorksInABrowser(t *testing.T) {
	path, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("ECLOSE_CI") == "1" {
			t.Fatal("no chromium here")
		}
		t.Skip("no chromium here")
	}
	dir := t.TempDir()
	copyOf(t, dir, "", pagetest.Noon)
	root := serve(t, dir)
	alloc, cancel := chromedp.NewExecAllocator(context.Background(), append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-background-networking", true), chromedp.UserDataDir(t.TempDir()))...)
	defer cancel()
	ctx, cancel := chromedp.NewContext(alloc)
	defer cancel()
	var mu sync.Mutex
	var bad []string
	messages := chromedp.Console(ctx)
	go func() {
		for m, err := range messages {
			if err != nil {
				return
			}
			if m.IsException() || m.Type == chromedp.ConsoleError { // a file that is missing is one too
				mu.Lock()
				bad = append(bad, fmt.Sprintf("%s %s", m, m.URL))
				mu.Unlock()
			}
		}
	}()
	// open goes to where a link of the page leads, as the browser resolves it.
	open := func(link string) string {
		t.Helper()
		ctx, cancel := context.WithTimeout(ctx, time.Minute)
		defer cancel()
		to := root
		if link != "" {
			if to, err = chromedp.Run(ctx, chromedp.Evaluate[string](fmt.Sprintf("document.querySelector(%q).href", link))); err != nil {
				t.Fatalf("no link %s: %v", link, err)
			}
		}
		if err := chromedp.Do(ctx, chromedp.Navigate(to)); err != nil {
			t.Fatalf("opening %s: %v", to, err)
		}
		title, err := chromedp.Run(ctx, chromedp.Title())
		if err != nil {
			t.Fatal(err)
		}
		if folder := os.Getenv("ECLOSE_SHOTS"); folder != "" {
			for _, width := range []int64{390, 1280} {
				if err := chromedp.Do(ctx, chromedp.EmulateViewport(width, 900)); err != nil {
					t.Fatal(err)
				}
				png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
				if err == nil {
					err = os.WriteFile(filepath.Join(folder, fmt.Sprintf("copy-%.5s-%d.png", title, width)), png, 0o600)
				}
				if err != nil {
					t.Fatal(err)
				}
			}
		}
		return title
	}
	titles := []string{open(""), open("main a[href='river/garrow/index.html']"), open("ul.more a[href='season/index.html']"), open("header nav a[href$='about/index.html']")}
	if !strings.HasPrefix(titles[0], "Where to go") || !strings.HasPrefix(titles[1], "Garrow") || titles[2] == titles[1] || !strings.HasPrefix(titles[3], "About") {
		t.Errorf("titles %q", titles)
	}
	time.Sleep(200 * time.Millisecond) // the console comes by another way
	mu.Lock()
	defer mu.Unlock()
	if len(bad) > 0 {
		t.Errorf("the console said %v", bad)
	}
}
