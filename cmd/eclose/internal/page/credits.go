package page

import (
	"cmp"
	"slices"
	"strings"

	"example.org/eclose/forecast"
)

// owners names whose data a feed is, as its terms ask; the last word on each is
// the owner's.
var owners = map[string]string{
	"usgs":         "U.S. Geological Survey (public domain; new readings are provisional)",
	"nwps":         "U.S. National Water Prediction Service (public domain)",
	"meteoalarm":   "EUMETNET MeteoAlarm and its national weather services",
	"nws":          "U.S. National Weather Service (public domain)",
	"ghcn":         "NOAA, Global Historical Climatology Network (public domain)",
	"open-meteo":   "weather data by Open-Meteo.com (CC BY 4.0)",
	"ea":           "Environment Agency (Open Government Licence v3.0)",
	"eccc":         "Environment and Climate Change Canada (Open Government Licence - Canada)",
	"bafu":         "Swiss Federal Office for the Environment",
	"csv":          "files supplied by this server's owner",
	"waterml2":     "files supplied by this server's owner",
	"sensorthings": "the sensor service that this server's owner names",
}

// Credits names whose data stands behind some rivers: as configured, else as the
// agency's terms ask; unknown feeds by their own name.
func Credits(rivers []forecast.River, configured map[string]string) string {
	var out []string
	for _, r := range rivers {
		stations := slices.Clone(r.Gauges)
		if r.Weather != nil {
			stations = append(stations, *r.Weather)
		}
		stations = append(stations, r.FlowAhead...)
		if r.Warnings != "" {
			stations = append(stations, forecast.FeedSite{Feed: r.Warnings})
		}
		for _, st := range stations {
			who := cmp.Or(configured[st.Feed], owners[st.Feed], st.Feed)
			if who != "" && !slices.Contains(out, who) {
				out = append(out, who)
			}
		}
	}
	slices.Sort(out)
	return strings.Join(out, "; ")
}
