package export

import "strconv"

// formatFloat is the shortest decimal that reads back as the same number.
func formatFloat(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
