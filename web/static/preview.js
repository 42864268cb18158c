// Shows what a form would do while it is filled in. A form with data-preview names the
// page that shows it for values in its address (which its own button asks for without
// scripts), and with data-shows the element of that page that says it. Nothing is kept.
"use strict";

const pause = 300; // ms without a keystroke before the server is asked

for (const form of document.querySelectorAll("form[data-preview]")) {
	const shown = document.getElementById(form.dataset.shows);
	let timer = 0, asked = null, last = null;

	const address = () => {
		const fields = new FormData(form);
		for (const name of [...fields.keys()]) if (fields.get(name) instanceof File) fields.delete(name);
		return form.dataset.preview + "?" + new URLSearchParams(fields);
	};

	const ask = async () => {
		const to = address();
		if (to === last) return;
		last = to;
		if (asked) asked.abort();
		asked = new AbortController();
		shown.setAttribute("aria-busy", "true");
		try {
			const answer = await fetch(to, {signal: asked.signal, credentials: "same-origin"});
			const page = new DOMParser().parseFromString(await answer.text(), "text/html");
			const said = page.getElementById(shown.id);
			if (to === last && said && !answer.redirected) shown.replaceChildren(...said.childNodes);
		} catch (fault) {
			if (fault.name !== "AbortError") last = null; // no answer: the button still works
		}
		if (to === last || last === null) shown.removeAttribute("aria-busy");
	};

	form.addEventListener("input", () => {
		clearTimeout(timer);
		timer = setTimeout(ask, pause);
	});
}
