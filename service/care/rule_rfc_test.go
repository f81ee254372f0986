package care

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// The examples of RFC 5545, section 3.8.5.3, that count in days, in its order
// and with its words. DTSTART is 2 September 1997 unless a case names another.
// Where the RFC's UNTIL has a time of day it stands among the refusals below;
// here it is the date alone, which the RFC reads as that whole day, and the
// difference is said.
func TestRuleExamplesOfRFC5545(t *testing.T) {
	t.Parallel()
	for _, ex := range append(dailyAndWeekly(), append(monthlyOnes(), yearlyOnes()...)...) {
		t.Run(ex.name, func(t *testing.T) {
			t.Parallel()
			first := "1997-09-02"
			if ex.first != "" {
				first = ex.first
			}
			dates := mustRule(t, ex.rule).From(d(first))
			want := strings.Fields(ex.want)
			var got []string
			day, ok := dates.Next(MinDay)
			for ok && len(got) < len(want) {
				got = append(got, strings.ReplaceAll(day.String(), "-", ""))
				day, ok = dates.Next(day)
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("%s from %s (-RFC +ours):\n%s", ex.rule, first, diff)
			}
			if ex.ends && ok {
				t.Errorf("%s goes on with %v, the RFC ends before", ex.rule, day)
			}
		})
	}
}

type ruleExampleOf struct {
	name, rule, first string
	want              string // the first days, without signs
	ends              bool   // the rule gives no more
}

func dailyAndWeekly() []ruleExampleOf {
	return []ruleExampleOf{
		{"daily for 10 occurrences", "FREQ=DAILY;COUNT=10", "", "19970902 19970903 19970904 19970905 19970906 19970907 19970908 19970909 19970910 19970911", true},
		{"every other day, forever", "FREQ=DAILY;INTERVAL=2", "", "19970902 19970904 19970906 19970908 19970910 19970912 19970914 19970916 19970918 19970920 19970922 19970924 19970926 19970928 19970930 19971002", false},
		{"every 10 days, 5 occurrences", "FREQ=DAILY;INTERVAL=10;COUNT=5", "", "19970902 19970912 19970922 19971002 19971012", true},
		{"every day in January, for 3 years (yearly)", "FREQ=YEARLY;UNTIL=20000131;BYMONTH=1;BYDAY=SU,MO,TU,WE,TH,FR,SA", "1998-01-01", januaries(), true},
		{"every day in January, for 3 years (daily)", "FREQ=DAILY;UNTIL=20000131;BYMONTH=1", "1998-01-01", januaries(), true},
		{"weekly for 10 occurrences", "FREQ=WEEKLY;COUNT=10", "", "19970902 19970909 19970916 19970923 19970930 19971007 19971014 19971021 19971028 19971104", true},
		{"weekly until December 24, 1997", "FREQ=WEEKLY;UNTIL=19971224", "", "19970902 19970909 19970916 19970923 19970930 19971007 19971014 19971021 19971028 19971104 19971111 19971118 19971125 19971202 19971209 19971216 19971223", true},
		{"every other week, forever", "FREQ=WEEKLY;INTERVAL=2;WKST=SU", "", "19970902 19970916 19970930 19971014 19971028 19971111 19971125 19971209 19971223 19980106 19980120 19980203 19980217", false},
		{"weekly on Tuesday and Thursday for five weeks", "FREQ=WEEKLY;COUNT=10;WKST=SU;BYDAY=TU,TH", "", "19970902 19970904 19970909 19970911 19970916 19970918 19970923 19970925 19970930 19971002", true},
		// The RFC's UNTIL is midnight at the beginning of 24 December and leaves that Wednesday out.
		{"every other week on Monday, Wednesday and Friday until December 24, 1997", "FREQ=WEEKLY;INTERVAL=2;UNTIL=19971223;WKST=SU;BYDAY=MO,WE,FR", "1997-09-01", "19970901 19970903 19970905 19970915 19970917 19970919 19970929 19971001 19971003 19971013 19971015 19971017 19971027 19971029 19971031 19971110 19971112 19971114 19971124 19971126 19971128 19971208 19971210 19971212 19971222", true},
		{"every other week on Tuesday and Thursday, for 8 occurrences", "FREQ=WEEKLY;INTERVAL=2;COUNT=8;WKST=SU;BYDAY=TU,TH", "", "19970902 19970904 19970916 19970918 19970930 19971002 19971014 19971016", true},
		{"days generated makes a difference because of WKST: Monday", "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO", "1997-08-05", "19970805 19970810 19970819 19970824", true},
		{"days generated makes a difference because of WKST: Sunday", "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU", "1997-08-05", "19970805 19970817 19970819 19970831", true},
	}
}

