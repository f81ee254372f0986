package localpg

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

const (
	// instances is how many private clusters of one name may run at once.
	instances = 9
	// roomForTests is what a throwaway cluster with some databases may need.
	roomForTests   = 2 << 30
	memoryFolder   = "/dev/shm"
	throwawayName  = "tankward-test-"
	unfinishedName = "tankward-new-"
	lockName       = "lock"
)

// errLocked says that another process holds the lock.
var errLocked = errors.New("in use by another process")

// place is a folder for one cluster, held by this process until release.
type place struct {
	folder string
	lock   *os.File
}

func (p place) release() error { return p.lock.Close() }

// data, run and log are the parts of a place: the cluster's files, the folder
// of its socket, and what the server says.
func (p place) data() string { return filepath.Join(p.folder, "data") }
func (p place) run() string  { return filepath.Join(p.folder, "run") }
func (p place) log() string  { return filepath.Join(p.folder, "postgres.log") }

// lockFolder takes the lock of a folder. The kernel gives it up when this
// process ends in any way; the server started from here doesn't inherit it.
func lockFolder(folder string, flags int) (place, error) {
	f, err := os.OpenFile(filepath.Join(folder, lockName), os.O_RDWR|flags, 0o600)
	if err != nil {
		return place{}, err
	}
	if err := tryLock(f); err != nil {
		return place{}, errors.Join(err, f.Close())
	}
	return place{folder: folder, lock: f}, nil
}

// persistentPlace gives the first free folder of the name. Clusters of different
// major versions can't read each other's files, so the version is in the name.
func persistentPlace(opts Options, acc account, major int) (place, error) {
	base, err := baseFolder(opts.Dir, acc)
	if err != nil {
		return place{}, err
	}
	name := fmt.Sprintf("%s-%d", opts.Name, major)
	for n := 1; n <= instances; n++ {
		folder := filepath.Join(base, name)
		if n > 1 {
			folder = fmt.Sprintf("%s-%d", folder, n)
		}
		if err := acc.share(folder); err != nil {
			return place{}, err
		}
		p, err := lockFolder(folder, os.O_CREATE)
		if !errors.Is(err, errLocked) {
			return p, err
		}
	}
	return place{}, fmt.Errorf("%d clusters named %s run already (folders %s*): stop one",
		instances, opts.Name, filepath.Join(base, name))
}

// throwawayPlace gives a new folder and removes those that crashed processes
// left in the same parent.
func throwawayPlace(opts Options, acc account) (place, error) {
	parent, err := throwawayParent(opts, acc)
	if err != nil {
		return place{}, err
	}
	if err := sweep(parent); err != nil {
		return place{}, fmt.Errorf("remove what an earlier run left in %s: %w", parent, err)
	}
	folder, err := os.MkdirTemp(parent, unfinishedName)
	if err != nil {
		return place{}, err
	}
	if err := os.Chmod(folder, acc.passable()); err != nil {
		return place{}, err
	}
	p, err := lockFolder(folder, os.O_CREATE)
	if err != nil {
		return place{}, err
	}
	// Only now, with the lock held, it gets the name that sweep looks for.
	p.folder = filepath.Join(parent, throwawayName+strings.TrimPrefix(filepath.Base(folder), unfinishedName))
	if err := os.Rename(folder, p.folder); err != nil {
		return place{}, errors.Join(err, p.release())
	}
	return p, nil
}

func throwawayParent(opts Options, acc account) (string, error) {
	if opts.Dir != "" {
		return baseFolder(opts.Dir, acc)
	}
	if freeBytes(memoryFolder) >= roomForTests && acc.reaches(memoryFolder) == nil {
		return memoryFolder, nil
	}
	return os.TempDir(), acc.reaches(os.TempDir())
}

// sweep removes throwaway folders of this user whose process is gone.
func sweep(parent string) error {
	entries, err := os.ReadDir(parent)
	if err != nil {
		return err
	}
	for _, entry := range entries {
		folder := filepath.Join(parent, entry.Name())
		if !strings.HasPrefix(entry.Name(), throwawayName) || !entry.IsDir() || !ownedByUs(folder) {
			continue
		}
		if err := sweepOne(folder); err != nil {
			return err
		}
	}
	return nil
}

// sweepOne removes a folder unless its process lives. One without a lock file
// is half removed; it makes none, which would get in the way of whoever is at it.
func sweepOne(folder string) error {
	p, err := lockFolder(folder, 0)
	switch {
	case errors.Is(err, errLocked):
		return nil
	case errors.Is(err, os.ErrNotExist):
		return os.RemoveAll(folder)
	case err != nil:
		return err
	}
	return errors.Join(evict(p.data()), os.RemoveAll(folder), p.release())
}
