package mail

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"io"
	"net/mail"
	"net/url"
	"regexp"
	"strings"
	"time"

	gomail "github.com/wneessen/go-mail"

	"example.org/eclose/model/wading"
	"example.org/eclose/notify/alert"
	"example.org/eclose/notify/subscribe"
)

//go:embed email.html
var emailHTML string

var emailTemplate = template.Must(template.New("email").Funcs(template.FuncMap{"whole": whole}).Parse(emailHTML))

// whole keeps a number and its percent sign on one line.
func whole(s string) string { return strings.ReplaceAll(s, " %", "\u00a0%") }

// page is what both bodies of a mail are made of.
type page struct {
	Subject     string
	Intro       string   // of a mail with several items: how many things changed
	List        []string // each in a few words
	Blocks      []block
	Foot        []string
	Manage      string
	Unsubscribe string
	Own         string // address of the reader's page for the bank; empty: none
}

// Message is a mail as it goes over the wire.
type Message struct {
	From    string // of the envelope: where reports go
	To      string
	ID      string // with < and >
	Subject string
	Raw     []byte // headers and body, CRLF
}

// Composer words emails. It may be used by several goroutines.
type Composer struct{ site Site }

// NewComposer returns a Composer for a site that was checked.
func NewComposer(s Site) (*Composer, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	return &Composer{site: s}, nil
}

// Compose words an email. The same email and date give the same bytes. date
// is when the mail was finished, not when it is sent.
func (c *Composer) Compose(l alert.Email, date time.Time) (Message, error) {
	if len(l.Items) == 0 {
		return Message{}, fmt.Errorf("wording %s: there is nothing to tell", l.Key)
	}
	w := wordsFor(l, date)
	p := page{
		Subject:     w.subject(l.Items),
		Manage:      c.site.page("/manage/" + url.PathEscape(c.site.Tokens.Manage(l.Person))),
		Unsubscribe: c.site.page("/unsubscribe/" + url.PathEscape(c.site.Tokens.Unsubscribe(l.Person))),
		Foot: []string{
			"You subscribed and confirmed this address. In an emergency call 911 (US), 112 or 999, not us.",
			"Check access, licences, closed seasons and local rules yourself. Clean, drain and dry your gear.",
		},
	}
	if c.site.Notice != "" {
		p.Foot = append([]string{clean(c.site.Notice)}, p.Foot...)
	}
	if c.site.Postal != "" {
		p.Foot = append(p.Foot, clean(c.site.Postal))
	}
	p.Blocks = w.blocks(l.Items)
	for i, it := range l.Items {
		if alert.Good(it.Kind) || it.Kind == alert.KindClosed {
			p.Blocks[i].Saw = c.report(subscribe.Report{Person: l.Person, River: it.River, Group: it.Group, Stage: it.Stage, Expires: date.Add(askFor), Nonce: l.Key})
			p.Own = c.site.page("/my/" + url.PathEscape(c.site.Tokens.Report(subscribe.Report{Person: l.Person, Expires: date.Add(ownFor)})))
		}
	}
	if n := len(p.Blocks); n > 1 {
		p.Intro = fmt.Sprintf("%d things changed:", n)
		for _, it := range l.Items {
			p.List = append(p.List, capital(w.shortSubject(it)))
		}
	}
	m, err := c.email(l.Key, l.MessageID, l.Thread, l.Address, date, p)
	if err != nil {
		return Message{}, fmt.Errorf("wording %s: %w", l.Key, err)
	}
	m.SetGenHeader("List-Id", listID("alerts", c.site.domain()))
	if cal := calendar(l.Items); cal != nil {
		if err := m.AttachReader("windows.ics", bytes.NewReader(cal),
			gomail.WithFileContentType("text/calendar; charset=utf-8; method=PUBLISH")); err != nil {
			return Message{}, fmt.Errorf("wording %s: %w", l.Key, err)
		}
	}
	return c.finish(m, l.Key, l.MessageID, l.Address, p.Subject)
}

// How long a mail's links for reporting work: the question for the weeks around
// a window, the reader's own page for a season. Our own defaults.
const (
	askFor = 21 * 24 * time.Hour
	ownFor = 240 * 24 * time.Hour
)

func (c *Composer) report(r subscribe.Report) string {
	return c.site.page("/report/" + url.PathEscape(c.site.Tokens.Report(r)))
}

