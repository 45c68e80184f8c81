// What the page asks of the desk. All of it goes to where the page came from.

// Refused is an answer that says why something was not done.
export class Refused extends Error {
	constructor(problem) {
		super(problem.what);
		this.hint = problem.hint || "";
		this.stale = Boolean(problem.stale);
	}
}

// post sends JSON and returns the answer; it throws Refused. What outlives is sent even if
// the page is being closed; the browser has it be short.
export async function post(path, body = {}, outlives = false) {
	const answer = await fetch("/api/" + path, {
		method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body), keepalive: outlives,
	});
	if (answer.ok) return answer.json();
	throw new Refused(await problem(answer));
}

// get returns a JSON value, when nothing is being pressed; it throws Refused.
export async function get(path) {
	const answer = await fetch("/api/" + path);
	if (!answer.ok) throw new Refused(await problem(answer));
	const value = await answer.json();
	await released();
	return value;
}

// What is pressed just now: pointers by their numbers, and the space bar. A control that is
// drawn anew between press and release is not clicked, and one that is dragged is lost.
const pressed = new Set();
const leave = (what) => () => { pressed.delete(what); };

addEventListener("pointerdown", (event) => { if (event.button === 0) pressed.add(event.pointerId); }, true);
for (const end of ["pointerup", "pointercancel"]) {
	addEventListener(end, (event) => setTimeout(leave(event.pointerId)), true); // after the click that may follow
}
addEventListener("keydown", (event) => { if (event.key === " ") pressed.add(" "); }, true);
addEventListener("keyup", (event) => { if (event.key === " ") setTimeout(leave(" ")); }, true);
// Of a release over a menu or another window nobody tells.
addEventListener("pointermove", (event) => { if (event.buttons === 0) pressed.delete(event.pointerId); }, true);
for (const away of ["blur", "contextmenu"]) addEventListener(away, () => pressed.clear());
addEventListener("change", (event) => { if (event.target.matches("select")) pressed.clear(); });

// longestPress is how long a press is waited for, in milliseconds: it may have been missed.
const longestPress = 10000;

// released waits until nothing is pressed.
async function released() {
	for (const end = Date.now() + longestPress; pressed.size && Date.now() < end;) await new Promise((done) => setTimeout(done, 20));
}

// problem reads why something was refused.
async function problem(answer) {
	const text = await answer.text();
	try {
		return JSON.parse(text);
	} catch {
		return { what: text.trim() || "the desk does not answer" };
	}
}

// samples returns frames of a sound as floats, the channels in turn; shorter at its
// ends.
export async function samples(id, from, frames) {
	const answer = await fetch(`/api/sound/${id}?from=${from}&frames=${frames}`);
	if (!answer.ok) throw new Refused(await problem(answer));
	return new Float32Array(await answer.arrayBuffer());
}

// voicePiece returns the voices of a mix over some frames of guide time: groups as
// audition/voices.go describes them, and the stream of AAC of each.
export async function voicePiece(id, from, frames) {
	const answer = await fetch(`/api/voices/${id}?from=${from}&frames=${frames}`);
	if (!answer.ok) throw new Refused(await problem(answer));
	const data = await answer.arrayBuffer(), head = 4 + new DataView(data).getUint32(0, true);
	const { groups } = JSON.parse(new TextDecoder().decode(new Uint8Array(data, 4, head - 4)));
	let at = head;
	return { groups, streams: groups.map((g) => data.slice(at, at += g.bytes)) };
}

// listen calls told with every state of the desk, and lost when the desk is gone.
export function listen(told, lost) {
	const events = new EventSource("/api/events");
	events.onmessage = (event) => told(JSON.parse(event.data));
	events.onerror = lost;
}
