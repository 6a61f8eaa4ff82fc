package export

import (
	"fmt"
	"strings"

	"example.org/eclose/forecast"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
)

// code is a short form of a sentence that would otherwise stand on every row, and
// the sentence, which stands once in the description of the column.
type code struct{ short, words string }

// meanings lists codes for the description of a column.
func meanings(codes []code) string {
	parts := make([]string, len(codes))
	for i, c := range codes {
		parts[i] = c.short + " = " + c.words
	}
	return ": " + strings.Join(parts, "; ")
}

// shortOf returns the code of some words, or the words themselves where there is
// none: an older forecast may carry words of its day.
func shortOf(codes []code, words string) string {
	for _, c := range codes {
		if c.words == words {
			return c.short
		}
	}
	return words
}

// wordsOf returns the words behind a code, or the code where it is none.
func wordsOf(codes []code, short string) string {
	for _, c := range codes {
		if c.short == short {
			return c.words
		}
	}
	return short
}

var (
	waterCodes = []code{
		{"measured", "measured here"},
		{"fitted", "model fitted here"},
		{"fitted-short", "model fitted here, less than a year of readings"},
		{"prior", "prior, no thermometer here"},
		{"prior-nearby", "prior adjusted to a nearby river, no thermometer here"},
	}
	weatherCodes = []code{
		{"past-seasons", "past seasons' weather"},
		{"none", "none; past seasons' water temperature, shifted by today's anomaly"},
	}
	flowCodes = []code{
		{"statistics", "the gauge's own record and past seasons' weather"},
		{"official", "official forecast, corrected against this gauge"},
		{"official+statistics", "official forecast as far as it reaches, then statistics"},
		{"withheld", "not forecast: regulated"},
		{"unknown", "not forecast: too little flow on record"},
	}
	levelCodes = []code{
		{"unknown", "treat the river as too high until you have seen it"},
		{"unknown-at-least-N", "unknown, but not below level N"},
		{"0", wading.Quiet.Words()}, {"1", wading.Care.Words()}, {"2", wading.BetterNot.Words()}, {"3", wading.KeepOut.Words()},
	}
	basisCodes, gradeCodes = codesOfBases(), codesOfGrades()
)

func codesOfBases() (out []code) {
	for _, b := range []insects.Basis{insects.OneReach, insects.SeveralReaches, insects.RegionalBook, insects.OpenRecords, insects.Checklist, insects.CommonPractice} {
		out = append(out, code{string(b), b.Words()})
	}
	return out
}

func codesOfGrades() (out []code) {
	for _, g := range []insects.Grade{insects.Measured, insects.Published, insects.PartPublished, insects.Derived, insects.Proxy, insects.Prior, insects.Practice, insects.Guess, insects.Own} {
		out = append(out, code{string(g), g.Words()})
	}
	return out
}

func gradeCode(words string) string { return shortOf(gradeCodes, words) }

// waterCode is MODEL:DRIVERS, or the words.
func waterCode(words string) string {
	const driven = ", driven by "
	model, drivers, _ := strings.Cut(words, driven)
	short := shortOf(waterCodes, model)
	switch {
	case short == model:
		return words
	case drivers == "air temperature and flow":
		return short + ":air+flow"
	case drivers == "air temperature":
		return short + ":air"
	case drivers == "":
		return short
	}
	return words
}

// weatherCode is MEMBERSxDAYS+REST where a weather forecast comes first.
func weatherCode(words string) string {
	var members, days int
	if n, err := fmt.Sscanf(words, "%d-member weather forecast for %d days,", &members, &days); err == nil && n == 2 {
		if _, rest, ok := strings.Cut(words, " days, then "); ok {
			return fmt.Sprintf("%dx%d+%s", members, days, shortOf(weatherCodes, rest))
		}
	}
	return shortOf(weatherCodes, words)
}

func flowCode(s forecast.FlowSource) string {
	switch s {
	case forecast.FlowStatistics:
		return "statistics"
	case forecast.FlowOfficial:
		return "official"
	case forecast.FlowJoined:
		return "official+statistics"
	case forecast.FlowWithheld:
		return "withheld"
	case forecast.FlowUnknown:
		return "unknown"
	}
	return string(s)
}

// basisCode is BASIS, with the record's name and +flight as insects.Window says
// them, or the words.
func basisCode(words string) string {
	base, flight := strings.CutSuffix(words, ", adults in flight at light traps, not emergence")
	base, record, named := strings.Cut(base, " (")
	short := shortOf(basisCodes, base)
	if short == base && base != "" {
		return words
	}
	if named {
		short += ":" + strings.TrimSuffix(record, ")")
	}
	if flight {
		short += "+flight"
	}
	return short
}

// levelCode is a caution level in one word. Nothing missing lowers it: the zero
// Caution is unknown.
func levelCode(c wading.Caution) string {
	switch {
	case c.Known:
		return fmt.Sprint(int(c.Level))
	case c.Level > wading.Quiet:
		return fmt.Sprintf("unknown-at-least-%d", int(c.Level))
	}
	return "unknown"
}
