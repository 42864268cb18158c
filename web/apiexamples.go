package web

// APIPage shows programs what they can ask, with an example of each.
type APIPage struct {
	Base
	Origin    string // scheme and host of this server, for command lines
	Example   string // code of the site that the examples are of; "" for none
	Endpoints []Endpoint
}

// Template implements Page.
func (APIPage) Template() string { return "apiexamples" }

// Endpoint is an address of the JSON interface.
type Endpoint struct {
	Path       string // with parameters in braces
	Says       string // what it answers
	Parameters []Parameter
	Href       string // an example; "" where the network has nothing to show yet
}

// Parameter is one that an address takes in its query.
type Parameter struct {
	Name string
	Says string
}
