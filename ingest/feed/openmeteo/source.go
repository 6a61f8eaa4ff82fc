package openmeteo

import (
	"context"
	"fmt"
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed/response"
)

// Product is one of the service's four APIs.
type Product string

// The products. Each has a host of its own at the live service; a base URL
// replaces all of them.
const (
	Archive  Product = "archive"
	Forecast Product = "forecast"
	Ensemble Product = "ensemble"
	Flood    Product = "flood"
)

var hosts = map[Product]string{
	Archive:  "https://archive-api.open-meteo.com",
	Forecast: "https://api.open-meteo.com",
	Ensemble: "https://ensemble-api.open-meteo.com",
	Flood:    "https://flood-api.open-meteo.com",
}

// LiveURL is the host of a product at the live service.
func LiveURL(p Product) string { return hosts[p] }

// Source fetches one product. Two products are two Sources, and their series
// have different keys.
type Source struct {
	Client   *client.Client
	Product  Product
	BaseURL  string // "": the live service
	Model    string // "": the service's default. One name only
	Accepted bool   // the user has accepted that free use is non-commercial
	APIKey   string // for customers; then Accepted is not needed
	Days     int    // how far a forecast reaches, if the request names no end; 0: 16, or 92 for Flood
	Zone     string // whose midnight begins a day; "": GMT
	Now      func() time.Time
	Skipped  func(ingest.Skipped)
}

// Name implements ingest.Source.
func (Source) Name() string { return FeedName }

// archiveDays is the longest span of one archive request: two years of hours
// of a few variables stay near one MB.
const archiveDays = 731

// hourlyNames and dailyNames say how the service calls what we want.
var hourlyNames = map[ingest.Variable][]string{
	ingest.AirTemperature: {"temperature_2m"}, ingest.Precipitation: {"precipitation"}, ingest.Snowfall: {"snowfall"},
	ingest.SnowDepth: {"snow_depth"}, ingest.RelativeHumidity: {"relative_humidity_2m"}, ingest.WindSpeed: {"wind_speed_10m"},
	ingest.ShortwaveRadiation: {"shortwave_radiation"}, ingest.CloudCover: {"cloud_cover"},
}

var dailyNames = map[ingest.Variable][]string{
	ingest.AirTemperature: {"temperature_2m_max", "temperature_2m_min", "temperature_2m_mean"}, ingest.Precipitation: {"precipitation_sum"},
	ingest.Snowfall: {"snowfall_sum"}, ingest.ShortwaveRadiation: {"shortwave_radiation_sum"}, ingest.WindSpeed: {"wind_speed_10m_max"},
}

// Fetch implements ingest.Source. Req.Variables that the product does not
// serve are skipped; Req.Period ingest.Daily asks for daily values, anything
// else for hours. Hours in which no series of the answer has a value are cut
// off at the end, because the service fills what it does not hold with nulls.
func (s Source) Fetch(ctx context.Context, req ingest.Request, yield func(ingest.Series) error) error {
	base, ok := hosts[s.Product]
	if !ok {
		return feed.Fault("product", fmt.Sprintf("%q is not one of archive, forecast, ensemble, flood", s.Product), "", nil)
	}
	if !s.Accepted && s.APIKey == "" {
		return feed.Fault("config", "is not enabled: the free service is for non-commercial use only", "for non-commercial use set enabled = true in [feeds.open-meteo]; otherwise set a customer key", nil)
	}
	if s.BaseURL != "" {
		base = strings.TrimRight(s.BaseURL, "/")
	} else if s.APIKey != "" {
		base = strings.Replace(base, "https://", "https://customer-", 1)
	}
	if math.Abs(req.Lat) > 90 || math.Abs(req.Lon) > 180 || math.IsNaN(req.Lat) || math.IsNaN(req.Lon) {
		return feed.Fault("request", fmt.Sprintf("latitude %g, longitude %g is out of range", req.Lat, req.Lon), "check the weather coordinates in the config", nil)
	}
	q := url.Values{}
	site := [2]string{strconv.FormatFloat(req.Lat, 'f', -1, 64), strconv.FormatFloat(req.Lon, 'f', -1, 64)}
	q.Set("latitude", site[0])
	q.Set("longitude", site[1])
	names := hourlyNames
	block := "hourly"
	if req.Period == ingest.Daily || s.Product == Flood {
		names, block = dailyNames, "daily"
		q.Set("timezone", "GMT")
		if s.Zone != "" {
			q.Set("timezone", s.Zone)
		}
		q.Set("timeformat", "iso8601")
	} else {
		q.Set("timezone", "GMT")
		q.Set("timeformat", "unixtime") // no hour is there twice in autumn
	}
	if s.Product == Flood {
		names = map[ingest.Variable][]string{ingest.Discharge: {"river_discharge"}}
		q.Set("ensemble", "true")
	}
	var want []string
	for _, v := range req.Variables {
		want = append(want, names[v]...)
	}
	if len(want) == 0 {
		return nil
	}
	slices.Sort(want)
	q.Set(block, strings.Join(slices.Compact(want), ","))
	if s.Model != "" {
		q.Set("models", s.Model)
	}
	if s.APIKey != "" {
		q.Set("apikey", s.APIKey)
	}
	p := Parser{Site: site[0] + "," + site[1], Product: string(s.Product), Models: []string{s.Model}, Skipped: s.Skipped}
	if s.Product != Archive {
		s.reach(q, req, s.Now())
		return nothing(s.part(ctx, base, q, p, req, yield))
	}
	if req.From.IsZero() {
		return feed.Fault("request", "names no first day, which the archive needs", "", nil)
	}
	for d, e := range response.Days(req.From, req.Until(s.Now()), 0, archiveDays) {
		q.Set("start_date", d.Format(time.DateOnly))
		q.Set("end_date", e.Format(time.DateOnly))
		// Years without a value may lie before the archive; where the place is not
		// covered at all, the forecast says so.
		if _, err := s.part(ctx, base, q, p, req, yield); err != nil {
			return err
		}
	}
	return nil
}

