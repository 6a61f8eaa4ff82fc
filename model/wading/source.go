package wading

// Provenance says how a rule's source was seen.
type Provenance string

// The standings, best first.
const (
	Read       Provenance = "read"
	SecondHand Provenance = "second-hand"
	FromMemory Provenance = "from memory, unverified"
	Default    Provenance = "our own default"
)

// RuleBasis is where a rule comes from.
type RuleBasis struct {
	Source     string
	Provenance Provenance
}

// bases names the source of every rule of this package, by the name that checks
// and reasons use.
var bases = map[string]RuleBasis{
	"unit.m2s_to_ft2s": {"1 ft = 0.3048 m exactly", Read},
	"unit.ft2s_to_m2s": {"1 ft = 0.3048 m exactly", Read},
	"unit.F_to_C":      {"definition of the Fahrenheit scale", Read},

	"usgs.rule_of_10": {"USGS National Field Manual, TWRI book 9, chapters A9 and A4: no wading where depth x velocity in ft and ft/s reaches 10", FromMemory},
	"arr.p10_caps":    {"Cox, Shand and Blacka 2010, P10/S1/006: caps of depth and velocity; the adult caps also second-hand", FromMemory},

	"qw.identity":           {"section means: depth x velocity = flow / width; USGS channel measurements", Read},
	"fit.width":             {"at-a-station hydraulic geometry, Leopold and Maddock 1953, USGS PP 252; fit by least squares of logs", Read},
	"fit.limit_flow":        {"width fit solved for the flow: (a D)^(1/(1-b))", Read},
	"fit.limit_flow_metric": {"width fit solved for the flow: (a D)^(1/(1-b))", Read},
	"fit.dv":                {"width fit: flow^(1-b)/a, one-sided 90 % margin exp(1.2816 s)", Read},
	"fit.published_ols":     {"AHGestimation, printed coefficients for USGS 01096500", Read},
	"fit.holdout":           {"275 USGS measurements at 01096500, trained to 2006 and tested after", Read},
	"scale.leopold_maddock": {"Leopold and Maddock 1953, USGS PP 252: mean exponents 0.26, 0.40, 0.34", SecondHand},
	"scale.exponent_sum":    {"USGS PP 252; continuity", SecondHand},

	"level.flow":        {"our own levels", Default},
	"level.stale":       {"our own levels", Default},
	"dark":              {"our own rule", Default},
	"level.outside_fit": {"our own levels", Default},
	"level.record":      {"our own levels", Default},
	"level.unmeasured":  {"our own levels: a flow that is common for the date may still be too deep or too fast", Default},
	"rise.fast":         {"our own limits; no published wading standard found", Default},

	"usgs.percentile_class": {"USGS classes of the percentile of the day (hyswap, WaterWatch); the gaps between whole numbers are cut by us", Read},
	"nws.flood_category":    {"NWS Instruction 10-950 (2019), flood categories; an absent threshold as -9999 is from memory", Read},

	"cold.flags":    {"NWS cold water pages and statements of 2024: cold at or below 70 °F, survival cut below 60 °F", Read},
	"cold.timeline": {"NWS: shock within a minute, loss of muscle control within ten, hypothermia in 20 to 30", Read},

	"lightning.last_thunder": {"30-30 rule: 30 minutes after the last thunder", Read},
	"thunder.chance":         {"limits of this project", Default},
	"regulated":              {"TVA: releases come at any time and without warning", Read},
	"warning.flood":          {"official warnings, in the words of CAP 1.2 (OASIS 2010); the level is our own default", Default},
	"warning.thunder":        {"official warnings, in the words of CAP 1.2 (OASIS 2010); the level is our own default", Default},
	"ceiling.wading":         {"highest flow at which staff waded here; our own rule", Default},

	"fish.montana_trigger": {"Montana ARM 12.5.507 as amended 2022: daily maximum at or above the line on three days running", Read},
	"fish.yellowstone":     {"Yellowstone NP 2021: over 68 °F", SecondHand},
	"fish.new_york_dec":    {"New York DEC: above 70 °F", SecondHand},
	"fish.colorado_cpw":    {"Colorado CPW: above 71 °F or oxygen below 6 ppm", SecondHand},
	"fish.level":           {"our own levels", Default},
}
