package alerts

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"net/url"
	"strings"

	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/warning"
)

// ECCC is the weather alerts of Environment and Climate Change Canada, from
// GeoMet's Web Feature Service, asked by a small box. Floods are warned of by
// the provinces; of these it knows nothing.
type ECCC struct {
	Client  *client.Client
	BaseURL string // "": https://geo.weather.gc.ca
}

// Names, see NWS.
const (
	ECCCName    = "eccc"
	ECCCLiveURL = "https://geo.weather.gc.ca"
)

// Name implements warning.Source.
func (ECCC) Name() string { return ECCCName }

// ecccBox is half the side of the box, degrees: the polygons are whole regions.
const ecccBox = 0.05

// Fetch implements warning.Source.
func (s ECCC) Fetch(ctx context.Context, p warning.Place) ([]warning.Warning, error) {
	base := cmp.Or(strings.TrimRight(s.BaseURL, "/"), ECCCLiveURL)
	q := url.Values{
		"SERVICE": {"WFS"}, "VERSION": {"2.0.0"}, "REQUEST": {"GetFeature"}, "TYPENAMES": {"Current-Alerts"}, "outputFormat": {"application/json"},
		// WFS 2.0 wants latitude first for EPSG:4326.
		"BBOX": {fmt.Sprintf("%.4f,%.4f,%.4f,%.4f,EPSG:4326", p.Lat-ecccBox, p.Lon-ecccBox, p.Lat+ecccBox, p.Lon+ecccBox)},
	}
	list, err := get(ctx, s.Client, ECCCName, base+"/geomet?"+q.Encode(), parseECCC)
	for i := range list {
		// Should the service not understand the box, it sends the whole country:
		// then the polygons tell.
		list[i].Locate(p, warning.Unplaced)
		list[i].Web = fmt.Sprintf("https://weather.gc.ca/en/location/index.html?coords=%.3f,%.3f", p.Lat, p.Lon)
	}
	return warning.Concern(list), err
}

// parseECCC reads the features of the layer Current-Alerts. The service speaks
// no CAP here; what its words stand for is our own default.
func parseECCC(r io.Reader) ([]warning.Warning, error) {
	var body struct {
		Features *[]struct {
			ID         text           `json:"id"`
			Geometry   jsontext.Value `json:"geometry"`
			Properties *struct {
				ID         text `json:"identifier"`
				Code       text `json:"alert_code"`
				Name       text `json:"alert_name_en"`
				Type       text `json:"alert_type"`
				Text       text `json:"alert_text_en"`
				Confidence text `json:"confidence_en"`
				Impact     text `json:"impact_en"`
				Colour     text `json:"risk_colour_en"`
				Status     text `json:"status_en"`
				Region     text `json:"feature_name_en"`
				Published  text `json:"publication_datetime"`
				Starts     text `json:"validity_datetime"`
				Expires    text `json:"expiration_datetime"`
				Ends       text `json:"event_end_datetime"`
			} `json:"properties"`
		} `json:"features"`
	}
	if err := decode(ECCCName, r, &body); err != nil {
		return nil, err
	}
	if body.Features == nil {
		return nil, bad(ECCCName, "the response has no member \"features\"", "report it with the saved response", nil)
	}
	var out []warning.Warning
	for _, f := range *body.Features {
		p := f.Properties
		if p == nil {
			return nil, bad(ECCCName, "an alert has no properties", "report it with the saved response", nil)
		}
		chain := strings.Join([]string{string(p.Code), string(p.Name), string(p.Region)}, " ")
		w := warning.Warning{
			ID: firstOf(string(p.ID), chain+" "+string(p.Published)), Event: string(p.Name), Chain: chain,
			Sent: warning.ParseTime(string(p.Published)), Onset: warning.ParseTime(string(p.Starts)),
			Expires: warning.ParseTime(string(p.Expires)), Ends: warning.ParseTime(string(p.Ends)),
			SenderName: "Environment and Climate Change Canada", Headline: firstLine(string(p.Text)),
			Area: warning.Area{Desc: string(p.Region), Shape: warning.GeoJSON(f.Geometry)},
		}
		switch strings.ToLower(string(p.Status)) {
		case "ended", "cancelled", "canceled", "expired":
			w.MsgType = warning.MsgCancel
		case "test":
			w.Status = "Test"
		case "continued", "updated":
			w.MsgType = warning.MsgUpdate
		}
		switch strings.ToLower(string(p.Colour)) {
		case "red":
			w.Severity = warning.Extreme
		case "orange":
			w.Severity = warning.Severe
		case "yellow":
			w.Severity = warning.Moderate
		case "grey", "gray":
			w.Severity = warning.Minor
		}
		switch kind := strings.ToLower(string(p.Type)); kind {
		case "warning", "avertissement":
			w.Certainty, w.Urgency = warning.Likely, warning.Expected
			if w.Severity == "" {
				w.Severity = warning.Severe
			}
		case "watch", "veille":
			w.Certainty, w.Urgency = warning.Possible, warning.Future
		case "advisory", "avis", "statement":
			if w.Severity == "" {
				w.Severity = warning.Minor
			}
		}
		out = append(out, w)
	}
	return complete(ECCCName, out), nil
}

func firstLine(s string) string {
	s, _, _ = strings.Cut(strings.TrimSpace(s), "\n")
	return s
}
