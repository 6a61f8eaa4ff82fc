package alerts

import (
	"cmp"
	"context"
	"errors"
	"io"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"

	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/warning"
)

// MeteoAlarm is the warnings of the European weather services, from one feed a
// country. The feed is several MB and names zones, mostly without polygons: a
// river must say in which zone it lies.
type MeteoAlarm struct {
	Client  *client.Client
	BaseURL string // "": https://feeds.meteoalarm.org
	Now     func() time.Time

	mu   sync.Mutex
	kept map[string]meteoAnswer // by country
}

type meteoAnswer struct {
	at   time.Time
	list []warning.Warning
}

// Names, see NWS.
const (
	MeteoAlarmName    = "meteoalarm"
	MeteoAlarmLiveURL = "https://feeds.meteoalarm.org"
)

// meteoShared is how long rivers of one country share a response. Our own
// default, shorter than any schedule should be.
const meteoShared = 4 * time.Minute

// Name implements warning.Source.
func (*MeteoAlarm) Name() string { return MeteoAlarmName }

var countryWord = regexp.MustCompile(`^[a-z]+(-[a-z]+)*$`)

// Fetch implements warning.Source.
func (s *MeteoAlarm) Fetch(ctx context.Context, p warning.Place) ([]warning.Warning, error) {
	if !countryWord.MatchString(p.Country) {
		return nil, bad(MeteoAlarmName, "\""+p.Country+"\" is not a country such as \"italy\"", "set country in [river.warnings]", nil)
	}
	s.mu.Lock()
	defer s.mu.Unlock() // of several rivers of a country, one asks
	answer, ok := s.kept[p.Country]
	if age := s.Now().Sub(answer.at); !ok || age < 0 || age > meteoShared {
		base := cmp.Or(strings.TrimRight(s.BaseURL, "/"), MeteoAlarmLiveURL)
		list, err := get(ctx, s.Client, MeteoAlarmName, base+"/api/v1/warnings/feeds-"+p.Country, parseMeteoAlarm)
		if status := (*client.StatusError)(nil); errors.As(err, &status) && status.Code == 404 {
			return nil, bad(MeteoAlarmName, "has no feed of \""+p.Country+"\"", "set country in [river.warnings], in English and with hyphens", nil)
		}
		if err != nil {
			return nil, err
		}
		if s.kept == nil {
			s.kept = map[string]meteoAnswer{}
		}
		answer = meteoAnswer{s.Now(), list}
		s.kept[p.Country] = answer
	}
	out := append([]warning.Warning(nil), answer.list...)
	for i := range out {
		out[i].Locate(p, warning.Unplaced)
	}
	return warning.Concern(out), nil
}

type meteoInfo struct {
	Language    text `json:"language"`
	Event       text `json:"event"`
	Urgency     text `json:"urgency"`
	Severity    text `json:"severity"`
	Certainty   text `json:"certainty"`
	Effective   text `json:"effective"`
	Onset       text `json:"onset"`
	Expires     text `json:"expires"`
	SenderName  text `json:"senderName"`
	Headline    text `json:"headline"`
	Instruction text `json:"instruction"`
	Web         text `json:"web"`
	Area        []struct {
		Desc    text `json:"areaDesc"`
		Polygon list `json:"polygon"`
		Geocode []struct {
			Name  text `json:"valueName"`
			Value text `json:"value"`
		} `json:"geocode"`
	} `json:"area"`
	Parameter []struct {
		Name  text `json:"valueName"`
		Value text `json:"value"`
	} `json:"parameter"`
}

