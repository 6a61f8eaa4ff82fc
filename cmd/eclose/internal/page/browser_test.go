package page

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"example.org/eclose/cmd/eclose/internal/health"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/model/wading"
	"example.org/eclose/notify/subscribe"
)

// skip says what is missing, and fails where nothing may be.
func skip(t testing.TB, format string, args ...any) {
	t.Helper()
	if os.Getenv("ECLOSE_CI") == "1" {
		t.Fatalf(format, args...)
	}
	t.Skipf(format, args...)
}

// browser is a Chromium with the pages at an address of its own.
type browser struct {
	*world
	root string
	ctx  context.Context
	down func() // takes the server away

	mu       sync.Mutex
	troubles []string // console errors, exceptions
}

func newBrowser(t testing.TB) *browser {
	t.Helper()
	if testing.Short() {
		t.Skip("a browser takes its time")
	}
	path, err := exec.LookPath("chromium")
	if err != nil {
		skip(t, "no chromium here: %v", err)
	}
	b := &browser{world: newWorld(t, func(o *Options) {
		o.Checks = func(context.Context) []health.Check {
			return []health.Check{{Name: "queue age", Of: "all jobs", Value: 12, Limit: 600, Unit: "seconds"}, {Name: "data age", Of: "wend", Value: 90000, Limit: 21600, Unit: "seconds", Problem: "no reading for 25 hours"}}
		}
	})}
	b.open(t, path, b.handler)
	return b
}

// open starts the browser at some pages.
func (b *browser) open(t testing.TB, path string, pages http.Handler) {
	t.Helper()
	srv := httptest.NewServer(pages)
	t.Cleanup(srv.Close)
	b.root, b.down = srv.URL, func() { srv.CloseClientConnections(); srv.Close() }
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-background-networking", true), chromedp.UserDataDir(t.TempDir()))
	alloc, cancel := chromedp.NewExecAllocator(context.Background(), opts...)
	ctx, cancel2 := chromedp.NewContext(alloc)
	t.Cleanup(func() { cancel2(); cancel() })
	b.ctx = ctx
	messages := chromedp.Console(ctx)
	go func() {
		for m, err := range messages {
			if err != nil {
				return
			}
			if strings.HasSuffix(m.URL, "/nowhere") { // the browser itself notes the answer 404
				continue
			}
			if m.IsException() || m.Type == chromedp.ConsoleError || m.Type == chromedp.ConsoleWarning {
				b.mu.Lock()
				b.troubles = append(b.troubles, fmt.Sprintf("%s %s", m, m.URL))
				b.mu.Unlock()
			}
		}
	}()
}

// patience bounds each thing that is asked of the browser.
const patience = 30 * time.Second

func (b *browser) do(t testing.TB, actions ...step) {
	t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	if err := chromedp.Do(ctx, actions...); err != nil {
		t.Fatalf("in the browser: %v", err)
	}
}

type step = chromedp.Action[chromedp.Void]

// run asks the browser for a value.
func run[T any](t testing.TB, b *browser, a chromedp.Action[T]) T {
	t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	v, err := chromedp.Run(ctx, a)
	if err != nil {
		t.Fatalf("in the browser: %v", err)
	}
	return v
}

func eval[T any](t testing.TB, b *browser, js string) T {
	t.Helper()
	return run(t, b, chromedp.Evaluate[T](js, chromedp.EvalAwaitPromise))
}

// quiet fails if the console said anything bad.
func (b *browser) quiet(t testing.TB, where string) {
	t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, x := range b.troubles {
		t.Errorf("%s: %s", where, x)
	}
	b.troubles = nil
}

// forget drops what the console said so far.
func (b *browser) forget() {
	time.Sleep(100 * time.Millisecond) // it comes by another way than answers do
	b.mu.Lock()
	defer b.mu.Unlock()
	b.troubles = nil
}

// as sets width and colour scheme.
func as(width int64, scheme string) step {
	return chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err1 := chromedp.Call(ctx, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: width, Height: 780, DeviceScaleFactor: 1, Mobile: width < 500})
		_, err2 := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
		return errors.Join(err1, err2)
	})
}

