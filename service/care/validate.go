package care

import (
	"github.com/google/uuid"

	"tankward/service/fault"
)

// Validate gives what is wrong with a routine and one of its revisions; the
// pointers are those of the routine resource.
func Validate(routine Routine, rev Revision) []fault.Field { panic("care: Validate is not built yet") }

// Link is what JoinProblem needs of another routine of the organisation.
type Link struct {
	Tank   uuid.UUID
	Parent uuid.UUID // uuid.Nil when it is not joined
}

// JoinProblem says what is wrong when the routine of a tank follows a parent:
// an unknown parent, another tank, a loop. It gives nil when all is well.
func JoinProblem(routine, tank, parent uuid.UUID, links map[uuid.UUID]Link) *fault.Field {
	panic("care: JoinProblem is not built yet")
}
