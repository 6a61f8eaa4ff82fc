package page

import (
	"fmt"
	"net/http"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/model/wading"
)

// flowStrong is the share of past days at too much flow from which that is shown as
// strongly as a caution. Our own default.
const flowStrong = 0.33

func (s *site) day(r *http.Request) (*answer, error) {
	t, err := time.Parse(time.DateOnly, r.PathValue("date"))
	if err != nil {
		return nil, errNotFound
	}
	river, h, st, err := s.headAsked(r)
	if err != nil {
		return nil, err
	}
	date := forecast.DateOf(t)
	if st == nil || len(st.Outlook.Water) == 0 || date < st.Outlook.Water[0].Date || date > st.Outlook.Water[len(st.Outlook.Water)-1].Date {
		return nil, errNotFound
	}
	u := unitsOf(r.Context())
	var body struct {
		head
		Date, Before, After forecast.Date
		IsToday             bool
		Lead                int
		Day                 dayView
		Mean, Low, High     string
		Warmest, WarmestMay string
		Advice              string
		FlowOdds            trip.Odds
		FlowStrong          bool
	}
	body.head, body.Date = h, date
	body.IsToday, body.Lead, body.Tab = date == h.Today, int(date-h.Today), "day"
	if d := date - 1; d >= st.Outlook.Water[0].Date {
		body.Before = d
	}
	if d := date + 1; d <= st.Outlook.Water[len(st.Outlook.Water)-1].Date {
		body.After = d
	}
	now := -1
	if body.IsToday {
		now = minuteNow(s.Now(), river)
	}
	body.Day = s.dayOf(river, st.Outlook, date, now)
	if w, ok := st.Outlook.WaterOn(date); ok {
		body.Mean, body.Low, body.High = u.Temperature(w.P50), u.Temperature(w.P10), u.Temperature(w.P90)
		body.Warmest, body.WarmestMay = u.Temperature(w.MaxP50), u.Temperature(w.MaxP90)
		if a := wading.AdviceFor(w.MaxP90); a != wading.FishNone {
			body.Advice = a.Words()
		}
	}
	body.FlowOdds = trip.FlowOdds(st.Flows, date, date, u)
	body.FlowStrong = !body.FlowOdds.Known || body.FlowOdds.P >= flowStrong
	return &answer{name: "day", title: fmt.Sprintf("%s on %s", river.Name, date.Time().Format("2 January 2006")), here: "rivers", body: body}, nil
}

func minuteNow(now time.Time, river forecast.River) int {
	t := now.In(forecast.ZoneOf(river.Zone))
	return t.Hour()*60 + t.Minute()
}
