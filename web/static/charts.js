// Lets a reader look closer at a chart: the picture gives way to the same chart by the
// same ECharts, which is loaded when it is first asked for, with the option from the
// page's own address. All words are in the page or in what the server says.
"use strict";

const dwell = 250; // ms that a mouse rests on a picture before it comes alive

const colourless = matchMedia("(forced-colors: active)");
const dark = matchMedia("(prefers-color-scheme: dark)");
let open = null; // the chart that is alive: one at a time

// look is the page's typeface and colours as they are now.
function look(figure, colours) {
	const style = getComputedStyle(figure);
	const now = {};
	for (const [written, name] of Object.entries(colours)) now[written] = style.getPropertyValue(name).trim() || written;
	return {font: style.fontFamily, colours: now};
}

// A chart is the picture of a figure with its two buttons.
class Chart {
	constructor(bar) {
		this.bar = bar;
		this.figure = bar.closest("figure");
		[this.closer, this.back] = bar.querySelectorAll("button");
		this.help = bar.querySelector(".help");
		this.failed = bar.querySelector(".failed");
		this.said = bar.querySelector("[role=status]");
		this.pictures = [...this.figure.querySelectorAll(".fig-wide, .fig-narrow, .fig-only")];
		this.closer.addEventListener("click", () => this.begin(true));
		this.back.addEventListener("click", () => this.end());
		for (const picture of this.pictures) this.watch(picture);
	}

	// watch brings a picture to life when a mouse rests on it or it is tapped beside its links.
	watch(picture) {
		let timer = 0;
		picture.addEventListener("pointerenter", event => {
			if (event.pointerType === "mouse") timer = setTimeout(() => { if (!picture.contains(document.activeElement)) this.begin(false); }, dwell);
		});
		picture.addEventListener("pointerleave", () => clearTimeout(timer));
		picture.addEventListener("pointerdown", () => clearTimeout(timer));
		picture.addEventListener("click", event => { if (!event.target.closest("a")) this.begin(false); });
	}

	seen() { return this.pictures.find(picture => picture.offsetParent !== null); }

	async begin(byButton) {
		if (this.busy || this.live) return;
		const picture = this.seen();
		if (!picture || colourless.matches && !byButton) return; // a canvas does not follow forced colours
		this.busy = true;
		this.failed.hidden = true;
		if (byButton) this.help.hidden = false;
		try {
			const address = new URL(location.href);
			address.hash = "";
			address.searchParams.set("option", this.bar.dataset.chart);
			if (picture.classList.contains("fig-narrow")) address.searchParams.set("drawing", "narrow");
			const [answer, script] = await Promise.all([fetch(address, {credentials: "same-origin"}), import(this.bar.dataset.script)]);
			if (!answer.ok) throw new Error(answer.status);
			this.data = await answer.json();
			this.script = script;
			if (byButton || !picture.contains(document.activeElement)) this.set(picture, byButton);
		} catch {
			this.help.hidden = true;
			if (byButton) this.failed.hidden = false;
		}
		this.busy = false;
	}

	// set puts the live chart in the place of the picture, of the same size.
	set(picture, byButton) {
		if (open) open.end();
		open = this;
		const {width, height} = picture.getBoundingClientRect();
		const stage = document.createElement("div");
		stage.className = "stage";
		stage.tabIndex = 0;
		stage.setAttribute("role", "application");
		stage.setAttribute("aria-label", picture.getAttribute("aria-label"));
		stage.setAttribute("aria-describedby", this.help.id);
		stage.style.width = `${width}px`;
		stage.style.height = `${height}px`;
		picture.after(stage);
		picture.classList.add("away");
		this.picture = picture;
		this.live = stage;
		this.draw();
		this.closer.hidden = true;
		this.back.hidden = false;
		stage.addEventListener("keydown", event => this.press(event));
		if (byButton) stage.focus();
	}

	draw() {
		if (this.chart) this.chart.end();
		this.chart = this.script.show(this.live, this.data, look(this.figure, this.data.colour), tip => this.say(tip));
	}

	say(tip) { this.said.textContent = tip ? [tip.head, ...tip.says].join(", ") : ""; }

	press(event) {
		if (event.ctrlKey || event.altKey || event.metaKey) return;
		if (this.chart.press(event.key)) event.preventDefault();
	}

	end() {
		if (!this.live) return;
		const focused = this.bar.contains(document.activeElement) || this.live.contains(document.activeElement);
		this.chart.end();
		this.live.remove();
		this.picture.classList.remove("away");
		this.live = this.chart = open = null;
		this.closer.hidden = false;
		this.back.hidden = this.help.hidden = true;
		this.say(null);
		if (focused) this.closer.focus();
	}
}

for (const bar of document.querySelectorAll(".look")) new Chart(bar);
document.documentElement.classList.add("charts");

document.addEventListener("keydown", event => { if (event.key === "Escape" && open) open.end(); });
dark.addEventListener("change", () => { if (open) open.draw(); });
let wide = innerWidth; // a phone changes the height of its window while it scrolls
addEventListener("resize", () => {
	if (open && innerWidth !== wide) open.end();
	wide = innerWidth;
});
