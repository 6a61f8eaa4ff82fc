package syndicate

import (
	"encoding/xml"
	"fmt"
	"io"
	"strings"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/model/wading"
)

// A CAPMessage is a caution in the Common Alerting Protocol 1.2 (OASIS, 2010).
type CAPMessage struct {
	XMLName    xml.Name `xml:"urn:oasis:names:tc:emergency:cap:1.2 alert"`
	Identifier string   `xml:"identifier"`
	Sender     string   `xml:"sender"`
	Sent       string   `xml:"sent"`
	Status     string   `xml:"status"`
	MsgType    string   `xml:"msgType"`
	Scope      string   `xml:"scope"`
	Note       string   `xml:"note"`
	Info       CAPInfo  `xml:"info"`
}

// CAPInfo is what the message says.
type CAPInfo struct {
	Language    string         `xml:"language"`
	Category    string         `xml:"category"`
	Event       string         `xml:"event"`
	Response    string         `xml:"responseType"`
	Urgency     string         `xml:"urgency"`
	Severity    string         `xml:"severity"`
	Certainty   string         `xml:"certainty"`
	Effective   string         `xml:"effective"`
	Expires     string         `xml:"expires"`
	SenderName  string         `xml:"senderName"`
	Headline    string         `xml:"headline"`
	Description string         `xml:"description"`
	Instruction string         `xml:"instruction"`
	Web         string         `xml:"web,omitempty"`
	Parameters  []capParameter `xml:"parameter"`
	Area        capArea        `xml:"area"`
}

type capParameter struct {
	Name  string `xml:"valueName"`
	Value string `xml:"value"`
}

type capArea struct {
	Description string `xml:"areaDesc"`
	Circle      string `xml:"circle"`
}

const notAuthority = "Eclose is not an authority: this is one installation's own estimate from public readings. Official warnings, local notices and dam operators overrule it."

// unknownFor is how long a message with an unknown level stands. Such a caution has
// no reading that could go stale; the message ends soon so that nobody takes it for
// the newest. Our own default, that of the time for which a caution counts on the page.
const unknownFor = 15 * time.Minute

// A CAPSender is who sends.
type CAPSender struct {
	Address  string // of the installation, without spaces or commas
	Invented bool   // a demo: the message is marked as a test
}

// CAPOf returns the caution of a river as a message. An unknown level is a message as
// any other. It expires no later than the caution does, and no message ever says that
// something is over.
func CAPOf(from CAPSender, r forecast.River, c wading.Caution, page string, now time.Time) CAPMessage {
	sent, expires := c.At, c.Until
	if !c.Known {
		sent = now.Truncate(time.Minute)
		expires = sent.Add(unknownFor)
	}
	sender := strings.NewReplacer(" ", "", ",", "", "<", "", "&", "").Replace(from.Address)
	m := CAPMessage{Identifier: fmt.Sprintf("eclose-%s-%s", r.Slug, sent.UTC().Format("20060102T150405Z")), Sender: sender, Sent: capTime(sent), Status: "Actual", MsgType: "Alert", Scope: "Public", Note: notAuthority}
	if from.Invented {
		m.Status = "Test"
	}
	m.Info = CAPInfo{Language: "en", Category: "Safety", Event: "Wading caution", Effective: m.Sent, Expires: capTime(expires), SenderName: "Eclose, not an authority",
		Headline: r.Name + ": " + c.Headline(), Description: c.Format(wading.Metric), Web: page,
		Instruction: wading.Always + " When this message expires the caution level is unknown: treat the river as too high until you have seen it. " + notAuthority + " " + forecast.StandingCaution,
		Area:        capArea{Description: r.Name + " at its gauge", Circle: fmt.Sprintf("%.4f,%.4f 0", r.Lat, r.Lon)}}
	m.Info.Urgency, m.Info.Severity, m.Info.Certainty, m.Info.Response = capWords(c)
	level := fmt.Sprintf("at least %d", c.Level)
	if c.Known {
		level = fmt.Sprint(int(c.Level))
	}
	m.Info.Parameters = []capParameter{{"eclose:level", level}, {"eclose:known", fmt.Sprint(c.Known)}}
	for _, x := range []wading.Reading{c.Flow, c.Stage} {
		if x.Present {
			m.Info.Parameters = append(m.Info.Parameters, capParameter{"eclose:reading", capTime(c.At.Add(-x.Age))})
			break
		}
	}
	return m
}

// capWords puts a level in the words of CAP. What is unknown is never less than
// moderate, and never has the certainty of what was observed.
func capWords(c wading.Caution) (urgency, severity, certainty, response string) {
	urgency, certainty, response = "Immediate", "Observed", "Avoid"
	switch c.Level {
	case wading.KeepOut:
		severity = "Severe"
	case wading.BetterNot:
		severity = "Moderate"
	default:
		urgency, severity, response = "Expected", "Minor", "Assess"
	}
	if !c.Known {
		certainty, response = "Unknown", "Avoid"
		if c.Level < wading.BetterNot {
			urgency, severity = "Unknown", "Unknown"
		}
	}
	return urgency, severity, certainty, response
}

// capTime is a time as CAP writes it: with an offset, never with Z.
func capTime(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05") + "-00:00" }

// WriteCAP writes a message.
func WriteCAP(w io.Writer, m CAPMessage) error { return writeXML(w, m) }
