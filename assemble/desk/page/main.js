// The frame of the page: which room is open, what the desk tells, undo and redo, the
// keys. Rooms are modules of their own and get the desk as an object.
import { byId, el, fill, isTyping, keyCap } from "./dom.js";
import { get, listen, post, Refused } from "./server.js";
import { placeRoom } from "./place.js";
import { mixRoom } from "./mix.js";
import { pictureRoom } from "./picture.js";
import { reviewRoom } from "./review.js";
import { takesRoom } from "./takes.js";
import { warm } from "./sound.js";
import { startTour } from "./tour.js";

let state = {};
let room;
let loaded = ""; // what the open room was loaded for
const loading = new Map(); // by room: that it is being loaded, once at a time, or answers overtake each other
let deciding = Promise.resolve(); // one decision after the other
let turning = 0; // steps that are being taken back: keys wait for them
let starting = false; // the desk is being asked to begin
let wasMade = ""; // what a job said last when it ended
let tried = ""; // what was prepared for it last, so that a failure is not tried for ever

const desk = {
	// tell says something that needs no answer; screen readers read it out.
	tell: (text) => { byId("told").textContent = text; },
	// fail says what went wrong.
	fail(error) {
		byId("problem").textContent = error instanceof Refused ? [error.message, error.hint].filter(Boolean).join("\n") : String(error);
	},
	state: () => state,
	took: (now) => take(now),
	// decide writes something into the manifest and reports whether it was written. answered
	// is called before the page takes over what the desk says to it, with that or without. A
	// body may be what makes one when its turn has come, or none.
	decide: (path, body, answered) => inTurn(async () => {
		try {
			const now = await decided(path, typeof body === "function" ? body() : body);
			answered?.(now);
			if (!now) return false;
			take(now);
			return true;
		} catch (error) {
			answered?.();
			await lookAgain();
			desk.fail(error);
			return false;
		}
	}),
	// run has the desk do something with what was decided until now.
	run: (verb) => {
		room?.flush?.();
		return inTurn(() => begin(verb));
	},
};

async function decided(path, body) {
	return body && post(path, { version: state.version, ...body }, true);
}

// inTurn does something when all that was decided before it has been answered.
const inTurn = (does) => (deciding = deciding.then(does));

async function begin(verb) {
	try {
		take(await post("run", { verb }));
	} catch (error) {
		desk.fail(error);
	}
}

// lookAgain has the room show what there is, whatever it showed before.
async function lookAgain() {
	loaded = "";
	try {
		take(await get("state"));
	} catch { /* why is told by whoever asks for this */ }
}

const rooms = [placeRoom(desk), takesRoom(desk), mixRoom(desk), pictureRoom(desk), reviewRoom(desk)];

// take takes over a state of the desk.
function take(now) {
	if (now.serial < state.serial) return; // an answer that an event has overtaken
	const changed = state.version && state.version !== now.version;
	state = now;
	document.title = `The desk: ${now.title}`;
	if (now.title) byId("title").textContent = now.title;
	byId("ensemble").textContent = now.ensemble ? ` · ${now.ensemble}` : "";
	for (const [id, what, verb] of [["undo", now.undo, "Undo"], ["redo", now.redo, "Redo"]]) {
		byId(id).disabled = !what;
		byId(id).textContent = what ? `${verb}: ${what}` : verb;
	}
	showJob(now.job);
	if (now.problem) desk.fail(new Refused(now.problem));
	else if (changed || now.job?.running) byId("problem").textContent = "";
	if (now.job?.problem) desk.fail(new Refused(now.job.problem));
	const made = now.job && !now.job.running && now.job.message;
	if (made && made !== wasMade) desk.tell(`${made[0].toUpperCase()}${made.slice(1)}.`);
	wasMade = made;
	room?.update?.(now);
	prepare();
}

// showJob shows what the desk is doing.
function showJob(job) {
	byId("job").hidden = !job?.running;
	if (!job?.running) return;
	const names = { place: "Placing the takes", mix: "Preparing the mix", measure: "Measuring the mix", look: "Planning the picture",
		judge: "Checking the takes", rough: "Making the rough cut", render: "Making the finished films", review: "Writing the page" };
	byId("job-text").textContent = `${names[job.name] || job.name}: ${job.message || job.now || "…"}`;
	byId("job-bar").value = job.fraction;
}

// prepare has the desk make what the open room needs, and loads it when it is there. What
// was cancelled or has failed is made again when somebody asks for it.
async function prepare() {
	if (!room || state.version === undefined || state.problem) return; // before the first word of the desk
	const now = room, want = `${now.name} ${state.version}`, idle = !state.job?.running && !starting;
	byId("again").hidden = now.isReady(state) || !idle || tried !== want;
	if (!now.isReady(state)) {
		if (!idle || tried === want) return;
		tried = want;
		starting = true;
		await begin(now.needs);
		starting = false;
		return;
	}
	const stand = `${now.name} ${state.version} ${now.standOf?.(state) || ""}`;
	if (loaded === stand || loading.has(now)) return;
	loaded = stand;
	loading.set(now, load(now, stand));
}