func januaries() string {
	var days []string
	for _, year := range []int{1998, 1999, 2000} {
		for day := range 31 {
			days = append(days, strings.ReplaceAll(Date(year, 1, day+1).String(), "-", ""))
		}
	}
	return strings.Join(days, " ")
}

func monthlyOnes() []ruleExampleOf {
	return []ruleExampleOf{
		{"monthly on the first Friday for 10 occurrences", "FREQ=MONTHLY;COUNT=10;BYDAY=1FR", "1997-09-05", "19970905 19971003 19971107 19971205 19980102 19980206 19980306 19980403 19980501 19980605", true},
		{"monthly on the first Friday until December 24, 1997", "FREQ=MONTHLY;UNTIL=19971224;BYDAY=1FR", "1997-09-05", "19970905 19971003 19971107 19971205", true},
		{"every other month on the first and last Sunday for 10 occurrences", "FREQ=MONTHLY;INTERVAL=2;COUNT=10;BYDAY=1SU,-1SU", "1997-09-07", "19970907 19970928 19971102 19971130 19980104 19980125 19980301 19980329 19980503 19980531", true},
		{"monthly on the second-to-last Monday for 6 months", "FREQ=MONTHLY;COUNT=6;BYDAY=-2MO", "1997-09-22", "19970922 19971020 19971117 19971222 19980119 19980216", true},
		{"monthly on the third-to-the-last day, forever", "FREQ=MONTHLY;BYMONTHDAY=-3", "1997-09-28", "19970928 19971029 19971128 19971229 19980129 19980226", false},
		{"monthly on the 2nd and 15th for 10 occurrences", "FREQ=MONTHLY;COUNT=10;BYMONTHDAY=2,15", "", "19970902 19970915 19971002 19971015 19971102 19971115 19971202 19971215 19980102 19980115", true},
		{"monthly on the first and last day for 10 occurrences", "FREQ=MONTHLY;COUNT=10;BYMONTHDAY=1,-1", "1997-09-30", "19970930 19971001 19971031 19971101 19971130 19971201 19971231 19980101 19980131 19980201", true},
		{"every 18 months on the 10th thru 15th for 10 occurrences", "FREQ=MONTHLY;INTERVAL=18;COUNT=10;BYMONTHDAY=10,11,12,13,14,15", "1997-09-10", "19970910 19970911 19970912 19970913 19970914 19970915 19990310 19990311 19990312 19990313", true},
		{"every Tuesday, every other month", "FREQ=MONTHLY;INTERVAL=2;BYDAY=TU", "", "19970902 19970909 19970916 19970923 19970930 19971104 19971111 19971118 19971125 19980106 19980113 19980120 19980127 19980303 19980310 19980317 19980324 19980331", false},
		// The RFC takes the first day, 2 September, out by EXDATE; here it is an occurrence only if the rule gives it.
		{"every Friday the 13th, forever", "FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13", "", "19980213 19980313 19981113 19990813 20001013", false},
		{"the first Saturday that follows the first Sunday, forever", "FREQ=MONTHLY;BYDAY=SA;BYMONTHDAY=7,8,9,10,11,12,13", "1997-09-13", "19970913 19971011 19971108 19971213 19980110 19980207 19980307 19980411 19980509 19980613", false},
		{"the third instance of Tuesday, Wednesday or Thursday, for 3 months", "FREQ=MONTHLY;COUNT=3;BYDAY=TU,WE,TH;BYSETPOS=3", "1997-09-04", "19970904 19971007 19971106", true},
		{"the second-to-last weekday of the month", "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2", "1997-09-29", "19970929 19971030 19971127 19971230 19980129 19980226 19980330", false},
		{"an invalid date, February 30, is ignored", "FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5", "2007-01-15", "20070115 20070130 20070215 20070315 20070330", true},
	}
}

