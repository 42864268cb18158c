package usage

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Network is what a network says of itself: what it is called, in titles and on
// reports, and how its pages write.
type Network struct {
	Name   string `json:"name"` // "" where nobody has given one
	Region Region `json:"region"`
}

// NetworkNameMost is how many characters the name of a network may have.
const NetworkNameMost = 80

// Tidy returns the network with its name free of space around and within it.
func (n Network) Tidy() Network {
	n.Name = strings.Join(strings.Fields(n.Name), " ")
	return n
}

// Valid reports a fault in the network's setting; nil for none.
func (n Network) Valid() error {
	if !utf8.ValidString(n.Name) || utf8.RuneCountInString(n.Name) > NetworkNameMost || strings.ContainsFunc(n.Name, unicode.IsControl) {
		return &Fault{
			Kind: Invalid, What: "the name of the network is too long or is no text",
			Try: fmt.Sprintf("use at most %d characters, or leave it empty", NetworkNameMost),
		}
	}
	return n.Region.Valid()
}
