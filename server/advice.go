package server

import (
	"doorleaf/importer"
	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

// advice is which site a card most likely belongs to, and why, in words.
type advice struct {
	site     string // "" for none
	why      string
	held     string // a question that must be answered first, ""
	orderWhy string // where a date order comes from that the card alone does not tell
}

// advise proposes a card's site: what importer.Advise finds or, as a person
// confirms it, the only site there is.
func advise(say *words.Words, sites []store.SiteSummary, c *readCard) advice {
	plain := make([]usage.Site, len(sites))
	for i := range sites {
		plain[i] = sites[i].Site
	}
	found := importer.Advise(plain, c.clues(""))
	if found.Site == "" && len(sites) == 1 && c.Tag == "" {
		return advice{site: sites[0].Code, why: say.Say(web.WhyOnly)}
	}
	a := advice{site: found.Site, why: whyWords(say, sites, found, c)}
	if found.Other != nil {
		a.site = "" // held back: the coordinator chooses
		a.held = web.HeldQuestion(say, found.Other.Rows, nameOf(sites, found.Other.Site), nameOf(sites, found.Site))
	}
	return a
}

// clues are what is known of a card, and the site that somebody chose.
func (c *readCard) clues(choice string) importer.Clues {
	clues := importer.Clues{Kept: c.kept, Tag: c.Tag, Folder: c.Folder, Choice: choice}
	for _, o := range c.overlap {
		clues.Overlaps = append(clues.Overlaps, importer.Overlap{Site: o.Site, Rows: o.Rows})
	}
	return clues
}

func whyWords(say *words.Words, sites []store.SiteSummary, found importer.Advice, c *readCard) string {
	tag := ""
	if c.Tag != "" && nameOf(sites, c.Tag) == c.Tag {
		tag = web.WhyTagUnknown(say, c.Tag) + " "
	}
	if folder := folderSite(sites, c); folder != "" && found.Site != "" && folder != found.Site {
		tag += web.ButFolder(say, nameOf(sites, folder)) + " "
	}
	switch found.By {
	case importer.ByKept:
		return tag + say.Say(web.WhyKept)
	case importer.ByTag:
		return tag + say.Say(web.WhyTag)
	case importer.ByOverlap:
		return tag + web.WhyOverlap(say, c.overlap[0].Rows)
	case importer.ByFolder:
		return tag + say.Say(web.WhyFolder)
	}
	return tag + say.Say(web.WhyNone)
}

// folderSite is the site that a card's folder alone speaks for, "" for none.
func folderSite(sites []store.SiteSummary, c *readCard) string {
	plain := make([]usage.Site, len(sites))
	for i := range sites {
		plain[i] = sites[i].Site
	}
	return importer.Advise(plain, importer.Clues{Folder: c.Folder}).Site
}

// question asks about rows that stand in the logbook of another site than the
// one chosen; "" when there are none. Without a choice nothing is asked.
func question(say *words.Words, c *readCard, site string, sites []store.SiteSummary) string {
	if site == "" {
		return ""
	}
	if other := importer.Advise(nil, c.clues(site)).Other; other != nil {
		return web.HeldQuestion(say, other.Rows, nameOf(sites, other.Site), nameOf(sites, site))
	}
	return ""
}

func nameOf(sites []store.SiteSummary, code string) string {
	for _, site := range sites {
		if site.Code == code {
			return site.Name + " (" + code + ")"
		}
	}
	return code
}
