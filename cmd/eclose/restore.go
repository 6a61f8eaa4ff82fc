package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/backup"
	"example.org/eclose/ingest/db"
)

type restoreCmd struct {
	configFlag
	Backup   string `arg:"" help:"Backup file made by 'eclose backup'." type:"existingfile"`
	KeyFile  string `help:"Saved key file of the links in emails." placeholder:"FILE" type:"existingfile" xor:"key"`
	NewKey   bool   `help:"Make a new key: links in emails already sent stop working, unsubscribing among them." xor:"key"`
	Identity string `help:"File with your age identity, for an encrypted backup." placeholder:"FILE" type:"path"`
}

// Run puts a backup where the config wants store and database.
func (c restoreCmd) Run(e *env) (err error) {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	database, store, err := localOnly(cfg)
	if err != nil {
		return err
	}
	for _, p := range []string{database, store} {
		if _, err := os.Stat(p); !errors.Is(err, fs.ErrNotExist) {
			return app.Usagef("%s already exists; move it away first: a backup is only restored into an empty installation", p)
		}
	}
	key := db.KeyFile(cfg.DatabaseURL())
	_, err = os.Stat(key)
	if errors.Is(err, fs.ErrNotExist) && c.KeyFile == "" && !c.NewKey {
		return app.Usagef("the key of the links in emails is not in the backup. Name the saved file with --key-file, or give --new-key: then links in emails already sent stop working, unsubscribing among them")
	}
	if err == nil && c.KeyFile != "" {
		return app.Usagef("%s already exists; move it away to use another key", key)
	}
	identities, err := identitiesIn(c.Identity)
	if err != nil {
		return err
	}
	out, err := backup.Restore(e.ctx, c.Backup, database, store, identities)
	if err != nil {
		return fmt.Errorf("restoring %s: %w", c.Backup, err)
	}
	if c.KeyFile != "" {
		if err := db.CopyKey(c.KeyFile, key); err != nil {
			return fmt.Errorf("restoring the key of the links: %w", err)
		}
	}
	d, err := db.OpenMigrated(e.ctx, cfg.DatabaseURL())
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, d.Close()) }()
	fmt.Fprintf(e.stdout, "restored backup from %s: %d files, %d series\n", out.Made.Format("2006-01-02 15:04 UTC"), len(out.Files), out.Series)
	return nil
}
