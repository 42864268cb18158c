package main

import (
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// spaced gives all text the spacing of WCAG 2.2, 1.4.12 Text Spacing, and tells what it
// cuts off.
const spaced = `(() => {
	const sheet = new CSSStyleSheet();
	sheet.replaceSync("* { line-height: 1.5 !important; letter-spacing: .12em !important; word-spacing: .16em !important } p { margin-bottom: 2em !important }");
	document.adoptedStyleSheets = [sheet];
	return [...document.querySelectorAll("main *, header *, footer *")].filter(e => {
		const style = getComputedStyle(e);
		const cuts = [style.overflowX, style.overflowY].some(o => o === "hidden" || o === "clip");
		return cuts && !e.closest("svg, .hide, input") && e.clientWidth > 2 && (e.scrollWidth > e.clientWidth + 2 || e.scrollHeight > e.clientHeight + 2);
	}).map(e => e.tagName + "." + e.className);
})()`

// zoomed is a window of 1280 px at 200 %: WCAG 2.2, 1.4.4 Resize Text.
const zoomed = 640

const usualText = `(() => { document.adoptedStyleSheets = []; return []; })()`

// unseen goes to all that the keyboard reaches, in the order of the page, and tells what
// has no outline there or lies under something that stays in place: WCAG 2.2, 2.4.7 Focus
// Visible, 2.4.11 Focus Not Obscured, and 2.4.3 Focus Order, which is that of the page where
// nothing has an order of its own.
const unseen = `(() => {
	const out = new Set();
	if (document.querySelector("[tabindex]:not([tabindex='0']):not([tabindex='-1'])")) out.add("an order of its own");
	const reached = [...document.querySelectorAll("a[href], button, input:not([type=hidden]), select, summary, textarea, [tabindex='0']")].filter(e => !e.disabled && e.checkVisibility());
	for (const e of reached.slice(0, 250)) {
		e.focus({focusVisible: true});
		if (document.activeElement !== e) continue;
		const style = getComputedStyle(e), r = e.getBoundingClientRect();
		if (style.outlineStyle === "none" || parseFloat(style.outlineWidth) < 2) out.add("no outline: " + e.tagName + "." + e.className);
		const x = Math.min(Math.max(r.left + r.width / 2, 1), innerWidth - 2), y = Math.min(Math.max(r.top + Math.min(r.height / 2, 40), 1), innerHeight - 2);
		for (let over = document.elementFromPoint(x, y); over && !e.contains(over) && !over.contains(e); over = over.parentElement) {
			if (["sticky", "fixed"].includes(getComputedStyle(over).position)) out.add("under ." + over.className + ": " + e.tagName + "." + e.className);
		}
	}
	document.activeElement.blur();
	return [...out];
})()`

// moving is what moves although its reader wants nothing to: WCAG 2.2, 2.3.3 Animation from
// Interactions.
const moving = `[...document.querySelectorAll("*")].filter(e => {
	const style = getComputedStyle(e), lasts = times => times.split(",").some(s => parseFloat(s) > .01);
	return lasts(style.transitionDuration) || style.animationName !== "none" && lasts(style.animationDuration);
}).slice(0, 5).map(e => e.tagName + "." + e.className)`

// holdStretched holds the open page against readers who set their text larger or wider, who
// go by keyboard, or who want nothing to move.
func (l *looker) holdStretched(t *testing.T) {
	t.Helper()
	text := func(script string) []string { return see(t, l.ctx, chromedp.Evaluate[[]string](script)) }
	none := func(what string, got []string) {
		t.Helper()
		if len(got) > 0 {
			t.Errorf("%s: %s", what, strings.Join(got, "; "))
		}
	}
	none("cut off by wider text", text(spaced))
	l.holdWidth(t, narrowest)
	none("", text(usualText))
	l.see(t, view{zoomed, "light"})
	l.holdWidth(t, zoomed)
	none("by keyboard", text(unseen))
	l.media(t, "prefers-reduced-motion", "reduce")
	none("moves", text(moving))
}
