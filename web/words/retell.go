package words

// phrases are the sentences of a catalogue, ready to be recognised.
type phrases struct{}

func newPhrases(map[key]*Message) *phrases { return &phrases{} }
