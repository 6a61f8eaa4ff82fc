package subscribe

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/netip"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
)

var noon = time.Date(2026, 6, 6, 12, 0, 0, 0, time.UTC)

// each runs test on both databases with a clock that the test may move.
func each(t *testing.T, test func(t *testing.T, s *Store, clock *time.Time)) {
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		clock := noon
		s, err := New(t.Context(), d, Names{River: func(r string) bool { return r == "wend" || r == "garrow" }}, func() time.Time { return clock })
		if err != nil {
			t.Fatal(err)
		}
		test(t, s, &clock)
	})
}

func request1(address string) Request {
	return Request{Address: address, Zone: "Europe/London", Subscriptions: []Subscription{{River: "wend", Groups: []string{"blue-winged-olive"}, Cautions: true}}}
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func TestNothingHappensBeforeTheAddressItselfConfirms(t *testing.T) {
	each(t, func(t *testing.T, s *Store, clock *time.Time) {
		ctx := t.Context()
		inv, err := s.Ask(ctx, request1("Angler@Example.ORG"))
		must(t, err)
		if inv.Address != "Angler@example.org" {
			t.Errorf("address %q", inv.Address)
		}
		for range 3 { // scanners open links: looking changes nothing
			r, err := s.Peek(ctx, inv.Token)
			if err != nil || len(r.Subscriptions) != 1 {
				t.Fatalf("peek %+v, err %v", r, err)
			}
		}
		if ps, err := s.List(ctx); err != nil || len(ps) != 0 {
			t.Fatalf("before confirming: %v, err %v", ps, err)
		}
		p, err := s.Confirm(ctx, inv.Token, "192.0.2.0/24")
		must(t, err)
		want := Person{
			ID: p.ID, Address: "Angler@example.org", State: "active", Zone: "Europe/London", Units: Metric, PerDay: defaultPerDay, Confirmed: noon,
			Subscriptions: []Subscription{{River: "wend", Groups: []string{"blue-winged-olive"}, Threshold: DefaultThreshold, HorizonDays: defaultHorizon, Cadence: Now, Cautions: true}},
		}
		if diff := cmp.Diff(want, p, cmpopts.EquateEmpty()); diff != "" {
			t.Error(diff)
		}
		if _, err := s.Confirm(ctx, inv.Token, ""); !errors.Is(err, ErrToken) {
			t.Errorf("second use: %v, want ErrToken", err)
		}
	})
}

// Whoever sends an invitation needs no more than its id, which comes about with
// the request or not at all, and gets no invitation that nobody waits for.
func TestAnInvitationIsMadeAgainFromItsID(t *testing.T) {
	each(t, func(t *testing.T, s *Store, _ *time.Time) {
		ctx := t.Context()
		away := errors.New("away")
		s.Asked = func(context.Context, *db.Tx, string) error { return away }
		if _, err := s.Ask(ctx, request1("a@example.org")); !errors.Is(err, away) {
			t.Fatalf("nobody took the invitation: %v", err)
		}
		var ids []string
		s.Asked = func(_ context.Context, _ *db.Tx, id string) error { ids = append(ids, id); return nil }
		inv, err := s.Ask(ctx, request1("a@example.org")) // the first attempt left nothing behind that counts
		must(t, err)
		if len(ids) != 1 || strings.Contains(inv.Token, ids[0]) {
			t.Fatalf("ids %q, token %q", ids, inv.Token)
		}
		again, err := s.Invitation(ctx, ids[0])
		must(t, err)
		if diff := cmp.Diff(inv, again, cmpopts.IgnoreFields(Request{}, "Network")); diff != "" {
			t.Error(diff)
		}
		_, err = s.Confirm(ctx, again.Token, "")
		must(t, err)
		for _, id := range []string{ids[0], newID()} {
			if _, err := s.Invitation(ctx, id); !errors.Is(err, ErrToken) {
				t.Errorf("used or unknown: %v", err)
			}
		}
	})
}

func TestATokenThatIsOldOrForgedConfirmsNothing(t *testing.T) {
	each(t, func(t *testing.T, s *Store, clock *time.Time) {
		ctx := t.Context()
		inv, err := s.Ask(ctx, request1("a@example.org"))
		must(t, err)
		flipped := []byte(inv.Token)
		flipped[3] ^= 1
		for _, bad := range []string{"", "x", string(flipped), strings.Repeat("A", 1<<16)} {
			if _, err := s.Confirm(ctx, bad, ""); !errors.Is(err, ErrToken) {
				t.Errorf("forged: %v, want ErrToken", err)
			}
		}
		*clock = noon.Add(tokenLife)
		if _, err := s.Confirm(ctx, inv.Token, ""); !errors.Is(err, ErrToken) {
			t.Errorf("expired: %v, want ErrToken", err)
		}
		*clock = noon.Add(tokensKept + time.Hour)
		gone, err := s.Clean(ctx)
		must(t, err)
		if gone["tokens"] == 0 {
			t.Error("no token was forgotten")
		}
		if _, err := s.Peek(ctx, inv.Token); !errors.Is(err, ErrToken) {
			t.Errorf("cleaned away: %v, want ErrToken", err)
		}
	})
}

func TestTokensAndAddressesAreNotKeptInTheClear(t *testing.T) {
	each(t, func(t *testing.T, s *Store, clock *time.Time) {
		ctx := t.Context()
		r := request1("a@example.org")
		r.Network = "192.0.2.0/24"
		inv, err := s.Ask(ctx, r)
		must(t, err)
		var all strings.Builder
		for _, table := range []string{"SELECT hash FROM token", "SELECT address FROM signup", "SELECT network FROM signup"} {
			var v string
			must(t, s.db.SQL.QueryRowContext(ctx, table).Scan(&v))
			all.WriteString(v + "\n")
		}
		for _, secret := range []string{inv.Token, "a@example.org", "192.0.2"} {
			if strings.Contains(all.String(), secret) {
				t.Errorf("%q stands in the clear", secret)
			}
		}
		if id := s.LogID("A@Example.org"); id != s.LogID("a@example.org") || strings.Contains(id, "example") {
			t.Errorf("log id %q", id)
		}
	})
}

func TestNobodysMailboxCanBeFilledThroughUs(t *testing.T) {
	each(t, func(t *testing.T, s *Store, clock *time.Time) {
		ctx := t.Context()
		sent := 0
		for range 40 * 24 { // an attacker asks each hour for 40 days, from everywhere
			inv, err := s.Ask(ctx, request1("victim@example.org"))
			must(t, err) // and learns nothing from the answer
			if inv != nil {
				sent++
			}
			*clock = clock.Add(time.Hour)
		}
		if sent > 2*perAddressMonth {
			t.Errorf("%d mails in 40 days", sent)
		}
	})
}

func TestOneNetworkCannotAskForMany(t *testing.T) {
	each(t, func(t *testing.T, s *Store, clock *time.Time) {
		ctx := t.Context()
		ask := func(address, network string) error {
			r := request1(address)
			r.Network = network
			_, err := s.Ask(ctx, r)
			return err
		}
		for i := range perNetworkDay {
			must(t, ask(string(rune('a'+i))+"@example.org", "192.0.2.0/24"))
		}
		if err := ask("z@example.org", "192.0.2.0/24"); !errors.Is(err, ErrBusy) {
			t.Errorf("one too many: %v, want ErrBusy", err)
		}
		must(t, ask("z@example.org", "198.51.100.0/24"))
	})
}

// A mailbox gets three mails a month, whatever it is called and whoever asks.
func TestTenThousandRequestsForOneMailboxSendThreeMails(t *testing.T) {
	each(t, func(t *testing.T, s *Store, clock *time.Time) {
		mails, refused := 0, map[string]int{}
		s.Refused = func(limit string) { refused[limit]++ }
		begin := *clock
		for i := range 10_000 {
			*clock = begin.Add(time.Duration(i) * 4 * time.Minute) // over 28 days
			r := request1(fmt.Sprintf("victim+%d@example.org", i))
			r.Network = fmt.Sprintf("198.51.%d.0/24", i%250)
			inv, err := s.Ask(t.Context(), r)
			if err != nil && !errors.Is(err, ErrBusy) {
				t.Fatal(err)
			}
			if inv != nil {
				mails++
			}
		}
		if mails != perAddressMonth || refused[LimitAddress] < 9000 || refused[LimitEverybody] != 0 {
			t.Errorf("%d mails; refused %v", mails, refused)
		}
		if inv, err := s.Ask(t.Context(), request1("somebody.else@example.com")); err != nil || inv == nil {
			t.Errorf("everybody else is locked out: %v", err)
		}
	})
}

// One domain of an attacker does not use up what others may ask for.
func TestADomainHasALimitOfItsOwnAndLearnsNothing(t *testing.T) {
	each(t, func(t *testing.T, s *Store, clock *time.Time) {
		mails := 0
		for i := range 3 * perDomainHour {
			inv, err := s.Ask(t.Context(), request1(fmt.Sprintf("a%d@attack.example", i)))
			must(t, err)
			if inv != nil {
				mails++
			}
		}
		if mails != perDomainHour {
			t.Errorf("%d mails to one domain in an hour, want %d", mails, perDomainHour)
		}
		if inv, err := s.Ask(t.Context(), request1("a@example.org")); err != nil || inv == nil {
			t.Errorf("another domain: %v", err)
		}
	})
}

func TestMailboxesAreToldApart(t *testing.T) {
	for in, want := range map[string]string{
		"ann@example.org": "ann@example.org", "ann+river@example.org": "ann@example.org", "+x@example.org": "+x@example.org",
		"a.n.n+x@gmail.com": "ann@gmail.com", "a.nn@googlemail.com": "ann@gmail.com", "a.nn@example.org": "a.nn@example.org",
	} {
		if got := canonical(in); got != want {
			t.Errorf("%s: %s, want %s", in, got, want)
		}
	}
}

func TestWhoSaysNeverIsNotWrittenToAgain(t *testing.T) {
	each(t, func(t *testing.T, s *Store, clock *time.Time) {
		ctx := t.Context()
		inv, err := s.Ask(ctx, request1("ann+x@example.org"))
		must(t, err)
		must(t, s.Never(ctx, inv.Token))
		if _, err := s.Confirm(ctx, inv.Token, ""); !errors.Is(err, ErrToken) {
			t.Errorf("the link still confirms: %v", err)
		}
		*clock = clock.AddDate(0, 3, 0)
		if inv, err := s.Ask(ctx, request1("ann@example.org")); err != nil || inv != nil {
			t.Errorf("written to again: %v, %v", inv, err)
		}
		var kept string
		must(t, s.db.SQL.QueryRow("SELECT address FROM never").Scan(&kept))
		if strings.Contains(kept, "ann") {
			t.Errorf("the address is kept in plain text: %s", kept)
		}
	})
}

func TestUnsubscribingWorksFromAnyMailForEver(t *testing.T) {
	each(t, func(t *testing.T, s *Store, clock *time.Time) {
		ctx := t.Context()
		must(t, s.AddConfirmed(ctx, request1("a@example.org"), request1("b@example.org")))
		ps, err := s.List(ctx)
		must(t, err)
		token := s.Links.Unsubscribe(ps[0].ID)
		*clock = noon.AddDate(5, 0, 0)
		_, err = s.db.SQL.ExecContext(ctx, `INSERT INTO outbox VALUES ('k', $1, 'news', 0, 'm', '{}', 'queued', 0, 0, 0, 0, 0, '', 0, '')`, ps[0].ID)
		must(t, err)
		for range 2 { // a mail program may press twice
			must(t, s.Unsubscribe(ctx, token))
		}
		ps, err = s.List(ctx)
		must(t, err)
		if ps[0].State != "unsubscribed" || len(ps[0].Subscriptions) != 0 || ps[1].State != "active" || len(ps[1].Subscriptions) != 1 {
			t.Errorf("after: %+v", ps)
		}
		var state string
		must(t, s.db.SQL.QueryRowContext(ctx, "SELECT state FROM outbox").Scan(&state))
		if state != "dropped" {
			t.Errorf("the queued mail is %s, want dropped", state)
		}
		for name, bad := range map[string]string{
			"another person's mac":  ps[1].ID + token[32:],
			"no mac":                ps[0].ID,
			"an empty mac":          ps[0].ID + ".",
			"a mac of another kind": s.make("other", ps[0].ID),
			"nothing":               "",
		} {
			if err := s.Unsubscribe(ctx, bad); !errors.Is(err, ErrToken) {
				t.Errorf("%s: %v, want ErrToken", name, err)
			}
		}
		if _, err := s.Managed(ctx, token); !errors.Is(err, ErrToken) {
			t.Errorf("the header's token opens the manage page: %v", err)
		}
		if p, err := s.Managed(ctx, s.Manage(ps[1].ID)); err != nil || p.Address != "b@example.org" {
			t.Errorf("manage: %+v, err %v", p, err)
		}
	})
}

func TestAStrangerCannotChangeTheWishesOfSomebodyKnown(t *testing.T) {
	each(t, func(t *testing.T, s *Store, clock *time.Time) {
		ctx := t.Context()
		must(t, s.AddConfirmed(ctx, request1("a@example.org")))
		before, err := s.List(ctx)
		must(t, err)
		r := request1("A@example.org")
		r.Zone, r.Subscriptions[0].River = "UTC", "garrow"
		inv, err := s.Ask(ctx, r)
		must(t, err)
		after, err := s.List(ctx)
		must(t, err)
		if diff := cmp.Diff(before, after); diff != "" {
			t.Error(diff)
		}
		p, err := s.Confirm(ctx, inv.Token, "") // the address itself may
		must(t, err)
		if len(p.Subscriptions) != 2 || p.ID != before[0].ID {
			t.Errorf("after confirming: %+v", p)
		}
	})
}

func TestNoFreeTextOfAStrangerIsTaken(t *testing.T) {
	each(t, func(t *testing.T, s *Store, clock *time.Time) {
		for name, c := range map[string]struct {
			change func(*Request)
			want   string
		}{
			"a display name":             {func(r *Request) { r.Address = `"Buy now http://x.example" <a@example.org>` }, ""},
			"two addresses":              {func(r *Request) { r.Address = "a@example.org, b@example.org" }, "address"},
			"a line break":               {func(r *Request) { r.Address = "a@example.org\r\nBcc: b@example.org" }, "address"},
			"a quoted local part":        {func(r *Request) { r.Address = `"a b"@example.org` }, "address"},
			"an address that is a flag":  {func(r *Request) { r.Address = "a@-example.org" }, "address"},
			"an IP literal":              {func(r *Request) { r.Address = "a@[127.0.0.1]" }, "address"},
			"a host without a dot":       {func(r *Request) { r.Address = "root@localhost" }, "address"},
			"a very long address":        {func(r *Request) { r.Address = strings.Repeat("a", 65) + "@example.org" }, "address"},
			"letters beyond ASCII":       {func(r *Request) { r.Address = "fiskeørn@example.org" }, "address"},
			"a river we do not forecast": {func(r *Request) { r.Subscriptions[0].River = "styx" }, `river: "styx"`},
			"prose for a river":          {func(r *Request) { r.Subscriptions[0].River = "wend\nBuy now" }, "river"},
			"prose for a group":          {func(r *Request) { r.Subscriptions[0].Groups = []string{"Buy now, http://x"} }, "group"},
			"a stage of its own":         {func(r *Request) { r.Subscriptions[0].Stages = []string{"hatch"} }, "stage"},
			"a zone that is none":        {func(r *Request) { r.Zone = "../../etc/passwd" }, "zone"},
			"the server's zone":          {func(r *Request) { r.Zone = "Local" }, "zone"},
			"a certain threshold":        {func(r *Request) { r.Subscriptions[0].Threshold = 1 }, "threshold"},
			"a horizon beyond sense":     {func(r *Request) { r.Subscriptions[0].HorizonDays = 400 }, "horizon"},
			"a river twice":              {func(r *Request) { r.Subscriptions = append(r.Subscriptions, r.Subscriptions[0]) }, "twice"},
			"no river":                   {func(r *Request) { r.Subscriptions = nil }, "rivers"},
			"an odd cadence":             {func(r *Request) { r.Subscriptions[0].Cadence = "hourly" }, "cadence"},
		} {
			r := request1("a@example.org")
			c.change(&r)
			inv, err := s.Ask(t.Context(), r)
			if c.want == "" {
				if err != nil || strings.Contains(inv.Address, "Buy") {
					t.Errorf("%s: %+v, err %v", name, inv, err)
				}
				continue
			}
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("%s: error %v, want %q", name, err, c.want)
			}
		}
	})
}

