package repo

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"tankward/service/tx"
)

// keysChannel carries the ids of organisations whose members or keys changed.
const keysChannel = "tankward_keys"

const (
	// gatherFor is how long news is gathered before it is sent in one go.
	gatherFor = 50 * time.Millisecond
	// sendTries bounds how often news is sent again: by then what the receivers
	// know has grown too old to be used.
	sendTries = 10
	sendAgain = 500 * time.Millisecond
	sendLimit = 2 * time.Second
	// pingEvery finds a connection that died without a word.
	pingEvery       = 30 * time.Second
	shortestRestart = 100 * time.Millisecond
	longestRestart  = 5 * time.Second
)

// news is what other replicas are to be told. It is sent after the commit in a
// transaction of its own: a notification inside a writing transaction takes a
// lock of the whole database at its commit, and halves the rate of writing.
type news struct {
	mu      sync.Mutex
	orgs    map[uuid.UUID]bool
	timer   *time.Timer
	tries   int
	closed  bool
	sending sync.WaitGroup
}

// announce tells the other replicas, soon, if the changes touch who may call.
func (db *DB) announce(org uuid.UUID, changes []tx.Change) {
	for _, c := range changes {
		if c.Resource == "member" || c.Resource == "access_key" {
			db.news.add(org, gatherFor, db.sendNews)
			return
		}
	}
}

func (n *news) add(org uuid.UUID, after time.Duration, send func()) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.orgs == nil {
		n.orgs = map[uuid.UUID]bool{}
	}
	n.orgs[org] = true
	if n.timer == nil && !n.closed {
		n.timer = time.AfterFunc(after, send)
		n.sending.Add(1)
	}
}

// take gives what is to be sent and makes the next add start a new timer.
func (n *news) take() []string {
	n.mu.Lock()
	defer n.mu.Unlock()
	out := make([]string, 0, len(n.orgs))
	for org := range n.orgs {
		out = append(out, org.String())
	}
	clear(n.orgs)
	n.timer = nil
	return out
}

// giveUp counts a failure and says whether it was one too many; success starts
// the count afresh.
func (n *news) giveUp(failed bool) bool {
	n.mu.Lock()
	defer n.mu.Unlock()
	if !failed {
		n.tries = 0
		return false
	}
	n.tries++
	return n.tries%sendTries == 0
}

func (db *DB) sendNews() {
	defer db.news.sending.Done()
	orgs := db.news.take()
	ctx, cancel := context.WithTimeout(context.Background(), sendLimit)
	defer cancel()
	_, err := db.pool.Exec(ctx, `SELECT pg_notify($1, org) FROM unnest($2::text[]) AS org`, keysChannel, orgs)
	if db.news.giveUp(err != nil) || err == nil {
		return
	}
	for _, org := range orgs {
		db.news.add(uuid.MustParse(org), sendAgain, db.sendNews)
	}
}

// flushNews sends what is waiting, now.
func (db *DB) flushNews() {
	n := &db.news
	n.mu.Lock()
	early := n.timer != nil && n.timer.Stop()
	n.mu.Unlock()
	if early {
		db.sendNews()
	}
	n.sending.Wait()
}

// close makes later news stay unsent: there is no connection for it any more.
func (n *news) close() {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.closed = true
}

// KeyWatcher is told when what it knows of keys may be out of date.
type KeyWatcher interface {
	// ForgetKeys is called when a member or key of the organisation changed.
	ForgetKeys(org uuid.UUID)
	// ForgetAllKeys is called when news may have been missed.
	ForgetAllKeys()
}

// WatchKeys tells w what any replica changed about members and keys, until ctx
// ends. It connects again as often as it must; each time the watch begins or
// breaks off, w forgets everything.
func (db *DB) WatchKeys(ctx context.Context, w KeyWatcher, log *slog.Logger) {
	restart := shortestRestart
	for {
		heard, err := db.watchOnce(ctx, w)
		w.ForgetAllKeys()
		if ctx.Err() != nil {
			return
		}
		if heard {
			restart = shortestRestart
		}
		log.WarnContext(ctx, "the watch for changed keys broke off", "error", err, "again_in", restart.String())
		select {
		case <-ctx.Done():
			return
		case <-time.After(restart):
		}
		restart = min(2*restart, longestRestart)
	}
}

// watchOnce listens on a connection of its own until it breaks; it says whether
// the watch had begun.
func (db *DB) watchOnce(ctx context.Context, w KeyWatcher) (bool, error) {
	conn, err := pgx.ConnectConfig(ctx, db.pool.Config().ConnConfig)
	if err != nil {
		return false, err
	}
	defer func() {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), sendLimit)
		defer cancel()
		_ = conn.Close(ctx)
	}()
	if _, err := conn.Exec(ctx, "LISTEN "+keysChannel); err != nil {
		return false, err
	}
	w.ForgetAllKeys()
	for {
		payload, err := nextPayload(ctx, conn)
		if err != nil {
			return true, err
		}
		if org, err := uuid.Parse(payload); err == nil {
			w.ForgetKeys(org)
		}
	}
}

// nextPayload waits for a notification and makes sure now and then that the
// connection lives.
func nextPayload(ctx context.Context, conn *pgx.Conn) (string, error) {
	for {
		wait, cancel := context.WithTimeout(ctx, pingEvery)
		n, err := conn.WaitForNotification(wait)
		quiet := wait.Err() != nil && ctx.Err() == nil
		cancel()
		switch {
		case err == nil:
			return n.Payload, nil
		case !quiet:
			return "", err
		}
		if err := ping(ctx, conn); err != nil {
			return "", err
		}
	}
}

func ping(ctx context.Context, conn *pgx.Conn) error {
	ctx, cancel := context.WithTimeout(ctx, sendLimit)
	defer cancel()
	return conn.Ping(ctx)
}
