// Package cardfile reads the text file that a logger writes to its memory card.
//
// # What is a line
//
// The bytes are UTF-8 (with or without a byte order mark), UTF-16 with one, or
// else Windows-1252. Lines end at CRLF, LF or CR, mixed as they come. A run of
// four or more zero bytes, or bytes 0xFF, is a line of its own wherever it
// stands: space on the card that was set aside and never written. Every line
// becomes exactly one of
//
//	row        it reports an opening, or one end of one
//	header     names of columns, a banner, a remark after #, or a lone number
//	           before the first row
//	blank      nothing but spaces and delimiters
//	complaint  all else, with the reason in plain words
//
// so that Lines = rows + headers + blanks + complaints, always. Offsets count
// bytes of the file as it came.
//
// # What is a row
//
// Fields stand between tabs, commas, semicolons, bars or runs of spaces. Which
// of them, and what each column is for, is inferred from a sample of the file:
//
//	weekday  a name in one of a dozen languages (two letters or more), or 1–7
//	date     three groups of digits with / . or -, or its month in words
//	time     h:mm or h:mm:ss, with or without AM and PM
//	stamp    date and time in one field, such as 2024-05-01T10:00:00Z
//	unix     seconds or milliseconds since 1970
//	seconds  how long the door stood open: 34, 34.0, 0:34
//	closed   the time at which it shut
//	event    a word for opening or closing (open/close pair dialects), or 1 and 0
//	counter, other   read past
//
// A line whose fields stand elsewhere is still a row when it has one date and
// one time and no words that a row would not have. A row that breaks off inside
// its date or time is a complaint; one that breaks off later is a row without
// seconds. The last row of a file normally is, since loggers write the seconds
// at the next opening. Examples:
//
//	Thu,01/14/16,09:12:33,34      weekday date time seconds, comma, mdy
//	14.01.2016 09:12 0:34         date time seconds, spaces, dmy
//	2016-01-14T09:12:33           stamp, ymd
//	1452762753;34                 unix seconds, semicolon
//	2016-01-14 09:12:33,OPEN      stamp event, comma
//	Thu,01/14/16,09:              complaint: cut short
//	Thu,165/165/2165,165:165:85,3 row without a time: the chip did not answer
//
// # Which group is the year
//
// The date order is weighed over all rows: dates that an order makes
// impossible, weekdays that agree or do not, dates that step back. The weekday
// is a checksum; a shift that is the same in every row means that the maker set
// it wrongly, or starts the week elsewhere. Where the file alone cannot tell,
// File.Ambiguous says so and no row is given a time. Two-digit years are
// 2000–2069 and 1970–1999.
//
// Digits that are no time (hour 45, second 85, month 0) are kept as an untimed
// row with what is good of its fields. A month of 81 to 92 has the century bit
// of a clock chip in it. Midnight written as 24:00:00 is 00:00:00 of the next
// day. All readings are wall seconds: what the clock showed, taken as if it
// were UTC; what they mean is for the package clock to say.
package cardfile