func yearlyOnes() []ruleExampleOf {
	return []ruleExampleOf{
		{"yearly in June and July for 10 occurrences", "FREQ=YEARLY;COUNT=10;BYMONTH=6,7", "1997-06-10", "19970610 19970710 19980610 19980710 19990610 19990710 20000610 20000710 20010610 20010710", true},
		{"every other year on January, February and March for 10 occurrences", "FREQ=YEARLY;INTERVAL=2;COUNT=10;BYMONTH=1,2,3", "1997-03-10", "19970310 19990110 19990210 19990310 20010110 20010210 20010310 20030110 20030210 20030310", true},
		{"every 20th Monday of the year, forever", "FREQ=YEARLY;BYDAY=20MO", "1997-05-19", "19970519 19980518 19990517", false},
		{"every Thursday in March, forever", "FREQ=YEARLY;BYMONTH=3;BYDAY=TH", "1997-03-13", "19970313 19970320 19970327 19980305 19980312 19980319 19980326 19990304 19990311 19990318 19990325", false},
		{"every Thursday in June, July and August, forever", "FREQ=YEARLY;BYDAY=TH;BYMONTH=6,7,8", "1997-06-05", "19970605 19970612 19970619 19970626 19970703 19970710 19970717 19970724 19970731 19970807 19970814 19970821 19970828 19980604", false},
		{"every 4 years, the first Tuesday after a Monday in November", "FREQ=YEARLY;INTERVAL=4;BYMONTH=11;BYDAY=TU;BYMONTHDAY=2,3,4,5,6,7,8", "1996-11-05", "19961105 20001107 20041102", false},
	}
}

