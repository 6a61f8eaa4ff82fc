package alerts

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"path"
	"slices"
	"strconv"
	"strings"

	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/warning"
)

// NWS is the alerts service of the US National Weather Service, asked by point.
// The client must send a User-Agent with a contact.
type NWS struct {
	Client  *client.Client
	BaseURL string // "": https://api.weather.gov
}

// Names of the feeds in config and messages, and where they answer.
const (
	NWSName    = "nws"
	NWSLiveURL = "https://api.weather.gov"
)

// Name implements warning.Source.
func (NWS) Name() string { return NWSName }

// nwsPages is how many pages are followed. A point has one.
const nwsPages = 10

// Fetch implements warning.Source.
func (s NWS) Fetch(ctx context.Context, p warning.Place) ([]warning.Warning, error) {
	base := cmp.Or(strings.TrimRight(s.BaseURL, "/"), NWSLiveURL)
	var all []warning.Warning
	next := base + "/alerts/active?point=" + degrees(p.Lat) + "," + degrees(p.Lon)
	for range nwsPages {
		var link string
		page, err := get(ctx, s.Client, NWSName, next, func(r io.Reader) (list []warning.Warning, err error) {
			list, link, err = parseNWS(r)
			return list, err
		})
		if err != nil {
			return nil, err
		}
		for i := range page {
			w := &page[i]
			w.Locate(p, warning.InZone)
			w.Web = fmt.Sprintf("https://forecast.weather.gov/MapClick.php?lat=%s&lon=%s", degrees(p.Lat), degrees(p.Lon))
		}
		all = append(all, page...)
		if link == "" || len(page) == 0 {
			return all, nil
		}
		if next, err = client.Next(NWSName, next, link); err != nil {
			return nil, err
		}
	}
	return nil, bad(NWSName, "the response does not end", "report it with the saved response", nil)
}

// degrees writes at most four decimals and no trailing zeros: the service
// redirects anything else.
func degrees(x float64) string {
	out := strings.TrimRight(strings.TrimRight(strconv.FormatFloat(x, 'f', 4, 64), "0"), ".")
	if out == "-0" {
		return "0"
	}
	return out
}

type nwsAlert struct {
	URI      string `json:"@id"`
	ID       string `json:"id"`
	AreaDesc string `json:"areaDesc"`
	Geocode  struct {
		UGC  list `json:"UGC"`
		SAME list `json:"SAME"`
	} `json:"geocode"`
	AffectedZones list `json:"affectedZones"`
	References    []struct {
		URI        string `json:"@id"`
		Identifier string `json:"identifier"`
	} `json:"references"`
	ReplacedBy  text            `json:"replacedBy"`
	Sent        text            `json:"sent"`
	Effective   text            `json:"effective"`
	Onset       text            `json:"onset"`
	Expires     text            `json:"expires"`
	Ends        text            `json:"ends"`
	Status      text            `json:"status"`
	MessageType text            `json:"messageType"`
	Severity    text            `json:"severity"`
	Certainty   text            `json:"certainty"`
	Urgency     text            `json:"urgency"`
	Event       text            `json:"event"`
	SenderName  text            `json:"senderName"`
	Headline    text            `json:"headline"`
	Instruction text            `json:"instruction"`
	Parameters  map[string]list `json:"parameters"`
}

func parseNWS(r io.Reader) (out []warning.Warning, next string, err error) {
	var body struct {
		Title    text   `json:"title"`
		Detail   text   `json:"detail"`
		Type     string `json:"type"`
		Features *[]struct {
			ID         string         `json:"id"`
			Geometry   jsontext.Value `json:"geometry"`
			Properties *nwsAlert      `json:"properties"`
		} `json:"features"`
		Pagination struct {
			Next string `json:"next"`
		} `json:"pagination"`
	}
	if err := decode(NWSName, r, &body); err != nil {
		return nil, "", err
	}
	if body.Features == nil {
		if body.Title != "" || body.Detail != "" {
			return nil, "", bad(NWSName, fmt.Sprintf("the service says: %s. %s", body.Title, body.Detail), "it covers the United States only; check lat and lon in the config", nil)
		}
		return nil, "", bad(NWSName, "the response has no member \"features\"", "report it with the saved response", nil)
	}
	var replaced []string
	for _, f := range *body.Features {
		a := f.Properties
		if a == nil {
			return nil, "", bad(NWSName, "an alert has no properties", "report it with the saved response", nil)
		}
		id := a.ID
		for _, uri := range []string{a.URI, f.ID} {
			if id == "" && uri != "" {
				id = path.Base(uri)
			}
		}
		if id == "" {
			id = string(a.Event) + " " + string(a.Sent)
		}
		w := warning.Warning{
			ID: id, Status: string(a.Status), MsgType: string(a.MessageType), Event: string(a.Event),
			Urgency: string(a.Urgency), Severity: string(a.Severity), Certainty: string(a.Certainty),
			Sent: warning.ParseTime(string(a.Sent)), Effective: warning.ParseTime(string(a.Effective)), Onset: warning.ParseTime(string(a.Onset)),
			Expires: warning.ParseTime(string(a.Expires)), Ends: warning.ParseTime(string(a.Ends)),
			SenderName: string(a.SenderName), Headline: string(a.Headline), Instruction: string(a.Instruction),
			Area: warning.Area{Desc: a.AreaDesc, Zones: slices.Concat(a.Geocode.UGC, a.Geocode.SAME), Shape: warning.GeoJSON(f.Geometry)},
		}
		for _, ref := range a.References {
			w.References = append(w.References, firstOf(ref.Identifier, path.Base(ref.URI)))
		}
		if a.ReplacedBy != "" { // only an older list still holds it
			replaced = append(replaced, w.ID)
		}
		w.Chain, w.Hazard = vtec(a.Parameters["VTEC"])
		out = append(out, w)
	}
	if replaced != nil {
		out = slices.DeleteFunc(out, func(w warning.Warning) bool { return slices.Contains(replaced, w.ID) })
	}
	return complete(NWSName, out), body.Pagination.Next, nil
}

func firstOf(all ...string) string {
	for _, s := range all {
		if s != "" && s != "." {
			return s
		}
	}
	return ""
}

// vtec takes from the event codes of a message what stays the same through all
// messages about an event, office, phenomenon, significance and number, and the
// hazard that the phenomenon stands for (NWS Instruction 10-1703). Both are
// empty where there is no code.
//
//	/O.CON.KPQR.FA.A.0004.000000T0000Z-191222T1800Z/
func vtec(codes list) (chain string, hazard warning.Hazard) {
	for _, c := range codes {
		f := strings.Split(strings.Trim(c, "/"), ".")
		if len(f) < 6 {
			continue
		}
		if chain == "" {
			chain = strings.Join(f[2:6], ".")
			// The number counts anew each year.
			if _, end, ok := strings.Cut(f[len(f)-1], "-"); ok && len(end) > 2 && end[:2] != "00" {
				chain += "." + end[:2]
			}
		}
		switch f[3] {
		case "FF", "FA", "FL", "HY":
			return chain, warning.Flood
		case "SV", "TO":
			hazard = warning.Thunder
		}
	}
	return chain, hazard
}
