package inaturalist

import (
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest/feed/response"
	"example.org/eclose/ingest/occurrence"
)

// FeedName is the feed's name in config and messages, and LiveURL where it
// answers.
const (
	FeedName = "inaturalist"
	LiveURL  = "https://api.inaturalist.org/v1"
)

const feed response.Feed = FeedName

// Attributes of annotations and their values, from /controlled_terms.
const (
	attrLifeStage, attrEvidence = 1, 22
	valueMolt                   = 28
)

var lifeStages = map[int]occurrence.LifeStage{
	2: occurrence.Adult, 3: occurrence.Teneral, 16: occurrence.Subimago,
	4: occurrence.Immature, 5: occurrence.Immature, 6: occurrence.Immature, 7: occurrence.Immature, 8: occurrence.Immature,
}

type annotation struct {
	Attribute int `json:"controlled_attribute_id"`
	Value     int `json:"controlled_value_id"`
	Score     int `json:"vote_score"`
}

type observation struct {
	ID          int64          `json:"id"`
	Grade       string         `json:"quality_grade"`
	ObservedOn  string         `json:"observed_on"`
	CreatedAt   string         `json:"created_at"`
	License     string         `json:"license_code"`
	Location    string         `json:"location"`
	Accuracy    jsontext.Value `json:"public_positional_accuracy"`
	Obscured    bool           `json:"obscured"`
	GeoPrivacy  string         `json:"geoprivacy"`
	TaxonGeo    string         `json:"taxon_geoprivacy"`
	Captive     bool           `json:"captive"`
	Spam        bool           `json:"spam"`
	URI         string         `json:"uri"`
	PlaceGuess  string         `json:"place_guess"`
	Annotations []annotation   `json:"annotations"`
	Taxon       struct {
		Name string `json:"name"`
		Rank string `json:"rank"`
	} `json:"taxon"`
	User struct {
		ID    jsontext.Value `json:"id"`
		Login string         `json:"login"`
		Name  string         `json:"name"`
	} `json:"user"`
}

// A Page is one answer of /observations.
type Page struct {
	Total   int // that fit the request, beyond IDAbove
	Records []occurrence.Record
	LastID  int64 // the highest id seen; 0: none
}

// ParsePage reads an answer of /observations. A result that cannot be read as an
// observation is a fault: a page is kept whole or not at all.
func ParsePage(r io.Reader) (Page, error) {
	var body struct {
		Total   int            `json:"total_results"`
		Results *[]observation `json:"results"`
	}
	if err := feed.JSON(r, &body); err != nil {
		return Page{}, err
	}
	if body.Results == nil {
		return Page{}, feed.Unexpected("response", "has no results", nil)
	}
	p := Page{Total: body.Total}
	for _, o := range *body.Results {
		if o.ID <= 0 {
			return Page{}, feed.Unexpected("response", "has an observation without an id", nil)
		}
		p.LastID = max(p.LastID, o.ID)
		p.Records = append(p.Records, o.record())
	}
	return p, nil
}

func (o observation) record() occurrence.Record {
	r := occurrence.New(FeedName)
	id := strconv.FormatInt(o.ID, 10)
	r.Key = occurrence.KeyOf("https://www.inaturalist.org/observations/"+id, "", "", "")
	r.Name, r.Rank = o.Taxon.Name, o.Taxon.Rank
	r.Genus, _, _ = strings.Cut(o.Taxon.Name, " ")
	r.Stage = stageOf(o.Annotations)
	// created_at is when it was uploaded: never the date of the insect.
	if a, b, err := occurrence.ParseDates(o.ObservedOn); err == nil {
		r.Start, r.End = a, b
	}
	r.Added, _ = time.Parse(time.RFC3339, o.CreatedAt) // zero if it is missing
	if lat, lon, ok := strings.Cut(o.Location, ","); ok {
		r.LatDeg, r.LonDeg = number(lat), number(lon)
	}
	if v, err := response.JSONNumber(o.Accuracy); err == nil {
		r.UncertaintyM = v
	}
	r.Obscured = o.Obscured || o.GeoPrivacy == "obscured" || o.TaxonGeo == "obscured"
	r.Locality = o.PlaceGuess
	r.Captive, r.Basis, r.Confirmed = o.Captive, "HumanObservation", o.Grade == "research"
	if o.Spam {
		r.Doubt = "marked as spam"
	}
	r.Licence = occurrence.ParseLicence(o.License)
	r.Holder, r.Observer, r.Dataset = o.User.Name, o.User.Login, "iNaturalist"
	r.URL = "https://www.inaturalist.org/observations/" + id
	return r
}

// stageOf is the life stage that the annotations agree on. A cast skin is one
// whatever stage left it; a nymph beside an adult leaves the stage unknown, and
// an annotation voted down does not count.
func stageOf(all []annotation) occurrence.LifeStage {
	var found []occurrence.LifeStage
	for _, a := range all {
		switch {
		case a.Score < 0:
		case a.Attribute == attrEvidence && a.Value == valueMolt:
			return occurrence.Exuvia
		case a.Attribute == attrLifeStage:
			found = append(found, lifeStages[a.Value])
		}
	}
	if found = slices.Compact(found); len(found) != 1 {
		return occurrence.StageUnknown
	}
	return found[0]
}

func number(s string) float64 {
	v, err := response.Number(s)
	if err != nil {
		return math.NaN()
	}
	return v
}

// parseHistogram reads an answer of /observations/histogram by day: how many
// observations were made on each.
func parseHistogram(r io.Reader) (map[time.Time]int, error) {
	var body struct {
		Results struct {
			Day map[string]int `json:"day"`
		} `json:"results"`
	}
	if err := feed.JSON(r, &body); err != nil {
		return nil, err
	}
	if body.Results.Day == nil {
		return nil, feed.Unexpected("response", "has no numbers by day", nil)
	}
	out := map[time.Time]int{}
	for s, n := range body.Results.Day {
		d, err := time.Parse(time.DateOnly, s)
		if err != nil || n < 0 {
			return nil, feed.Unexpected("response", "has a day that is not one", err)
		}
		out[d] = n
	}
	return out, nil
}