// Invite words the mail that asks somebody to confirm. It holds nothing that a
// stranger typed: rivers and groups in it exist.
func (c *Composer) Invite(inv subscribe.Invitation, date time.Time) (Message, error) {
	sum := sha256.Sum256([]byte("invitation\x00" + inv.Token))
	key := hex.EncodeToString(sum[:20]) // the token itself stands nowhere but in the link
	link, never := c.site.page("/confirm/"+url.PathEscape(inv.Token)), c.site.page("/never/"+url.PathEscape(inv.Never))
	b := block{
		Heading: "Confirm your email alerts",
		Lead: []string{
			"Someone, we hope you, asked for river forecast emails at this address. If it was not you, ignore this email, or say by the second link that we must never write to you again.",
			"To confirm, open the link below and press Confirm. It works once, until " + inv.Expires.UTC().Format("15:04 MST on Mon 2 Jan 2006") + ".",
		},
		Small: []string{"Confirm: " + link, "Never write to me again: " + never},
	}
	for _, want := range inv.Request.Subscriptions {
		b.Facts = append(b.Facts, fact{"River", clean(want.River)})
		if c, err := subscribe.ParseCondition(want.When); err == nil {
			units := wading.Metric
			if inv.Request.Units == subscribe.US {
				units = wading.US
			}
			b.Facts = append(b.Facts, fact{"Only with", c.Words(units)})
		}
	}
	p := page{Subject: "Confirm your river email alerts", Blocks: []block{b}, Foot: []string{"We email confirmed addresses only."}, Unsubscribe: never}
	m, err := c.email(key, key, key, inv.Address, date, p)
	if err != nil {
		return Message{}, fmt.Errorf("wording a confirmation: %w", err)
	}
	m.SetGenHeader("List-Id", listID("confirm", c.site.domain()))
	return c.finish(m, key, key, inv.Address, p.Subject)
}

func listID(stream, domain string) string { return "<" + stream + "." + domain + ">" }

var idPart = regexp.MustCompile(`^[0-9a-z-]{1,64}$`)

func (c *Composer) email(key, id, thread, to string, date time.Time, p page) (*gomail.Msg, error) {
	for _, s := range []string{key, id, thread} {
		if !idPart.MatchString(s) {
			return nil, fmt.Errorf("%q cannot stand in a message id", s)
		}
	}
	if a, err := mail.ParseAddress(to); err != nil || a.Address != to {
		return nil, fmt.Errorf("the reader's address is not one bare address")
	}
	m := gomail.NewMsg(gomail.WithNoDefaultUserAgent())
	if err := m.FromFormat(clean(c.site.Name), c.site.From); err != nil {
		return nil, fmt.Errorf("from: %w", err)
	}
	if err := m.To(to); err != nil {
		return nil, fmt.Errorf("to: %w", err)
	}
	if err := m.ReplyTo(c.site.replyTo()); err != nil {
		return nil, fmt.Errorf("reply-to: %w", err)
	}
	m.Subject(p.Subject)
	m.SetDateWithValue(date)
	m.SetMessageIDWithValue(id + "@" + c.site.domain())
	if thread != id {
		ref := "<" + thread + "@" + c.site.domain() + ">"
		m.SetGenHeader("References", ref)
		m.SetGenHeader("In-Reply-To", ref)
	}
	m.SetGenHeader("Auto-Submitted", "auto-generated")
	m.SetGenHeader("X-Auto-Response-Suppress", "All")
	if p.Unsubscribe != "" {
		m.SetGenHeader("List-Unsubscribe", "<"+p.Unsubscribe+">, <"+mailto(c.site.replyTo(), p.Unsubscribe)+">")
		m.SetGenHeader("List-Unsubscribe-Post", "List-Unsubscribe=One-Click")
	}
	m.SetGenHeader("List-Help", "<"+c.site.page("/help")+">")
	m.SetBodyString(gomail.TypeTextPlain, text(p))
	var html bytes.Buffer
	if err := emailTemplate.Execute(&html, p); err != nil {
		return nil, fmt.Errorf("the HTML part: %w", err)
	}
	m.AddAlternativeString(gomail.TypeTextHTML, html.String())
	return m, nil
}

var boundary = regexp.MustCompile(`boundary="?([0-9a-f]{60})"?`)

// finish writes the message out, with boundaries that follow from the key: the
// library draws them at random, and a retry must be the same bytes.
func (c *Composer) finish(m *gomail.Msg, key, id, to, subject string) (Message, error) {
	var b bytes.Buffer
	if _, err := m.WriteTo(&b); err != nil {
		return Message{}, fmt.Errorf("wording %s: %w", key, err)
	}
	raw := b.Bytes()
	for i, f := range boundary.FindAllSubmatch(raw, -1) {
		sum := sha256.Sum256(fmt.Appendf(nil, "boundary\x00%s\x00%d", key, i))
		raw = bytes.ReplaceAll(raw, f[1], []byte(hex.EncodeToString(sum[:30])))
	}
	return Message{From: c.site.returnPath(key), To: to, ID: "<" + id + "@" + c.site.domain() + ">", Subject: subject, Raw: raw}, nil
}

// WriteTo writes the message as a file for mail programs (.eml).
func (m Message) WriteTo(w io.Writer) (int64, error) {
	n, err := w.Write(m.Raw)
	if err != nil {
		return int64(n), fmt.Errorf("writing %s: %w", m.ID, err)
	}
	return int64(n), nil
}
