package alerts

import (
	"cmp"
	"context"
	"io"
	"net/url"
	"path"
	"regexp"
	"strconv"
	"strings"

	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/warning"
)

// EA is the flood warnings of the Environment Agency, England, from its
// flood-monitoring API, asked by distance.
type EA struct {
	Client  *client.Client
	BaseURL string // "": https://environment.data.gov.uk
}

// Names, see NWS.
const (
	EAName    = "ea"
	EALiveURL = "https://environment.data.gov.uk"
)

// eaWithinKm is how far from the river a flood area's middle may be. The areas
// of a river follow it for some 10 to 20 km. Our own default.
const eaWithinKm = 15

// Name implements warning.Source.
func (EA) Name() string { return EAName }

// Fetch implements warning.Source.
func (s EA) Fetch(ctx context.Context, p warning.Place) ([]warning.Warning, error) {
	base := cmp.Or(strings.TrimRight(s.BaseURL, "/"), EALiveURL)
	q := url.Values{"lat": {degrees(p.Lat)}, "long": {degrees(p.Lon)}, "dist": {strconv.Itoa(eaWithinKm)}}
	list, err := get(ctx, s.Client, EAName, base+"/flood-monitoring/id/floods?"+q.Encode(), parseEA)
	for i := range list {
		list[i].Locate(p, warning.Near)
	}
	return list, err
}

type eaFlood struct {
	URI           string `json:"@id"`
	Description   text   `json:"description"`
	Region        text   `json:"eaRegionName"`
	AreaName      text   `json:"eaAreaName"`
	FloodAreaID   text   `json:"floodAreaID"`
	Message       text   `json:"message"`
	Severity      text   `json:"severity"`
	SeverityLevel text   `json:"severityLevel"`
	Raised        text   `json:"timeRaised"`
	Changed       text   `json:"timeMessageChanged"`
	LevelChanged  text   `json:"timeSeverityChanged"`
	FloodArea     struct {
		County     text `json:"county"`
		Notation   text `json:"notation"`
		RiverOrSea text `json:"riverOrSea"`
	} `json:"floodArea"`
}

var eaAreaID = regexp.MustCompile(`^[A-Za-z0-9]{1,30}$`)

// parseEA reads a response of /flood-monitoring/id/floods. The service speaks
// no CAP; how its four severity levels stand in CAP's words is our own default.
// An item of level 4, no longer in force, lingers for a day: it is a Cancel.
func parseEA(r io.Reader) ([]warning.Warning, error) {
	var body struct {
		Items *[]eaFlood `json:"items"`
	}
	if err := decode(EAName, r, &body); err != nil {
		return nil, err
	}
	if body.Items == nil {
		return nil, bad(EAName, "the response has no member \"items\"", "report it with the saved response", nil)
	}
	var out []warning.Warning
	for _, f := range *body.Items {
		area := firstOf(string(f.FloodAreaID), string(f.FloodArea.Notation), path.Base(f.URI))
		w := warning.Warning{
			ID: area + " " + string(f.Raised) + " " + string(f.SeverityLevel), Hazard: warning.Flood, Event: string(f.Severity),
			Sent: warning.ParseTime(firstOf(string(f.LevelChanged), string(f.Raised))), SenderName: "Environment Agency",
			Headline: firstOf(string(f.Description), string(f.FloodArea.RiverOrSea)),
			Area:     warning.Area{Desc: firstOf(string(f.Description), string(f.AreaName)), Zones: []string{area}},
			Chain:    area, Web: "https://check-for-flooding.service.gov.uk/alerts-and-warnings",
		}
		if eaAreaID.MatchString(area) {
			w.Web = "https://check-for-flooding.service.gov.uk/target-area/" + area
		}
		switch level := string(f.SeverityLevel); {
		case level == "4":
			w.MsgType = warning.MsgCancel
		case level == "1":
			w.Severity, w.Urgency, w.Certainty = warning.Extreme, warning.Immediate, warning.Likely
		case level == "2":
			w.Severity, w.Urgency, w.Certainty = warning.Severe, warning.Expected, warning.Likely
		case level == "3":
			w.Severity, w.Urgency, w.Certainty = warning.Moderate, warning.Future, warning.Possible
		case level == "" && strings.Contains(strings.ToLower(string(f.Severity)), "no longer in force"):
			w.MsgType = warning.MsgCancel
		}
		out = append(out, w)
	}
	return complete(EAName, out), nil
}
