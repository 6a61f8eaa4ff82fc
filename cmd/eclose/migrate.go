package main

import (
	"fmt"

	"example.org/eclose/ingest/db"
)

type migrateCmd struct {
	databaseFlag
	Check bool `help:"Only print the schema version."`
}

// Run brings the schema up to this program's version. The other commands do so
// by themselves; this one is for those who want to do it first.
func (c migrateCmd) Run(e *env) (err error) {
	url, err := c.url()
	if err != nil {
		return err
	}
	if !c.Check {
		d, err := db.OpenWriter(e.ctx, url)
		if err != nil {
			return err
		}
		if err := d.Close(); err != nil {
			return err
		}
	}
	name, has, knows, err := db.Schema(e.ctx, url)
	if err != nil {
		return err
	}
	fmt.Fprintf(e.stdout, "%s has schema version %d; this program knows %d\n", name, has, knows)
	if has > knows {
		return db.ErrNewer
	}
	return nil
}
