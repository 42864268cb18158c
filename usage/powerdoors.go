package usage

// DoorTally sums openings to DoorDays. It must not be shared between goroutines.
type DoorTally struct {
	cursor *Cursor
	days   book[Date, DoorDay]
}

// NewDoorTally returns an empty tally in the civil time of z.
func NewDoorTally(z *Zone) *DoorTally {
	return &DoorTally{cursor: z.Cursor(), days: newBook(func(d Date) DoorDay { return DoorDay{Date: d} })}
}

// Add counts an opening, which has its class, on the date on which it begins; an
// untimed one is passed
// over, since Bracket has it.
func (t *DoorTally) Add(o *Opening) {
	if !o.Timed {
		return
	}
	date, _ := t.cursor.Civil(o.At)
	d := t.days.row(date)
	d.Openings++
	if o.OpenS < 0 {
		d.Unknown++
		return
	}
	d.OpenS += int64(o.OpenS)
	if o.Class == Ajar {
		d.Ajar++
		d.AjarS += int64(o.OpenS)
	}
}

// Days returns the dates with openings or exposure, ascending, and ends the use of t.
// days are the site's, for their exposure.
func (t *DoorTally) Days(days []Day) []DoorDay {
	for _, d := range days {
		if d.ExposureS > 0 {
			t.days.row(d.Date).ExposureS = d.ExposureS
		}
	}
	return t.days.sorted(func(d DoorDay) Date { return d.Date })
}
