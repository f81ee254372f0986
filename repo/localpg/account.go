package localpg

import (
	"errors"
	"fmt"
	"os"
	"os/user"
	"path/filepath"
	"runtime"
	"strconv"
)

// account is who runs the server. The zero value is the user of this process.
type account struct {
	name     string
	uid, gid int
	other    bool // another user than that of this process
}

// serverAccounts are looked for in this order when this process is root, which
// Postgres refuses to run as.
var serverAccounts = []string{"postgres", "_postgres", "nobody"}

// serverAccount says who should run the server.
func serverAccount() (account, error) {
	if os.Geteuid() != 0 {
		return account{}, nil
	}
	for _, name := range serverAccounts {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, uidErr := strconv.Atoi(u.Uid)
		gid, gidErr := strconv.Atoi(u.Gid)
		if err := errors.Join(uidErr, gidErr); err != nil {
			return account{}, fmt.Errorf("user %s: %w", name, err)
		}
		return account{name: name, uid: uid, gid: gid, other: true}, nil
	}
	return account{}, fmt.Errorf("running as root, and none of the users %v exists to run Postgres as", serverAccounts)
}

// give makes a folder that only the account can enter.
func (a account) give(folder string) error {
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return err
	}
	if a.other {
		if err := os.Chown(folder, a.uid, a.gid); err != nil {
			return err
		}
	}
	return os.Chmod(folder, 0o700)
}

// passable is the mode of folders above the account's own.
func (a account) passable() os.FileMode {
	if a.other {
		return 0o711
	}
	return 0o700
}

// share makes a folder of this process that the account can pass through. A
// folder that exists keeps its permissions: it may be the user's own.
func (a account) share(folder string) error {
	if _, err := os.Stat(folder); err == nil {
		return a.reaches(folder)
	}
	if err := os.MkdirAll(folder, a.passable()); err != nil {
		return err
	}
	// Past the umask.
	if err := os.Chmod(folder, a.passable()); err != nil {
		return err
	}
	return a.reaches(folder)
}

// reaches says whether the account can pass through folder and all above it,
// going by the permissions for others. Folders that don't exist yet are ours to
// make, so they count as passable.
func (a account) reaches(folder string) error {
	if !a.other {
		return nil
	}
	for dir := filepath.Clean(folder); ; dir = filepath.Dir(dir) {
		info, err := os.Stat(dir)
		switch {
		case errors.Is(err, os.ErrNotExist):
		case err != nil:
			return err
		case info.Mode().Perm()&0o001 == 0:
			return fmt.Errorf("user %s can't pass through %s (mode %v)", a.name, dir, info.Mode().Perm())
		}
		if dir == filepath.Dir(dir) {
			return nil
		}
	}
}

// baseFolder is where persistent things are kept: the given folder, else the
// user's cache folder, else (root's own is closed to others) the system's.
func baseFolder(given string, acc account) (string, error) {
	if given != "" {
		abs, err := filepath.Abs(given)
		if err != nil {
			return "", err
		}
		return abs, acc.share(abs)
	}
	if cache, err := os.UserCacheDir(); err == nil && acc.reaches(cache) == nil {
		base := filepath.Join(cache, "tankward")
		return base, acc.share(base)
	}
	if !acc.other {
		return "", errors.New("this user has no cache folder: set HOME or XDG_CACHE_HOME")
	}
	base := "/var/cache/tankward"
	if runtime.GOOS == "darwin" {
		base = "/Library/Caches/tankward"
	}
	return base, acc.share(base)
}
