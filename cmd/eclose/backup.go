package main

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"strings"

	"filippo.io/age"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/backup"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/ingest/db"
)

type backupCmd struct {
	configFlag
	Out       string   `required:"" help:"Backup file to write, e.g. eclose-2026-05-18.backup." placeholder:"FILE" type:"path"`
	Recipient []string `help:"Encrypt to this age recipient (age1…); may be repeated." placeholder:"AGE1"`
	Verify    bool     `help:"Restore the backup into a temporary folder and compare it."`
	Identity  string   `help:"File with your age identity, to verify an encrypted backup." placeholder:"FILE" type:"path"`
}

// localOnly returns the two places of a config that a backup holds, or says what
// to do instead.
func localOnly(cfg *config.Config) (database, store string, err error) {
	database, ok := strings.CutPrefix(cfg.DatabaseURL(), "sqlite://")
	if !ok {
		return "", "", app.Usagef("the database is PostgreSQL: back it up with pg_dump or continuous archiving, and turn on bucket versioning for the readings")
	}
	store, ok = strings.CutPrefix(cfg.StoreURL(), "file://")
	if !ok {
		return "", "", app.Usagef("the readings are stored on %s: use bucket versioning or the provider's backup", cfg.Store)
	}
	return filepath.FromSlash(database), filepath.FromSlash(store), nil
}

// Run writes database, series, outlooks and exports into one file. It may run
// while eclose serve does.
func (c backupCmd) Run(e *env) error {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	database, store, err := localOnly(cfg)
	if err != nil {
		return err
	}
	var to []age.Recipient
	for _, s := range c.Recipient {
		r, err := age.ParseX25519Recipient(s)
		if err != nil {
			return app.Usagef("--recipient: %w", err)
		}
		to = append(to, r)
	}
	identities, err := identitiesIn(c.Identity)
	if err != nil {
		return err
	}
	if c.Verify && len(to) > 0 && len(identities) == 0 {
		return app.Usagef("to verify an encrypted backup, name your identity with --identity")
	}
	d, err := db.OpenReader(e.ctx, cfg.DatabaseURL()) // which brings an old database up to date: its key moves out
	if err != nil {
		return err
	}
	if err := d.Close(); err != nil {
		return err
	}
	m, size, err := backup.Write(e.ctx, c.Out, database, store, e.now(), to)
	if err != nil {
		return fmt.Errorf("making the backup: %w", err)
	}
	fmt.Fprintf(e.stdout, "%s: %d files, %.1f MB\nThe key of the links in emails is not in it: keep a copy of %s somewhere else.\n", c.Out, len(m.Files), float64(size)/1e6, db.KeyFile(cfg.DatabaseURL()))
	if !c.Verify {
		return nil
	}
	v, err := backup.Verify(e.ctx, c.Out, identities)
	if err != nil {
		return fmt.Errorf("verifying the backup: %w", err)
	}
	if !maps.Equal(v.Files, m.Files) {
		return errors.New("verifying the backup: it holds other files than were written")
	}
	fmt.Fprintf(e.stdout, "verified: %d files and %d series restore as they are\n", len(v.Files), v.Series)
	return nil
}

// identitiesIn reads a file of age identities; without one there are none.
func identitiesIn(path string) ([]age.Identity, error) {
	if path == "" {
		return nil, nil
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, app.Usagef("--identity: %w", err)
	}
	defer f.Close() //nolint:errcheck // it was only read
	ids, err := age.ParseIdentities(f)
	if err != nil {
		return nil, app.Usagef("--identity %s: %w", path, err)
	}
	return ids, nil
}