func TestOneCommandGivesAllDataAndOneTakesItAway(t *testing.T) {
	each(t, func(t *testing.T, s *Store, clock *time.Time) {
		ctx := t.Context()
		must(t, s.AddConfirmed(ctx, request1("a@example.org"), request1("b@example.org")))
		_, err := s.Ask(ctx, request1("a@example.org"))
		must(t, err)
		ps, err := s.List(ctx)
		must(t, err)
		for _, p := range ps {
			for _, q := range []string{
				`INSERT INTO outbox VALUES ('k' || $1, $1, 'news', 0, 'm', '{}', 'sent', 0, 0, 0, 0, 0, '', 0, '')`,
				`INSERT INTO send_log VALUES ('l' || $1, 'k', $1, 'news', 0, 'sent', 0, 250, '', '')`,
				`INSERT INTO episode VALUES ($1, 'wend', 'caution', 'e', 'open', 1, 0, '', '', '', 0, 1, 'k')`,
			} {
				_, err := s.db.SQL.ExecContext(ctx, q, p.ID)
				must(t, err)
			}
			_, err := s.Bounced(ctx, Bounce{Person: p.ID, Kind: BounceSoft, Source: "smtp", Key: p.ID, At: noon})
			must(t, err)
		}
		b, err := s.Export(ctx, "a@example.org")
		must(t, err)
		var d Data
		must(t, json.Unmarshal(b, &d))
		if d.Person.Address != "a@example.org" || len(d.Outbox) != 1 || len(d.SendLog) != 1 || len(d.Episodes) != 1 || len(d.Bounces) != 1 || strings.Contains(string(b), "b@example.org") {
			t.Errorf("export: %s", b)
		}
		found, err := s.Delete(ctx, "A@example.org")
		if err != nil || !found {
			t.Fatalf("found %v, err %v", found, err)
		}
		for _, table := range []string{"person", "subscription", "outbox", "send_log", "episode", "bounce"} {
			var n int
			must(t, s.db.SQL.QueryRowContext(ctx, "SELECT COUNT(*) FROM "+table).Scan(&n))
			if n != 1 {
				t.Errorf("%s: %d rows left, want the other person's one", table, n)
			}
		}
		for _, table := range []string{"token", "signup"} {
			var n int
			must(t, s.db.SQL.QueryRowContext(ctx, "SELECT COUNT(*) FROM "+table).Scan(&n))
			if n != 0 {
				t.Errorf("%s: %d rows left", table, n)
			}
		}
		if found, err := s.Delete(ctx, "a@example.org"); err != nil || found {
			t.Errorf("a second time: found %v, err %v", found, err)
		}
		must(t, s.Unsubscribe(ctx, s.Links.Unsubscribe(d.Person.ID))) // an old mail's link still answers
	})
}

