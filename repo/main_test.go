package repo

import (
	"testing"

	"tankward/repo/pgtest"
)

func TestMain(m *testing.M) {
	pgtest.Main(m, Migrate)
}