// parseMeteoAlarm reads a country's feed: CAP as JSON, with one info block a
// language. The English block is taken, else the first.
func parseMeteoAlarm(r io.Reader) ([]warning.Warning, error) {
	var body struct {
		Warnings *[]struct {
			UUID  text `json:"uuid"`
			Alert struct {
				Identifier text        `json:"identifier"`
				Sender     text        `json:"sender"`
				Sent       text        `json:"sent"`
				Status     text        `json:"status"`
				MsgType    text        `json:"msgType"`
				References text        `json:"references"`
				Info       []meteoInfo `json:"info"`
			} `json:"alert"`
		} `json:"warnings"`
	}
	if err := decode(MeteoAlarmName, r, &body); err != nil {
		return nil, err
	}
	if body.Warnings == nil {
		return nil, bad(MeteoAlarmName, "the response has no member \"warnings\"", "report it with the saved response", nil)
	}
	var out []warning.Warning
	for _, x := range *body.Warnings {
		a := x.Alert
		w := warning.Warning{
			ID: firstOf(string(a.Identifier), string(x.UUID)), Status: string(a.Status), MsgType: string(a.MsgType),
			Sent: warning.ParseTime(string(a.Sent)), References: capReferences(string(a.References)),
		}
		if len(a.Info) == 0 {
			if w.MsgType == warning.MsgCancel || w.MsgType == warning.MsgError || w.MsgType == warning.MsgAck {
				out = append(out, w) // these need none
				continue
			}
			return nil, bad(MeteoAlarmName, "a warning has no info block", "report it with the saved response", nil)
		}
		info := a.Info[0]
		for _, i := range a.Info {
			if strings.HasPrefix(strings.ToLower(string(i.Language)), "en") {
				info = i
				break
			}
		}
		info.fill(&w, string(a.Sender))
		out = append(out, w)
	}
	return complete(MeteoAlarmName, out), nil
}

// fill takes over what an info block says.
func (i meteoInfo) fill(w *warning.Warning, sender string) {
	w.Event, w.Urgency, w.Severity, w.Certainty = string(i.Event), string(i.Urgency), string(i.Severity), string(i.Certainty)
	w.Effective, w.Onset, w.Expires = warning.ParseTime(string(i.Effective)), warning.ParseTime(string(i.Onset)), warning.ParseTime(string(i.Expires))
	w.SenderName, w.Headline, w.Instruction = firstOf(string(i.SenderName), sender), string(i.Headline), string(i.Instruction)
	w.Web = firstOf(warning.WebLink(string(i.Web)), "https://meteoalarm.org/")
	var desc []string
	for _, a := range i.Area {
		desc = append(desc, string(a.Desc))
		for _, g := range a.Geocode {
			w.Area.Zones = append(w.Area.Zones, string(g.Value))
		}
		for _, p := range a.Polygon {
			if g := warning.CAPPolygon(p); g != nil {
				w.Area.Shape = append(w.Area.Shape, g)
			}
		}
	}
	w.Area.Desc = strings.Join(desc, ", ")
	kind := ""
	for _, p := range i.Parameter {
		code, label, _ := strings.Cut(string(p.Value), ";")
		n, err := strconv.Atoi(strings.TrimSpace(code))
		if err != nil {
			continue
		}
		switch strings.ToLower(string(p.Name)) {
		case "awareness_type":
			// The list of MeteoAlarm: 3 thunderstorm, 10 rain, 12 flooding, 13 rain-flood.
			switch kind = strings.TrimSpace(label); n {
			case 3:
				w.Hazard = warning.Thunder
			case 10, 12, 13:
				w.Hazard = warning.Flood
			}
		case "awareness_level":
			// Green marks "nothing to warn of"; the colours stand above CAP's word.
			switch n {
			case 1:
				w.MsgType = warning.MsgCancel
			case 2:
				w.Severity = warning.Moderate
			case 3:
				w.Severity = warning.Severe
			case 4:
				w.Severity = warning.Extreme
			}
		}
	}
	// Services issue the same warning anew under other identifiers, without a
	// reference: kind, day and place are what stays.
	if kind != "" {
		w.Chain = strings.Join([]string{sender, kind, w.From().Format(time.DateOnly), w.Area.Desc}, " ")
	}
}

// capReferences reads CAP's references: "sender,identifier,sent" in a row.
func capReferences(s string) (out []string) {
	for r := range strings.FieldsSeq(s) {
		if f := strings.Split(r, ","); len(f) >= 2 {
			out = append(out, f[1])
		}
	}
	return out
}
