package localpg

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
)

// binaries is a folder with initdb and postgres.
type binaries struct {
	dir     string
	version string // such as 15.4
	major   int
	minor   int
}

func (b binaries) newerThan(other binaries) bool {
	if b.major != other.major {
		return b.major > other.major
	}
	return b.minor > other.minor
}

// usualFolders are where packages of Debian, Red Hat, Homebrew and the macOS app
// put the server, one folder a major version.
var usualFolders = []string{
	"/usr/lib/postgresql/*/bin",
	"/usr/pgsql-*/bin",
	"/opt/homebrew/opt/postgresql*/bin",
	"/usr/local/opt/postgresql*/bin",
	"/home/linuxbrew/.linuxbrew/opt/postgresql*/bin",
	"/Applications/Postgres.app/Contents/Versions/*/bin",
	"/usr/local/pgsql/bin",
}

// onMachine picks the newest usable binaries.
func onMachine(ctx context.Context, opts Options) (binaries, error) {
	folders := opts.BinDirs
	where := strings.Join(folders, ", ")
	if len(folders) == 0 {
		folders = candidateFolders(ctx)
		where = "PATH, pg_config --bindir, " + strings.Join(usualFolders, ", ")
	}
	var best binaries
	var refused []error
	for _, dir := range folders {
		found, err := inspect(ctx, dir)
		switch {
		case errors.Is(err, os.ErrNotExist):
		case err != nil:
			refused = append(refused, fmt.Errorf("%s: %w", dir, err))
		case found.newerThan(best):
			best = found
		}
	}
	if best.dir != "" {
		return best, nil
	}
	if len(refused) > 0 {
		return binaries{}, fmt.Errorf("found none that can be used: %w", errors.Join(refused...))
	}
	return binaries{}, fmt.Errorf("looked in %s", where)
}

// candidateFolders lists real folders, each once.
func candidateFolders(ctx context.Context) []string {
	var raw []string
	if path, err := exec.LookPath("postgres"); err == nil {
		raw = append(raw, path)
	}
	if out, err := exec.CommandContext(ctx, "pg_config", "--bindir").Output(); err == nil {
		raw = append(raw, filepath.Join(strings.TrimSpace(string(out)), "postgres"))
	}
	for _, pattern := range usualFolders {
		// The patterns are constants, so Glob's only error can't happen.
		matches, _ := filepath.Glob(filepath.Join(pattern, "postgres"))
		raw = append(raw, matches...)
	}
	var folders []string
	seen := map[string]bool{}
	for _, link := range raw {
		path, err := filepath.EvalSymlinks(link)
		if err != nil || seen[filepath.Dir(path)] {
			continue
		}
		seen[filepath.Dir(path)] = true
		folders = append(folders, filepath.Dir(path))
	}
	return folders
}

var versionPattern = regexp.MustCompile(`\(PostgreSQL\) (\d+)(?:\.(\d+))?`)

// inspect says what server dir holds. The error is os.ErrNotExist when it holds
// none, otherwise it says why it can't be used.
func inspect(ctx context.Context, dir string) (binaries, error) {
	for _, name := range []string{"postgres", "initdb"} {
		if _, err := os.Stat(filepath.Join(dir, name)); err != nil {
			return binaries{}, err
		}
	}
	out, err := exec.CommandContext(ctx, filepath.Join(dir, "postgres"), "--version").Output()
	if err != nil {
		return binaries{}, fmt.Errorf("ask for the version: %w", err)
	}
	found, err := parseVersion(string(out))
	if err != nil {
		return binaries{}, err
	}
	if found.major < oldestMajor {
		return binaries{}, fmt.Errorf("version %s is older than %d", found.version, oldestMajor)
	}
	found.dir = dir
	return found, nil
}

func parseVersion(text string) (binaries, error) {
	m := versionPattern.FindStringSubmatch(text)
	if m == nil {
		return binaries{}, fmt.Errorf("no version in %q", strings.TrimSpace(text))
	}
	major, err := strconv.Atoi(m[1])
	if err != nil {
		return binaries{}, fmt.Errorf("version %q: %w", m[1], err)
	}
	if m[2] == "" { // a beta: "17beta1"
		return binaries{version: m[1], major: major}, nil
	}
	minor, err := strconv.Atoi(m[2])
	if err != nil {
		return binaries{}, fmt.Errorf("version %q: %w", m[2], err)
	}
	return binaries{version: m[1] + "." + m[2], major: major, minor: minor}, nil
}
