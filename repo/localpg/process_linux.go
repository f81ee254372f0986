package localpg

import (
	"errors"
	"os"
	"path/filepath"
	"strconv"
	"syscall"
)

// canListProcesses: all processes of a cluster stand in its data folder, and
// the kernel tells where a process stands.
const canListProcesses = true

// serverProcesses lists the processes that stand in data.
func serverProcesses(data string) ([]int, error) {
	folder, err := filepath.EvalSymlinks(data)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	links, err := filepath.Glob("/proc/[0-9]*/cwd")
	if err != nil {
		return nil, err
	}
	var pids []int
	for _, link := range links {
		// Processes of others can't be read, and end while we look: neither is ours.
		if cwd, err := os.Readlink(link); err != nil || cwd != folder {
			continue
		}
		exe, err := os.Readlink(filepath.Join(filepath.Dir(link), "exe"))
		if err != nil || filepath.Base(exe) != "postgres" && filepath.Base(exe) != "postgres (deleted)" {
			continue // somebody's shell
		}
		if pid, err := strconv.Atoi(filepath.Base(filepath.Dir(link))); err == nil {
			pids = append(pids, pid)
		}
	}
	return pids, nil
}

// dieWithParent has the kernel send sig when the thread that starts the process
// ends, which it does when this process is killed.
func dieWithParent(attr *syscall.SysProcAttr, sig syscall.Signal) { attr.Pdeathsig = sig }

func freeBytes(folder string) uint64 {
	var st syscall.Statfs_t
	if err := syscall.Statfs(folder, &st); err != nil {
		return 0
	}
	return st.Bavail * uint64(st.Bsize)
}
