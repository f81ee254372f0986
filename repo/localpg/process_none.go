//go:build !unix

package localpg

import (
	"errors"
	"os"
	"os/exec"
	"syscall"
)

// A private cluster needs Unix sockets and file locks; elsewhere only a given
// database works, and the error says so.
const canListProcesses = false

var errNoUnix = errors.New("a private Postgres is run on Unix systems only: set TANKWARD_DATABASE_URL")

func (a account) sysProcAttr() *syscall.SysProcAttr { return &syscall.SysProcAttr{} }

func superviseLocked(_ *exec.Cmd, started chan<- error, _ chan<- struct{}) { started <- errNoUnix }

func tryLock(*os.File) error { return errNoUnix }

func serverProcesses(string) ([]int, error) { return nil, nil }

func dieWithParent(*syscall.SysProcAttr, syscall.Signal) {}

func freeBytes(string) uint64 { return 0 }

func ownedByUs(string) bool { return false }

func alive(int) bool { return false }
