//go:build unix

package localpg

import (
	"errors"
	"os"
	"os/exec"
	"runtime"
	"syscall"
)

// sysProcAttr starts a process as the account and in a group of its own, so that
// Ctrl-C on the terminal reaches only us: the server stops after its last user.
func (a account) sysProcAttr() *syscall.SysProcAttr {
	attr := &syscall.SysProcAttr{Setpgid: true}
	if a.other {
		attr.Credential = &syscall.Credential{Uid: uint32(a.uid), Gid: uint32(a.gid)}
	}
	return attr
}

// superviseLocked starts cmd on a thread that lives as long as it does.
func superviseLocked(cmd *exec.Cmd, started chan<- error, exited chan<- struct{}) {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	err := cmd.Start()
	started <- err
	if err != nil {
		return
	}
	// How it ended shows in its log; here only that it did matters.
	_ = cmd.Wait()
	close(exited)
}

func tryLock(f *os.File) error {
	err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return errLocked
	}
	return err
}

func ownedByUs(folder string) bool {
	info, err := os.Lstat(folder)
	if err != nil {
		return false
	}
	st, ok := info.Sys().(*syscall.Stat_t)
	return ok && int(st.Uid) == os.Geteuid()
}

// alive reports whether a process of that number exists, whoever owns it.
func alive(pid int) bool {
	err := syscall.Kill(pid, 0)
	return err == nil || errors.Is(err, syscall.EPERM)
}
