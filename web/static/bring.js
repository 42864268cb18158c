// Sends cards one by one, with progress for each, and lets a failed one be tried again.
// Files come from the two fields of the form, or are dropped on the page, folders and all.
// Without this script the form sends the same files itself. All words are in the page.
"use strict";

const form = document.getElementById("bring");
const box = document.getElementById("sent"), list = box.querySelector("ol"), left = box.querySelector("details");
const summary = document.getElementById("summary"), onward = document.getElementById("onward");
const slip = document.getElementById("slip").content, says = document.getElementById("says").content;
const send = form.querySelector("button[type=submit]");

const most = {card: Number(form.dataset.cardBytes), total: Number(form.dataset.totalBytes), files: Number(form.dataset.files)};
const endings = form.dataset.endings.split(" ");
const tagName = form.dataset.tag.toLowerCase();

let items = [];       // {file, path, state, li}
const tags = new Map(); // folder → tag file
const others = [];    // paths left out
let tray = "", going = false;

// Words and numbers.

const number = n => n.toLocaleString(document.documentElement.lang);

function size(bytes) {
	const [unit, name] = bytes < 1 << 10 ? [1, "byte"] : bytes < 1 << 20 ? [1 << 10, "kilobyte"] : [1 << 20, "megabyte"];
	const digits = {maximumFractionDigits: unit > 1 && bytes < 10 * unit ? 1 : 0, style: "unit", unit: name, unitDisplay: unit > 1 ? "short" : "long"};
	return (bytes / unit).toLocaleString(document.documentElement.lang, digits);
}

const folderOf = path => path.includes("/") ? path.slice(0, path.lastIndexOf("/")) : "";
const nameOf = path => path.slice(path.lastIndexOf("/") + 1);

function fill(root, values) {
	for (const hole of root.querySelectorAll("[data-is]")) {
		if (hole.dataset.is in values) hole.textContent = values[hole.dataset.is];
	}
}

function say(when, values = {}) {
	const said = says.querySelector(`[data-when=${when}]`).cloneNode(true);
	fill(said, values);
	summary.replaceChildren(said);
}

// The list.

function isCard(path) {
	if (!path.includes("/")) return true; // somebody chose this very file
	if (path.split("/").some(part => part.startsWith(".") || part === "__MACOSX" || part === "System Volume Information")) return false;
	const name = nameOf(path).toLowerCase(), dot = name.lastIndexOf(".");
	return name.endsWith(".zip") || endings.includes(dot < 0 ? "." : name.slice(dot));
}

function show(item, state, said = "") {
	item.state = state;
	const li = item.li, bar = li.querySelector("progress");
	li.dataset.state = state;
	for (const p of li.querySelectorAll("[data-when]")) p.hidden = p.dataset.when !== state;
	fill(li, {says: said});
	bar.hidden = !["waiting", "sending", "reading"].includes(state);
	if (state === "reading") bar.removeAttribute("value");
	if (state === "waiting") bar.value = 0;
	li.querySelector("[data-does=away]").hidden = going || !["waiting", "large", "much", "many", "gone", "cut", "refused"].includes(state);
	li.querySelector("[data-does=again]").hidden = !["gone", "cut", "refused"].includes(state);
}

function add(files) {
	for (const {file, path} of files) {
		if (nameOf(path).toLowerCase() === tagName) {
			tags.set(folderOf(path), file);
		} else if (!isCard(path)) {
			others.push(path);
		} else {
			const li = slip.cloneNode(true).querySelector("li");
			const item = {file, path, state: "", li};
			li.querySelector("[data-does=away]").addEventListener("click", () => drop(item));
			li.querySelector("[data-does=again]").addEventListener("click", () => again(item));
			items.push(item);
			list.append(li);
		}
	}
	arrange();
	if (items.length) say("chosen", {n: number(items.filter(i => i.state === "waiting").length)});
}

// arrange judges which of the waiting files may be sent, and numbers those of one name.
function arrange() {
	let bytes = 0, count = 0;
	const named = new Map();
	for (const item of items) named.set(item.path, (named.get(item.path) || 0) + 1);
	const seen = new Map();
	for (const item of items) {
		const nth = (seen.get(item.path) || 0) + 1;
		seen.set(item.path, nth);
		item.label = named.get(item.path) > 1 ? `${item.path} (${number(nth)})` : item.path;
		fill(item.li, {name: item.label, size: size(item.file.size)});
		item.li.querySelector("progress").setAttribute("aria-label", item.label);
		if (!["", "waiting", "large", "much", "many"].includes(item.state)) {
			bytes += item.file.size, count++;
			continue;
		}
		if (item.file.size > most.card) show(item, "large");
		else if (bytes + item.file.size > most.total) show(item, "much");
		else if (count >= most.files) show(item, "many");
		else {
			bytes += item.file.size, count++;
			show(item, "waiting");
		}
	}
	left.hidden = others.length === 0;
	fill(left, {left: number(others.length)});
	left.querySelector("ul").replaceChildren(...others.slice(0, 200).map(path => {
		const li = document.createElement("li");
		li.textContent = path;
		return li;
	}));
	box.hidden = items.length + others.length === 0;
}