// The RFC's examples with parts that are refused, and other bad input: the
// message names the part.
func TestRuleRefusals(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ name, rule, says string }{
		{"RFC: daily until December 24, 1997", "FREQ=DAILY;UNTIL=19971224T000000Z", "UNTIL"},
		{"RFC: every third year on the 1st, 100th and 200th day", "FREQ=YEARLY;INTERVAL=3;COUNT=10;BYYEARDAY=1,100,200", "BYYEARDAY"},
		{"RFC: Monday of week number 20", "FREQ=YEARLY;BYWEEKNO=20;BYDAY=MO", "BYWEEKNO"},
		{"RFC: every 3 hours from 9:00 to 17:00", "FREQ=HOURLY;INTERVAL=3;UNTIL=19970902T170000Z", "FREQ=HOURLY"},
		{"RFC: every 15 minutes for 6 occurrences", "FREQ=MINUTELY;INTERVAL=15;COUNT=6", "FREQ=MINUTELY"},
		{"RFC: every 20 minutes from 9:00 to 16:40", "FREQ=DAILY;BYHOUR=9,10,11,12,13,14,15,16;BYMINUTE=0,20,40", "BYHOUR"},
		{"every second", "FREQ=SECONDLY", "FREQ=SECONDLY"},
		{"BYMINUTE", "FREQ=DAILY;BYMINUTE=0", "BYMINUTE"},
		{"BYSECOND", "FREQ=DAILY;BYSECOND=0", "BYSECOND"},
		{"EXDATE", "FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13;EXDATE=19970902", "EXDATE"},
		{"EXDATE with a time zone", "FREQ=DAILY;EXDATE:19970902T090000", "EXDATE"},
		{"RDATE", "FREQ=DAILY;RDATE=19970902", "RDATE"},
		{"DTSTART", "DTSTART:19970902;FREQ=DAILY", "DTSTART"},
		{"property name", "RRULE:FREQ=DAILY", "RRULE:"},
		{"nothing", "", "FREQ="},
		{"no FREQ", "BYDAY=MO", "FREQ"},
		{"unknown FREQ", "FREQ=FORTNIGHTLY", "DAILY, WEEKLY, MONTHLY or YEARLY"},
		{"unknown part", "FREQ=DAILY;BYMOON=1", "BYMOON"},
		{"empty part", "FREQ=DAILY;", "no part"},
		{"no value", "FREQ=DAILY;COUNT=", "COUNT"},
		{"twice", "FREQ=DAILY;COUNT=1;COUNT=2", "COUNT"},
		{"COUNT and UNTIL", "FREQ=DAILY;COUNT=1;UNTIL=20270101", "COUNT and UNTIL"},
		{"interval 0", "FREQ=DAILY;INTERVAL=0", "INTERVAL"},
		{"interval too great", "FREQ=DAILY;INTERVAL=1001", "INTERVAL"},
		{"count 0", "FREQ=DAILY;COUNT=0", "COUNT"},
		{"count negative", "FREQ=DAILY;COUNT=-3", "COUNT"},
		{"count with a sign", "FREQ=DAILY;COUNT=+3", "COUNT"},
		{"impossible date", "FREQ=DAILY;UNTIL=20270230", "UNTIL"},
		{"date with signs", "FREQ=DAILY;UNTIL=2027-02-03", "UNTIL"},
		{"weekday unknown", "FREQ=WEEKLY;BYDAY=XX", "BYDAY"},
		{"weekday twice", "FREQ=WEEKLY;BYDAY=MO,MO", "BYDAY"},
		{"weekday number 0", "FREQ=MONTHLY;BYDAY=0MO", "BYDAY"},
		{"numbered weekday in a week", "FREQ=WEEKLY;BYDAY=1MO", "FREQ=MONTHLY"},
		{"sixth Monday of a month", "FREQ=MONTHLY;BYDAY=6MO", "1 to 5"},
		{"month day 0", "FREQ=MONTHLY;BYMONTHDAY=0", "BYMONTHDAY"},
		{"month day 32", "FREQ=MONTHLY;BYMONTHDAY=32", "BYMONTHDAY"},
		{"month day in a week", "FREQ=WEEKLY;BYMONTHDAY=1", "BYMONTHDAY"},
		{"month 13", "FREQ=YEARLY;BYMONTH=13", "BYMONTH"},
		{"month twice", "FREQ=YEARLY;BYMONTH=1,1", "BYMONTH"},
		{"position 0", "FREQ=MONTHLY;BYDAY=MO;BYSETPOS=0", "BYSETPOS"},
		{"position of nothing", "FREQ=MONTHLY;BYSETPOS=1", "BYSETPOS"},
		{"week start unknown", "FREQ=WEEKLY;WKST=XX", "WKST"},
		{"spaces", "FREQ=WEEKLY; BYDAY=MO", "BYDAY"},
		{"NUL", "FREQ=WEEKLY;BYDAY=\x00", "BYDAY"},
		{"too long", "FREQ=WEEKLY;BYDAY=" + strings.Repeat("MO,", 200), "500"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			rule, err := ParseRule(c.rule)
			if err == nil {
				t.Fatalf("%q is taken as %s, want a refusal", c.rule, rule)
			}
			if !strings.Contains(err.Error(), c.says) {
				t.Errorf("%q: %q does not say %q", c.rule, err, c.says)
			}
		})
	}
}

