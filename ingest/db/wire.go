package db

import (
	"database/sql/driver"
	"fmt"
	"time"
)

// A guest process and the server that has the file exchange these as gob, one
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
	// wireValue is a driver.Value: gob carries no nil in a list.
	wireValue struct {
		Kind byte
		Int  int64
		Real float64
		Text string
		Data []byte
		Time time.Time
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
		return wireValue{Kind: 'f', Real: x}, nil
	case bool:
		if x {
			return wireValue{Kind: 'b', Int: 1}, nil
		}
		return wireValue{Kind: 'b'}, nil
	case string:
		return wireValue{Kind: 's', Text: x}, nil
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
		return w.Real
	case 'b':
		return w.Int != 0
	case 's':
		return w.Text
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
