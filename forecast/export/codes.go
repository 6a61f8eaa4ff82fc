package export

import (
	"fmt"
	"strings"

	"example.org/eclose/model/wading"
)

// meanings lists codes with their words for the description of a column, so that the
// words do not stand on every row.
func meanings[C interface {
	~string
	Words() string
}](codes ...C) string {
	parts := make([]string, len(codes))
	for i, c := range codes {
		parts[i] = string(c) + " = " + c.Words()
	}
	return ": " + strings.Join(parts, "; ")
}

const flowMeanings = ": statistics = the gauge's own record and past seasons' weather; official = official forecast, corrected against this gauge; " +
	"official+statistics = official forecast as far as it reaches, then statistics; withheld = not forecast: regulated; unknown = not forecast: too little flow on record"

var levelMeanings = fmt.Sprintf(": unknown = treat the river as too high until you have seen it; unknown-at-least-N = unknown, but not below level N; 0 = %s; 1 = %s; 2 = %s; 3 = %s",
	wading.Quiet.Words(), wading.Care.Words(), wading.BetterNot.Words(), wading.KeepOut.Words())

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
