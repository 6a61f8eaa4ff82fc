package demo

import (
	"fmt"
	"strings"
)

// Address stands in the demo's config for the server that lives only while the
// demo runs.
const Address = "http://tarn-fells.invalid"

// Notice stands at the head of what the demo shows.
const Notice = "The Tarn Fells are invented: every gauge, river, person and reading is made up."

// Config is the config file of the demo, in the words a real one would use.
// feeds is the address of the server that answers for the invented country.
func Config(feeds string) string {
	var b strings.Builder
	fmt.Fprintf(&b, `# The Tarn Fells are invented. A real config differs in the sites and in having
# no base-url: then the live services are asked.
store = "series"
database = "eclose.db"
units = "us"
notice = "%[2]s"
backfill-years = 9

[feeds.usgs]
base-url = "%[1]s/ogcapi/v1"
contact = "demo@example.org"
owner = "readings invented, in the format of the U.S. Geological Survey"

[feeds.open-meteo]
enabled = true # its free service is for non-commercial use: say yes on purpose
base-url = "%[1]s"
owner = "weather invented, in the format of Open-Meteo"

[feeds.nwps]
enabled = true # forecasts of flow
base-url = "%[1]s/nwps/v1"
owner = "forecasts of flow invented, in the format of the U.S. National Water Prediction Service"

[feeds.nws]
base-url = "%[1]s" # official warnings: there are none
owner = "warnings invented, in the format of the U.S. National Weather Service"
`, feeds, Notice)
	for _, r := range Rivers {
		fmt.Fprintf(&b, `
[[river]]
name = %q
region = "rockies"
zone = %q
lat = %g
lon = %g
fishable-flow = [%g, %g] # cfs

  [[river.gauge]]
  feed = "usgs"
  site = %q
  variables = ["water_temperature", "discharge"]

  [river.weather]
  feed = "open-meteo"

  [river.warnings]
  feed = "nws"
`, r.Name, Zone, r.Lat, r.Lon, r.fishableCFS[0], r.fishableCFS[1], r.Site)
	}
	return b.String()
}