func TestBouncesSuppressOnlyWhatIsDead(t *testing.T) {
	each(t, func(t *testing.T, s *Store, clock *time.Time) {
		ctx := t.Context()
		for i, c := range []struct {
			name    string
			bounces []Bounce
			want    string
		}{
			{"no such mailbox, once", []Bounce{{Kind: BounceHard}}, BounceHard},
			{"a complaint, once", []Bounce{{Kind: BounceComplaint}}, BounceComplaint},
			{"policy says nothing of the address", []Bounce{{Kind: BouncePolicy, Key: "1"}, {Kind: BouncePolicy, Key: "2"}, {Kind: BouncePolicy, Key: "3"}}, ""},
			{"full three times in a day is one full mailbox", []Bounce{{Kind: BounceFull, Key: "1"}, {Kind: BounceFull, Key: "2"}, {Kind: BounceFull, Key: "3"}}, ""},
			{"full three times in two weeks is a dead one", []Bounce{{Kind: BounceFull, Key: "1", At: noon.AddDate(0, 0, -14)}, {Kind: BounceFull, Key: "2", At: noon.AddDate(0, 0, -7)}, {Kind: BounceFull, Key: "3"}}, BounceFull},
			{"one report read three times counts once", []Bounce{{Kind: BounceFull, Key: "1", At: noon.AddDate(0, 0, -14)}, {Kind: BounceFull, Key: "1"}, {Kind: BounceFull, Key: "1"}}, ""},
			{"soft is for a human", []Bounce{{Kind: BounceSoft}}, ""},
		} {
			address := string(rune('a'+i)) + "@example.org"
			must(t, s.AddConfirmed(ctx, request1(address)))
			ps, err := s.List(ctx)
			must(t, err)
			id := ps[i].ID
			for _, b := range c.bounces {
				b.Person, b.Source, b.Key = id, "report", address+b.Key
				if b.At.IsZero() {
					b.At = noon
				}
				_, err := s.Bounced(ctx, b)
				must(t, err)
			}
			ps, err = s.List(ctx)
			must(t, err)
			if ps[i].Suppressed != c.want {
				t.Errorf("%s: suppressed %q, want %q", c.name, ps[i].Suppressed, c.want)
			}
		}
	})
}

