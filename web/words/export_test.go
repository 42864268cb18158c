package words

// The short names, for the tests that gather all texts.
var (
	MonthsShort = monthsShort
	DaysShort   = daysShort
)
