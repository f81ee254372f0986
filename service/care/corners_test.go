package care

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

// lifeSupport makes the work one that cannot wait.
func lifeSupport(h History) History {
	h.Routine.Class = LifeSupport
	return h
}

func newDue(day, next string) Record {
	return Record{DoneOn: d(day), Result: Skipped, NewDueOn: d(next)}
}

func revised(h History, from string, c Cadence, early, late int) History {
	h.Revisions = append(h.Revisions, Revision{From: d(from), Performer: Technician, Cadence: c, DaysEarly: early, DaysLate: late})
	return h
}

// shutWeek leaves no weekday with access.
func shutWeek(h History) History {
	h.Access.NoAccess, h.Access.NoAccessEntered = 0xfe, d("03-03")
	return h
}

func byShop(h History) History {
	h.Revisions[0].Performer = Shop
	return h
}

// Rules that the worked examples do not show.
func TestCorners(t *testing.T) {
	t.Parallel()
	done := did("03-02", Done)
	late := did("03-12", Done)
	monday := weeklyOn("FREQ=WEEKLY;BYDAY=MO")
	feeding := closedOn(history("03-02", every(1, Days), 0, 0, done), "03-03", "03-05", "03-01")
	feeding.Routine.Kind = Feeding
	days := joinedTo(mondays(done, did("03-09", Done)), did("03-06", Done))
	days.Revisions[0].Cadence.Gap, days.Revisions[0].DaysLate = Gap{Unit: Days, Least: 2, Greatest: 4}, 0
	for _, ex := range []example{
		{"windows are cut on nominal days", history("03-02", weeklyOn("FREQ=WEEKLY;BYDAY=MO,WE"), 3, 5), map[string]string{
			"03-02": "03-02: 03-02 to 03-03, due 03-02, due",
			"03-04": "03-04: 03-04 to 03-08, due 03-04, overdue since 03-04",
		}},
		{"work before the first day", week23(did("02-27", Done)), map[string]string{
			"03-02": "", "03-04": "03-06: 03-04 to 03-09, due 03-06, early",
		}},
		{"life support is for the keeper, not moved", closedOn(lifeSupport(week23(done)), "03-09", "03-09", "03-03"), map[string]string{
			"03-09": "03-09: 03-07 to 03-12, due 03-09, due",
		}},
		{"daily feeding is for the keeper, not moved", feeding, map[string]string{
			"03-03": "03-03: 03-03 to 03-03, due 03-03, due",
		}},
		{"shop work ignores closures", closedOn(byShop(week23(done)), "03-09", "03-09", "03-03"), map[string]string{
			"03-09": "03-09: 03-07 to 03-12, due 03-09, due",
		}},
		{"a closure entered after the window moves nothing", closedOn(week23(done), "03-09", "03-09", "03-13"), map[string]string{
			"03-09": "03-09: 03-07 to 03-12, due 03-09, due",
		}},
		{"closed for ever from the due day on", closedOn(week23(done), "03-09", "9999-01-01", "03-03"), map[string]string{
			"03-13": "03-09: 03-07 to 03-12, due 03-08, overdue since 03-13",
		}},
		{"blocked is never late", shutWeek(week23(done)), map[string]string{
			"03-07": "03-09: 03-07 to 03-12, due 03-09, blocked",
			"04-13": "03-09: 03-07 to 03-12, due 03-09, blocked",
		}},
		{"a closure makes one item of two", closedOn(history("03-02", monday, 1, 1, done), "03-08", "03-15", "03-01"), map[string]string{
			"03-09": "", // moved to 16 March, where the next begins on the 15th
			"03-16": "03-16: 03-15 to 03-17, due 03-16, due",
		}},
		{"skipped life support names its next day", lifeSupport(week23(done, newDue("03-09", "03-10"))), map[string]string{
			"03-09": "",
			"03-10": "03-10: 03-10 to 03-13, due 03-10, due",
		}},
		{"the next day is the same one", lifeSupport(week23(done, newDue("03-09", "03-09"))), map[string]string{
			"03-09": "2. of 03-09: 03-09 to 03-12, due 03-09, due",
		}},
		{"a skip of another item counts for nothing", week23(done, names(did("03-09", Skipped), "03-02")), map[string]string{
			"03-09": "03-09: 03-07 to 03-12, due 03-09, due",
		}},
		{"done counts for the open item, whatever it names", week23(done, names(did("03-08", Done), "03-02")), map[string]string{
			"03-12": "", "03-13": "03-15: 03-13 to 03-18, due 03-15, early",
		}},
		{"an extra part counts only when it is the whole", week23(done, partly("03-04", 60)), map[string]string{
			"03-09": "03-09: 03-07 to 03-12, due 03-09, due",
		}},
		{"the open item keeps its dates when the routine is changed", revised(week23(done, late), "03-08", every(3, Days), 0, 0), map[string]string{
			"03-09": "03-09: 03-07 to 03-12, due 03-09, due",
			"03-15": "03-15: 03-15 to 03-15, due 03-15, due",
		}},
		{"a change never counts back", revised(week23(done), "03-06", every(2, Days), 1, 0), map[string]string{
			"03-05": "",
			"03-06": "03-06: 03-06 to 03-06, due 03-06, due",
		}},
		{"joined by days", days, map[string]string{
			"03-02": "03-04: 03-04 to 03-06, due 03-04, waiting",
			"03-04": "03-04: 03-04 to 03-06, due 03-04, due",
			"03-06": "", "03-08": "",
			"03-10": "03-11: 03-11 to 03-13, due 03-11, waiting",
			"03-14": "03-11: 03-11 to 03-13, due 03-11, overdue since 03-14",
		}},
		{"a pause makes an item wait that is due after it", pausedOn(history("03-02", every(20, Days), 10, 1, done), "03-14", "03-18"), map[string]string{
			"03-13": "03-22: 03-12 to 03-23, due 03-22, early",
			"03-15": "",
			"03-18": "03-22: 03-18 to 03-23, due 03-22, early",
		}},
	} {
		t.Run(ex.name, func(t *testing.T) {
			t.Parallel()
			for day, want := range ex.open {
				got := ""
				for _, it := range OpenOn(ex.history, d(day)) {
					got += line(it)
				}
				if diff := cmp.Diff(want, got); diff != "" {
					t.Errorf("open on %s (-want +got):\n%s", day, diff)
				}
			}
		})
	}
}

