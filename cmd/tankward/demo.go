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
func (*demoCmd) Help() string {
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
	s := showing{world: w, progress: func(text string) {
		_, _ = fmt.Fprintf(w.stderr, "%5.1f s  %s\n", w.clock().Sub(began).Seconds(), text)
	}}
	// The scenario is worked out while Postgres starts.
	made := make(chan error, 1)
	go func() { made <- s.imagine(c.Seed, began) }()
	pg, err := localpg.Find(ctx, localpg.Options{URL: c.DatabaseURL, Name: "demo", Progress: s.progress})
	if err != nil {
		return err
	}
	s.progress(pg.Origin())
	s.url = pg.URL()
	if err = <-made; err == nil {
		err = c.show(ctx, &s)
	}
	stopping, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopLimit)
	defer cancel()
	return errors.Join(err, pg.Stop(stopping))
}

// showing is one start of the demo.
type showing struct {
	world
	scenario demo.World
	edition  string // tells scenario and schema apart from others
	url      string // of the database
	progress func(text string)
}

// imagine makes the scenario of the day.
func (s *showing) imagine(seed uint64, now time.Time) error {
	var err error
	if s.scenario, err = demo.Make(seed, fleet.Today(demo.Zone, now)); err != nil {
		return err
	}
	digest, err := s.scenario.Digest()
	if err != nil {
		return err
	}
	schema, err := repo.SchemaEdition()
	s.edition = digest + " " + schema
	return err
}

// show prepares the database, prints the day and serves.
func (c *demoCmd) show(ctx context.Context, s *showing) error {
	owned, err := repo.OpenOwned(ctx, s.url)
	if err != nil {
		return err
	}
	defer func() { _ = owned.Close(context.WithoutCancel(ctx)) }()
	if err := s.prepare(ctx, owned); err != nil {
		return err
	}
	p, err := newProgram(ctx, s.url, 0, c.listening, s.world)
	if err != nil {
		return err
	}
	err = c.present(ctx, s, p)
	return errors.Join(err, p.Close(ctx))
}

func (c *demoCmd) present(ctx context.Context, s *showing, p *program) error {
	keys, err := demo.Keys(ctx, p.access, s.scenario, s.newID, s.clock())
	if err != nil {
		return err
	}
	d := day{services: p.services, now: s.clock()}
	for _, o := range []*demo.Org{&s.scenario.Business, &s.scenario.Club} {
		if err := d.read(ctx, o); err != nil {
			return err
		}
	}
	if c.Print {
		s.progress("ready")
		_, err := s.stdout.Write(d.text("", keys))
		return err
	}
	return p.Run(ctx, func() error {
		s.progress("ready")
		if _, err := s.stdout.Write(d.text(p.URL(), keys)); err != nil || c.EnvFile == "" {
			return err
		}
		return writeEnvFile(c.EnvFile, p.URL(), keys)
	})
}

// prepare brings the database to where the scenario stands today: it stays as
// it is when a demo loaded the same today, else it is emptied and loaded.
func (s *showing) prepare(ctx context.Context, owned *repo.Owned) error {
	alone, err := owned.Alone(ctx)
	if err != nil {
		return err
	}
	if !alone {
		return errors.New("another demo uses this database; stop it first, or give this one a database of its own")
	}
	mark, marked, err := owned.Mark(ctx)
	if err != nil {
		return err
	}
	if marked && mark == (repo.Mark{Edition: s.edition, Loaded: true}) {
		s.progress("today's scenario is there already, with what was done to it since")
		return nil
	}
	if !marked {
		if err := acceptEmpty(ctx, owned); err != nil {
			return err
		}
	}
	// The mark comes first: what a crash leaves behind is the demo's own.
	if err := owned.SetMark(ctx, repo.Mark{Edition: s.edition}); err != nil {
		return err
	}
	if marked {
		if err := owned.Wipe(ctx); err != nil {
			return err
		}
		s.progress("emptied what an earlier demo had loaded")
	}
	if err := repo.Migrate(ctx, s.url); err != nil {
		return err
	}
	s.progress("the tables are made")
	if err := s.load(ctx); err != nil {
		return err
	}
	if err := owned.Analyze(ctx); err != nil {
		return err
	}
	return owned.SetMark(ctx, repo.Mark{Edition: s.edition, Loaded: true})
}

func acceptEmpty(ctx context.Context, owned *repo.Owned) error {
	empty, err := owned.Empty(ctx)
	if err == nil && !empty {
		return usagef("the database of --database-url (%s_DATABASE_URL) holds something that no demo made; "+
			"give the demo an empty database, or none and it runs its own", envPrefix)
	}
	return err
}

func (s *showing) load(ctx context.Context) error {
	db, err := repo.Open(ctx, s.url, repo.Options{Clock: s.clock, NewID: s.newID})
	if err != nil {
		return err
	}
	defer db.Close()
	return demo.Loader{
		Run: repo.NewRunner(db, func(t *repo.Tx) demo.Tx { return repo.NewBulk(t) }),
		Now: s.clock(), Room: db.EnsureReadingMonth, Progress: s.progress,
	}.Load(ctx, s.scenario)
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
