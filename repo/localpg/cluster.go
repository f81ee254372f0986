package localpg

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
)

const (
	startLimit = time.Minute
	pollEvery  = 10 * time.Millisecond
	// longestSocketFolder leaves room for "/.s.PGSQL.5432" in the 104 bytes that
	// the strictest system allows for a socket's path.
	longestSocketFolder = 85
)

// cluster is a server process that belongs to this one.
type cluster struct {
	place
	acc       account
	bins      binaries
	throwaway bool
	sockets   string // folder of the Unix socket
	process   *os.Process
	exited    chan struct{} // closed when the process has ended
	stopOnce  sync.Once
	stopErr   error
}

// startCluster takes a place, makes the cluster if there is none yet, starts it
// and waits until it answers.
func startCluster(ctx context.Context, opts Options, bins binaries) (*cluster, error) {
	acc, err := serverAccount()
	if err != nil {
		return nil, err
	}
	if err := acc.reaches(bins.dir); err != nil {
		return nil, err
	}
	var p place
	if opts.Throwaway {
		p, err = throwawayPlace(opts, acc)
	} else {
		p, err = persistentPlace(opts, acc, bins.major)
	}
	if err != nil {
		return nil, err
	}
	c := &cluster{place: p, acc: acc, bins: bins, throwaway: opts.Throwaway, sockets: p.run()}
	if err := c.start(ctx, opts.Progress); err != nil {
		if !opts.Throwaway {
			err = fmt.Errorf("%w (if its files are damaged, remove %s to start anew)", err, c.folder)
		}
		return nil, errors.Join(err, c.stop(context.WithoutCancel(ctx)))
	}
	return c, nil
}

func (c *cluster) start(ctx context.Context, progress func(string)) error {
	ctx, cancel := context.WithTimeout(ctx, startLimit)
	defer cancel()
	if err := evict(c.data()); err != nil {
		return fmt.Errorf("stop the server that a crash left in %s: %w", c.folder, err)
	}
	if err := c.prepareSockets(); err != nil {
		return err
	}
	if _, err := os.Stat(c.data()); errors.Is(err, os.ErrNotExist) {
		progress("making a private Postgres in " + c.folder)
		if err := c.initdb(ctx); err != nil {
			return err
		}
	}
	if err := c.launch(); err != nil {
		return err
	}
	if err := c.waitReady(ctx); err != nil {
		return err
	}
	return c.ensureDatabase(ctx)
}

func (c *cluster) prepareSockets() error {
	if len(c.sockets) > longestSocketFolder {
		folder, err := os.MkdirTemp("/tmp", "tankward-")
		if err != nil {
			return err
		}
		c.sockets = folder
	}
	return c.acc.give(c.sockets)
}

// initdb makes the data folder. It gets its final name when it is complete, so
// that one cut short is never taken for a cluster.
func (c *cluster) initdb(ctx context.Context) error {
	unfinished := c.data() + ".new"
	if err := os.RemoveAll(unfinished); err != nil {
		return err
	}
	if err := c.acc.give(unfinished); err != nil {
		return err
	}
	cmd := exec.CommandContext(ctx, filepath.Join(c.bins.dir, "initdb"),
		"--pgdata="+unfinished, "--username="+superuser, "--auth=trust",
		"--encoding=UTF8", "--locale=C", "--no-instructions", "--no-sync")
	c.dress(cmd)
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("initdb: %w: %s", err, bytes.TrimSpace(out))
	}
	return os.Rename(unfinished, c.data())
}

// dress gives a command the account, a neutral folder and an environment in
// which no PG* variable of the caller changes anything.
func (c *cluster) dress(cmd *exec.Cmd) {
	cmd.Dir = "/"
	cmd.Env = []string{"PATH=/usr/bin:/bin", "LC_ALL=C", "TZ=UTC"}
	cmd.SysProcAttr = c.acc.sysProcAttr()
}

// settings are the same for every private cluster, then those by purpose.
func (c *cluster) settings() []string {
	common := []string{
		"listen_addresses=", "port=5432", "unix_socket_directories=" + c.sockets,
		"unix_socket_permissions=0700", "timezone=UTC", "log_timezone=UTC", "jit=off",
		"wal_level=minimal", "max_wal_senders=0", "synchronous_commit=off", "logging_collector=off",
	}
	if !c.throwaway {
		return append(common, "max_wal_size=2GB")
	}
	return append(common,
		"fsync=off", "full_page_writes=off", "max_connections=300", "shared_buffers=64MB",
		// Its workers would hold up the copying of templates.
		"autovacuum=off",
		"max_wal_size=512MB", "min_wal_size=80MB",
		// Inside the folder, so that removing it removes all.
		"dynamic_shared_memory_type=mmap")
}

