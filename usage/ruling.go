package usage

// CallKind is a thing that was done at a service call.
type CallKind string

// What is done at a box.
const (
	CallRestock   CallKind = "restock"
	CallCardOut   CallKind = "card out"
	CallCardIn    CallKind = "card in"
	CallBatteries CallKind = "batteries"
	CallCoinCell  CallKind = "coin cell"
	CallClockSet  CallKind = "clock set"  // the clock was set at At
	CallTimeNoted CallKind = "time noted" // At is the true time of the opening with Reading
	CallRepair    CallKind = "repair"
	CallNote      CallKind = "note"
)

// ServiceCall is a volunteer at the box. One call may have done several things.
type ServiceCall struct {
	ID       int64
	At       int64 // true instant, Unix s
	ErrorS   int32 // how well At is known, s
	Kinds    []CallKind
	Reading  *int64 // wall seconds that the clock showed at At, where somebody noted it
	BooksIn  *int32 // books put in
	BooksNow *int32 // books on the shelf afterwards
	Note     string
}

// Did reports whether the call did a thing of that kind.
func (c ServiceCall) Did(kind CallKind) bool {
	for _, k := range c.Kinds {
		if k == kind {
			return true
		}
	}
	return false
}

// Answer is what a coordinator may answer to a finding.
type Answer string

// The answers. Which of them a finding takes is in Finding.Choices.
const (
	AnswerSeen    Answer = "seen"    // noted; nothing changes
	AnswerOutage  Answer = "outage"  // the logger was out of order: no coverage
	AnswerQuiet   Answer = "quiet"   // the box was simply not used
	AnswerTyping  Answer = "typing"  // the time given was wrong: leave it out
	AnswerBelieve Answer = "believe" // the time given is right
	AnswerCivil   Answer = "civil"   // the clock follows daylight saving
	AnswerFixed   Answer = "fixed"   // it does not
	AnswerTwice   Answer = "twice"   // two cards tell the same openings: count them once
)

// Ruling is the coordinator's answer to a finding.
type Ruling struct {
	Key    string // of the finding
	Answer Answer
	By     string // who
	At     int64  // when, Unix s
	Why    string
}

// Choice is one answer that a finding takes.
type Choice struct {
	Answer Answer `json:"answer"`
	Says   string `json:"says"` // what choosing it means, in plain words
}

// RulingFor returns the ruling on a finding, the last where there are several,
// or nil.
func RulingFor(rulings []Ruling, key string) *Ruling {
	for i := len(rulings) - 1; i >= 0; i-- {
		if rulings[i].Key == key {
			return &rulings[i]
		}
	}
	return nil
}
