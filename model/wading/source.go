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

// Basis is where a rule comes from.
type Basis struct {
	Source     string
	Provenance Provenance
}

// Bases names the source of every rule of this package, by the name that checks
// and reasons use.
var Bases = map[string]Basis{
	"unit.m2s_to_ft2s": {"1 ft = 0.3048 m exactly", Read},
	"unit.ft2s_to_m2s": {"1 ft = 0.3048 m exactly", Read},
	"unit.F_to_C":      {"definition of the Fahrenheit scale", Read},

	"usgs.rule_of_10":             {"USGS National Field Manual, TWRI book 9, chapters A9 and A4: no wading where depth x velocity in ft and ft/s reaches 10", FromMemory},
	"arr.hazard_class":            {"AIDR Guideline 7-3 (2017), Australian Rainfall and Runoff 2019 book 6 ch. 7, NSW FB03 (2023): combined hazard curves", SecondHand},
	"arr.p10_people":              {"Cox, Shand and Blacka 2010, Australian Rainfall and Runoff Revision Project 10, P10/S1/006: regimes for people", FromMemory},
	"arr.p10_caps":                {"Cox, Shand and Blacka 2010, P10/S1/006: caps of depth and velocity; the adult caps also second-hand", FromMemory},
	"children.0p4_not_protective": {"Cox, Yee and Ball 2004, 8th National Conference on Hydraulics in Water Engineering, abstract", Read},
	"karvonen.normal":             {"Karvonen et al. 2000 (RESCDAM): 0.004 H m + 0.2", SecondHand},
	"karvonen.good_poor":          {"Karvonen et al. 2000 (RESCDAM): 0.006 H m + 0.3 and 0.002 H m + 0.1", FromMemory},
	"abt.regression":              {"Abt et al. 1989, Water Resources Bulletin 25, as passed on; not for use as a limit", SecondHand},
	"defra.hazard_rating":         {"Defra/EA FD2321/TR2 2006: d (v + 0.5) + debris; the top cut of 2.0 is that of the 2008 note, from memory", SecondHand},

	"qw.identity":           {"section means: depth x velocity = flow / width; USGS channel measurements", Read},
	"rdb.missing_fields":    {"USGS measurement tables: rows may lack width, area and velocity", Read},
	"ogc.string_numbers":    {"USGS Water Data API: numbers arrive as text, empty as empty text", Read},
	"fit.width":             {"at-a-station hydraulic geometry, Leopold and Maddock 1953, USGS PP 252; fit by least squares of logs", Read},
	"fit.limit_flow":        {"width fit solved for the flow: (a D)^(1/(1-b))", Read},
	"fit.limit_flow_metric": {"width fit solved for the flow: (a D)^(1/(1-b))", Read},
	"fit.dv":                {"width fit: flow^(1-b)/a, one-sided 90 % margin exp(1.2816 s)", Read},
	"fit.published_ols":     {"AHGestimation, printed coefficients for USGS 01096500", Read},
	"fit.holdout":           {"275 USGS measurements at 01096500, trained to 2006 and tested after", Read},
	"scale.leopold_maddock": {"Leopold and Maddock 1953, USGS PP 252: mean exponents 0.26, 0.40, 0.34", SecondHand},
	"scale.exponent_sum":    {"USGS PP 252; continuity", SecondHand},
	"regional.depth":        {"Raymond et al. 2012 as used by USGS streamMetabolizer: 0.409 Q^0.294", Read},
	"thalweg.factor":        {"section of depth 1-|x|^r, velocity as depth^(2/3)", FromMemory},

	"level.flow":         {"our own levels", Default},
	"level.stale":        {"our own levels", Default},
	"level.outside_fit":  {"our own levels", Default},
	"hysteresis.dv":      {"our own rule", Default},
	"rise.fast":          {"our own limits; no published wading standard found", Default},
	"release.wave_speed": {"kinematic wave in a wide channel: 5/3 of the mean velocity", FromMemory},

	"usgs.percentile_class": {"USGS classes of the percentile of the day (hyswap, WaterWatch); the gaps between whole numbers are cut by us", Read},
	"nws.flood_category":    {"NWS Instruction 10-950 (2019), flood categories; an absent threshold as -9999 is from memory", Read},

	"cold.flags":    {"NWS cold water pages and statements of 2024: cold at or below 70 °F, survival cut below 60 °F", Read},
	"cold.rnli":     {"RNLI: water below 15 °C is cold", SecondHand},
	"cold.timeline": {"NWS: shock within a minute, loss of muscle control within ten, hypothermia in 20 to 30", Read},
	"cold.1_10_1":   {"1-10-1 (Giesbrecht)", FromMemory},

	"lightning.flash_to_bang": {"30-30 rule; NWS: any thunder is enough", Read},
	"lightning.last_thunder":  {"30-30 rule: 30 minutes after the last thunder", Read},
	"thunder.chance":          {"limits of this project", Default},
	"regulated":               {"TVA: releases come at any time and without warning", Read},
	"flood.warning":           {"warnings of the national weather service", Read},
	"ceiling.wading":          {"highest flow at which staff waded here; our own rule", Default},

	"fish.montana_trigger":  {"Montana ARM 12.5.507 as amended 2022: daily maximum at or above the line on three days running", Read},
	"fish.montana_hours":    {"Montana FWP: closed from 14:00 to midnight", Read},
	"fish.montana_reopen":   {"Montana ARM 12.5.508: at or below 70 °F on three days", FromMemory},
	"fish.low_flow_montana": {"Montana ARM 12.5.501/507: at or below the 5th percentile of the day", Read},
	"fish.yellowstone":      {"Yellowstone NP 2021: over 68 °F", SecondHand},
	"fish.new_york_dec":     {"New York DEC: above 70 °F", SecondHand},
	"fish.colorado_cpw":     {"Colorado CPW: above 71 °F or oxygen below 6 ppm", SecondHand},
	"fish.level":            {"our own levels", Default},
}