func TestStatusCodesAreSorted(t *testing.T) {
	for _, c := range []struct {
		status string
		code   int
		want   string
	}{
		{"5.1.1", 550, BounceHard}, {"5.1.10", 556, BounceHard}, {"4.2.2", 452, BounceFull}, {"5.2.2", 552, BounceFull}, {"4.4.7", 0, BounceFull},
		{"5.7.1", 554, BouncePolicy}, {"4.7.26", 421, BouncePolicy}, {"", 550, BounceHard}, {"", 554, BounceSoft}, {"5.3.0", 550, BounceSoft}, {"", 0, BounceSoft},
	} {
		if got := KindOf(c.status, c.code); got != c.want {
			t.Errorf("%s %d: %s, want %s", c.status, c.code, got, c.want)
		}
	}
}

func TestNetworksAreCountedBySite(t *testing.T) {
	for in, want := range map[string]string{
		"192.0.2.77": "192.0.2.0/24", "::ffff:192.0.2.77": "192.0.2.0/24", "2001:db8:1:2ff::1": "2001:db8:1::/48",
	} {
		if got := NetworkOf(netip.MustParseAddr(in)); got != want {
			t.Errorf("%s: %s, want %s", in, got, want)
		}
	}
	if got := NetworkOf(netip.Addr{}); got != "" {
		t.Errorf("no address: %q", got)
	}
}

func FuzzParseAddress(f *testing.F) {
	for _, s := range []string{"a@example.org", "A <a@b.example>", "\"a b\"@x.org", "a@[1.2.3.4]", "=?utf-8?q?=0d=0aBcc:b?=@x.org"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		a, err := ParseAddress(s)
		if err != nil {
			return
		}
		if again, err := ParseAddress(a); err != nil || again != a {
			t.Fatalf("%q then %q, err %v", a, again, err)
		}
		if strings.ContainsAny(a, " \r\n\t\x00<>,\"()") || strings.Count(a, "@") != 1 {
			t.Fatalf("%q holds what no address should", a)
		}
	})
}

func FuzzLinkToken(f *testing.F) {
	l := Links{key: make([]byte, 32)}
	f.Add(l.Unsubscribe(strings.Repeat("0", 32)))
	f.Add("0.0")
	f.Fuzz(func(t *testing.T, s string) {
		if id, err := l.person(linkUnsubscribe, s); err == nil && s != l.Unsubscribe(id) {
			t.Fatalf("%q was taken for the token of %q", s, id)
		}
	})
}
