package main

import (
	"context"
	"crypto/tls"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/mail"
	neturl "net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	gosmtp "github.com/emersion/go-smtp"

	"example.org/eclose/cmd/eclose/internal/demo"
)

// postOffice is a real SMTP server that keeps what it is given.
type postOffice struct {
	mu   sync.Mutex
	mail []string
}

func (p *postOffice) NewSession(*gosmtp.Conn) (gosmtp.Session, error) { return &counter{p}, nil }

// counter is where one talk hands its mails in.
type counter struct{ *postOffice }

func (*counter) Mail(string, *gosmtp.MailOptions) error { return nil }
func (*counter) Rcpt(string, *gosmtp.RcptOptions) error { return nil }
func (*counter) Reset()                                 {}
func (*counter) Logout() error                          { return nil }
func (c *counter) Data(r io.Reader) error {
	b, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.mail = append(c.mail, string(b))
	return nil
}

func (p *postOffice) all() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return slices.Clone(p.mail)
}

// openPostOffice starts one with STARTTLS and returns the lines of a config that
// name it.
func openPostOffice(t *testing.T) (*postOffice, string) {
	t.Helper()
	https := httptest.NewTLSServer(http.NotFoundHandler()) // lends its certificate for 127.0.0.1
	t.Cleanup(https.Close)
	ca := filepath.Join(t.TempDir(), "ca.pem")
	if err := os.WriteFile(ca, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: https.Certificate().Raw}), 0o600); err != nil {
		t.Fatal(err)
	}
	p := &postOffice{}
	s := gosmtp.NewServer(p)
	s.Domain, s.TLSConfig = "127.0.0.1", &tls.Config{Certificates: https.TLS.Certificates, MinVersion: tls.VersionTLS12}
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	go s.Serve(ln)
	t.Cleanup(func() { s.Close() })
	return p, fmt.Sprintf("[mail]\nhost = \"127.0.0.1\"\nport = %d\nca-file = %q\nfrom = \"outlooks@example.org\"\n", ln.Addr().(*net.TCPAddr).Port, ca)
}

// openProxy stands before the page as on the open net: it speaks TLS, and says
// for whom it asks.
func openProxy(t *testing.T) (url string, to func(string)) {
	t.Helper()
	var target atomic.Pointer[neturl.URL]
	s := httptest.NewTLSServer(&httputil.ReverseProxy{Rewrite: func(r *httputil.ProxyRequest) {
		r.SetURL(target.Load())
		r.Out.Host = r.In.Host
		r.SetXForwarded()
	}})
	t.Cleanup(s.Close)
	return s.URL, func(u string) {
		at, err := neturl.Parse(u)
		if err != nil {
			t.Fatal(err)
		}
		target.Store(at)
	}
}

// reader is somebody with a phone.
type reader struct {
	ctx  context.Context
	root string

	mu       sync.Mutex
	troubles []string // what the console of the browser complained of
}

func openReader(t *testing.T, root string) *reader {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("ECLOSE_CI") == "1" {
			t.Fatal(err)
		}
		t.Skip("no chromium here")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("ignore-certificate-errors", true), chromedp.UserDataDir(t.TempDir()))
	alloc, cancel := chromedp.NewExecAllocator(context.Background(), opts...)
	ctx, cancel2 := chromedp.NewContext(alloc)
	t.Cleanup(func() { cancel2(); cancel() })
	r := &reader{ctx: ctx, root: root}
	messages := chromedp.Console(ctx)
	go func() {
		for m, err := range messages {
			if err != nil {
				return
			}
			if m.IsException() || m.Type == chromedp.ConsoleError || m.Type == chromedp.ConsoleWarning {
				r.mu.Lock()
				r.troubles = append(r.troubles, fmt.Sprintf("%s %s", m, m.URL))
				r.mu.Unlock()
			}
		}
	}()
	r.do(t, chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err := chromedp.Call(ctx, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: 360, Height: 780, DeviceScaleFactor: 1, Mobile: true})
		return err
	}))
	return r
}

// patience bounds each thing asked of the browser.
const patience = 60 * time.Second

type step = chromedp.Action[chromedp.Void]

func (r *reader) do(t *testing.T, actions ...step) {
	t.Helper()
	ctx, cancel := context.WithTimeout(r.ctx, patience)
	defer cancel()
	if err := chromedp.Do(ctx, actions...); err != nil {
		t.Fatalf("in the browser: %v", err)
	}
}

func (r *reader) open(t *testing.T, path string) {
	t.Helper()
	r.do(t, chromedp.Navigate(r.root+path))
}

