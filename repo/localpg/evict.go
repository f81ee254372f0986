package localpg

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

const (
	graceForOrphans = 3 * time.Second
	graceAfterKill  = 5 * time.Second
)

// evict ends every server process that still works on a data folder. The caller
// holds the folder's lock, so such a process has lost the one that started it.
// They are asked first, in the way that leaves the data for recovery.
func evict(data string) error {
	pids, err := serverProcesses(data)
	if err != nil {
		return err
	}
	if len(pids) > 0 {
		signalAll(pids, syscall.SIGQUIT)
		if pids, err = waitGone(data, graceForOrphans); err != nil {
			return err
		}
	}
	if len(pids) > 0 {
		signalAll(pids, syscall.SIGKILL)
		if pids, err = waitGone(data, graceAfterKill); err != nil {
			return err
		}
	}
	if len(pids) > 0 {
		return fmt.Errorf("processes %v do not end", pids)
	}
	return removeForeignPID(data)
}

// signalAll ignores errors: a process that is gone already is what we want, and
// one that stays is found by the caller's next look.
func signalAll(pids []int, sig syscall.Signal) {
	for _, pid := range pids {
		if p, err := os.FindProcess(pid); err == nil {
			_ = p.Signal(sig)
		}
	}
}

// waitGone polls for at most limit and returns who is left.
func waitGone(data string, limit time.Duration) ([]int, error) {
	for waited := time.Duration(0); ; waited += pollEvery {
		pids, err := serverProcesses(data)
		if err != nil || len(pids) == 0 || waited >= limit {
			return pids, err
		}
		<-time.After(pollEvery)
	}
}

// removeForeignPID removes a postmaster.pid whose number now belongs to an
// unrelated process; Postgres would take that one for its own and refuse to
// start. Every other stale file is left to Postgres, which knows better. Where
// the processes of a folder can't be listed for sure nothing is removed.
func removeForeignPID(data string) error {
	if !canListProcesses {
		return nil
	}
	pid, err := postmasterPID(data)
	if err != nil || pid == 0 || !alive(pid) {
		return err
	}
	return os.Remove(filepath.Join(data, "postmaster.pid"))
}

// postmasterPID reads the number a server left; 0 means there is none.
func postmasterPID(data string) (int, error) {
	text, err := os.ReadFile(filepath.Join(data, "postmaster.pid"))
	if errors.Is(err, os.ErrNotExist) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	line, _, _ := strings.Cut(string(text), "\n")
	if pid, err := strconv.Atoi(strings.TrimSpace(line)); err == nil && pid > 0 {
		return pid, nil
	}
	return 0, nil // cut short by a crash: Postgres says so itself
}
