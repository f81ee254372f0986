//go:build unix

package localpg

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"hash/crc32"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
)

// A repository on loopback serves an archive whose programs are this machine's.
// Everything else is real: fetching, checking, unpacking, the trial, our cluster.
func TestDownload(t *testing.T) {
	t.Parallel()
	machine, err := onMachine(t.Context(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	jar := archive(t, machine.dir)
	var fetched atomic.Int64
	repository := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body := jar
		if strings.HasSuffix(r.URL.Path, ".sha256") {
			sum := sha256.Sum256(jar)
			body = []byte(hex.EncodeToString(sum[:]))
		} else {
			fetched.Add(1)
		}
		if _, err := w.Write(body); err != nil {
			t.Error(err)
		}
	}))
	t.Cleanup(repository.Close)
	acc, err := serverAccount()
	if err != nil {
		t.Fatal(err)
	}
	dir := folder(t)
	own := filepath.Join(dir, "own")
	if err := acc.give(own); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		out := runAs(t, acc, dir, "download", own, repository.URL)
		if want := filepath.Join(own, downloadFolderName, "bin"); !strings.Contains(out, want) {
			t.Errorf("the child said %q, want binaries in %s", out, want)
		}
	}
	if fetched.Load() != 1 {
		t.Errorf("fetched %d times, want once", fetched.Load())
	}
	if left, err := filepath.Glob(filepath.Join(own, "download-*")); err != nil || len(left) != 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// runAs runs a copy of this test binary, which others can reach, as acc.
func runAs(t *testing.T, acc account, dir, kind string, args ...string) string {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	// Copied by another process: a descriptor open for writing here could pass to
	// a child of a parallel test and keep the program from being run.
	path := filepath.Join(dir, "program")
	if out, err := exec.CommandContext(t.Context(), "cp", "-f", self, path).CombinedOutput(); err != nil {
		t.Fatalf("copy: %v\n%s", err, out)
	}
	if err := os.Chmod(path, 0o755); err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), path, args...)
	cmd.Dir = "/"
	cmd.Env = append(os.Environ(), childEnv+"="+kind)
	cmd.SysProcAttr = acc.sysProcAttr()
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("the child: %v\n%s", err, out)
	}
	return string(out)
}

// archive is a jar with an xz-packed tar, in which each program hands over to
// the one in bin.
func archive(t *testing.T, bin string) []byte {
	t.Helper()
	var packed bytes.Buffer
	w := tar.NewWriter(&packed)
	for _, name := range []string{"initdb", "pg_ctl", "postgres"} {
		text := fmt.Sprintf("#!/bin/sh\nexec %s/%s \"$@\"\n", bin, name)
		header := &tar.Header{Name: "bin/" + name, Mode: 0o755, Size: int64(len(text)), Typeflag: tar.TypeReg}
		if err := w.WriteHeader(header); err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(text)); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	var jar bytes.Buffer
	z := zip.NewWriter(&jar)
	entry, err := z.Create("postgres-any.txz")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := entry.Write(storeXZ(packed.Bytes())); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return jar.Bytes()
}

// storeXZ writes the .xz format (version 1.0.4 of its specification) with chunks
// that are stored, not compressed: one stream of one block.
func storeXZ(data []byte) []byte {
	const most = 1 << 16
	flags := []byte{0, 1} // check: CRC32
	out := append([]byte{0xfd, '7', 'z', 'X', 'Z', 0}, flags...)
	out = appendCRC(out, flags)
	header := []byte{2, 0, 0x21, 1, 0x10, 0, 0, 0} // 12 bytes with its CRC; one filter, LZMA2
	block := appendCRC(header, header)
	control := byte(1) // stored, dictionary reset
	for rest := data; len(rest) > 0; control = 2 {
		chunk := rest[:min(most, len(rest))]
		rest = rest[len(chunk):]
		block = append(block, control)
		block = binary.BigEndian.AppendUint16(block, uint16(len(chunk)-1))
		block = append(block, chunk...)
	}
	block = append(block, 0)
	unpadded := len(block) + crc32.Size
	block = appendCRC(pad(block), data)
	index := binary.AppendUvarint([]byte{0, 1}, uint64(unpadded))
	index = pad(binary.AppendUvarint(index, uint64(len(data))))
	index = appendCRC(index, index)
	footer := binary.LittleEndian.AppendUint32(nil, uint32(len(index)/4-1))
	footer = append(footer, flags...)
	out = append(append(out, block...), index...)
	return append(append(appendCRC(out, footer), footer...), 'Y', 'Z')
}

func pad(b []byte) []byte { return append(b, make([]byte, (4-len(b)%4)%4)...) }

func appendCRC(to, of []byte) []byte {
	return binary.LittleEndian.AppendUint32(to, crc32.ChecksumIEEE(of))
}