func TestRuleThatNeverOccursIsRefused(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ rule, first string }{
		{"FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30", "2026-01-01"},
		{"FREQ=MONTHLY;INTERVAL=12;BYMONTHDAY=31", "2026-02-01"},
		{"FREQ=DAILY;INTERVAL=7;BYDAY=TU", "2026-03-02"}, // a Monday
		{"FREQ=DAILY;BYDAY=MO;BYSETPOS=2", "2026-03-02"},
		{"FREQ=WEEKLY;UNTIL=20260301", "2026-03-02"},
		{"FREQ=YEARLY;INTERVAL=4;BYMONTH=2;BYMONTHDAY=29", "2026-01-01"},
	} {
		if resolved, err := mustRule(t, c.rule).Resolve(d(c.first)); err == nil {
			t.Errorf("%s from %s is taken as %s, want a refusal", c.rule, c.first, resolved)
		}
	}
}

func TestCountIsResolvedToALastDay(t *testing.T) {
	t.Parallel()
	// Worked example 28: the first day, a Wednesday, is no occurrence and uses up none.
	resolved, err := mustRule(t, "freq=weekly;byday=MO;count=3").Resolve(d("2026-03-04"))
	if err != nil {
		t.Fatal(err)
	}
	if want := "FREQ=WEEKLY;BYDAY=MO;UNTIL=20260323"; resolved.String() != want {
		t.Errorf("resolved to %s, want %s", resolved, want)
	}
	resolved, err = mustRule(t, "FREQ=YEARLY;COUNT=10000").Resolve(d("2026-03-04"))
	if err != nil || resolved.String() != "FREQ=YEARLY;UNTIL=99990304" {
		t.Errorf("a rule that outlasts the calendar resolves to %v, %v", resolved, err)
	}
}

// BYSETPOS counts in the whole period, then days before the first are cut.
func TestPositionsCountInTheWholePeriod(t *testing.T) {
	t.Parallel()
	dates := mustRule(t, "FREQ=WEEKLY;BYDAY=MO,WE,FR;BYSETPOS=2").From(d("2026-03-06")) // a Friday
	if got, _ := dates.Next(MinDay); got != d("2026-03-11") {
		t.Errorf("first %v, want the Wednesday after, 2026-03-11", got)
	}
}

func FuzzParseRule(f *testing.F) {
	for _, text := range []string{
		"FREQ=DAILY", "FREQ=WEEKLY;INTERVAL=2;WKST=SU;BYDAY=MO,WE,FR", "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-1", "FREQ=YEARLY;BYMONTH=1;BYDAY=-1SU;COUNT=3",
		"FREQ=YEARLY;BYDAY=20MO", "FREQ=MONTHLY;BYMONTHDAY=-31;UNTIL=20271224", "freq=daily;bymonth=2;bymonthday=30", "RRULE:FREQ=DAILY;UNTIL=19971224T000000Z", "FREQ=DAILY;;", "=", ";",
	} {
		f.Add(text, int32(20_000))
	}
	f.Fuzz(func(t *testing.T, text string, first int32) {
		rule, err := ParseRule(text)
		if err != nil {
			if rule != nil || err.Error() == "" {
				t.Fatalf("%q: %v with the error %q", text, rule, err)
			}
			return
		}
		again, err := ParseRule(rule.String())
		if err != nil || !again.Equal(rule) {
			t.Fatalf("%q is written as %q, which reads as %v, %v", text, rule, again, err)
		}
		begin := Day(first % 1_000_000)
		dates := rule.From(begin)
		day, ok := dates.Next(begin - 1)
		for n := 0; ok && n < 20; n++ {
			if back, found := dates.Prev(day + 1); !found || back != day {
				t.Fatalf("%s from %v: %v lies not before the day after it but %v", rule, begin, day, back)
			}
			next, more := dates.Next(day)
			if more && next <= day {
				t.Fatalf("%s from %v: %v follows %v", rule, begin, next, day)
			}
			day, ok = next, more
		}
	})
}
