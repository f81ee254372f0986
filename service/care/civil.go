package care

// The civil calendar by integer arithmetic alone, after the era method: 400
// years of 146,097 days, each year beginning in March so that the leap day is
// its last.

// civil gives the year, the month 1 to 12 and the day of the month.
func civil(d Day) (int, int, int) {
	z := int64(d) + 719_468
	era := floorDiv(z, 146_097)
	doe := z - era*146_097
	yoe := (doe - doe/1460 + doe/36_524 - doe/146_096) / 365
	doy := doe - (365*yoe + yoe/4 - yoe/100)
	mp := (5*doy + 2) / 153
	day := doy - (153*mp+2)/5 + 1
	year, month := yoe+era*400, mp+3
	if month > 12 {
		year, month = year+1, month-12
	}
	return int(year), int(month), int(day)
}

// dayOfMonth gives the day of a civil date whose month is 1 to 12; the day may
// run over.
func dayOfMonth(year, month, day int) Day {
	y, mp := int64(year), int64(month)-3
	if mp < 0 {
		y, mp = y-1, mp+12
	}
	era := floorDiv(y, 400)
	yoe := y - era*400
	doe := yoe*365 + yoe/4 - yoe/100 + (153*mp+2)/5
	return Day(era*146_097 + doe - 719_468 + int64(day) - 1)
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

// monthIndex counts months from the year 0.
func monthIndex(year, month int) int { return year*12 + month - 1 }

// monthStart gives the first day of the month with the index.
func monthStart(index int) Day { return dayOfMonth(index/12, index%12+1, 1) }

func leap(year int) bool { return year%4 == 0 && (year%100 != 0 || year%400 == 0) }

// monthDays gives the length of a month, 1 to 12.
func monthDays(year, month int) int {
	if month == 2 {
		if leap(year) {
			return 29
		}
		return 28
	}
	return 30 + (month+month/8)&1
}

// addMonths steps months from a day and keeps to the end of a month that is
// too short: 31 January and one month is 28 or 29 February.
func addMonths(d Day, n int) Day {
	year, month, day := civil(d)
	index := monthIndex(year, month) + n
	year, month = index/12, index%12+1
	return dayOfMonth(year, month, min(day, monthDays(year, month)))
}