function drop(item) {
	const next = item.li.nextElementSibling || item.li.previousElementSibling;
	items = items.filter(i => i !== item);
	item.li.remove();
	arrange();
	say("chosen", {n: number(items.filter(i => i.state === "waiting").length)});
	((next && next.querySelector("button:not([hidden])")) || send).focus();
}

function again(item) {
	show(item, "waiting");
	item.li.tabIndex = -1;
	item.li.focus();
	run();
}

// Sending.

function post(item) {
	return new Promise(resolve => {
		const body = new FormData(), tag = tags.get(folderOf(item.path));
		if (tag) body.append("files", tag, (folderOf(item.path) ? folderOf(item.path) + "/" : "") + tag.name);
		body.append("files", item.file, item.path);
		const ask = new XMLHttpRequest(), bar = item.li.querySelector("progress");
		ask.open("POST", "/cards" + (tray ? "?tray=" + encodeURIComponent(tray) : ""));
		ask.setRequestHeader("Accept", "application/json");
		ask.upload.addEventListener("progress", e => { if (e.lengthComputable) bar.value = e.loaded / e.total; });
		ask.upload.addEventListener("load", () => show(item, "reading"));
		ask.addEventListener("error", () => resolve(["cut", ""]));
		ask.addEventListener("abort", () => resolve(["cut", ""]));
		ask.addEventListener("load", () => {
			let answer = {};
			try { answer = JSON.parse(ask.responseText); } catch { /* no answer of ours: told as a broken connection */ }
			if (ask.status === 404 && tray) tray = ""; // it was thrown away: the next one begins another
			if (ask.status === 200 && answer.cards > 0) {
				tray = answer.tray;
				resolve(["read", answer.says]);
			} else {
				resolve(answer.says || answer.detail ? ["refused", answer.says || answer.detail] : ["cut", ""]);
			}
		});
		ask.send(body);
	});
}

// readable reports whether the file is still there: a card may be out by now.
async function readable(file) {
	try {
		await file.slice(0, 1).arrayBuffer();
		return true;
	} catch {
		return false;
	}
}

async function run() {
	if (going) return;
	going = true;
	send.setAttribute("aria-disabled", "true"); // not disabled: the focus would be lost
	onward.hidden = true;
	const count = () => items.filter(i => i.state === "read").length;
	for (let item; (item = items.find(i => i.state === "waiting"));) {
		show(item, "sending");
		say("going", {done: number(count()), n: number(items.length)});
		if (await readable(item.file)) show(item, ...await post(item));
		else show(item, "gone");
	}
	going = false;
	send.removeAttribute("aria-disabled");
	for (const item of items) show(item, item.state, item.li.querySelector("[data-when=read]").textContent);
	finish(count());
}

function finish(read) {
	if (read === 0) {
		say("none");
		return;
	}
	onward.href = "/tray/" + encodeURIComponent(tray);
	if (read === items.length) {
		say("done", {n: number(read)});
		location.assign(onward.href);
		return;
	}
	onward.hidden = false;
	say("partly", {done: number(read), n: number(items.length)});
}

// Where files come from.

for (const field of form.querySelectorAll("input[type=file]")) {
	field.addEventListener("change", () => {
		add([...field.files].map(file => ({file, path: file.webkitRelativePath || file.name})));
		field.value = "";
	});
}

form.addEventListener("submit", event => {
	event.preventDefault();
	if (going) return;
	if (items.some(i => i.state === "waiting")) run();
	else if (items.length === 0) form.querySelector("input[type=file]").focus();
});

// walk lists the files of a dropped entry, folders to their bottom.
async function walk(entry) {
	if (entry.isFile) {
		const file = await new Promise((yes, no) => entry.file(yes, no));
		return [{file, path: entry.fullPath.replace(/^\//, "")}];
	}
	const reader = entry.createReader(), found = [];
	for (;;) { // a reader gives a part of a folder at a time
		const some = await new Promise((yes, no) => reader.readEntries(yes, no));
		if (some.length === 0) return found;
		for (const one of some) found.push(...await walk(one));
	}
}

async function dropped(data) {
	// Before the first wait: the list is gone after it. A file on its own is taken as it is,
	// since an entry of several of one name may bear another.
	const found = [...data.items].filter(i => i.kind === "file").map(i => ({entry: i.webkitGetAsEntry && i.webkitGetAsEntry(), file: i.getAsFile()}));
	for (const {entry, file} of found) {
		if (entry && entry.isDirectory) add((await walk(entry)).sort((a, b) => a.path.localeCompare(b.path)));
		else if (file) add([{file, path: file.name}]);
	}
}

let over = 0;
const lit = by => {
	over = Math.max(0, over + by);
	form.classList.toggle("over", over > 0);
};
document.addEventListener("dragenter", () => lit(1));
document.addEventListener("dragleave", () => lit(-1));
document.addEventListener("dragover", event => event.preventDefault());
document.addEventListener("drop", event => {
	event.preventDefault();
	lit(-over);
	dropped(event.dataTransfer).catch(() => say("none"));
});
window.addEventListener("pagehide", () => lit(-over));