// follow presses what leads to another page, and waits for that.
func (r *reader) follow(t *testing.T, sel string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(r.ctx, patience)
	defer cancel()
	if _, err := chromedp.RunResponse(ctx, chromedp.Click(chromedp.CSS(sel))); err != nil {
		t.Fatalf("pressing %s: %v", sel, err)
	}
}

func (r *reader) text(t *testing.T, sel string) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(r.ctx, patience)
	defer cancel()
	s, err := chromedp.Run(ctx, chromedp.Text(chromedp.CSS(sel)))
	if err != nil {
		t.Fatalf("reading %s: %v", sel, err)
	}
	return s
}

// shoot keeps a picture in the folder ECLOSE_SHOTS, for people to look at.
func (r *reader) shoot(t *testing.T, name string) {
	t.Helper()
	dir := os.Getenv("ECLOSE_SHOTS")
	if dir == "" {
		return
	}
	ctx, cancel := context.WithTimeout(r.ctx, patience)
	defer cancel()
	png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	if err := errors.Join(err, os.WriteFile(filepath.Join(dir, name+".png"), png, 0o600)); err != nil {
		t.Fatal(err)
	}
}

// until waits for something that comes by itself.
func until(t *testing.T, what string, log *noise, is func() bool) {
	t.Helper()
	began := time.Now()
	defer func() { t.Logf("%s after %s", what, time.Since(began).Round(100*time.Millisecond)) }()
	for end := time.Now().Add(90 * time.Second); !is(); time.Sleep(200 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited in vain for %s\n%s", what, log)
		}
	}
}

var (
	confirmLink = regexp.MustCompile(`https://\S+/confirm/[A-Za-z0-9_-]+`)
	oneClick    = regexp.MustCompile(`<(https://\S+/unsubscribe/[^>]+)>`)
	peakWords   = regexp.MustCompile(`emergence .{10,60} peak <span class="date">(\d+ \w+)<`)
)

// plain undoes the soft line ends of quoted-printable.
func plain(s string) string {
	return strings.NewReplacer("=\r\n", "", "=3D", "=").Replace(s)
}

