//go:build unix && !linux

package localpg

import (
	"os/exec"
	"strconv"
	"strings"
	"syscall"
)

// canListProcesses: only the first process of a cluster is known here.
const canListProcesses = false

// serverProcesses gives the process of postmaster.pid if its command line names
// the data folder; its number may have passed to another program.
func serverProcesses(data string) ([]int, error) {
	pid, err := postmasterPID(data)
	if err != nil || pid == 0 || !alive(pid) {
		return nil, err
	}
	out, err := exec.Command("ps", "-ww", "-o", "command=", "-p", strconv.Itoa(pid)).Output()
	if err != nil || !strings.Contains(string(out), data) {
		return nil, nil
	}
	return []int{pid}, nil
}

// dieWithParent can't be had here: the next start stops what a crash left.
func dieWithParent(*syscall.SysProcAttr, syscall.Signal) {}

// freeBytes: there is no memory folder here.
func freeBytes(string) uint64 { return 0 }
