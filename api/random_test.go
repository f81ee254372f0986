package api_test

import (
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"tankward/service/care"
	"tankward/service/tx"
)

// randomSeed is printed, so that a failure can be had again with TANKWARD_RANDOM_SEED.
func randomSeed(t *testing.T) uint64 {
	t.Helper()
	if s := os.Getenv("TANKWARD_RANDOM_SEED"); s != "" {
		n, err := strconv.ParseUint(s, 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	return rand.Uint64()
}

// divided scales a count of random cases by TANKWARD_RANDOM_DIVISOR.
func divided(t *testing.T, n int) int {
	t.Helper()
	by := 1
	if s := os.Getenv("TANKWARD_RANDOM_DIVISOR"); s != "" {
		v, err := strconv.Atoi(s)
		if err != nil || v < 1 {
			t.Fatalf("TANKWARD_RANDOM_DIVISOR=%q is not a number above 0", s)
		}
		by = v
	}
	return max(1, n/by)
}

// life is a random sequence of what people do to one organisation.
type life struct {
	*rig
	dice                                                 *rand.Rand
	sites, tanks, routines, ramps, records, pauses, shut []string
}

func (l *life) pick(from []string) string { return from[l.dice.IntN(len(from))] }

func (l *life) day(around int) string {
	today := care.DayOf(time.UnixMicro(l.now.Load()).UTC())
	return (today + care.Day(l.dice.IntN(2*around+1)-around)).String()
}

// try sends a request that may be refused by a rule, but never fails otherwise.
func (l *life) try(method, path string, body any) answer {
	l.t.Helper()
	a := l.do(tx.Owner, method, path, body)
	if a.code >= 500 || a.code == 401 || a.code == 403 || a.code == 400 {
		l.t.Fatalf("%s %s %v: %d %s", method, path, body, a.code, a.raw)
	}
	return a
}

func (l *life) cadence(tank string) map[string]any {
	switch l.dice.IntN(6) {
	case 0, 1:
		return map[string]any{"kind": "interval", "every": 1 + l.dice.IntN(20), "unit": []string{"day", "day", "week", "month"}[l.dice.IntN(4)]}
	case 2, 3:
		rules := []string{
			"FREQ=WEEKLY;BYDAY=MO", "FREQ=WEEKLY;INTERVAL=2;BYDAY=TU,FR", "FREQ=MONTHLY;BYMONTHDAY=-1",
			"FREQ=DAILY;INTERVAL=3", "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-1", "FREQ=WEEKLY;BYDAY=WE;COUNT=9",
		}
		return map[string]any{"kind": "calendar", "rule": rules[l.dice.IntN(len(rules))]}
	case 4:
		return map[string]any{"kind": "once", "on": l.day(20)}
	}
	unit, least, greatest := "minute", 0, 30
	if l.dice.IntN(2) == 0 {
		unit, least, greatest = "day", 1, 3
	}
	for _, r := range l.do(tx.Owner, "GET", "/v1/routines?tank_id="+tank, nil).items() {
		return map[string]any{"kind": "joined", "parent_id": r["id"], "gap": map[string]any{"unit": unit, "least": least, "greatest": greatest}}
	}
	return map[string]any{"kind": "interval", "every": 7, "unit": "day"}
}

func (l *life) addRoutine() {
	if len(l.routines) > 5*few {
		l.archiveRoutine()
		return
	}
	tank := l.pick(l.tanks)
	cadence := l.cadence(tank)
	body := map[string]any{
		"tank_id": tank, "name": "Routine", "work_kind": []string{"water_change", "feeding", "inspection", "dosing"}[l.dice.IntN(4)],
		"consequence_class": []string{"life_support", "animal_welfare", "water_quality", "upkeep"}[l.dice.IntN(4)],
		"active_minutes":    10, "performed_by": []string{"technician", "technician", "keeper", "device"}[l.dice.IntN(4)],
		"first_day": l.day(10), "days_late": l.dice.IntN(5), "cadence": cadence,
	}
	if cadence["kind"] != "joined" {
		body["days_early"] = l.dice.IntN(3)
	}
	if l.dice.IntN(5) == 0 {
		body["active_months"] = []int{3, 4, 5, 7}
	}
	if a := l.try("POST", "/v1/routines", body); a.code == 201 {
		l.routines = append(l.routines, a.text("id"))
	}
}

// archiveRoutine ends a routine, unless another is joined to it.
func (l *life) archiveRoutine() {
	i := l.dice.IntN(len(l.routines))
	if a := l.try("DELETE", "/v1/routines/"+l.routines[i], nil); a.code == 200 {
		l.ramps = slices.DeleteFunc(l.ramps, func(r string) bool { return r == l.routines[i] })
		l.routines = slices.Delete(l.routines, i, i+1)
	}
}

func (l *life) addRamp() {
	if len(l.ramps) > few {
		return
	}
	a := l.try("POST", "/v1/routines", map[string]any{
		"tank_id": l.pick(l.tanks), "name": "Light ramp", "work_kind": "light_step", "consequence_class": "animal_welfare",
		"active_minutes": 5, "performed_by": "technician", "first_day": l.day(5), "days_late": 2,
		"cadence": map[string]any{"kind": "ramp", "ramp": map[string]any{"from_percent": 50, "to_percent": 100, "days": 28, "step_days": 7}},
	})
	if a.code == 201 {
		l.ramps = append(l.ramps, a.text("id"))
		l.routines = append(l.routines, a.text("id"))
	}
}

// record records work of a routine, often what is due, sometimes something old.
func (l *life) record() {
	id := l.pick(l.routines)
	body := map[string]any{"routine_id": id, "done_on": l.day(6)}
	if l.dice.IntN(2) == 0 {
		delete(body, "done_on")
	}
	switch l.dice.IntN(7) {
	case 0:
		body["result"], body["share_percent"] = "partly", []int{30, 50, 100}[l.dice.IntN(3)]
	case 1:
		body["result"], body["reason"] = "skipped", "no time"
		if l.dice.IntN(2) == 0 {
			body["with_joined"] = true
		}
		if l.dice.IntN(2) == 0 {
			body["new_due_on"] = l.day(1)
		}
	case 2:
		body["result"] = "no_access"
	default:
		body["result"] = "done"
	}
	if l.dice.IntN(3) == 0 {
		body["nominal_due"], body["ordinal"] = l.day(10), 0
	}
	for _, r := range l.ramps {
		if r == id && body["result"] == "done" && l.dice.IntN(3) > 0 {
			body["level_percent"] = []float64{50, 62.5, 75, 87.5, 100}[l.dice.IntN(5)]
		}
	}
	if a := l.try("POST", "/v1/work-records", body); a.code == 201 {
		l.records = append(l.records, a.text("id"))
	}
}

func (l *life) revise() {
	body := map[string]any{"days_late": l.dice.IntN(6)}
	if l.dice.IntN(2) == 0 {
		body["cadence"] = map[string]any{"kind": "interval", "every": 3 + l.dice.IntN(9), "unit": "day"}
	}
	l.try("PATCH", "/v1/routines/"+l.pick(l.routines), body)
}

// few keeps what is stored of a kind to a number that people would have.
const few = 12

// takeBack archives the oldest when there are many, and says whether it did.
func (l *life) takeBack(path string, ids *[]string) bool {
	if len(*ids) < few {
		return false
	}
	l.try("DELETE", path+(*ids)[0], nil)
	*ids = (*ids)[1:]
	return true
}

func (l *life) close() {
	if l.takeBack("/v1/closures/", &l.shut) {
		return
	}
	from := l.day(8)
	to, _ := care.ParseDay(from)
	body := map[string]any{"from": from, "to": (to + care.Day(l.dice.IntN(6))).String(), "reason": "shut"}
	if l.dice.IntN(4) > 0 {
		body["site_id"] = l.pick(l.sites)
	}
	if a := l.try("POST", "/v1/closures", body); a.code == 201 {
		l.shut = append(l.shut, a.text("id"))
	}
}

func (l *life) pause() {
	if l.takeBack("/v1/pauses/", &l.pauses) {
		return
	}
	from := l.day(5)
	body := map[string]any{"from": from, "routine_id": l.pick(l.routines)}
	if l.dice.IntN(3) > 0 {
		to, _ := care.ParseDay(from)
		body["to"] = (to + 1 + care.Day(l.dice.IntN(15))).String()
	}
	if l.dice.IntN(4) == 0 {
		delete(body, "routine_id")
		body["tank_id"] = l.pick(l.tanks)
	}
	if a := l.try("POST", "/v1/pauses", body); a.code == 201 {
		l.pauses = append(l.pauses, a.text("id"))
	}
}

func (l *life) step() {
	switch n := l.dice.IntN(100); {
	case n < 5:
		l.addRoutine()
	case n < 7:
		l.addRamp()
	case n < 60:
		l.record()
	case n < 68 && len(l.records) > 0:
		l.try("POST", "/v1/work-records/"+l.pick(l.records)+"/void", map[string]any{"reason": "mistake"})
	case n < 74:
		l.revise()
	case n < 79:
		l.close()
	case n < 82 && len(l.shut) > 0:
		l.try("DELETE", "/v1/closures/"+l.pick(l.shut), nil)
	case n < 85:
		l.pause()
	case n < 87 && len(l.pauses) > 0:
		l.try("DELETE", "/v1/pauses/"+l.pick(l.pauses), nil)
	case n < 90 && len(l.ramps) > 0:
		l.try("POST", "/v1/routines/"+l.pick(l.ramps)+"/ramp/"+[]string{"hold", "resume", "step-back"}[l.dice.IntN(3)], map[string]any{"reason": "paling"})
	case n < 91:
		windows := []map[string]any{}
		for _, d := range []string{"monday", "wednesday", "friday", "saturday"} {
			if l.dice.IntN(3) > 0 {
				windows = append(windows, map[string]any{"weekday": d, "from": "08:00", "to": "18:00"})
			}
		}
		l.try("PATCH", "/v1/sites/"+l.pick(l.sites), map[string]any{"access_windows": windows})
	default:
		l.now.Add(int64(24 * time.Hour / time.Microsecond))
		l.do(tx.Viewer, "GET", "/v1/due-work", nil).want(200)
	}
}

// After any sequence of commands what is stored is what the whole history says.
func TestRandomOperationsLeaveNoDifference(t *testing.T) {
	t.Parallel()
	seed := randomSeed(t)
	l := &life{rig: newRig(t), dice: rand.New(rand.NewPCG(seed, 1))}
	t.Logf("TANKWARD_RANDOM_SEED=%d", seed)
	for range 3 {
		l.sites = append(l.sites, l.site())
		l.tanks = append(l.tanks, l.tank(l.sites[len(l.sites)-1]), l.tank(l.sites[len(l.sites)-1]))
	}
	for range 12 {
		l.addRoutine()
	}
	l.addRamp()
	n := divided(t, 10_000)
	for i := range n {
		l.step()
		if (i+1)%250 == 0 || i+1 == n {
			differences, err := l.work.Check(t.Context(), l.scope)
			if err != nil {
				t.Fatal(err)
			}
			for _, d := range differences {
				t.Errorf("after %d operations: %s", i+1, d)
			}
			if t.Failed() {
				t.Fatalf("TANKWARD_RANDOM_SEED=%d", seed)
			}
		}
	}
}
