package chance

import (
	"fmt"
	"math"
)

// Percent returns p in whole percent for a table, such as "33%". It never says
// 0% or 100%, because no forecast is certain: those are "<1%" and ">99%". NaN is
// "unknown".
func Percent(p float64) string { return percent(p, "<", ">") }

// PercentInText is Percent for a sentence: "under 1%" and "over 99%".
func PercentInText(p float64) string { return percent(p, "under ", "over ") }

func percent(p float64, under, over string) string {
	switch {
	case math.IsNaN(p):
		return "unknown"
	case p < 0.01:
		return under + "1%"
	case p > 0.99:
		return over + "99%"
	}
	return fmt.Sprintf("%.0f%%", 100*p)
}

// Likelihood returns the words for p of the IPCC's guidance note on uncertainty
// (Mastrandrea et al. 2010).
func Likelihood(p float64) string {
	switch {
	case p < 0.10:
		return "very unlikely"
	case p < 0.33:
		return "unlikely"
	case p <= 0.66:
		return "about as likely as not"
	case p <= 0.90:
		return "likely"
	}
	return "very likely"
}
