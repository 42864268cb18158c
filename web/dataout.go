package web

// DataOutPage offers the network as data.
type DataOutPage struct {
	Base
	Sites   int
	Seasons []Option // the latest first
	Form    DataOutForm
	Faults  FieldFaults
}

// Template implements Page.
func (DataOutPage) Template() string { return "dataout" }

// DataOutForm is what is asked for, as it was typed.
type DataOutForm struct {
	Format string // datapackage, geojson or parquet
	Fine   bool   // everything, and nothing held back
	Least  string // figures of fewer visits are held back
	Name   string // of the network, for parquet
}
