package page

import (
	"net/http"
	"os/exec"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"example.org/eclose/forecast/diary"
	"example.org/eclose/notify/subscribe"
)

// A reader's own page opens on a phone without a network, takes a press, and
// sends it once when the network is back.
func TestTheOwnPageWorksWithoutANetworkAndSendsLater(t *testing.T) {
	if testing.Short() {
		t.Skip("a browser takes its time")
	}
	path, err := exec.LookPath("chromium")
	if err != nil {
		skip(t, "no chromium here: %v", err)
	}
	b := &browser{world: newWorld(t, nil)}
	var off atomic.Bool
	b.open(t, path, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if off.Load() {
			panic(http.ErrAbortHandler) // the connection breaks, as in a valley
		}
		b.handler.ServeHTTP(w, r)
	}))
	p := b.reader(t, "reader@example.org")
	at := b.root + "/my/" + b.subs.Report(subscribe.Report{Person: p.ID, Expires: noon.Add(time.Hour)})
	b.do(t, as(360, "light"), chromedp.Navigate(at))
	eval[bool](t, b, `navigator.serviceWorker.ready.then(() => true)`)
	b.do(t, chromedp.Navigate(at)) // now the page goes into the store
	if wide := eval[float64](t, b, `document.documentElement.scrollWidth`); wide > 360 {
		t.Errorf("the page is %g px wide", wide)
	}
	off.Store(true)
	b.do(t, chromedp.Navigate(at))
	if got := b.text(t, "h1"); got != "What did you see?" {
		t.Fatalf("without a network: %q", got)
	}
	// The phone's clock stands where the test's does.
	eval[bool](t, b, `(() => { const D = Date; window.Date = class extends D { constructor(...a) { if (a.length) { super(...a); } else { super("2026-05-18T12:00:00"); } } }; return true; })()`)
	b.do(t, chromedp.Click(chromedp.CSS(`form.later button[value=few]`)), chromedp.WaitVisible(chromedp.CSS("#waiting")))
	deadline := time.Now().Add(patience)
	for !strings.Contains(b.text(t, "#waiting"), "will be sent when you are back online") {
		if time.Now().After(deadline) {
			t.Fatalf("the page says %q", b.text(t, "#waiting"))
		}
		time.Sleep(50 * time.Millisecond)
	}
	b.shoot(t, "own-page-without-a-network")
	if n := len(b.sightings(t)); n != 0 {
		t.Fatalf("%d were sent all the same", n)
	}
	off.Store(false)
	for range 2 { // the phone hears of the network twice
		eval[bool](t, b, `dispatchEvent(new Event("online"))`)
	}
	for len(b.sightings(t)) == 0 {
		if time.Now().After(deadline) {
			t.Fatal("it was not sent when the network was back")
		}
		time.Sleep(50 * time.Millisecond)
	}
	if all := b.sightings(t); len(all) != 1 || all[0].Revision != 1 || all[0].Amount != diary.Few || all[0].Author != p.ID {
		t.Errorf("%+v", all)
	}
}
