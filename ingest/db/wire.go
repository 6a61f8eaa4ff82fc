package db

import (
	"database/sql/driver"
	"fmt"
	"math"
	"time"
)

// A guest process and the server that has the file exchange these as JSON, one
// answer for each request. A connection runs one transaction at most.
type (
	request struct {
		Do   verb
		SQL  string
		Args []wireArg
	}
	answer struct {
		Error    string
		Affected int64
		LastID   int64
		Columns  []string
		Rows     [][]wireValue
		More     bool // rows: further answers follow
	}
	wireArg struct {
		Name  string
		Value wireValue
	}
	// wireValue is a driver.Value in what JSON carries to the last bit: a number's bits
	// are an integer, a text's bytes are base64.
	wireValue struct {
		Kind byte      `json:",omitempty"`
		Int  int64     `json:",omitempty"`
		Data []byte    `json:",omitempty"`
		Time time.Time `json:",omitzero"`
	}
)

type verb byte

const (
	doPing verb = iota
	doExec
	doQuery
	doBegin
	doCommit
	doRollback
)

// rowsAtOnce is how many rows go into one answer.
const rowsAtOnce = 500

func toWire(v driver.Value) (wireValue, error) {
	switch x := v.(type) {
	case nil:
		return wireValue{}, nil
	case int64:
		return wireValue{Kind: 'i', Int: x}, nil
	case float64:
		return wireValue{Kind: 'f', Int: int64(math.Float64bits(x))}, nil
	case bool:
		if x {
			return wireValue{Kind: 'b', Int: 1}, nil
		}
		return wireValue{Kind: 'b'}, nil
	case string:
		return wireValue{Kind: 's', Data: []byte(x)}, nil
	case []byte:
		return wireValue{Kind: 'd', Data: x}, nil
	case time.Time:
		return wireValue{Kind: 't', Time: x}, nil
	}
	return wireValue{}, fmt.Errorf("a %T cannot be sent to the running process", v)
}

func (w wireValue) value() driver.Value {
	switch w.Kind {
	case 'i':
		return w.Int
	case 'f':
		return math.Float64frombits(uint64(w.Int))
	case 'b':
		return w.Int != 0
	case 's':
		return string(w.Data)
	case 'd':
		if w.Data == nil {
			return []byte{}
		}
		return w.Data
	case 't':
		return w.Time
	}
	return nil
}
