package main_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

const mostLines = 600

// root is the repository's folder.
func root(t *testing.T) string {
	t.Helper()
	return filepath.Dir(strings.TrimSpace(string(command(t, "", "go", "env", "GOMOD"))))
}

func command(t *testing.T, dir, name string, args ...string) []byte {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), name, args...)
	cmd.Dir = dir
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, stderr.String())
	}
	return out
}

type listed struct {
	ImportPath string
	Deps       []string // everything it is built from, not its tests
}

func packages(t *testing.T) []listed {
	t.Helper()
	out := command(t, root(t), "go", "list", "-json=ImportPath,Deps", "./...")
	var all []listed
	for dec := json.NewDecoder(bytes.NewReader(out)); ; {
		var p listed
		err := dec.Decode(&p)
		if errors.Is(err, io.EOF) {
			return all
		}
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
}

// within says whether path is the package or one below it.
func within(path, pkg string) bool { return path == pkg || strings.HasPrefix(path, pkg+"/") }

func withinAny(path string, pkgs []string) bool {
	return slices.ContainsFunc(pkgs, func(pkg string) bool { return within(path, pkg) })
}

var (
	web      = []string{"net/http", "github.com/labstack/echo/v4", "tankward/api"}
	database = []string{"database/sql", "github.com/jackc/pgx/v5", "tankward/repo", "tankward/migrations"}
	testOnly = []string{"tankward/repo/pgtest", "github.com/testcontainers/testcontainers-go", "pgregory.net/rapid"}
)

// layers says which packages may never be built from which.
var layers = map[string]struct {
	of    []string // these and all below
	but   []string // except these and all below
	never []string
}{
	"service knows neither the web nor the database": {
		of:    []string{"tankward/service"},
		never: append(append([]string{"tankward/cmd"}, web...), database...),
	},
	"sciences don't know the commands that join them": {
		of: []string{
			"tankward/service/care", "tankward/service/water", "tankward/service/light", "tankward/service/stock",
		},
		never: []string{"tankward/service/work"},
	},
	"api knows no database": {
		of:    []string{"tankward/api"},
		never: append([]string{"tankward/cmd"}, database...),
	},
	"repo knows no api": {
		of:    []string{"tankward/repo"},
		never: []string{"tankward/cmd", "tankward/api", "github.com/labstack/echo/v4"},
	},
	"the program holds no test code": {
		of:    []string{"tankward"},
		but:   []string{"tankward/repo/pgtest"},
		never: testOnly,
	},
}

func TestLayers(t *testing.T) {
	t.Parallel()
	all := packages(t)
	for name, layer := range layers {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			for _, p := range all {
				if !withinAny(p.ImportPath, layer.of) || withinAny(p.ImportPath, layer.but) {
					continue
				}
				for _, dep := range p.Deps {
					// The standard database/sql/driver holds only types.
					if withinAny(dep, layer.never) && dep != "database/sql/driver" {
						t.Errorf("%s is built from %s", p.ImportPath, dep)
					}
				}
			}
		})
	}
}

// files lists what git knows or would add, so that ignored files don't count.
func files(t *testing.T) []string {
	t.Helper()
	out := command(t, root(t), "git", "ls-files", "-z", "--cached", "--others", "--exclude-standard")
	names := strings.Split(strings.TrimRight(string(out), "\x00"), "\x00")
	return slices.DeleteFunc(names, func(name string) bool {
		_, err := os.Stat(filepath.Join(root(t), name))
		return errors.Is(err, os.ErrNotExist) // deleted, not yet committed
	})
}

// TestLayerFolders keeps the rooms of the house to those that its map shows.
func TestLayerFolders(t *testing.T) {
	t.Parallel()
	allowed := []string{".ci", "api", "cmd", "deploy", "migrations", "openapi", "repo", "service", "testdata"}
	for _, name := range files(t) {
		folder, _, found := strings.Cut(name, "/")
		if found && !slices.Contains(allowed, folder) {
			t.Errorf("%s: top-level folders are %v and no others", name, allowed)
		}
	}
}

type source struct {
	name string // slashes, from the root
	text []byte
	tree *ast.File
	set  *token.FileSet
}

// handWritten parses the Go files that people write.
func handWritten(t *testing.T) []source {
	t.Helper()
	var all []source
	for _, name := range files(t) {
		if filepath.Ext(name) != ".go" {
			continue
		}
		text, err := os.ReadFile(filepath.Join(root(t), name))
		if err != nil {
			t.Fatal(err)
		}
		set := token.NewFileSet()
		tree, err := parser.ParseFile(set, name, text, parser.ParseComments)
		if err != nil {
			t.Fatal(err)
		}
		if !ast.IsGenerated(tree) {
			all = append(all, source{name: name, text: text, tree: tree, set: set})
		}
	}
	return all
}

func TestLayerFileLength(t *testing.T) {
	t.Parallel()
	for _, s := range handWritten(t) {
		lines := 0
		for scan := bufio.NewScanner(bytes.NewReader(s.text)); scan.Scan(); {
			lines++
		}
		if lines > mostLines {
			t.Errorf("%s has %d lines, at most %d", s.name, lines, mostLines)
		}
	}
}

// TestLayerTags: a request body or a row never decodes into a type of service.
func TestLayerTags(t *testing.T) {
	t.Parallel()
	for _, s := range handWritten(t) {
		if !within(s.name, "service") {
			continue
		}
		ast.Inspect(s.tree, func(n ast.Node) bool {
			field, ok := n.(*ast.Field)
			if ok && field.Tag != nil && tagPattern.MatchString(field.Tag.Value) {
				t.Errorf("%s: tag %s", s.set.Position(field.Pos()), field.Tag.Value)
			}
			return true
		})
	}
}

var (
	tagPattern  = regexp.MustCompile(`\b(json|db|query|param|form):`)
	starPattern = regexp.MustCompile(`(?i)\b(SELECT|RETURNING)\s+(\w+\.)?\*`)
)

// TestLayerColumns: a query names its columns, so that a new one changes nothing
// that is there.
func TestLayerColumns(t *testing.T) {
	t.Parallel()
	for _, s := range handWritten(t) {
		if strings.HasSuffix(s.name, "_test.go") {
			continue
		}
		ast.Inspect(s.tree, func(n ast.Node) bool {
			text, ok := n.(*ast.BasicLit)
			if ok && text.Kind == token.STRING && starPattern.MatchString(text.Value) {
				t.Errorf("%s: a query that does not name its columns", s.set.Position(text.Pos()))
			}
			return true
		})
	}
}

// TestLayerMigrations: exactly two files a number, up and down, without a gap.
func TestLayerMigrations(t *testing.T) {
	t.Parallel()
	found := map[string]int{}
	for _, name := range files(t) {
		if within(name, "migrations") && filepath.Ext(name) == ".sql" && !strings.HasSuffix(name, "schema.sql") {
			found[filepath.Base(name)]++
		}
	}
	names := make([]string, 0, len(found))
	for name := range found {
		names = append(names, name)
	}
	slices.Sort(names)
	if len(names) == 0 {
		t.Fatal("no migration found")
	}
	for i, name := range names {
		number := fmt.Sprintf("%06d_", i/2+1)
		direction := []string{".down.sql", ".up.sql"}[i%2]
		if !strings.HasPrefix(name, number) || !strings.HasSuffix(name, direction) {
			t.Fatalf("%s: here belongs %s…%s", name, number, direction)
		}
	}
}
