package repo

import (
	"context"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/tx"
	"tankward/service/work"
)

type kitRoutineRow struct {
	ID       uuid.UUID
	Name     string
	WorkKind string
}

func (r kitRoutineRow) routine() work.KitRoutine {
	return work.KitRoutine{ID: r.ID, Name: r.Name, WorkKind: care.WorkKind(r.WorkKind)}
}

type kindRow struct{ Kind string }

// readKit gives a tank with what a ready set is fitted to.
func readKit(ctx context.Context, read run, org, tank uuid.UUID) (work.Kit, error) {
	var kit work.Kit
	var tanks []fleet.Tank
	err := read(ctx,
		query{`
	SELECT` + tankColumns + `
	FROM tank
	WHERE org_id = $1 AND id = $2`, []any{org, tank}, into(&tanks, tankRow.tank)},
		query{`
	SELECT kind
	FROM equipment
	WHERE org_id = $1 AND tank_id = $2 AND archived_at IS NULL
	ORDER BY id`, []any{org, tank}, into(&kit.Equipment, func(r kindRow) string { return r.Kind })},
		query{`
	SELECT
		id,
		name,
		work_kind
	FROM routine
	WHERE org_id = $1 AND tank_id = $2 AND archived_at IS NULL
	ORDER BY id`, []any{org, tank}, into(&kit.Routines, kitRoutineRow.routine)})
	if err != nil {
		return kit, err
	}
	if len(tanks) == 0 {
		return kit, fault.NoSuch("tank", tank)
	}
	kit.Tank = tanks[0]
	return kit, nil
}

// Kit implements work.Tx.
func (t *Tx) Kit(ctx context.Context, tank uuid.UUID) (work.Kit, error) {
	return readKit(ctx, t.read, t.org, tank)
}

// Kit implements work.Reads.
func (db *DB) Kit(ctx context.Context, s tx.Scope, tank uuid.UUID) (work.Kit, error) {
	return readKit(ctx, db.reader(s), s.Org, tank)
}
