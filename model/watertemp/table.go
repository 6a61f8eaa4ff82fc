package watertemp

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
)

// The coefficient tables have a line for each parameter: its value in an average
// climate, its change with each climate index of regional.go, and its row of the
// Cholesky factor of the covariance about that. The tests of the pooled tables
// print them.
var (
	//go:embed pooled.csv
	pooledCSV string
	//go:embed lagged.csv
	laggedCSV string
)

// coefficients are one line of a table.
type coefficients struct {
	line  [nClimate]float64
	lower []float64
}

// readTable reads an embedded table of n parameters. A table that does not fit
// the model is a mistake of the build, so it panics.
func readTable(name, text string, n int) []coefficients {
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll() // checks that all are as wide as the header
	if err != nil || len(rows) != n+1 || len(rows[0]) != 1+nClimate+n {
		panic(fmt.Sprintf("watertemp: %s does not have %d parameters: %v", name, n, err))
	}
	out := make([]coefficients, n)
	for i, row := range rows[1:] {
		out[i].lower = make([]float64, i+1)
		for j := range out[i].line {
			out[i].line[j] = coefficient(name, row, 1+j)
		}
		for j := range out[i].lower {
			out[i].lower[j] = coefficient(name, row, 1+nClimate+j)
		}
	}
	return out
}

func coefficient(name string, row []string, column int) float64 {
	v, err := strconv.ParseFloat(row[column], 64)
	if err != nil {
		panic(fmt.Sprintf("watertemp: %s, %s, column %d: %v", name, row[0], column+1, err))
	}
	return v
}