// One reader's season, from the trip they plan to the mail they no longer want,
// through the browser, the page, the jobs, the relay and back; and one sighting
// that moves a window.
func TestFromATripToAMailToASightingToNoMoreMail(t *testing.T) {
	if testing.Short() {
		t.Skip("it takes half a minute")
	}
	t.Parallel()
	office, mailLines := openPostOffice(t)
	began := time.Now()
	root, to := openProxy(t)
	dir, path := ingestedFor(t, tarnFellsConfig(3)+mailLines+"[serve]\npublic-url = \""+root+"\"\nadmin-secret-file = \"secret\"\n")
	const secret = "sedge and dun at dusk"
	if err := os.WriteFile(filepath.Join(dir, "secret"), []byte(secret+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	// Ten at night at the river comes no sooner for a clock that is twelve times as fast.
	var skipped atomic.Int64
	clock := func() time.Time {
		return demo.Issue.Add(4*time.Hour + 12*time.Since(began) + time.Duration(skipped.Load()))
	}
	url, log, stop := serve(t, clock, "--config", path)
	to(url)
	r := openReader(t, root)
	until(t, "the outlooks on the page", log, func() bool {
		_, body := get(t, url+"/")
		return strings.Count(body, `class="who" colspan="15"`) == 3 && !strings.Contains(body, "No forecast for this river yet")
	})

	// The trip, and from it the wish to be told.
	r.open(t, "/trip?from=2026-05-20&to=2026-06-14&days=3&river=wend")
	if got := r.text(t, "h1"); !strings.Contains(got, "Wend, ") {
		t.Fatalf("the plan begins with %q", got)
	}
	r.follow(t, `a[href^="/subscribe?"]`)
	r.do(t, chromedp.SendKeys(chromedp.CSS(`input[name=address]`), "ann@example.org"), chromedp.Click(chromedp.CSS(`input[name=threshold][value="0.33"]`)))
	r.shoot(t, "journey-subscribe")
	r.follow(t, "main form button")
	if got := r.text(t, "h1"); got != "Check your email" {
		t.Fatalf("after asking: %q", got)
	}

	// The mail, with the same link in both parts, and the press of the button.
	until(t, "the confirmation mail", log, func() bool { return len(office.all()) == 1 })
	links := confirmLink.FindAllString(plain(office.all()[0]), -1)
	if len(links) < 2 || slices.ContainsFunc(links, func(l string) bool { return l != links[0] }) || !strings.HasPrefix(links[0], root) {
		t.Fatalf("the links are %q in\n%s", links, office.all()[0])
	}
	r.do(t, chromedp.Navigate(links[0]))
	r.follow(t, "main form button")
	if got := r.text(t, ".done"); !strings.Contains(got, "Confirmed") {
		t.Fatalf("after confirming: %q", got)
	}

	// Four mornings of blue quills, weeks before they were expected.
	peak := func() (time.Time, string) {
		_, body := get(t, url+"/river/wend/season")
		_, of, _ := strings.Cut(body, `<li id="blue-quill-spring">`)
		m := peakWords.FindStringSubmatch(of[:min(len(of), 3000)])
		if m == nil {
			t.Fatalf("no peak in %.600s", of)
		}
		at, err := time.Parse("2 Jan", m[1])
		if err != nil {
			t.Fatal(err)
		}
		return at, body
	}
	r.open(t, "/diary/new")
	if got := r.text(t, "h1"); got != "Sign in to the diary" {
		t.Fatalf("a stranger at the diary sees %q", got)
	}
	r.do(t, chromedp.SendKeys(chromedp.CSS("input[name=secret]"), secret))
	r.follow(t, "main form button")
	before, page := peak()
	for _, day := range []string{"2026-05-15", "2026-05-16", "2026-05-17", "2026-05-18"} {
		r.open(t, "/diary/new")
		// A likely insect is a button; one that is not stands in the list of the others.
		// The first of these sightings make this one likely.
		r.do(t, chromedp.Evaluate[chromedp.Void](`document.querySelector("input[name=river][value=wend]").click();
			const likely = document.querySelector("input[name=group][value=blue-quill-spring]");
			if (likely) { likely.click(); } else { document.querySelector("select[name=other]").value = "blue-quill-spring"; }
			document.querySelector("input[name=date]").value = "`+day+`"`))
		r.follow(t, "button[value=many]")
		if got := r.text(t, ".done, .fault, [role=alert]"); !strings.Contains(got, "recalculated") {
			t.Fatalf("after a sighting the page says %q", got)
		}
	}
	until(t, "a window that moves", log, func() bool {
		after, now := peak()
		return now != page && before.Sub(after) >= 5*24*time.Hour
	})
	r.open(t, "/river/wend/season#blue-quill-spring")
	r.shoot(t, "journey-moved")
	_, now := peak()
	_, learnt, _ := strings.Cut(now, `<li id="blue-quill-spring">`)
	if learnt, _, _ = strings.Cut(learnt, "</p>"); !strings.Contains(learnt, "evidence: sightings") {
		t.Errorf("what was learnt here is called %q", learnt)
	}

	// The new outlook is weighed, and its windows are told a few minutes later, with
	// what else has come by then.
	skipped.Add(int64(6 * time.Minute))
	until(t, "an alert", log, func() bool { return len(office.all()) > 1 })
	alert := office.all()[1]
	m, err := mail.ReadMessage(strings.NewReader(alert))
	if err != nil {
		t.Fatal(err)
	}
	if body := plain(alert); !strings.Contains(body, "Wend") || !strings.Contains(body, "overrule") {
		t.Errorf("the alert lacks the river or the caution:\n%s", body)
	}
	link := oneClick.FindStringSubmatch(m.Header.Get("List-Unsubscribe"))
	if link == nil || m.Header.Get("List-Unsubscribe-Post") != "List-Unsubscribe=One-Click" {
		t.Fatalf("no one-click link: %q, %q", m.Header.Get("List-Unsubscribe"), m.Header.Get("List-Unsubscribe-Post"))
	}

	// RFC 8058: the mail provider posts, with no cookie, from elsewhere.
	provider := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}} //nolint:gosec // the proxy's certificate is its own
	res, err := provider.Post(link[1], "application/x-www-form-urlencoded", strings.NewReader("List-Unsubscribe=One-Click"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.Copy(io.Discard, res.Body); err != nil || res.Body.Close() != nil || res.StatusCode != http.StatusOK {
		t.Fatalf("one click: %s, %v", res.Status, err)
	}
	r.mu.Lock()
	for _, x := range r.troubles {
		t.Errorf("the browser complains: %s", x)
	}
	r.mu.Unlock()
	if code := stop(); code != 0 {
		t.Fatalf("stopped with %d\n%s", code, log)
	}
	if code, out, _ := call(t, demo.Issue, "subscribe", "list", "--database", filepath.Join(dir, "eclose.db"), "--format", "json"); code != 0 || !strings.Contains(out, "ann@example.org") || strings.Contains(out, `"state": "active"`) {
		t.Errorf("still subscribed: %d %s", code, out)
	}
	// River's election goes by the machine's clock and is at odds with ours of the demo.
	ours := regexp.MustCompile(`.*leadership\.Elector.*\n`).ReplaceAllString(log.String(), "")
	if strings.Contains(ours, `"level":"error"`) || strings.Contains(ours, "ann@example.org") {
		t.Errorf("the log complains, or names an address:\n%s", log)
	}
}
