package chart

// Words are the names that change with the language.
type Words struct {
	Weekdays      [7]string // Monday first
	WeekdaysShort [7]string // for the phone's heatmap only
	Months        [12]string
	MonthsShort   [12]string
	Seasons       [4]string // winter, spring, summer, autumn
}

// English are the words of the English interface.
var English = Words{
	Weekdays:      [7]string{"Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"},
	WeekdaysShort: [7]string{"Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"},
	Months: [12]string{"January", "February", "March", "April", "May", "June", "July", "August",
		"September", "October", "November", "December"},
	MonthsShort: [12]string{"Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"},
	Seasons:     [4]string{"Winter", "Spring", "Summer", "Autumn"},
}
