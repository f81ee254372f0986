package repo

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"tankward/service/fault"
)

// errNoRow is what a lookup of one row gives when there is none; callers turn
// it into a fault that names the resource.
var errNoRow = pgx.ErrNoRows

// SQLSTATE codes that mean something to us.
const (
	uniqueViolation     = "23505"
	foreignKeyViolation = "23503"
	checkViolation      = "23514"
	lockNotAvailable    = "55P03"
	serializationFail   = "40001"
	deadlockDetected    = "40P01"
	queryCanceled       = "57014"
	tooManyConnections  = "53300"
	badText             = "22021"
	outOfRange          = "22003"
	dateOutOfRange      = "22008"
	untranslatable      = "22P05"
)

// translate is the one place where a driver's error becomes a fault; what it
// does not know stays internal.
func translate(op string, err error) error {
	if err == nil || fault.As(err) != nil {
		return err
	}
	var pg *pgconn.PgError
	if !errors.As(err, &pg) {
		if errors.Is(err, context.DeadlineExceeded) {
			return errors.Join(fault.Overloaded("The database did not answer in time. Try again in a moment."), err)
		}
		return fmt.Errorf("%s: %w", op, err)
	}
	switch pg.Code {
	case uniqueViolation:
		return errors.Join(fault.ConflictWith("This clashes with something that is stored already (%s).", readable(pg.ConstraintName)), err)
	case foreignKeyViolation:
		return errors.Join(fault.ConflictField("/"+column(pg.ConstraintName), "names something that does not exist or does not belong here"), err)
	case checkViolation:
		return errors.Join(fault.InvalidFields(fault.Field{Pointer: "", Message: "breaks the rule " + readable(pg.ConstraintName)}), err)
	case badText, untranslatable:
		return errors.Join(fault.InvalidFields(fault.Field{Pointer: "", Message: "a text holds a character that cannot be stored, such as NUL"}), err)
	case outOfRange, dateOutOfRange:
		return errors.Join(fault.InvalidFields(fault.Field{Pointer: "", Message: "a number or a date is too large to be stored"}), err)
	case tooManyConnections, queryCanceled, serializationFail, deadlockDetected:
		return errors.Join(fault.Overloaded("The database is busy. Try again in a moment."), err)
	}
	return fmt.Errorf("%s: %w", op, err)
}

// commitFault says what a failed commit means: without the database's own word for
// it nobody knows whether the change is stored.
func commitFault(err error) error {
	var pg *pgconn.PgError
	if errors.As(err, &pg) || errors.Is(err, pgx.ErrTxCommitRollback) {
		return fmt.Errorf("commit: %w", err)
	}
	return errors.Join(fault.Overloaded("The connection to the database broke while the change was being stored. "+
		"Repeat the request with the same id or Idempotency-Key: it is carried out once only."), fmt.Errorf("commit: %w", err))
}

// column gives the field a foreign key is about, from its constraint's name:
// table_org_id_[…_]column_fkey.
func column(constraint string) string {
	s := strings.TrimSuffix(constraint, "_fkey")
	if i := strings.LastIndex(s, "org_id_"); i >= 0 {
		s = s[i+len("org_id_"):]
	}
	s = strings.TrimPrefix(s, "site_id_")
	if s != "tank_id" {
		s = strings.TrimPrefix(s, "tank_id_")
	}
	return s
}

func readable(constraint string) string { return strings.ReplaceAll(constraint, "_", " ") }

func isCode(err error, codes ...string) bool {
	var pg *pgconn.PgError
	if !errors.As(err, &pg) {
		return false
	}
	return slices.Contains(codes, pg.Code)
}
