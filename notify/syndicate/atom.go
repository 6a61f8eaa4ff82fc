package syndicate

import (
	"encoding/xml"
	"fmt"
	"io"
	"slices"
	"sort"
	"time"

	"example.org/eclose/forecast"
)

// The elements of RFC 4287 that are used.
type (
	atomFeed struct {
		XMLName  xml.Name    `xml:"http://www.w3.org/2005/Atom feed"`
		ID       string      `xml:"id"`
		Title    string      `xml:"title"`
		Subtitle string      `xml:"subtitle"`
		Updated  string      `xml:"updated"`
		Author   atomAuthor  `xml:"author"`
		Rights   string      `xml:"rights,omitempty"`
		Links    []atomLink  `xml:"link"`
		Entries  []atomEntry `xml:"entry"`
	}
	atomAuthor struct {
		Name string `xml:"name"`
	}
	atomLink struct {
		Rel  string `xml:"rel,attr"`
		Type string `xml:"type,attr,omitempty"`
		Href string `xml:"href,attr"`
	}
	atomEntry struct {
		ID      string     `xml:"id"`
		Title   string     `xml:"title"`
		Updated string     `xml:"updated"`
		Links   []atomLink `xml:"link"`
		Content atomText   `xml:"content"`
	}
	atomText struct {
		Type string `xml:"type,attr"`
		Text string `xml:",chardata"`
	}
)

func writeXML(w io.Writer, v any) error {
	b, err := xml.MarshalIndent(v, "", " ")
	if err != nil {
		return fmt.Errorf("writing XML: %w", err)
	}
	_, err = io.WriteString(w, xml.Header+string(b)+"\n")
	return err
}

func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }

// WriteAtom writes the news of a river: the answer of its newest forecast, and each
// window with the moment since when it stands so. address is that of the feed itself
// and names it; credits is whose data it is.
func WriteAtom(w io.Writer, address, credits string, r RiverNews, now time.Time) error {
	f := atomFeed{ID: address, Title: r.River.Name + ": hatches and egg-laying", Subtitle: forecast.StandingCaution, Author: atomAuthor{"Eclose"}, Rights: credits,
		Links: []atomLink{{Rel: "self", Type: "application/atom+xml", Href: address}, {Rel: "alternate", Type: "text/html", Href: r.URL}}}
	page := []atomLink{{Rel: "alternate", Type: "text/html", Href: r.URL}}
	updated := now
	if r.Outlook != nil {
		updated = r.Outlook.IssuedAt
		f.Entries = append(f.Entries, atomEntry{ID: address + "#answer", Title: r.Answer, Updated: stamp(updated), Links: page,
			Content: atomText{"text", r.Answer + "\n\n" + r.Caution + "\n\n" + forecast.StandingCaution}})
	}
	windows := slices.Clone(r.Windows)
	sort.SliceStable(windows, func(i, j int) bool { return windows[j].Changed.Compare(windows[i].Changed) < 0 })
	for _, x := range windows {
		title := fmt.Sprintf("%s %s, %s to %s", forecast.UpperFirst(x.Name), x.stageWords(), x.From.Short(), x.To.Short())
		if x.Cancelled {
			title = fmt.Sprintf("%s %s: no longer expected", forecast.UpperFirst(x.Name), x.stageWords())
		}
		f.Entries = append(f.Entries, atomEntry{ID: address + "#" + x.key(), Title: title, Updated: stamp(x.Changed), Links: page, Content: atomText{"text", x.words(r.Outlook) + "\n\n" + forecast.StandingCaution}})
	}
	f.Updated = stamp(updated)
	return writeXML(w, f)
}

// A CautionLink is one river's caution in the list of all.
type CautionLink struct {
	Address string // of the message
	Message CAPMessage
}

// WriteCautionList writes an Atom feed with a link to the CAP message of each river,
// the usual way to publish many (common practice, no source).
func WriteCautionList(w io.Writer, address string, all []CautionLink, now time.Time) error {
	f := atomFeed{ID: address, Title: "Wading cautions", Subtitle: notAuthority + " " + forecast.StandingCaution, Updated: stamp(now), Author: atomAuthor{"Eclose"},
		Links: []atomLink{{Rel: "self", Type: "application/atom+xml", Href: address}}}
	for _, x := range all {
		f.Entries = append(f.Entries, atomEntry{ID: x.Address + "#" + x.Message.Identifier, Title: x.Message.Info.Headline, Updated: x.Message.Sent,
			Links: []atomLink{{Rel: "alternate", Type: "application/cap+xml", Href: x.Address}}, Content: atomText{"text", x.Message.Info.Description + "\n" + x.Message.Info.Instruction}})
	}
	return writeXML(w, f)
}