// onPaper shows pages as they are printed, as wide as a sheet of A4 within its margins.
var onPaper = chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
	_, err1 := chromedp.Call(ctx, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: 703, Height: 1032, DeviceScaleFactor: 1})
	_, err2 := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
	return errors.Join(err1, err2)
})

// shoot keeps a picture of the whole page in the folder ECLOSE_SHOTS, for
// people to look at.
func (b *browser) shoot(t testing.TB, name string) {
	t.Helper()
	dir := os.Getenv("ECLOSE_SHOTS")
	if dir == "" {
		return
	}
	png := run(t, b, chromedp.FullScreenshot(100))
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644); err != nil {
		t.Fatal(err)
	}
}

var axe struct {
	once sync.Once
	js   string
	err  error
}

// axeCore is the script of axe-core: ECLOSE_AXE, or what npm installs.
func axeCore(t testing.TB) string {
	t.Helper()
	axe.once.Do(func() {
		path := os.Getenv("ECLOSE_AXE")
		if path == "" {
			dir := filepath.Join(os.TempDir(), fmt.Sprintf("eclose-axe-%d", os.Getuid()))
			path = filepath.Join(dir, "node_modules", "axe-core", "axe.min.js")
			if _, err := os.Stat(path); err != nil {
				ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
				defer cancel()
				out, err := exec.CommandContext(ctx, "npm", "install", "--prefix", dir, "--no-audit", "--no-fund", "--ignore-scripts", "axe-core@4").CombinedOutput()
				if err != nil {
					axe.err = errors.Join(err, errors.New(string(out)))
					return
				}
			}
		}
		b, err := os.ReadFile(path)
		axe.js, axe.err = string(b), err
	})
	if axe.err != nil {
		skip(t, "no axe-core here, so the rules of WCAG are not tested: %v", axe.err)
	}
	return axe.js
}

// shown are the pages that are looked at, in both widths and both schemes.
var shown = []struct{ name, path string }{
	{"home", "/"}, {"home-one-insect", "/?group=salmonfly"}, {"river", "/river/wend"}, {"season", "/river/wend/season"}, {"second-tap", "/diary/new?river=wend&group=skwala&stage=emergence&amount=few&date=2026-05-17"}, {"water", "/river/wend/water"}, {"day", "/river/wend/day/2026-06-20"},
	{"trip", "/trip?from=2026-06-01&to=2026-07-12&days=3"}, {"sighting", "/diary/new"},
	{"hostile", "/river/odd"}, {"no-outlook", "/river/dry"}, {"trip-form", "/trip"}, {"record", "/record"}, {"data", "/data"},
	{"about", "/about"}, {"subscribe", "/subscribe"}, {"asked", "/subscribe/asked"}, {"unsubscribe", "/unsubscribe/x"}, {"never", "/never/x"}, {"enter", "/enter"}, {"diary", "/diary"}, {"status", "/status"}, {"not-found", "/nowhere"},
}

// letters are the pages that the links of mails open.
func (b *browser) letters(t *testing.T) (confirm, manage string) {
	t.Helper()
	ask := func(address string) string {
		b.post(t, "/subscribe", "/subscribe", "river=wend&cadence=now&units=metric&threshold=0.5&address="+address)
		sent := b.invitations()
		return sent[len(sent)-1].Token
	}
	p, err := b.subs.Confirm(context.Background(), ask("ann@example.org"), "")
	if err != nil {
		t.Fatal(err)
	}
	return "/confirm/" + ask("bob@example.org"), "/manage/" + b.subs.Manage(p.ID)
}

// all are the pages shown and those that the links of mails open.
func (b *browser) all(t *testing.T) []struct{ name, path string } {
	t.Helper()
	confirm, manage := b.letters(t)
	p := b.reader(t, "reader@example.org")
	group, stage := b.likely(t)
	report := "/report/" + b.subs.Report(subscribe.Report{Person: p.ID, River: "wend", Group: group, Stage: stage, Expires: noon.Add(time.Hour), Nonce: "a"})
	phone := "/my/" + b.subs.Report(subscribe.Report{Person: p.ID, Expires: noon.Add(time.Hour)})
	return append(slices.Clone(shown), []struct{ name, path string }{{"confirm", confirm}, {"manage", manage}, {"report", report}, {"phone", phone}}...)
}

