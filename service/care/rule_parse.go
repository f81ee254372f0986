package care

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

// The greatest values a rule may hold. RFC 5545 sets none for INTERVAL and
// COUNT; these keep a slip of the finger from becoming a routine.
const (
	maxRuleText = 500
	maxInterval = 1000
	maxCount    = 10_000
)

const ruleExample = "for example FREQ=WEEKLY;BYDAY=MO"

// partReaders read the value of each part into the rule.
var partReaders = map[string]func(r *Rule, value string) error{
	"FREQ":       readFreq,
	"INTERVAL":   readInterval,
	"COUNT":      readCount,
	"UNTIL":      readUntil,
	"BYDAY":      readByDay,
	"BYMONTHDAY": readByMonthDay,
	"BYMONTH":    readByMonth,
	"BYSETPOS":   readBySetPos,
	"WKST":       readWeekStart,
}

// refusedParts are the parts of RFC 5545 that due work does not know.
var refusedParts = map[string]string{
	"BYYEARDAY": "use BYMONTH and BYMONTHDAY",
	"BYWEEKNO":  "use BYMONTH and BYDAY",
	"BYHOUR":    "a rule gives days; the time of day is the routine's part of day",
	"BYMINUTE":  "a rule gives days; the time of day is the routine's part of day",
	"BYSECOND":  "a rule gives days; the time of day is the routine's part of day",
	"RDATE":     "make a routine with the cadence once for an additional day",
	"EXDATE":    "enter a closure or a pause for days without work",
	"EXRULE":    "enter a closure or a pause for days without work",
	"DTSTART":   "the routine's first day says where the rule begins",
	"RSCALE":    "only the Gregorian calendar is known",
	"SKIP":      "a day that a month does not have is left out",
}

// ParseRule reads a recurrence rule such as FREQ=WEEKLY;BYDAY=MO. Its error is
// a sentence that names the part that is wrong and says what would be right.
func ParseRule(text string) (*Rule, error) {
	if text == "" {
		return nil, errors.New("a rule is needed, " + ruleExample)
	}
	if len(text) > maxRuleText {
		return nil, fmt.Errorf("a rule has at most %d characters, this one has %d", maxRuleText, len(text))
	}
	r := &Rule{interval: 1, until: MaxDay, weekStart: 1}
	seen := map[string]bool{}
	for part := range strings.SplitSeq(strings.ToUpper(text), ";") {
		if err := r.readPart(part, seen); err != nil {
			return nil, err
		}
	}
	if err := r.check(seen); err != nil {
		return nil, err
	}
	if r.freq != weekly && !r.plain() && !r.needsFirst() {
		r.tables = makeTables(r, r.byMonthDay, r.byMonth)
	}
	return r, nil
}

func (r *Rule) readPart(part string, seen map[string]bool) error {
	name, value, found := strings.Cut(part, "=")
	if strings.HasPrefix(name, "RRULE:") {
		return errors.New("write the rule without RRULE: before it, " + ruleExample)
	}
	property, _, _ := strings.Cut(name, ":")
	property, _, _ = strings.Cut(property, ";")
	if why, refused := refusedParts[property]; refused {
		return fmt.Errorf("%s is not used here: %s", property, why)
	}
	read, known := partReaders[name]
	if !known {
		return fmt.Errorf("%q is no part of a rule; the parts are FREQ, INTERVAL, BYMONTH, BYMONTHDAY, BYDAY, BYSETPOS, COUNT, UNTIL and WKST, parted by semicolons", name)
	}
	if !found || value == "" {
		return fmt.Errorf("%s has no value; write %s=…", name, name)
	}
	if seen[name] {
		return fmt.Errorf("%s stands twice; write it once, with commas between several values", name)
	}
	seen[name] = true
	return read(r, value)
}

// check refuses parts that do not go together.
func (r *Rule) check(seen map[string]bool) error {
	switch {
	case r.freq == 0:
		return errors.New("FREQ is missing; a rule says at least how often, " + ruleExample)
	case seen["COUNT"] && seen["UNTIL"]:
		return errors.New("COUNT and UNTIL both say where the rule ends; give one of them")
	case r.freq == weekly && len(r.byMonthDay) > 0:
		return errors.New("BYMONTHDAY does not go with FREQ=WEEKLY; use FREQ=MONTHLY")
	case len(r.bySetPos) > 0 && len(r.byDay) == 0 && len(r.byMonthDay) == 0 && r.byMonth == 0:
		return errors.New("BYSETPOS picks from the days another part gives; add BYDAY, BYMONTHDAY or BYMONTH")
	}
	return r.checkOrdinals()
}

func (r *Rule) checkOrdinals() error {
	greatest := int8(5)
	if r.freq == yearly && r.byMonth == 0 {
		greatest = 53
	}
	for _, w := range r.byDay {
		if w.nth == 0 {
			continue
		}
		if r.freq == daily || r.freq == weekly {
			return fmt.Errorf("BYDAY=%v has a number, which goes only with FREQ=MONTHLY and FREQ=YEARLY; write %s", w, weekdayTexts[w.weekday])
		}
		if w.nth > greatest || w.nth < -greatest {
			return fmt.Errorf("BYDAY=%v does not exist: the number is 1 to %d, or -1 to -%d from the end", w, greatest, greatest)
		}
	}
	return nil
}

