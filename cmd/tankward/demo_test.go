package main

import (
	"bufio"
	"context"
	"crypto/rand"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"tankward/repo"
	"tankward/repo/pgtest"
	"tankward/service/care"
	"tankward/service/demo"
)

func TestDemo(t *testing.T) {
	t.Parallel()
	url := pgtest.EmptyDatabase(t)
	out := must(t, "demo", "--print", "--database-url", url)
	contains(t, out, "Round of Juno Pelling", "Round of Marek Ashdene", "Round of Safiya Torrance", "Late or blocked", "No access once",
		"40 %", "blocked", "waiting", "tw_", "closed on this day")
	if n := strings.Count(out, "tw_"); n != 5 {
		t.Errorf("%d keys are printed, want 5:\n%s", n, out)
	}
	contains(t, must(t, "check", "--database-url", url), "organisations checked: 2, differences: 0")

	again := invoke(t.Context(), testNow.Add(time.Hour), "demo", "--print", "--database-url", url)
	if again.code != exitOK {
		t.Fatalf("the second start gave %d: %s", again.code, again.errors)
	}
	contains(t, again.errors, "there already")

	tomorrow := invoke(t.Context(), testNow.Add(24*time.Hour), "demo", "--print", "--database-url", url)
	if tomorrow.code != exitOK {
		t.Fatalf("the next day's start gave %d: %s", tomorrow.code, tomorrow.errors)
	}
	contains(t, tomorrow.errors, "emptied what an earlier demo had loaded")
	contains(t, tomorrow.out, "2026-11-11")
	contains(t, must(t, "check", "--database-url", url), "organisations checked: 2, differences: 0")
}

// A difference is found and named.
func TestCheckFindsDifferences(t *testing.T) {
	t.Parallel()
	url := pgtest.Database(t)
	loadSmall(t, url)
	contains(t, must(t, "check", "--database-url", url), "organisations checked: 2, differences: 0")
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close(context.WithoutCancel(t.Context())) }()
	// As the owner, past the wall: nothing of ours does such a thing.
	if _, err := conn.Exec(t.Context(), `
		ALTER TABLE due_item NO FORCE ROW LEVEL SECURITY;
		UPDATE due_item SET latest = latest + 1 WHERE routine_id = (SELECT min(routine_id::text)::uuid FROM due_item)`); err != nil {
		t.Fatal(err)
	}
	o := invoke(t.Context(), testNow, "check", "--database-url", url)
	if o.code != exitFailed || strings.Count(o.out, "routine ") != 1 || !strings.Contains(o.out, "differences: 1") {
		t.Errorf("got %d:\n%s%s", o.code, o.out, o.errors)
	}
}

// small is two clubs: a scenario that is loaded quickly.
var small = sync.OnceValues(func() (demo.World, error) {
	one, err := demo.Make(demo.Seed, care.DayOf(testNow))
	if err != nil {
		return one, err
	}
	two, err := demo.Make(demo.Seed+1, care.DayOf(testNow))
	return demo.World{Day: one.Day, Business: one.Club, Club: two.Club}, err
})

// loadSmall loads it; the store is told to look whether each block leaves a trail.
func loadSmall(t *testing.T, url string) {
	t.Helper()
	scenario, err := small()
	if err != nil {
		t.Fatal(err)
	}
	db, err := repo.Open(t.Context(), url, repo.Options{Clock: clock, NewID: newID, VerifyTrail: true})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	err = demo.Loader{
		Run: repo.NewRunner(db, func(t *repo.Tx) demo.Tx { return repo.NewBulk(t) }),
		Now: testNow, Room: db.EnsureReadingMonth, Progress: func(string) {},
	}.Load(t.Context(), scenario)
	if err != nil {
		t.Fatal(err)
	}
}

func TestDemoKeepsToItsOwn(t *testing.T) {
	t.Parallel()
	url := pgtest.Database(t)
	refused(t, exitUsage, "no demo made", "demo", "--print", "--database-url", url)
	contains(t, must(t, "check", "--database-url", url), "organisations checked: 0,")
}