// Nothing is cut off where room is short or text is large: at 320 px, which is 1280
// px magnified four times, and with letters twice as large.
func TestNoPageScrollsSidewaysWhenItIsMagnified(t *testing.T) {
	b := newBrowser(t)
	for _, p := range b.all(t) {
		for _, x := range []struct {
			width   int64
			letters int
		}{{320, 100}, {640, 200}, {390, 200}, {320, 200}} {
			b.do(t, as(x.width, "light"), chromedp.Navigate(b.root+p.path))
			wide := eval[string](t, b, fmt.Sprintf(`(() => {
				for (const d of document.querySelectorAll("details")) { d.open = true }
				document.documentElement.style.fontSize = (1.0625 * %d) + "%%";
				const w = document.documentElement.scrollWidth;
				if (w <= %d) { return "" }
				const out = [...document.querySelectorAll("main *")].filter(e => e.getBoundingClientRect().right > %[2]d + 1 && !e.closest(".scroll")).slice(-3).map(e => e.outerHTML.slice(0, 150));
				return w + " px: " + out.join(" | ");
			})()`, x.letters, x.width))
			if wide != "" {
				t.Errorf("%s at %d px, letters of %d%%: %s", p.path, x.width, x.letters, wide)
			}
		}
	}
}

func TestPagesMeetTheRulesForAllReadersInBothWidthsAndSchemes(t *testing.T) {
	script := axeCore(t)
	b := newBrowser(t)
	for _, x := range []diary.Sighting{
		{Day: noon.AddDate(-1, 1, 4).Truncate(24 * time.Hour), River: "wend", Group: "western-green-drake", Stage: diary.Emergence, Amount: diary.Many, Hours: 2},
		{Day: noon.AddDate(-1, 1, 12).Truncate(24 * time.Hour), River: "wend", Group: "western-green-drake", Stage: diary.Emergence, Amount: diary.Few, Hours: 2},
		{Day: noon.AddDate(-2, 1, 1).Truncate(24 * time.Hour), River: "wend", Group: "western-green-drake", Stage: diary.Emergence, Amount: diary.Few, Hours: 2},
	} {
		if _, err := b.diary.Add(context.Background(), x); err != nil {
			t.Fatal(err)
		}
	}
	// The rules are at work: a page that breaks one is found out.
	b.do(t, chromedp.Navigate(b.root+"/about"))
	eval[int](t, b, script+`;document.querySelector("h1").innerHTML = "<img src=x>";0`)
	if n := eval[int](t, b, `axe.run(document, {runOnly: ["wcag2a"]}).then(r => r.violations.length)`); n == 0 {
		t.Fatal("axe-core finds nothing wrong with a picture without words")
	}
	b.forget()
	pages := b.all(t)
	for _, look := range []struct {
		width  int64
		scheme string
	}{{390, "light"}, {1280, "dark"}, {390, "dark"}, {1280, "light"}} {
		for _, p := range pages {
			where := fmt.Sprintf("%s at %d px, %s", p.path, look.width, look.scheme)
			b.do(t, as(look.width, look.scheme), chromedp.Navigate(b.root+p.path))
			wide := eval[int64](t, b, `for (const d of document.querySelectorAll("details")) d.open = true; for (const e of document.querySelectorAll(".later")) e.style.contentVisibility = "visible"; document.documentElement.scrollWidth`)
			eval[int](t, b, script+";0")
			found := eval[string](t, b, `axe.run(document, {runOnly: ["wcag2a","wcag2aa","wcag21a","wcag21aa","wcag22aa","best-practice"]}).then(r => JSON.stringify(r.violations.map(v => v.id + ": " + v.help + " " + v.nodes.slice(0, 3).map(n => n.html + " " + n.failureSummary).join(" | "))))`)
			if wide > look.width {
				t.Errorf("%s: the page is %d px wide", where, wide)
			}
			var list []string
			if err := json.Unmarshal([]byte(found), &list); err != nil {
				t.Fatal(err)
			}
			for _, v := range list {
				t.Errorf("%s: %.600s", where, v)
			}
			b.quiet(t, where)
			b.shoot(t, fmt.Sprintf("%s-%d-%s", p.name, look.width, look.scheme))
			if look.width == 1280 && look.scheme == "light" && os.Getenv("ECLOSE_SHOTS") != "" {
				b.do(t, onPaper, chromedp.Navigate(b.root+p.path))
				b.shoot(t, p.name+"-print")
			}
		}
	}
}

