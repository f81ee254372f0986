package care

// The facts of an item in the order in which they lead to its dates. Which
// fields are set stands beside each; from them alone the dates follow.
const (
	// Where the nominal due comes from.

	// FactFirstDay: the routine begins on Day.
	FactFirstDay FactKind = "first_day"
	// FactLastDone: the work was last done, or skipped, on Day.
	FactLastDone FactKind = "last_done"
	// FactInterval: it is due Every Unit after that, not before the first day.
	FactInterval FactKind = "interval"
	// FactRule: the rule Text, read from the first day Day on, gives To.
	FactRule FactKind = "rule"
	// FactOnce: it is due once, on Day.
	FactOnce FactKind = "once"
	// FactRevised: the routine was changed on Day; nothing is due before.
	FactRevised FactKind = "revised"
	// FactResumed: the pause from Day ended on To; the work is due not before.
	FactResumed FactKind = "resumed"
	// FactInactive: Day lies in an inactive month or a pause; To is the first
	// active day after it and takes its place.
	FactInactive FactKind = "inactive"
	// FactNewDue: the work was skipped; Day was named as the next due day.
	FactNewDue FactKind = "new_due"
	// FactOrdinal: it is a further item of the same day, with the ordinal Count.
	FactOrdinal FactKind = "ordinal"

	// The window.

	// FactTolerance: Early days before to Late days after.
	FactTolerance FactKind = "tolerance"
	// FactCutByNext: the next is due on Day; the window ends the day before.
	FactCutByNext FactKind = "cut_by_next"
	// FactCutByPrevious: the previous window ends on Day; this begins after it.
	FactCutByPrevious FactKind = "cut_by_previous"
	// FactNotBeforeFirst: the window begins not before the first day, Day.
	FactNotBeforeFirst FactKind = "not_before_first_day"
	// FactNotBeforeDone: the window begins not before Day, the day after it was last done.
	FactNotBeforeDone FactKind = "not_before_last_done"
	// FactNotBeforeResume: the window begins not before the resume day, Day.
	FactNotBeforeResume FactKind = "not_before_resume"
	// FactNotBeforeActive: the window begins not before the first active day, Day.
	FactNotBeforeActive FactKind = "not_before_active"
	// FactNotBeforeRevised: the window begins not before the change of Day.
	FactNotBeforeRevised FactKind = "not_before_revised"

	// Closures.

	// FactClosed: the day it is due, Day, is closed, as was known on Entered;
	// To is the day that takes its place. Later than the window, it ends it.
	FactClosed FactKind = "closed"
	// FactClosedTooLate: Day is closed, but that was entered on Entered, after
	// the window's end: nothing moves.
	FactClosedTooLate FactKind = "closed_too_late"
	// FactBlocked: Day is closed and no open day could be found.
	FactBlocked FactKind = "blocked"
	// FactForKeeper: Day is closed and the work cannot wait: it is the keeper's.
	FactForKeeper FactKind = "for_keeper"

	// Joined work.

	// FactParentItem: it follows Routine's item due nominally on Day.
	FactParentItem FactKind = "parent_item"
	// FactParentWindow: the window of that item, Day to To.
	FactParentWindow FactKind = "parent_window"
	// FactParentDue: the day that item is due, Day.
	FactParentDue FactKind = "parent_due"
	// FactParentBlocked: that item is blocked.
	FactParentBlocked FactKind = "parent_blocked"
	// FactParentClosed: that item was closed on Day without this work: it is
	// due that day, with Late days more.
	FactParentClosed FactKind = "parent_closed"
	// FactCutByParent: Routine's next window begins on Day; this ends before.
	FactCutByParent FactKind = "cut_by_parent"
	// FactGap: Early to Late days after Routine's work was closed on Day.
	FactGap FactKind = "gap"

	// FactGapWindow: the window begins on the day it is due and ends on Day.
	FactGapWindow FactKind = "gap_window"

	// Light ramps.

	// FactLevelSet: the light was set to Percent; the step before counts from Day.
	FactLevelSet FactKind = "level_set"
	// FactRampResumed: the ramp went on on Day.
	FactRampResumed FactKind = "ramp_resumed"
	// FactStep: the next level, Percent, is due Every days after that.
	FactStep FactKind = "step"
	// FactStepBack: on Day a step back to Percent was asked for.
	FactStepBack FactKind = "step_back"

	// What happened since.

	// FactOlder: older work, nominally due on Day, whose window ended on To, was
	// not done; this takes its place and is late since the day after To.
	FactOlder FactKind = "older"
	// FactShareLost: Percent of the item of Day was done; it counts no longer.
	FactShareLost FactKind = "share_lost"
	// FactShare: Percent has been done, the last of it on Day.
	FactShare FactKind = "share"
	// FactNoAccess: Count times there was no access, the last time on Day.
	FactNoAccess FactKind = "no_access"
)