// load loads a room, and once more when something has changed meanwhile.
async function load(now, stand) {
	let done = false;
	try {
		await now.load();
		done = true;
		if (room === now) document.documentElement.dataset.room = stand; // for whoever waits for it
	} catch (error) {
		if (loaded === stand) loaded = "";
		desk.fail(error);
	}
	loading.delete(now);
	if (done || room !== now) prepare();
}

// settled waits until the open room shows what the desk has told.
async function settled() {
	for (let one; (one = loading.get(room));) await one;
}

// open shows a room.
function open(next) {
	room?.hide?.();
	if (room) desk.tell(""); // what was said of another room
	room = next;
	loaded = tried = "";
	fill(byId("rooms"), rooms.map((r) => el("li", {}, el("a", { href: "#" + r.name,
		"aria-current": r === room ? "page" : null }, r.title))));
	// In a part of its own: what another room was asked for may still come, and is not seen.
	const part = el("div");
	byId("room").replaceChildren(part);
	room.show(part);
	byId("room").setAttribute("aria-label", room.title);
	prepare();
}

const roomOf = () => rooms.find((r) => "#" + r.name === location.hash) || rooms[0];

// back takes a step back, or makes it again. What a person does meanwhile waits, since it
// goes by what is seen then.
async function back(path) {
	room?.flush?.();
	turning++;
	await inTurn(async () => {
		const what = path === "undo" ? state.undo : state.redo;
		try {
			take(await post(path));
			desk.tell(path === "undo" ? `Taken back: ${what}.` : `Made again: ${what}.`);
		} catch (error) {
			await lookAgain();
			desk.fail(error);
		}
		await settled();
	});
	turning--;
}

// frameKeys work in every room.
const frameKeys = [
	["z", "undo", () => back("undo")], ["Shift+Z", "redo", () => back("redo")], ["?", "these keys", showKeys],
	...rooms.map((r, i) => [`Alt+${i + 1}`, `the room ${r.title}`, () => { location.hash = r.name; }]),
];

function showKeys() {
	fill(byId("keys-list"), [...room.keys, ...frameKeys].filter(([, text]) => text).flatMap(([key, text]) =>
		[el("dt", {}, keyCap(key)), el("dd", {}, text)]));
	byId("keys").showModal();
}

// isMark reports whether a key writes a mark, which on many keyboards takes AltGr or the
// option key; browsers tell of those as of Ctrl and Alt.
const isMark = (event) => event.key.length === 1 && !/[\p{L}\p{N}]/u.test(event.key);

// keysOf returns what a key may be called in the lists. Marks go by what they write, and
// Alt with a digit by the key, since with the option key it writes something else.
function keysOf(event) {
	const shift = event.shiftKey && (event.key.length > 1 || /[A-Z]/.test(event.key));
	const digit = event.altKey && !event.ctrlKey && /^Digit(\d)$/.exec(event.code)?.[1];
	return [(event.altKey && !isMark(event) ? "Alt+" : "") + (shift ? "Shift+" : "") + event.key, digit && "Alt+" + digit];
}

addEventListener("keydown", (event) => {
	if (byId("keys").open || byId("way").open || isTyping(event)) return;
	let keys = keysOf(event);
	if ((event.ctrlKey || event.metaKey) && !(event.altKey && isMark(event))) {
		if (event.key.toLowerCase() !== "z") return;
		keys = [event.shiftKey ? "Shift+Z" : "z"];
	}
	const all = [...(room?.keys || []), ...frameKeys], entry = keys.map((key) => all.find(([name]) => name === key)).find(Boolean);
	if (!entry) return;
	event.preventDefault();
	if (turning) deciding.then(entry[2]);
	else entry[2]();
});
addEventListener("hashchange", () => open(roomOf()));
// Whoever leaves has done what was seen.
addEventListener("pagehide", () => room?.flush?.());
document.addEventListener("visibilitychange", () => { if (document.hidden) room?.flush?.(); });
addEventListener("resize", () => room?.redraw?.());
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => room?.redraw?.());
byId("undo").addEventListener("click", () => back("undo"));
byId("redo").addEventListener("click", () => back("redo"));
byId("help").addEventListener("click", showKeys);
byId("tour").addEventListener("click", () => startTour(true));
byId("again-do").addEventListener("click", () => {
	tried = "";
	byId("problem").textContent = "";
	prepare();
});
byId("keys-close").addEventListener("click", () => byId("keys").close());
byId("job-cancel").addEventListener("click", () => post("cancel").then(take, desk.fail));

warm();
open(roomOf());
startTour(false);
listen((now) => take(now), () => desk.fail(new Error("The desk does not answer; it may have been closed.")));
