package localpg

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	embeddedpostgres "github.com/fergusstrange/embedded-postgres"
)

const (
	downloadVersion    = embeddedpostgres.V17
	firstStartLimit    = time.Minute
	downloadFolderName = "postgres-" + string(downloadVersion)
)

// download gives binaries fetched now or by an earlier start. The library
// fetches, checks and unpacks; the cluster it makes on the way is a trial that
// is thrown away, so that all clusters are run by the same code here.
func download(ctx context.Context, opts Options) (binaries, error) {
	if os.Geteuid() == 0 {
		return binaries{}, errors.New("not tried as root: initdb refuses to run as root; start as another user")
	}
	base, err := baseFolder(opts.Dir, account{})
	if err != nil {
		return binaries{}, err
	}
	folder := filepath.Join(base, downloadFolderName)
	if found, err := inspect(ctx, filepath.Join(folder, "bin")); err == nil {
		return found, nil
	}
	opts.Progress("downloading Postgres " + string(downloadVersion) + ", once")
	done := make(chan error, 1)
	// The library knows no context. When ctx ends first its work is left to
	// finish in a folder that only a completed download is renamed from.
	go func() { done <- fetch(base, folder, opts.DownloadURL) }()
	select {
	case err = <-done:
	case <-ctx.Done():
		err = ctx.Err()
	}
	if err != nil {
		return binaries{}, fmt.Errorf("download Postgres %s: %w", downloadVersion, err)
	}
	return inspect(ctx, filepath.Join(folder, "bin"))
}

// fetch puts complete binaries at folder, which must be below base.
func fetch(base, folder, repository string) error {
	work, err := os.MkdirTemp(base, "download-")
	if err != nil {
		return err
	}
	return errors.Join(fetchInto(work, folder, repository), os.RemoveAll(work))
}

func fetchInto(work, folder, repository string) error {
	port, err := freePort()
	if err != nil {
		return err
	}
	unpacked := filepath.Join(work, "unpacked")
	config := embeddedpostgres.DefaultConfig().
		Version(downloadVersion).
		Port(port).
		CachePath(filepath.Join(work, "archive")).
		RuntimePath(filepath.Join(work, "run")).
		DataPath(filepath.Join(work, "data")).
		BinariesPath(unpacked).
		StartParameters(map[string]string{"unix_socket_directories": ""}).
		StartTimeout(firstStartLimit).
		Logger(io.Discard)
	if repository != "" {
		config = config.BinaryRepositoryURL(strings.TrimSuffix(repository, "/"))
	}
	trial := embeddedpostgres.NewDatabase(config)
	if err := trial.Start(); err != nil {
		return err
	}
	if err := trial.Stop(); err != nil {
		return fmt.Errorf("stop the trial: %w", err)
	}
	if err := os.RemoveAll(folder); err != nil {
		return err
	}
	return os.Rename(unpacked, folder)
}

// freePort asks the kernel for a loopback port that nobody uses.
func freePort() (uint32, error) {
	l, err := net.Listen("tcp", "localhost:0")
	if err != nil {
		return 0, err
	}
	_, text, err := net.SplitHostPort(l.Addr().String())
	if err != nil {
		return 0, errors.Join(err, l.Close())
	}
	port, err := strconv.ParseUint(text, 10, 16)
	return uint32(port), errors.Join(err, l.Close())
}
