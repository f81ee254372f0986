package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"tankward/repo"
	"tankward/repo/localpg"
	"tankward/service/demo"
	"tankward/service/fleet"
	"tankward/service/tx"
)

type demoCmd struct {
	database
	listening
	Print   bool   `help:"Print the day and end, serve nothing." default:"false"`
	EnvFile string `help:"Write the URL and the keys to this file, as lines of NAME=value, once requests are answered." placeholder:"FILE"`
	Seed    uint64 `help:"Another seed gives another history." default:"1"`
}

// Help shows examples.
func (demoCmd) Help() string {
	return `A maintenance business and a club of an invented region, with a year of history up to today. Nothing has
to be prepared: without a database the demo runs a Postgres of its own, from binaries of this machine or
downloaded. A given database has to be empty, or one that a demo marked as its own; that one is emptied and
loaded anew on another day.

It prints today's rounds, what is late and why, the URL and an access key per role, then it serves until Ctrl-C.

Examples:

    tankward demo
    tankward demo --print
    tankward demo --addr 127.0.0.1:9000 --env-file demo.env`
}

// stopLimit is how long the demo's own Postgres may take to end.
const stopLimit = 15 * time.Second

func (c *demoCmd) run(ctx context.Context, w world) error {
	if err := c.listening.check(); err != nil {
		return err
	}
	if c.DatabaseURL != "" {
		if err := c.checkForm(); err != nil {
			return err
		}
	}
	began := w.clock()
	progress := func(text string) {
		fmt.Fprintf(w.stderr, "%5.1f s  %s\n", w.clock().Sub(began).Seconds(), text)
	}
	// The scenario is worked out while Postgres starts.
	made := make(chan scenario, 1)
	go func() { made <- makeScenario(c.Seed, began) }()
	pg, err := localpg.Find(ctx, localpg.Options{URL: c.DatabaseURL, Name: "demo", Progress: progress})
	if err != nil {
		return err
	}
	progress(pg.Origin())
	err = c.show(ctx, w, pg.URL(), made, progress)
	stopping, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopLimit)
	defer cancel()
	return errors.Join(err, pg.Stop(stopping))
}

type scenario struct {
	demo.World
	edition string
	err     error
}

func makeScenario(seed uint64, now time.Time) scenario {
	var s scenario
	var digest, schema string
	if s.World, s.err = demo.Make(seed, fleet.Today(demo.Zone, now)); s.err != nil {
		return s
	}
	if digest, s.err = s.Digest(); s.err != nil {
		return s
	}
	schema, s.err = repo.SchemaEdition()
	s.edition = digest + " " + schema
	return s
}

// show prepares the database, prints the day and serves.
func (c *demoCmd) show(ctx context.Context, w world, url string, made <-chan scenario, progress func(string)) error {
	owned, err := repo.OpenOwned(ctx, url)
	if err != nil {
		return err
	}
	defer func() { _ = owned.Close(context.WithoutCancel(ctx)) }()
	s, err := c.prepare(ctx, w, url, owned, made, progress)
	if err != nil {
		return err
	}
	p, err := newProgram(ctx, url, 0, c.listening, w)
	if err != nil {
		return err
	}
	err = c.present(ctx, w, p, s, progress)
	return errors.Join(err, p.Close(ctx))
}

func (c *demoCmd) present(ctx context.Context, w world, p *program, s scenario, progress func(string)) error {
	keys, err := demo.Keys(ctx, p.access, s.World, w.newID, w.clock())
	if err != nil {
		return err
	}
	d := day{services: p.services, now: w.clock()}
	for _, o := range []*demo.Org{&s.Business, &s.Club} {
		if err := d.read(ctx, o); err != nil {
			return err
		}
	}
	if c.Print {
		progress("ready")
		_, err := w.stdout.Write(d.text("", keys))
		return err
	}
	return p.Run(ctx, func() error {
		progress("ready")
		if _, err := w.stdout.Write(d.text(p.URL(), keys)); err != nil || c.EnvFile == "" {
			return err
		}
		return writeEnvFile(c.EnvFile, p.URL(), keys)
	})
}

// prepare brings the database to where the scenario stands today: as it is when
// a demo loaded the same today, else emptied and loaded.
func (c *demoCmd) prepare(ctx context.Context, w world, url string, owned *repo.Owned, made <-chan scenario, progress func(string)) (scenario, error) {
	if err := owned.Alone(ctx); err != nil {
		return scenario{}, err
	}
	mark, marked, err := owned.Mark(ctx)
	if err != nil {
		return scenario{}, err
	}
	if !marked {
		if err := acceptEmpty(ctx, owned); err != nil {
			return scenario{}, err
		}
	}
	s := <-made
	switch {
	case s.err != nil:
		return s, s.err
	case marked && mark.Loaded && mark.Edition == s.edition:
		progress("today's scenario is there already, with what was done to it since")
		return s, nil
	}
	// The mark comes first: what a crash leaves behind is the demo's own.
	if err := owned.SetMark(ctx, repo.Mark{Edition: s.edition}); err != nil {
		return s, err
	}
	if marked {
		if err := owned.Wipe(ctx); err != nil {
			return s, err
		}
		progress("emptied what an earlier demo had loaded")
	}
	if err := repo.Migrate(ctx, url); err != nil {
		return s, err
	}
	progress("the tables are made")
	if err := load(ctx, w, url, s.World, progress); err != nil {
		return s, err
	}
	if err := owned.Analyze(ctx); err != nil {
		return s, err
	}
	return s, owned.SetMark(ctx, repo.Mark{Edition: s.edition, Loaded: true})
}

func acceptEmpty(ctx context.Context, owned *repo.Owned) error {
	empty, err := owned.Empty(ctx)
	if err == nil && !empty {
		return usagef("the database of --database-url (%s_DATABASE_URL) holds something that no demo made; "+
			"give the demo an empty database, or none and it runs its own", envPrefix)
	}
	return err
}

func load(ctx context.Context, w world, url string, s demo.World, progress func(string)) error {
	db, err := repo.Open(ctx, url, repo.Options{Clock: w.clock, NewID: w.newID})
	if err != nil {
		return err
	}
	defer db.Close()
	return demo.Loader{
		Run: repo.NewRunner(db, func(t *repo.Tx) demo.Tx { return repo.NewBulk(t) }),
		Now: w.clock(), Room: db.EnsureReadingMonth, Progress: progress,
	}.Load(ctx, s)
}

// writeEnvFile writes the file at once or not at all, for its owner's eyes only.
func writeEnvFile(name, url string, keys []demo.Key) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s_URL=%s\n", envPrefix, url)
	for _, k := range keys {
		fmt.Fprintf(&b, "%s_%s=%s\n", envPrefix, k.Name, k.Secret)
	}
	f, err := os.CreateTemp(filepath.Dir(name), ".tankward-*")
	if err != nil {
		return fmt.Errorf("write the environment file: %w", err)
	}
	_, err = f.WriteString(b.String())
	err = errors.Join(err, f.Chmod(0o600), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), name)
	}
	if err != nil {
		return errors.Join(fmt.Errorf("write the environment file: %w", err), os.Remove(f.Name()))
	}
	return nil
}

// roleText says what each role is for.
var roleText = map[tx.Role]string{
	tx.Owner: "may do everything", tx.Coordinator: "plans and watches", tx.TechnicianR: "drives and records", tx.Viewer: "only looks",
}
