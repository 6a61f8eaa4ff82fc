package gbif

import (
	"io"
	"math"
	"strings"

	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest/feed/response"
	"example.org/eclose/ingest/occurrence"
)

// FeedName is the feed's name in config and messages, and LiveURL where it
// answers.
const (
	FeedName = "gbif"
	LiveURL  = "https://api.gbif.org/v1"
)

const feed response.Feed = FeedName

type result struct {
	Key            jsontext.Value `json:"key"`
	OccurrenceID   string         `json:"occurrenceID"`
	DatasetKey     string         `json:"datasetKey"`
	DatasetName    string         `json:"datasetName"`
	Basis          string         `json:"basisOfRecord"`
	Status         string         `json:"occurrenceStatus"`
	LifeStage      jsontext.Value `json:"lifeStage"` // a word, or a concept with its lineage
	Count          jsontext.Value `json:"individualCount"`
	Species        string         `json:"species"`
	Genus          string         `json:"genus"`
	Family         string         `json:"family"`
	Order          string         `json:"order"`
	ScientificName string         `json:"scientificName"`
	Author         string         `json:"scientificNameAuthorship"`
	Rank           string         `json:"taxonRank"`
	Lat            jsontext.Value `json:"decimalLatitude"`
	Lon            jsontext.Value `json:"decimalLongitude"`
	Uncertainty    jsontext.Value `json:"coordinateUncertaintyInMeters"`
	Elevation      jsontext.Value `json:"elevation"`
	EventDate      string         `json:"eventDate"`
	Issues         []string       `json:"issues"`
	License        string         `json:"license"`
	Holder         string         `json:"rightsHolder"`
	RecordedBy     string         `json:"recordedBy"`
	References     string         `json:"references"`
	Catalogue      string         `json:"catalogNumber"`
	Withheld       string         `json:"informationWithheld"`
	Generalised    string         `json:"dataGeneralizations"`
	Means          string         `json:"establishmentMeans"`
	Degree         string         `json:"degreeOfEstablishment"`
	Locality       string         `json:"locality"`
	EventID        string         `json:"eventID"`
	Effort         string         `json:"samplingEffort"`
}

// A Page is one answer of /occurrence/search.
type Page struct {
	Offset  int
	Count   int // all that fit the request
	End     bool
	Records []occurrence.Record
}

// ParsePage reads an answer of /occurrence/search. A page is kept whole or not
// at all.
func ParsePage(r io.Reader) (Page, error) {
	var body struct {
		Offset  int       `json:"offset"`
		Count   int       `json:"count"`
		End     bool      `json:"endOfRecords"`
		Results *[]result `json:"results"`
	}
	if err := feed.JSON(r, &body); err != nil {
		return Page{}, err
	}
	if body.Results == nil {
		return Page{}, feed.Unexpected("response", "has no results", nil)
	}
	p := Page{Offset: body.Offset, Count: body.Count, End: body.End}
	for _, x := range *body.Results {
		o := x.record()
		if o.Key == "" {
			return Page{}, feed.Unexpected("response", "has a record without a key", nil)
		}
		p.Records = append(p.Records, o)
	}
	return p, nil
}

func (x result) record() occurrence.Record {
	r := occurrence.New(FeedName)
	id := response.Word(x.Key)
	r.Key = occurrence.KeyOf(x.OccurrenceID, id, x.DatasetKey, x.Catalogue)
	if x.OccurrenceID == "" && id == "" {
		r.Key = ""
	}
	switch {
	case x.Species != "":
		r.Name = x.Species
	case strings.EqualFold(x.Rank, "genus") && x.Genus != "":
		r.Name = x.Genus
	default:
		r.Name = occurrence.PlainName(x.ScientificName, x.Author)
	}
	r.Rank, r.Genus, r.Family, r.Order = strings.ToLower(x.Rank), x.Genus, x.Family, x.Order
	r.Stage = occurrence.ParseStage(stageWord(x.LifeStage))
	if a, b, err := occurrence.ParseDates(x.EventDate); err == nil {
		r.Start, r.End = a, b
	}
	r.LatDeg, r.LonDeg = number(x.Lat), number(x.Lon)
	r.UncertaintyM, r.ElevationM, r.Count = number(x.Uncertainty), number(x.Elevation), number(x.Count)
	r.Obscured = x.Withheld != "" || x.Generalised != ""
	r.Absent = strings.EqualFold(x.Status, "absent")
	r.Captive = occurrence.Captive(x.Degree) || occurrence.Captive(x.Means)
	r.Basis, r.Confirmed, r.Doubt = x.Basis, true, occurrence.Doubts(x.Issues)
	r.Event, r.Effort, r.Locality = x.EventID, x.Effort, x.Locality
	r.Licence = occurrence.ParseLicence(x.License)
	r.Holder, r.Observer, r.Dataset, r.URL = x.Holder, x.RecordedBy, x.DatasetName, x.References
	if r.URL == "" && id != "" {
		r.URL = "https://www.gbif.org/occurrence/" + id
	}
	return r
}

// stageWord reads a life stage that is a word, or an object with its concept.
func stageWord(v jsontext.Value) string {
	if v.Kind() != '{' {
		return response.Word(v)
	}
	var concept struct {
		Concept string `json:"concept"`
	}
	if response.Unmarshal(v, &concept) != nil {
		return ""
	}
	return concept.Concept
}

func number(v jsontext.Value) float64 {
	f, err := response.JSONNumber(v)
	if err != nil {
		return math.NaN()
	}
	return f
}
