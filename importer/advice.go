package importer

import (
	"strings"
	"unicode"

	"doorleaf/usage"
)

// Clues are what is known of a card before it has a site.
type Clues struct {
	Kept     string    // code of the site that has these very bytes already; ""
	Tag      string    // site code of the tag file beside it; ""
	Overlaps []Overlap // sites whose logbook holds rows of it, most rows first
	Folder   string    // path of the folder it lay in, with slashes; ""
	Choice   string    // code of the site that the coordinator chose; ""
}

// Overlap says how many rows of a card stand in a site's logbook.
type Overlap struct {
	Site string
	Rows int
}

// By is the clue by which a card's site was found.
type By uint8

// The clues, in the order in which they are asked.
const (
	ByNothing By = iota
	ByKept
	ByTag
	ByOverlap
	ByFolder
	ByChoice
)

// Advice is which site a card belongs to, by what, and what speaks against it.
type Advice struct {
	Site  string // "" for none
	By    By
	Tag   string   // a tag that names no site of the network, or another one than Site; ""
	Other *Overlap // rows that stand in another site's logbook: hold the card back and ask
}

// Advise finds a card's site. A coordinator's choice goes before all clues but
// does not silence what speaks against it.
func Advise(sites []usage.Site, c Clues) Advice {
	a := advise(sites, c)
	if c.Tag != "" && c.Tag != a.Site {
		a.Tag = c.Tag
	}
	for i := range c.Overlaps {
		if a.Site != "" && c.Overlaps[i].Site != a.Site {
			a.Other = &c.Overlaps[i]
			break
		}
	}
	return a
}

func advise(sites []usage.Site, c Clues) Advice {
	if c.Choice != "" {
		return Advice{Site: c.Choice, By: ByChoice}
	}
	if c.Kept != "" {
		return Advice{Site: c.Kept, By: ByKept}
	}
	for _, s := range sites {
		if s.Code == c.Tag {
			return Advice{Site: s.Code, By: ByTag}
		}
	}
	if len(c.Overlaps) > 0 {
		return Advice{Site: c.Overlaps[0].Site, By: ByOverlap}
	}
	if site := siteOfFolder(sites, c.Folder); site != "" {
		return Advice{Site: site, By: ByFolder}
	}
	return Advice{}
}

// nearFolders is how many folders around a card may name its site; those
// farther out are a person's home and the like.
const nearFolders = 3

// siteOfFolder finds the one site whose code is a word of the folder's path, or
// whose name stands in it. The innermost folder that tells decides.
func siteOfFolder(sites []usage.Site, folder string) string {
	parts := strings.Split(folder, "/")
	parts = parts[max(0, len(parts)-nearFolders):]
	for i := len(parts) - 1; i >= 0; i-- {
		words := " " + plainWords(parts[i]) + " "
		found := ""
		for _, s := range sites {
			name := plainWords(s.Name)
			if strings.Contains(words, " "+plainWords(s.Code)+" ") || name != "" && strings.Contains(words, " "+name+" ") {
				if found != "" {
					return ""
				}
				found = s.Code
			}
		}
		if found != "" {
			return found
		}
	}
	return ""
}

// plainWords writes a name in small letters with one space between its words.
func plainWords(s string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(s), func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r)
	}), " ")
}