// nothing turns an answer without a value into an error.
func nothing(held bool, err error) error {
	if err == nil && !held {
		e := feed.Fault("response", "has no values for these dates", "the service or its model does not cover this date or place", nil)
		e.Empty = true
		return e
	}
	return err
}

// reach sets how many days a forecast goes back and ahead. The bounds are the
// service's.
func (s Source) reach(q url.Values, req ingest.Request, now time.Time) {
	most, days := 0, s.Days
	switch s.Product {
	case Ensemble:
		most = 35
	case Flood:
		most = 366
	default:
		most = 16
	}
	if days == 0 {
		if days = 16; s.Product == Flood {
			days = 92
		}
	}
	if !req.To.IsZero() {
		days = int(math.Ceil(req.To.Sub(now.UTC().Truncate(24*time.Hour)).Hours() / 24))
	}
	q.Set("forecast_days", strconv.Itoa(min(max(days, 1), most)))
	if !req.From.IsZero() && req.From.Before(now) {
		back := int(math.Ceil(now.Sub(req.From).Hours() / 24))
		q.Set("past_days", strconv.Itoa(min(back, 92)))
	}
}

// part fetches one request and hands its series over; held says whether they
// have a value.
func (s Source) part(ctx context.Context, base string, q url.Values, p Parser, req ingest.Request, yield func(ingest.Series) error) (held bool, err error) {
	// The key goes into the query because the service takes it nowhere else;
	// the client strikes it out of messages.
	resp, err := s.Client.Get(ctx, client.Request{
		Feed: FeedName, URL: base + "/v1/" + string(s.Product) + "?" + q.Encode(),
		Secret: client.Secret{Value: s.APIKey}, Types: []string{"application/json"},
	})
	if err != nil {
		return false, err
	}
	series, err := p.Parse(resp.Body)
	if err != nil {
		return false, err
	}
	kept, held := cutTail(series)
	if !held {
		return len(series) == 0, nil
	}
	if s.Product == Ensemble {
		if v := frozen(kept); v != "" {
			e := feed.Fault("response", "all members of "+v+" are identical after the first day, so the ensemble carries no uncertainty", "this model run is faulty; the next one will be fetched later", nil)
			e.Retryable = true
			return false, e
		}
	}
	return true, response.Deliver(kept, req, s.Now(), yield)
}

// cutTail takes away the times at the end at which no series has a value.
func cutTail(in []ingest.Series) (out []ingest.Series, held bool) {
	end := int64(math.MinInt64)
	for _, s := range in {
		for i := s.Len() - 1; i >= 0; i-- {
			if !math.IsNaN(s.Value[i]) {
				end, held = max(end, s.Time[i]), true
				break
			}
		}
	}
	for _, s := range in {
		n, found := slices.BinarySearch(s.Time, end)
		if found {
			n++
		}
		s.Time, s.Value = s.Time[:n], s.Value[:n]
		out = append(out, s)
	}
	return out, held
}

// frozen names the first variable whose members all agree at every time later
// than a day after the first: a run like that was seen, and it would pass for
// certainty. Dry rain and still air agree honestly, so only temperature and
// flow are judged.
func frozen(series []ingest.Series) string {
	type group struct{ a, b *ingest.Series }
	seen := map[ingest.Key]*group{}
	differs := map[ingest.Key]bool{}
	var order []ingest.Key
	for i := range series {
		s := &series[i]
		if s.Member == 0 || (s.Variable != ingest.AirTemperature && s.Variable != ingest.Discharge) {
			continue
		}
		k := s.Key
		k.Member = 0
		g := seen[k]
		if g == nil {
			seen[k] = &group{a: s}
			order = append(order, k)
			continue
		}
		g.b = s
		late := s.Time[0] + int64(24*time.Hour/time.Microsecond)
		n := 0
		for j := range s.Time {
			if s.Time[j] <= late || j >= g.a.Len() {
				continue
			}
			n++
			if s.Value[j] != g.a.Value[j] && !(math.IsNaN(s.Value[j]) && math.IsNaN(g.a.Value[j])) {
				differs[k] = true
				break
			}
		}
		if n == 0 {
			differs[k] = true // too short to judge
		}
	}
	for _, k := range order {
		if seen[k].b != nil && !differs[k] {
			return string(k.Variable)
		}
	}
	return ""
}