func TestDemoIsBrokenOff(t *testing.T) {
	t.Parallel()
	ctx, stop := context.WithCancel(t.Context())
	stop()
	o := invoke(ctx, testNow, "demo", "--print", "--database-url", pgtest.EmptyDatabase(t))
	if o.code != exitBroken || !strings.Contains(o.errors, "stopped") {
		t.Errorf("got %d: %s", o.code, o.errors)
	}
}

// A start that was broken off is taken over.
func TestDemoTakesOverWhatACrashLeft(t *testing.T) {
	t.Parallel()
	url := pgtest.EmptyDatabase(t)
	owned, err := repo.OpenOwned(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	if err := owned.SetMark(t.Context(), repo.Mark{Edition: "half"}); err != nil {
		t.Fatal(err)
	}
	if err := owned.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	must(t, "migrate", "up", "--database-url", url)
	loadSmall(t, url)
	contains(t, must(t, "demo", "--print", "--database-url", url), "Round of Juno Pelling")
	contains(t, must(t, "check", "--database-url", url), "organisations checked: 2, differences: 0")
}

// A new user's way: start, read the file, ask, stop.
func TestDemoServes(t *testing.T) {
	t.Parallel()
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	file, url := filepath.Join(t.TempDir(), "demo.env"), pgtest.EmptyDatabase(t)
	printed, out := io.Pipe()
	var errs buffer
	ended := make(chan int, 1)
	go func() {
		ended <- run(ctx, []string{"demo", "--addr", "127.0.0.1:0", "--env-file", file, "--database-url", url}, world{
			stdout: out, stderr: &errs, clock: clock, newID: newID, random: rand.Reader,
		})
		_ = out.Close()
	}()
	for lines := bufio.NewScanner(printed); lines.Scan(); {
		if strings.Contains(lines.Text(), "Ctrl-C") {
			break
		}
	}
	env := waitFor(t, file, ended, &errs)
	for _, name := range []string{"KEY_OWNER", "KEY_COORDINATOR", "KEY_TECHNICIAN", "KEY_VIEWER", "CLUB_KEY_COORDINATOR"} {
		if code, body := get(t, env["TANKWARD_URL"]+"/v1/organisation", env["TANKWARD_"+name]); code != http.StatusOK {
			t.Errorf("%s: %d %s", name, code, body)
		}
	}
	// Meanwhile nobody may empty it.
	refused(t, exitFailed, "another demo", "demo", "--print", "--database-url", url)
	code, body := get(t, env["TANKWARD_URL"]+"/v1/me/round", env["TANKWARD_KEY_TECHNICIAN"])
	if code != http.StatusOK || !strings.Contains(body, `"visits":[{`) {
		t.Errorf("the technician's round: %d %.200s", code, body)
	}
	stop()
	if code := <-ended; code != exitOK {
		t.Errorf("the demo ended with %d:\n%s", code, errs.String())
	}
	for name, secret := range env {
		if name != "TANKWARD_URL" && strings.Contains(errs.String(), secret) {
			t.Errorf("%s stands in the log", name)
		}
	}
}

// waitFor reads the environment file once it is there, which is whole from the
// beginning.
func waitFor(t *testing.T, file string, ended <-chan int, errs *buffer) map[string]string {
	t.Helper()
	for {
		text, err := os.ReadFile(file)
		if err == nil {
			info, err := os.Stat(file)
			if err != nil || info.Mode().Perm() != 0o600 {
				t.Errorf("the file has mode %v, %v", info.Mode(), err)
			}
			env := map[string]string{}
			for line := range strings.Lines(string(text)) {
				name, v, _ := strings.Cut(strings.TrimSpace(line), "=")
				env[name] = v
			}
			return env
		}
		select {
		case code := <-ended:
			t.Fatalf("the demo ended with %d:\n%s", code, errs.String())
		case <-time.After(20 * time.Millisecond):
		}
	}
}
