package web

// LiveScript is the static file that charts load on demand: ECharts for a browser, from
// the built assets.
const LiveScript = "live.js"

// liveScripts are the scripts of a page with charts.
func liveScripts() []string { return []string{"charts.js"} }

// Scripts names the page's scripts.
func (SitePage) Scripts() []string { return liveScripts() }

// Scripts names the page's scripts.
func (SeasonPage) Scripts() []string { return liveScripts() }

// Scripts names the page's scripts.
func (ComparePage) Scripts() []string { return liveScripts() }

// Scripts names the page's scripts.
func (QuestionsPage) Scripts() []string { return liveScripts() }

// Scripts names the page's scripts.
func (PowerPage) Scripts() []string { return liveScripts() }

// Scripts names the page's scripts.
func (DaylightPage) Scripts() []string { return liveScripts() }
