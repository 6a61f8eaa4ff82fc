package config

import (
	"strings"
	"testing"
)

func TestFaultsOfWebhooks(t *testing.T) {
	const river = "[[river]]\nname = \"Wend\"\nlat = 45.2\nlon = -131.4\nzone = \"America/Los_Angeles\"\n  [[river.gauge]]\n  feed = \"usgs\"\n  site = \"99000001\"\n"
	parse := func(hook string) string {
		_, err := Parse([]byte(river+hook), "test.toml")
		if err == nil {
			return ""
		}
		return err.Error()
	}
	good := "[[webhook]]\nname = \"club\"\nurl = \"https://club.example.org/hook\"\nsecret-file = \"hook.key\"\nrivers = [\"wend\"]\nevents = [\"window.moved\"]\n"
	if faults := parse(good + strings.Replace(strings.Replace(good, "club\"", "here\"", 1), "https://club.example.org", "http://127.0.0.1:9000", 1)); strings.Contains(faults, "webhook") {
		t.Error(faults)
	}
	for change, want := range map[[2]string]string{
		{"https:", "http:"}: "use an https address", {"wend\"]", "none\"]"}: "no river has the slug", {"window.moved", "moved"}: "is unknown; use", {"secret-file = \"hook.key\"\n", ""}: "has no secret-file", {"name = \"club\"\n", ""}: "give each a name of its own",
	} {
		if faults := parse(strings.Replace(good, change[0], change[1], 1)); !strings.Contains(faults, want) {
			t.Errorf("%v: %q, want %q", change, faults, want)
		}
	}
}