func (b *browser) text(t testing.TB, sel string) string {
	t.Helper()
	return run(t, b, chromedp.Text(chromedp.CSS(sel)))
}

// press submits and waits for the page that follows.
func (b *browser) press(t testing.TB, sel string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	if _, err := chromedp.RunResponse(ctx, chromedp.Click(chromedp.CSS(sel))); err != nil {
		t.Fatalf("pressing %s: %v", sel, err)
	}
}

func TestSubscribeConfirmAndUnsubscribeInABrowser(t *testing.T) {
	b := newBrowser(t)
	b.do(t, as(360, "light"), chromedp.Navigate(b.root+"/subscribe?river=wend"), chromedp.SendKeys(chromedp.CSS(`input[name=address]`), "ann@example.org"))
	b.press(t, "main form button")
	if got := b.text(t, "h1"); got != "Check your email" {
		t.Fatalf("after asking: %q", got)
	}
	sent := b.invitations()
	if len(sent) != 1 {
		t.Fatalf("%d invitations", len(sent))
	}
	b.do(t, chromedp.Navigate(b.root+"/confirm/"+sent[0].Token))
	b.press(t, "main form button")
	if got := b.text(t, ".done"); !strings.Contains(got, "Confirmed") {
		t.Fatalf("after confirming: %q", got)
	}
	people, err := b.subs.List(context.Background())
	if err != nil || len(people) != 1 {
		t.Fatalf("%+v, %v", people, err)
	}
	b.do(t, chromedp.Navigate(b.root+"/unsubscribe/"+b.subs.Links.Unsubscribe(people[0].ID)))
	if people, _ = b.subs.List(context.Background()); people[0].State != "active" {
		t.Fatal("the link alone unsubscribes")
	}
	b.press(t, "main form button")
	if people, _ = b.subs.List(context.Background()); people[0].State == "active" {
		t.Error("still subscribed after the press")
	}
	b.quiet(t, "subscribing")
}

func TestAddingASightingTakesFourTouches(t *testing.T) {
	b := newBrowser(t)
	b.do(t, as(360, "light"), chromedp.Navigate(b.root+"/diary/new"),
		chromedp.Click(`//label[contains(., "Garrow")]`), chromedp.Click(chromedp.CSS(`.picks:nth-of-type(2) label:nth-of-type(2)`)),
		chromedp.Click(`//label[contains(., "egg-laying")]`))
	b.press(t, `button[value=few]`)
	list, err := b.diary.List(context.Background(), diary.Filter{})
	if err != nil || len(list) != 1 {
		t.Fatalf("%d written, %v; the page says %q", len(list), err, b.text(t, "main"))
	}
	if x := list[0]; x.River != "garrow" || x.Stage != diary.EggLaying || x.Amount != diary.Few || x.Date() != "2026-05-18" {
		t.Errorf("%+v", x)
	}
	b.quiet(t, "adding a sighting")
}