// launch starts the server. One goroutine holds an OS thread from start to end,
// since the kernel's "signal me when my parent dies" means that thread.
func (c *cluster) launch() error {
	log, err := os.OpenFile(c.log(), os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	args := []string{"-D", c.data()}
	for _, s := range c.settings() {
		args = append(args, "-c", s)
	}
	// No CommandContext: the server outlives the context of its start.
	cmd := exec.Command(filepath.Join(c.bins.dir, "postgres"), args...)
	cmd.Stdout, cmd.Stderr = log, log
	c.dress(cmd)
	dieWithParent(cmd.SysProcAttr, c.stopSignal())
	started := make(chan error)
	exited := make(chan struct{})
	go superviseLocked(cmd, started, exited)
	if err := <-started; err != nil {
		return errors.Join(err, log.Close())
	}
	c.process, c.exited = cmd.Process, exited
	return log.Close()
}

// waitReady polls until a connection works or the server has given up.
func (c *cluster) waitReady(ctx context.Context) error {
	for {
		err := ping(ctx, c.url(superuser, "postgres"))
		if err == nil {
			return nil
		}
		select {
		case <-c.exited:
			return fmt.Errorf("the server ended: %s", c.lastWords())
		case <-ctx.Done():
			return fmt.Errorf("the server does not answer (%w): %w: %s", ctx.Err(), err, c.lastWords())
		case <-time.After(pollEvery):
		}
	}
}

// ensureDatabase makes the owner role and its database, each if missing: a
// crash may have come between them.
func (c *cluster) ensureDatabase(ctx context.Context) error {
	conn, err := pgx.Connect(ctx, c.url(superuser, "postgres"))
	if err != nil {
		return err
	}
	return errors.Join(makeOwner(ctx, conn), conn.Close(ctx))
}

func makeOwner(ctx context.Context, conn *pgx.Conn) error {
	var role, database bool
	err := conn.QueryRow(ctx, `
SELECT EXISTS (SELECT FROM pg_roles WHERE rolname = $1),
       EXISTS (SELECT FROM pg_database WHERE datname = $1)`, owner).Scan(&role, &database)
	if err != nil {
		return fmt.Errorf("look for role and database %s: %w", owner, err)
	}
	name := pgx.Identifier{owner}.Sanitize()
	if !role {
		if _, err := conn.Exec(ctx, `CREATE ROLE `+name+` LOGIN CREATEDB CREATEROLE`); err != nil {
			return fmt.Errorf("create role %s: %w", owner, err)
		}
	}
	if !database {
		if _, err := conn.Exec(ctx, `CREATE DATABASE `+name+` OWNER `+name); err != nil {
			return fmt.Errorf("create database %s: %w", owner, err)
		}
	}
	return nil
}

func (c *cluster) url(user, database string) string { return socketURL(c.sockets, user, database) }

// stopSignal asks a server that keeps its data to write it down first, and one
// that doesn't to just end.
func (c *cluster) stopSignal() syscall.Signal {
	if c.throwaway {
		return syscall.SIGQUIT
	}
	return syscall.SIGINT
}

func (c *cluster) stop(ctx context.Context) error {
	c.stopOnce.Do(func() { c.stopErr = c.shutDown(ctx) })
	return c.stopErr
}

func (c *cluster) shutDown(ctx context.Context) error {
	var errs []error
	if c.process != nil {
		errs = append(errs, c.endProcess(ctx))
	}
	if c.sockets != c.run() {
		errs = append(errs, os.RemoveAll(c.sockets))
	}
	if c.throwaway {
		errs = append(errs, os.RemoveAll(c.folder))
	}
	errs = append(errs, c.release())
	return errors.Join(errs...)
}

// endProcess asks, and insists when ctx ends or a minute has passed.
func (c *cluster) endProcess(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, startLimit)
	defer cancel()
	if err := c.process.Signal(c.stopSignal()); err != nil && !errors.Is(err, os.ErrProcessDone) {
		return err
	}
	select {
	case <-c.exited:
		return nil
	case <-ctx.Done():
	}
	if err := c.process.Kill(); err != nil && !errors.Is(err, os.ErrProcessDone) {
		return err
	}
	<-c.exited
	return fmt.Errorf("the private Postgres was killed, it did not stop in time: %w", ctx.Err())
}

// lastWords is the end of what the server said.
func (c *cluster) lastWords() string {
	const most = 1000
	text, err := os.ReadFile(c.log())
	if err != nil {
		return err.Error()
	}
	text = bytes.TrimSpace(text)
	return string(text[max(0, len(text)-most):])
}
