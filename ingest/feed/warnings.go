package feed

import (
	"time"

	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed/alerts"
	"example.org/eclose/ingest/warning"
)

// WarningFeed is a feed of official warnings.
type WarningFeed struct {
	Name    string
	About   string // whose warnings, and what they leave out
	LiveURL string
	New     func(c *client.Client, baseURL string, now func() time.Time) warning.Source
}

// WarningFeeds lists them. A new one adds one entry.
var WarningFeeds = []WarningFeed{
	{alerts.NWSName, "US National Weather Service", alerts.NWSLiveURL, func(c *client.Client, u string, _ func() time.Time) warning.Source {
		return alerts.NWS{Client: c, BaseURL: u}
	}},
	{alerts.EAName, "Environment Agency, England: floods only", alerts.EALiveURL, func(c *client.Client, u string, _ func() time.Time) warning.Source {
		return alerts.EA{Client: c, BaseURL: u}
	}},
	{alerts.ECCCName, "Environment and Climate Change Canada: weather only, the provinces warn of floods", alerts.ECCCLiveURL, func(c *client.Client, u string, _ func() time.Time) warning.Source {
		return alerts.ECCC{Client: c, BaseURL: u}
	}},
	{alerts.MeteoAlarmName, "MeteoAlarm, the weather services of Europe: few of them warn of floods", alerts.MeteoAlarmLiveURL, func(c *client.Client, u string, now func() time.Time) warning.Source {
		return &alerts.MeteoAlarm{Client: c, BaseURL: u, Now: now}
	}},
}

// WarningsAt returns which feed of warnings serves a place, by its position and
// its IANA time zone, and its country in MeteoAlarm's words. The feed is empty
// where that is not clear, as in Wales and along the Scottish border: the list
// of a service that does not serve a place is empty, and must not be read as
// "no warnings".
func WarningsAt(lat, lon float64, zone string) (name, country string) {
	at := func(boxes []box) bool { return inside(boxes)(lat, lon) }
	switch {
	case usZones[zone] && at(usa):
		return alerts.NWSName, ""
	case canadianZones[zone] && at(canada):
		return alerts.ECCCName, ""
	case zone == "Europe/London" && at(wellInsideEngland):
		return alerts.EAName, ""
	case europeanZones[zone] != "":
		return alerts.MeteoAlarmName, europeanZones[zone]
	}
	return "", ""
}

// wellInsideEngland keeps away from Wales and Scotland; read off a map.
var wellInsideEngland = []box{
	{49.9, 51.2, -5.8, 1.4},
	{51.2, 53.4, -2.6, 1.8},
	{53.4, 54.85, -3.65, 0.2},
	{54.85, 55, -2.85, -1.2},
	{55, 55.3, -2.3, -1.4},
	{55.3, 55.6, -2.1, -1.4},
}

func set(names ...string) map[string]bool {
	out := map[string]bool{}
	for _, n := range names {
		out[n] = true
	}
	return out
}

// Zones of the IANA time zone database by country (its file zone1970.tab; from
// memory).
var (
	usZones = set("America/New_York", "America/Detroit", "America/Kentucky/Louisville", "America/Kentucky/Monticello",
		"America/Indiana/Indianapolis", "America/Indiana/Vincennes", "America/Indiana/Winamac", "America/Indiana/Marengo",
		"America/Indiana/Petersburg", "America/Indiana/Vevay", "America/Indiana/Tell_City", "America/Indiana/Knox",
		"America/Chicago", "America/Menominee", "America/North_Dakota/Center", "America/North_Dakota/New_Salem", "America/North_Dakota/Beulah",
		"America/Denver", "America/Boise", "America/Phoenix", "America/Los_Angeles", "America/Anchorage", "America/Juneau", "America/Sitka",
		"America/Metlakatla", "America/Yakutat", "America/Nome", "America/Adak", "Pacific/Honolulu", "America/Puerto_Rico", "Pacific/Guam",
		"US/Eastern", "US/Central", "US/Mountain", "US/Pacific", "US/Alaska", "US/Hawaii", "US/Arizona", "US/Michigan")
	canadianZones = set("America/St_Johns", "America/Halifax", "America/Glace_Bay", "America/Moncton", "America/Goose_Bay", "America/Toronto",
		"America/Montreal", "America/Thunder_Bay", "America/Atikokan", "America/Iqaluit", "America/Rankin_Inlet", "America/Resolute", "America/Winnipeg",
		"America/Rainy_River", "America/Regina", "America/Swift_Current", "America/Edmonton", "America/Cambridge_Bay", "America/Yellowknife",
		"America/Inuvik", "America/Creston", "America/Dawson_Creek", "America/Fort_Nelson", "America/Vancouver", "America/Whitehorse", "America/Dawson",
		"Canada/Newfoundland", "Canada/Atlantic", "Canada/Eastern", "Canada/Central", "Canada/Mountain", "Canada/Pacific", "Canada/Yukon", "Canada/Saskatchewan")
	europeanZones = map[string]string{
		"Europe/Vienna": "austria", "Europe/Brussels": "belgium", "Europe/Sarajevo": "bosnia-herzegovina", "Europe/Sofia": "bulgaria",
		"Europe/Zagreb": "croatia", "Asia/Nicosia": "cyprus", "Europe/Prague": "czechia", "Europe/Copenhagen": "denmark", "Europe/Tallinn": "estonia",
		"Europe/Helsinki": "finland", "Europe/Paris": "france", "Europe/Berlin": "germany", "Europe/Athens": "greece", "Europe/Budapest": "hungary",
		"Atlantic/Reykjavik": "iceland", "Europe/Dublin": "ireland", "Europe/Rome": "italy", "Europe/Riga": "latvia", "Europe/Vilnius": "lithuania",
		"Europe/Luxembourg": "luxembourg", "Europe/Malta": "malta", "Europe/Chisinau": "moldova", "Europe/Podgorica": "montenegro",
		"Europe/Amsterdam": "netherlands", "Europe/Oslo": "norway", "Europe/Warsaw": "poland", "Europe/Lisbon": "portugal", "Europe/Bucharest": "romania",
		"Europe/Belgrade": "serbia", "Europe/Bratislava": "slovakia", "Europe/Ljubljana": "slovenia", "Europe/Madrid": "spain", "Europe/Stockholm": "sweden",
		"Europe/Skopje": "republic-of-north-macedonia", "Europe/Zurich": "switzerland", "Europe/London": "united-kingdom",
	}
)