func TestASightingWithoutANetGoesOutLater(t *testing.T) {
	b := newBrowser(t)
	b.do(t, as(360, "light"), chromedp.Navigate(b.root+"/diary/new"),
		chromedp.Evaluate[chromedp.Void](`Object.defineProperty(navigator, "onLine", {get: () => false, configurable: true})`),
		chromedp.Evaluate[chromedp.Void](`document.querySelector("input[name=river][value=wend]").click(); document.querySelector("input[name=group]").click()`),
		chromedp.Click(chromedp.CSS(`button[value=none]`)), chromedp.WaitVisible(chromedp.CSS("#waiting")))
	if got := b.text(t, "#waiting"); !strings.Contains(got, "saved on this device") {
		t.Errorf("without a net the page says %q", got)
	}
	if list, _ := b.diary.List(context.Background(), diary.Filter{}); len(list) != 0 {
		t.Fatal("it was sent all the same")
	}
	b.do(t, chromedp.Navigate(b.root+"/diary/new"))
	deadline := time.Now().Add(10 * time.Second)
	for {
		list, err := b.diary.List(context.Background(), diary.Filter{})
		if err != nil {
			t.Fatal(err)
		}
		if len(list) == 1 && list[0].Amount == diary.None {
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("%d sightings came in after the net was back", len(list))
		}
		time.Sleep(50 * time.Millisecond)
	}
	b.quiet(t, "without a net")
}

// Only keys: tab to the link over the menu, to the trip, fill it in, plan.
func TestATripIsPlannedByKeysAlone(t *testing.T) {
	b := newBrowser(t)
	b.do(t, as(1280, "light"), chromedp.Navigate(b.root+"/"), chromedp.KeyEvent(kb.Tab))
	where := func() string {
		return eval[string](t, b, `document.activeElement.tagName + " " + (document.activeElement.name || document.activeElement.textContent.trim().split("\n")[0])`)
	}
	if got := where(); !strings.Contains(got, "Skip") {
		t.Fatalf("the first tab reaches %q", got)
	}
	tabTo := func(what string) {
		t.Helper()
		for range 60 {
			if strings.Contains(where(), what) {
				outlined := eval[bool](t, b, `(() => { const e = document.activeElement, s = getComputedStyle(e); return e.matches(":focus-visible") && s.outlineStyle !== "none" && parseFloat(s.outlineWidth) >= 2 })()`)
				if !outlined {
					t.Errorf("%s has the focus and does not show it", what)
				}
				return
			}
			b.do(t, chromedp.KeyEvent(kb.Tab))
		}
		t.Fatalf("no tab reaches %s", what)
	}
	enter := func() {
		t.Helper()
		ctx, cancel := context.WithTimeout(b.ctx, patience)
		defer cancel()
		if _, err := chromedp.RunResponse(ctx, chromedp.KeyEvent(kb.Enter)); err != nil {
			t.Fatal(err)
		}
	}
	tabTo("Trip")
	enter()
	tabTo("INPUT from")
	b.do(t, chromedp.KeyEvent("06012026"))
	tabTo("INPUT to")
	b.do(t, chromedp.KeyEvent("07122026"))
	tabTo("BUTTON Plan")
	enter()
	if got := b.text(t, "h1"); !strings.Contains(got, ", ") || !strings.Contains(b.text(t, "main"), "Week by week") {
		t.Errorf("the plan begins with %q", got)
	}
	b.shoot(t, "trip-by-keys")
	b.quiet(t, "planning a trip")
}

// What was read last can be read without a net, says that it is a copy, and its
// cautions run out by the reader's own clock.
func TestTheForecastsCanBeReadWithoutANet(t *testing.T) {
	b := newBrowser(t)
	b.do(t, as(360, "light"), chromedp.Navigate(b.root+"/"))
	kept := `(async () => { await navigator.serviceWorker.ready; for (let i = 0; i < 100; i++) { const c = await caches.open("eclose-2"); const k = (await c.keys()).map(r => new URL(r.url).pathname); if (k.includes("/") && k.includes("/river/wend") && k.includes("/river/garrow")) { return true } await new Promise(r => setTimeout(r, 100)) } return false })()`
	if !eval[bool](t, b, kept) {
		t.Fatal("the pages of the rivers are not kept")
	}
	b.down()
	for _, path := range []string{"/", "/river/garrow"} {
		b.do(t, chromedp.Navigate(b.root+path))
		if got := b.text(t, "#offline"); !strings.Contains(got, "No connection.") || !strings.Contains(got, "is a copy of") {
			t.Errorf("%s without a net says %q", path, got)
		}
		// The clock of the tests is in the past of the browser's: all cautions have run out.
		if n := eval[int](t, b, `document.querySelectorAll("[data-until]").length`); n != 0 {
			t.Errorf("%s: %d cautions still count", path, n)
		}
		if got := b.text(t, "main"); strings.Contains(got, "Valid until") && !strings.Contains(got, "this copy is out of date") {
			t.Errorf("%s: %.900s", path, got)
		}
	}
	b.forget()
}

