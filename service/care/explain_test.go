package care

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestExplain(t *testing.T) {
	t.Parallel()
	last := did("03-02", Done)
	kept := closedOn(lifeSupport(week23(last)), "03-09", "03-09", "03-03")
	for _, c := range []struct {
		name    string
		history History
		day     string
		want    string
	}{
		{
			"done early", week23(last, did("03-07", Done)), "03-12",
			"The water change is due 7 days after it was last done or skipped (Saturday 7 March). Due on Saturday 14 March; it may be done from Thursday 12 March to Tuesday 17 March.",
		},
		{
			"the first", week23(), "03-02",
			"The first water change is due on Monday 2 March, when this routine begins. Due on Monday 2 March; it may be done from Monday 2 March to Thursday 5 March.",
		},
		{
			"moved by a closure", closedOn(week23(last), "03-09", "03-09", "03-03"), "03-08",
			"The water change is due 7 days after it was last done or skipped (Monday 2 March). Due on Sunday 8 March; it may be done from Saturday 7 March to Thursday 12 March. Monday 9 March is closed, so it moves to Sunday 8 March.",
		},
		{
			"a closure entered too late", closedOn(week23(last), "03-09", "03-09", "03-13"), "03-13",
			"The water change is due 7 days after it was last done or skipped (Monday 2 March). Due on Monday 9 March; it may be done from Saturday 7 March to Thursday 12 March. Monday 9 March is closed, but that was entered on Friday 13 March, too late to move the work. Late since Friday 13 March.",
		},
		{
			"for the keeper", kept, "03-09",
			"The water change is due 7 days after it was last done or skipped (Monday 2 March). Due on Monday 9 March; it may be done from Saturday 7 March to Thursday 12 March. Monday 9 March is closed and this cannot wait: it is for the keeper.",
		},
		{
			"no open day", shutWeek(week23(last)), "03-09",
			"The water change is due 7 days after it was last done or skipped (Monday 2 March). Monday 9 March is closed and no open day follows: agree on a day with the customer.",
		},
		{
			"merged", history("02-28", weeklyOn("FREQ=WEEKLY;BYDAY=MO"), 2, 3, partly("03-03", 60)), "03-07",
			"The water change is due every Monday; this one on Monday 9 March. Due on Monday 9 March; it may be done from Saturday 7 March to Thursday 12 March. The one of Monday 2 March was not done in its window, which ended on Thursday 5 March; this one takes its place. 60 % of the one of Monday 2 March was done; that does not count here. Late since Friday 6 March.",
		},
		{
			"tolerances that cut each other", history("03-02", weeklyOn("FREQ=WEEKLY;BYDAY=MO,WE"), 3, 5, did("03-02", Done)), "03-04",
			"The water change is due every Monday and Wednesday; this one on Wednesday 4 March. Due on Wednesday 4 March; it may be done from Wednesday 4 March to Sunday 8 March (not sooner, because the window before ends on Tuesday 3 March; not later, because the next is due on Monday 9 March).",
		},
		{
			"a part done, no access", week23(last, partly("03-09", 60), did("03-10", NoAccess)), "03-10",
			"The water change is due 7 days after it was last done or skipped (Monday 2 March). Due on Monday 9 March; it may be done from Saturday 7 March to Thursday 12 March. 60 % is done, 40 % is left. No access once, last on Tuesday 10 March.",
		},
		{
			"joined, left out", joinedTo(mondays(last, did("03-09", Done)), last), "03-09",
			"The filter sock change goes with the work it follows, the one of Monday 9 March. Due on Monday 9 March; it may be done from Sunday 8 March to Tuesday 10 March. The work it follows was closed on Monday 9 March without it, so it is due that day.",
		},
		{
			"resumed", pausedOn(history("03-02", every(7, Days), 0, 3, last), "03-14", "03-20"), "03-20",
			"The water change is due 7 days after it was last done or skipped (Monday 2 March). A pause ended on Friday 20 March; the work is due then. Due on Friday 20 March; it may be done from Friday 20 March to Monday 23 March.",
		},
		{
			"the next step of a ramp", rampExample(), "03-09",
			"Set the light to 62.5 %, 7 days after the last step (Monday 2 March); it stands at 50 %. Due on Monday 9 March; it may be done from Monday 9 March to Wednesday 11 March.",
		},
		{
			"a step back", rampExample(), "04-03",
			"Lower the light to 75 %: a step back was asked for on Friday 3 April. Due on Friday 3 April; it may be done from Friday 3 April to Sunday 5 April.",
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			open := OpenOn(c.history, d(c.day))
			if len(open) != 1 {
				t.Fatalf("%d items open, want one", len(open))
			}
			if diff := cmp.Diff(c.want, Explain(open[0], c.history.Routine.Kind)); diff != "" {
				t.Errorf("explanation (-want +got):\n%s", diff)
			}
		})
	}
}

func TestRuleWords(t *testing.T) {
	t.Parallel()
	for rule, want := range map[string]string{
		"FREQ=DAILY":                                    "every day",
		"FREQ=DAILY;INTERVAL=3":                         "every 3 days",
		"FREQ=WEEKLY;BYDAY=MO,TH,SU":                    "every Monday, Thursday and Sunday",
		"FREQ=WEEKLY;INTERVAL=2;BYDAY=MO":               "every 2 weeks on Monday",
		"FREQ=WEEKLY":                                   "every week",
		"FREQ=MONTHLY;BYDAY=-1FR":                       "on the last Friday of each month",
		"FREQ=MONTHLY;BYMONTHDAY=1,22,-1;INTERVAL=2":    "on the last day, the 1st and the 22nd of every 2 months",
		"FREQ=MONTHLY;BYDAY=MO;BYSETPOS=-1":             "by its calendar",
		"FREQ=YEARLY;BYMONTH=3;BYDAY=1SU":               "by its calendar",
		"FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYMONTH=2,3": "by its calendar",
	} {
		if got := ruleWords(rule); got != want {
			t.Errorf("%s: %q, want %q", rule, got, want)
		}
	}
}
