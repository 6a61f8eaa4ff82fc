package main

import (
	"errors"
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
	d, err := db.Open(e.ctx, url)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, d.Close()) }()
	if !c.Check {
		if err := d.Migrate(e.ctx); err != nil {
			return err
		}
	}
	has, knows, err := d.SchemaVersion(e.ctx)
	if err != nil {
		return err
	}
	fmt.Fprintf(e.stdout, "%s has schema version %d; this program knows %d\n", d.Name(), has, knows)
	if has > knows {
		return fmt.Errorf("the database belongs to a newer version; upgrade eclose")
	}
	return nil
}