func TestPagesWorkWithoutAScript(t *testing.T) {
	b := newBrowser(t)
	noScript := chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err := chromedp.Call(ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
		return err
	})
	b.do(t, noScript, as(360, "light"), chromedp.Navigate(b.root+"/diary/new"),
		chromedp.Click(`//label[contains(., "Garrow")]`), chromedp.Click(chromedp.CSS(`.picks:nth-of-type(2) label:nth-of-type(2)`)))
	b.press(t, `button[value=many]`)
	if list, err := b.diary.List(context.Background(), diary.Filter{}); err != nil || len(list) != 1 {
		t.Errorf("%d sightings, %v", len(list), err)
	}
	b.quiet(t, "without a script")
}

// A page that was kept says by itself, once its time is past, that the level is
// unknown, and keeps the floor; without a script it names the time in words.
func TestAKeptPagePastItsTimeShowsAnUnknownLevel(t *testing.T) {
	b := newBrowser(t)
	until := noon
	if now := time.Now(); now.After(until) {
		until = now
	}
	st, err := b.Data.State(t.Context(), "wend")
	if err != nil {
		t.Fatal(err)
	}
	known := *st
	known.Caution = wading.Caution{At: noon, Until: until.Add(time.Hour), Known: true, Level: wading.BetterNot, Flow: wading.Reading{Value: 4, Age: time.Minute, Present: true}}
	b.Data.(*Memory).Put("wend", &known)
	for _, path := range []string{"/", "/river/wend", "/river/wend/water"} {
		b.do(t, as(360, "light"), chromedp.Navigate(b.root+path))
		before := eval[string](t, b, `[...document.querySelectorAll("[data-until]")].map(p => p.innerText).join(" | ")`)
		if strings.Contains(before, "unknown, but") || !strings.Contains(strings.ToLower(before), "better not to wade") {
			t.Errorf("%s within its time: %q", path, before)
		}
		after := eval[string](t, b, `(() => {
			const kept = [...document.querySelectorAll("[data-until]")];
			Date.now = () => Date.parse("2190-01-01");
			dispatchEvent(new Event("pageshow"));
			return kept.map(p => p.querySelector("b").innerText).join(" | ");
		})()`)
		if !strings.Contains(strings.ToLower(after), "caution level unknown, but at least 2 (better not to wade): this copy is out of date") || strings.Count(after, "out of date") != strings.Count(after, " | ")+1 {
			t.Errorf("%s past its time: %q", path, after)
		}
	}
	b.quiet(t, "a kept page")
}