func readFreq(r *Rule, value string) error {
	f, known := freqNames[value]
	if known {
		r.freq = f
		return nil
	}
	if slices.Contains([]string{"SECONDLY", "MINUTELY", "HOURLY"}, value) {
		return fmt.Errorf("FREQ=%s is not used here: a rule gives days; for work several times a day make several routines with different parts of day", value)
	}
	return fmt.Errorf("FREQ=%s is not known; it is DAILY, WEEKLY, MONTHLY or YEARLY", value)
}

func readInterval(r *Rule, value string) error {
	n, err := readNumber("INTERVAL", value, maxInterval)
	r.interval = n
	return err
}

func readCount(r *Rule, value string) error {
	n, err := readNumber("COUNT", value, maxCount)
	r.count = n
	return err
}

// readNumber reads digits only: no sign, no spaces.
func readNumber(name, value string, greatest int) (int, error) {
	n, err := strconv.Atoi(value)
	if err != nil || n < 1 || n > greatest || !digits(value) {
		return 0, fmt.Errorf("%s=%s is not possible; it is a whole number from 1 to %d", name, value, greatest)
	}
	return n, nil
}

func digits(s string) bool {
	return s != "" && strings.Trim(s, "0123456789") == ""
}

func readUntil(r *Rule, value string) error {
	if strings.Contains(value, "T") {
		return fmt.Errorf("UNTIL=%s has a time of day; give the last day alone, for example UNTIL=20271224", value)
	}
	t, err := time.Parse("20060102", value)
	if err != nil || !digits(value) {
		return fmt.Errorf("UNTIL=%s is not a date; write year, month and day without signs, for example UNTIL=20271224", value)
	}
	r.until = DayOf(t)
	return nil
}

func readWeekStart(r *Rule, value string) error {
	n := slices.Index(weekdayTexts[:], value)
	if n < 1 {
		return fmt.Errorf("WKST=%s is not a weekday; it is one of MO, TU, WE, TH, FR, SA, SU", value)
	}
	r.weekStart = uint8(n)
	return nil
}

func readByDay(r *Rule, value string) error {
	for text := range strings.SplitSeq(value, ",") {
		w, ok := readWeekdayNum(text)
		if !ok {
			return fmt.Errorf("BYDAY=%s is not possible: %q is not a weekday such as MO, or 1FR for the first and -1FR for the last Friday", value, text)
		}
		if slices.Contains(r.byDay, w) {
			return fmt.Errorf("BYDAY names %v twice", w)
		}
		r.byDay = append(r.byDay, w)
	}
	slices.SortFunc(r.byDay, func(a, b weekdayNum) int {
		return (int(a.weekday)-int(b.weekday))*1000 + int(a.nth) - int(b.nth)
	})
	return nil
}

func readWeekdayNum(text string) (weekdayNum, bool) {
	if len(text) < 2 {
		return weekdayNum{}, false
	}
	n := slices.Index(weekdayTexts[:], text[len(text)-2:])
	if n < 1 {
		return weekdayNum{}, false
	}
	w := weekdayNum{weekday: uint8(n)}
	if ordinal := text[:len(text)-2]; ordinal != "" {
		nth, ok := readSigned(ordinal, 53)
		if !ok {
			return weekdayNum{}, false
		}
		w.nth = int8(nth)
	}
	return w, true
}

// readSigned reads a number from 1 to greatest or its negative; a plus sign
// may stand before it.
func readSigned(text string, greatest int) (int, bool) {
	n, err := strconv.Atoi(text)
	if err != nil || !digits(strings.TrimLeft(text, "+-")) || n == 0 || n > greatest || n < -greatest {
		return 0, false
	}
	return n, true
}

func readByMonthDay(r *Rule, value string) error {
	list, err := readSignedList[int8]("BYMONTHDAY", value, 31)
	r.byMonthDay = list
	return err
}

func readBySetPos(r *Rule, value string) error {
	list, err := readSignedList[int16]("BYSETPOS", value, 366)
	r.bySetPos = list
	return err
}

func readSignedList[T int8 | int16](name, value string, greatest int) ([]T, error) {
	var list []T
	for text := range strings.SplitSeq(value, ",") {
		n, ok := readSigned(text, greatest)
		if !ok {
			return nil, fmt.Errorf("%s=%s is not possible: %q is not a whole number from 1 to %d, or from -1 to -%d counted from the end", name, value, text, greatest, greatest)
		}
		if slices.Contains(list, T(n)) {
			return nil, fmt.Errorf("%s names %d twice", name, n)
		}
		list = append(list, T(n))
	}
	slices.Sort(list)
	return list, nil
}

func readByMonth(r *Rule, value string) error {
	for text := range strings.SplitSeq(value, ",") {
		n, err := strconv.Atoi(text)
		if err != nil || !digits(text) || n < 1 || n > 12 {
			return fmt.Errorf("BYMONTH=%s is not possible: %q is not a month from 1 to 12", value, text)
		}
		if r.byMonth>>n&1 == 1 {
			return fmt.Errorf("BYMONTH names %d twice", n)
		}
		r.byMonth |= 1 << n
	}
	return nil
}
