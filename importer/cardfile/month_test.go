package cardfile

import "testing"

func TestReadNamedMonths(t *testing.T) {
	const two = "2016-03-14T09:12:33/34 2016-05-15T21:05:06/7"
	tests := []struct{ name, data, order, rows string }{
		{"day month year, spaces", "Mon 14 Mar 2016 09:12:33 34\nSun 15 May 2016 21:05:06 7\n", "dmy", two},
		{"hyphens, short year", "14-Mar-16,09:12:33,34\n15-May-16,21:05:06,7\n", "dmy", two},
		{"no separators", "14MAR2016;09:12:33;34\n15MAY2016;21:05:06;7\n", "dmy", two},
		{"German, stop after the day", "14. März 2016;09:12:33;34\n15. Mai 2016;21:05:06;7\n", "dmy", two},
		{"Spanish with de", "lunes, 14 de marzo de 2016;09:12:33;34\ndomingo, 15 de mayo de 2016;21:05:06;7\n", "dmy", two},
		{"month first", "March 14, 2016;09:12:33 AM;34\nMay 15, 2016;09:05:06 PM;7\n", "mdy", two},
		{"month first, spaces, two-digit year", "Mar 14 16 09:12:33 34\nMay 15 16 21:05:06 7\n", "mdy", two},
		{"year first", "2016-Mar-14 09:12:33,34\n2016-May-15 21:05:06,7\n", "ymd", two},
		{"as C writes it", "Mon Mar 14 09:12:33 2016,34\nSun May 15 21:05:06 2016,7\n", "mdy", two},
		{"long, stops in the time", "Monday, 14 March 2016 09.12.33 | 34\nSunday, 15 May 2016 21.05.06 | 7\n", "dmy", two},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			f := mustRead(t, test.data, Hint{})
			if got := describeRows(f); got != test.rows {
				t.Errorf("rows of %q = %s, want %s", test.data, got, test.rows)
			}
			if f.Dialect.DateOrder == nil || *f.Dialect.DateOrder != test.order {
				t.Errorf("date order of %q = %v, want %s; evidence %q", test.data, f.Dialect.DateOrder, test.order, f.Dialect.Evidence)
			}
		})
	}
}

func TestReadNamedMonthOffsets(t *testing.T) {
	f := mustRead(t, "14 Mar 2016,09:12:33,34\r\n14 March 2016,10:00:00,5\r\n14 Mar 20", Hint{})
	if len(f.Rows) != 2 || f.Rows[1].Offset != 25 || f.Rows[1].Length != 24 {
		t.Fatalf("rows = %+v, want the second at offset 25, length 24", f.Rows)
	}
	if len(f.Complaints) != 1 || f.Complaints[0].Raw != "14 Mar 20" {
		t.Errorf("complaints = %+v, want the torn line as it stands", f.Complaints)
	}
}

func TestMonthOf(t *testing.T) {
	tests := map[string]int{"Mar": 3, "MÄRZ": 3, "dic": 12, "jui": 0, "juil.": 7, "août": 8, "Sept": 9, "ma": 0, "Mon": 0, "maj": 5, "okt": 10, "zon": 0}
	for word, want := range tests {
		if got := monthOf(word); got != want {
			t.Errorf("monthOf(%q) = %d, want %d", word, got, want)
		}
	}
}