// No two words of a picture touch, none lies on the line of today or of a limit, none is cut off at the edge of its page, and none
// shrinks with the picture. The pictures stand under one axis, so all of a page are
// held against each other.
func TestWordsInPicturesDoNotTouchInBothWidths(t *testing.T) {
	b := newBrowser(t)
	const faults = `(() => {
		for (const d of document.querySelectorAll("details")) { d.open = true }
		const words = [...document.querySelectorAll("svg text")].map(e => ({say: e.textContent, size: parseFloat(getComputedStyle(e).fontSize) * (e.getScreenCTM() ? e.getScreenCTM().d : 1), box: e.getBoundingClientRect()})).filter(w => w.box.width > 0);
		const out = [];
		const lines = [...document.querySelectorAll("svg .today, svg .limit")].filter(e => !e.closest(".track")).map(e => ({say: "the line " + e.getAttribute("class"), box: e.getBoundingClientRect()}));
		const name = w => w.say + " at " + Math.round(w.box.left) + "," + Math.round(w.box.top);
		words.forEach((a, i) => {
			if (a.box.left < -0.5 || a.box.right > document.documentElement.clientWidth + 0.5) { out.push(name(a) + " is cut off") }
			if (a.size < 11) { out.push(name(a) + " is " + a.size.toFixed(1) + " px high") }
			for (const l of lines) { // a box has air over and under its letters
				if (a.box.left < l.box.right && l.box.left < a.box.right && a.box.top + 4 < l.box.bottom && l.box.top < a.box.bottom - 4) { out.push(name(a) + " lies on " + name(l)) }
			}
			for (const b of words.slice(i + 1)) {
				if (a.box.left < b.box.right && b.box.left < a.box.right && a.box.top < b.box.bottom - 1 && b.box.top < a.box.bottom - 1) { out.push(name(a) + " touches " + name(b)) }
			}
		});
		return JSON.stringify([words.length, ...out]);
	})()`
	seen := 0
	for _, width := range []int64{320, 390, 1280} {
		for _, p := range shown {
			where := fmt.Sprintf("%s at %d px", p.path, width)
			b.do(t, as(width, "light"), chromedp.Navigate(b.root+p.path))
			var found []any
			if err := json.Unmarshal([]byte(eval[string](t, b, faults)), &found); err != nil {
				t.Fatal(err)
			}
			seen += int(found[0].(float64))
			for _, f := range found[1:] {
				t.Errorf("%s: %s", where, f)
			}
		}
	}
	if seen < 100 {
		t.Errorf("only %d words were looked at", seen)
	}
}

// Each stop of the keyboard shows that it has the focus, stops follow the document, and
// what is pressed is high enough for a thumb.
func TestEachStopOfTheKeyboardIsSeenAndReached(t *testing.T) {
	b := newBrowser(t)
	stops := 0
	for _, p := range b.all(t) {
		b.do(t, as(390, "light"), chromedp.Navigate(b.root+p.path), chromedp.KeyEvent(kb.Tab))
		var found []any
		if err := json.Unmarshal([]byte(eval[string](t, b, `(() => {
			for (const d of document.querySelectorAll("details")) { d.open = true }
			const all = [...document.querySelectorAll("a[href],button,input:not([type=hidden]),select,textarea,summary,[tabindex]")];
			const out = [];
			for (const e of all) {
				const name = e.outerHTML.slice(0, 120);
				if (e.tabIndex > 0) { out.push("out of order: " + name) }
				if (e.tabIndex < 0) { continue }
				e.focus();
				if (document.activeElement !== e) { out.push("not reached: " + name); continue }
				const shown = [e, e.nextElementSibling].filter(x => x).map(x => getComputedStyle(x));
				if (!shown.some(s => s.outlineStyle === "solid" && parseFloat(s.outlineWidth) >= 3)) { out.push("focus not seen: " + name) }
				const h = e.getBoundingClientRect().height;
				if (e.matches("button,.button,summary,nav a") && h < 44) { out.push(h + " px high: " + name) }
			}
			return JSON.stringify([all.length, ...out]);
		})()`)), &found); err != nil {
			t.Fatal(err)
		}
		stops += int(found[0].(float64))
		for _, f := range found[1:] {
			t.Errorf("%s: %s", p.path, f)
		}
	}
	if stops < 300 {
		t.Errorf("only %d stops", stops)
	}
}

// What a screen lays out only when it is reached is on paper at once.
func TestPaperShowsWhatLiesBelowTheFold(t *testing.T) {
	b := newBrowser(t)
	const how = `[...document.querySelectorAll(".later")].map(e => getComputedStyle(e).contentVisibility).join(" ")`
	b.do(t, as(390, "light"), chromedp.Navigate(b.root+"/"))
	if got := eval[string](t, b, how); !strings.Contains(got, "auto") {
		t.Errorf("on a screen: %q", got)
	}
	b.do(t, onPaper)
	if got := eval[string](t, b, how); got == "" || strings.Contains(got, "auto") {
		t.Errorf("on paper: %q", got)
	}
}