// Target feeding, water change, filter sock: each link follows the one before.
func TestChainsGoPairByPair(t *testing.T) {
	t.Parallel()
	change := joinedTo(mondays(did("03-02", Done), did("03-09", Done)), did("03-02", Done), did("03-10", Done))
	sock := joinedTo(change, did("03-02", Done))
	sock.Routine.ID, sock.Records[0].ID = testID(1002), testID(201)
	for day, want := range map[string]string{
		"03-08": "03-09: 03-08 to 03-10, due 03-09, early",
		"03-10": "03-09: 03-08 to 03-11, due 03-10, due", // the water change was done on the 10th
		"03-12": "03-09: 03-08 to 03-11, due 03-10, overdue since 03-12",
	} {
		got := ""
		for _, it := range OpenOn(sock, d(day)) {
			got += line(it)
		}
		if got != want {
			t.Errorf("the sock on %s: %q, want %q", day, got, want)
		}
	}
	settled := Settle(sock)
	if n := len(settled.Closes); n != 1 {
		t.Errorf("%d closed socks, want that of 2 March: %v", n, settled.Closes)
	}
}

func TestSettleTellsWhatRecordsCountFor(t *testing.T) {
	t.Parallel()
	h := week23(did("03-02", Done), names(did("03-09", Done), "03-09"), names(did("03-10", Done), "03-09"), did("03-14", Skipped), did("03-15", Skipped), did("03-16", Done))
	first, second := Identity{NominalDue: d("03-02")}, Identity{NominalDue: d("03-09")}
	third := Identity{NominalDue: d("03-17")}
	want := Settled{
		Closes: []Close{
			{first, testID(1), d("03-02"), DoneState},
			{second, testID(2), d("03-09"), DoneState},
			{third, testID(6), d("03-16"), DoneState}, // done after all, a day after it was skipped
		},
		Counted: []Counted{
			{RecordID: testID(1), For: &first},
			{RecordID: testID(2), For: &second},
			{RecordID: testID(3), For: &second, Extra: true, ClosedBy: testID(2)},
			{RecordID: testID(4), For: &second, Extra: true, ClosedBy: testID(2)}, // before the window
			{RecordID: testID(5), For: &third, Extra: true, ClosedBy: testID(6)},
			{RecordID: testID(6), For: &third},
		},
	}
	got := Settle(h)
	got.Stored = Stored{}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("settled (-want +got):\n%s", diff)
	}
}

func TestStoredIsTheOldestUnclosedItem(t *testing.T) {
	t.Parallel()
	h := history("02-28", weeklyOn("FREQ=WEEKLY;BYDAY=MO"), 2, 3)
	stored := Settle(h).Stored
	if stored.Item.NominalDue != d("03-02") || stored.NextEarliest != d("03-07") || stored.LateFrom != d("03-06") {
		t.Errorf("stored %v, next %v, late %v; want the item of 2 March until 7 March, late from 6 March", stored.Item.Identity, stored.NextEarliest, stored.LateFrom)
	}
	if _, ok := stored.On(d("03-07")); ok {
		t.Error("on 7 March the next item opens: a fold is needed")
	}
	// A record on the newer item changes nothing about which is the oldest.
	h = history("02-28", weeklyOn("FREQ=WEEKLY;BYDAY=MO"), 2, 3, did("03-08", NoAccess))
	if stored := Settle(h).Stored; stored.Item.NominalDue != d("03-02") || stored.NextEarliest != d("03-07") {
		t.Errorf("stored %v until %v, want that of 2 March until 7 March", stored.Item.Identity, stored.NextEarliest)
	}
	h = history("03-02", Cadence{Kind: Once, On: d("03-02")}, 0, 0, did("03-02", Done))
	if stored := Settle(h).Stored; !stored.None || stored.NextEarliest != MaxDay {
		t.Errorf("stored %+v after the only date, want nothing", stored)
	}
}

// Worked example 29, as far as single days go: late work is planned today, then
// every 7 days.
func TestPlannedOn(t *testing.T) {
	t.Parallel()
	h := week23(did("03-02", Done))
	var planned []string
	for day := d("03-14"); day <= d("04-04"); day++ {
		for range PlannedOn(h, d("03-14"), day) {
			planned = append(planned, day.String()[5:])
		}
	}
	if diff := cmp.Diff([]string{"03-14", "03-21", "03-28", "04-04"}, planned); diff != "" {
		t.Errorf("planned (-want +got):\n%s", diff)
	}
	child := joinedTo(mondays(did("03-02", Done)), did("03-02", Done))
	if got := PlannedOn(child, d("03-03"), d("03-16")); len(got) != 1 || got[0].NominalDue != d("03-16") {
		t.Errorf("joined work planned on 16 March: %v, want the item of that day", got)
	}
}
