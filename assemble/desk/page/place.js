// The room in which takes are placed: those that need review first, each candidate
// with its sound over the beats and its picture round the clap.
import { el, fill, keyCap, listAndBench, mark, pause, signed } from "./dom.js";
import { holding } from "./held.js";
import { get } from "./server.js";
import { fetchPiece, peakOf, playTogether, stopPlaying } from "./sound.js";
import { bent, fileTime, moved, ratio } from "./clock.js";
import { beatName, drawSheet, loudestNear } from "./wave.js";

// Seconds that are seen on either side of the moment, from near to far.
const reaches = [0.08, 0.25, 0.75, 2, 5];

// Seconds that are heard before and after the moment, and how many others with it.
const before = 1.2, after = 4.5, mostOthers = 12;

// Seconds round the moment that are heard of it alone, with its click: no other click is in
// them up to 140 beats a minute.
const justBefore = 0.12, justAfter = 0.4;

// heardPeak is the highest level of what is played here: clear, and no louder than
// it needs to be in headphones.
const heardPeak = 0.25;

// methods says in words what a place rests on.
const methods = { "cue": "the clap", "cue+playing": "the clap and the playing", "playing": "the playing", "device": "the player's other recording" };

// placeRoom returns the room; desk is what main.js offers.
export function placeRoom(desk) {
	let data, root, take, place, saved, number = 0, at = 0, reach = 2;
	let sheet, list, bench, drawing = 0, playing = 0;
	let drawn; // what the sheet shows: whose sound, lying where, at which moment
	const held = holding(); // by take

	const moment = () => data.places[at] || { title: "the beginning", at: data.start };
	const anchor = () => (data.places[0] || moment()).at;

	// ordered returns the takes, those that ask for something first.
	const ordered = () => [...data.takes].sort((a, b) => Number(Boolean(b.asks)) - Number(Boolean(a.asks)));

	async function load() {
		const answered = held.asked(), next = await get("place"), was = JSON.stringify([take, data?.places, data?.beats]);
		answered();
		for (const one of next.takes) held.onto(one.name, one);
		data = next;
		const again = data.takes.find((t) => t.name === take?.name);
		showList();
		// What a person is moving or hearing stays as it is while the others are placed again.
		if (!again || again.role !== take.role) choose(ordered()[0]);
		else if (isMoved() || was === JSON.stringify([again, data.places, data.beats])) {
			take = again;
			if (!bench.firstChild) showBench(); // somebody has come back to this room
		} else choose(again);
	}

	const isMoved = () => place && saved && (place.offset !== saved.offset || place.drift !== saved.drift);

	function choose(one) {
		take = one;
		if (!take) {
			fill(bench, el("p", {}, "No take can be heard yet."));
			return;
		}
		number = 0;
		place = saved = { offset: take.offset, drift: take.drift_ppm };
		if (take.asks && !take.decided && take.candidates.length) pick(0, true);
		stopPlaying();
		mark(list, take.name);
		showBench();
	}

	function pick(i, quietly) {
		const c = take.candidates[i];
		if (!c) return;
		number = i + 1;
		place = { offset: c.offset, drift: c.drift_ppm };
		if (quietly) return;
		desk.tell(`Candidate ${number} of ${take.candidates.length}.`);
		showBench();
	}

	// move shifts what is seen here: the whole take at the first moment, and at a later
	// one its clock, with the clap where it is.
	function move(seconds, from = place) {
		if (!take) return;
		const m = moment();
		const next = at === 0 ? moved(from, seconds) : bent(from, seconds, m.at, anchor());
		if (!next) return;
		place = next;
		refresh();
		desk.tell(`${words()}. ${sayMoved()}`);
	}

	const sayMoved = () => isMoved()
		? `Moved by ${signed(1000 * (fileTime(saved, moment().at) - fileTime(place, moment().at)), 1)} ms here; not written yet.`
		: "";

	const words = () => `Begins at ${signed(place.offset, 3)} s of the guide, drift ${signed(place.drift, 1)} ppm`;

	async function accept() {
		if (!take) return;
		const { name, role } = take, sent = place, values = { offset: sent.offset, drift_ppm: sent.drift, decided: true };
		held.hold(name, values);
		Object.assign(take, values);
		const done = await desk.decide("place", { take: name, role, offset: sent.offset, drift_ppm: sent.drift }, held.sent(name, Object.keys(values)));
		if (!done) return;
		desk.tell(`Written: where ${name} lies. Undo takes it back.`);
		if (take?.name !== name) return; // somebody has gone on, or has moved it since
		saved = sent;
		refresh();
	}

	// piece fetches what a take sounds like over a span of guide time.
	async function piece(sound, where, from, to) {
		const first = Math.floor(fileTime(where, from) * sound.rate);
		const frames = Math.min(500000, Math.ceil((to - from) / ratio(where) * sound.rate) + 1);
		const channels = await fetchPiece(sound, first, frames);
		return { channels, samples: channels[0], first: where.offset + first / sound.rate * ratio(where), step: ratio(where) / sound.rate };
	}

	const onGuide = { offset: 0, drift: 0 };

	async function play(what) {
		if (!take?.sound) return;
		const m = moment().at, short = what === "moment", from = m - (short ? justBefore : before), to = m + (short ? justAfter : after);
		const mine = place, name = take.name, asked = ++playing;
		try {
			const parts = [[take.sound, mine, what === "click" || short ? 0.7 : 0]];
			if (what === "click" || short) parts.push([data.guide, onGuide, -0.7]);
			if (what === "others") {
				const others = data.takes.filter((t) => t.sure && t.sound && t.name !== name).slice(0, mostOthers);
				others.forEach((t) => parts.push([t.sound, { offset: t.offset, drift: t.drift_ppm }, -0.4]));
			}
			const share = what === "others" ? 1 / Math.sqrt(Math.max(1, parts.length - 1)) : 1;
			const heard = [], fetched = parts.map(([s, w]) => piece(s, w, from, to));
			for (const [i, [sound, where, pan]] of parts.entries()) {
				const p = await fetched[i];
				heard.push({ channels: p.channels, rate: sound.rate, speed: 1 / ratio(where), pan, after: Math.max(0, p.first - from),
					gain: Math.min(100, heardPeak / Math.max(1e-6, peakOf(p.channels))) * (i > 0 ? share : 1) });
				await pause(); // to look through many seconds of samples takes its time
			}
			if (name !== take?.name || asked !== playing) return; // somebody has gone on
			playTogether(heard, () => desk.tell("Played."));
			desk.tell({ click: "Playing: click left, take right.", alone: "Playing the take alone.",
				moment: `Playing ${moment().title} alone: click left, take right.`,
				others: `Playing with ${parts.length - 1} others.` }[what]);
		} catch (error) {
			desk.fail(error);
		}
	}

	function showList() {
		const waiting = data.takes.filter((t) => t.asks).length;
		fill(list,
			el("h2", {}, waiting ? `${waiting} of ${data.takes.length} need review` : "All takes are placed"),
			el("ol", { class: "parts" }, ordered().map((t) => el("li", { class: t.asks ? "asks" : "" },
				el("button", { type: "button", "data-take": t.name, "data-id": "take " + t.name,
					onclick: () => choose(t) },
				el("b", {}, t.player || t.name), t.part ? ` · ${t.part}` : "",
				el("span", { class: "state" }, stateOf(t)))))),
			absent() ? el("p", { class: "soft" }, `Not here: ${absent()}.`) : null);
		mark(list, take?.name);
	}

	// absent says who could not be placed at all, for want of a recording.
	const absent = () => (data.faults || []).filter((f) => f.kind !== "unplaced").map((f) => f.what).join("; ");

	function stateOf(t) {
		if (t.asks) return "needs review";
		return t.fixed ? "placed by hand" : `sure, by ${methods[t.method] || t.method}`;
	}

	function showBench() {
		const m = moment();
		sheet = el("canvas", { role: "img", onclick: here, id: "sheet", "data-id": "sheet" });
		const key = (text, press, does, more = {}) => el("button", { type: "button", "aria-keyshortcuts": press, "data-id": press, onclick: does, ...more },
			text, " ", keyCap(press));
		fill(bench,
			el("h2", {}, take.player || take.name, take.part ? el("span", {}, ` · ${take.part}`) : ""),
			el("p", { class: "soft" }, `${take.file}, the ${take.role} of take ${take.name}`),
			take.asks ? el("p", { class: "asked" }, `Needs review: ${take.asks}`) : null,
			take.candidates.length ? el("ol", { class: "choices", "aria-label": "Candidates" }, take.candidates.slice(0, 9).map((c, i) =>
				el("li", {}, el("button", { type: "button", "aria-pressed": String(number === i + 1), "aria-keyshortcuts": String(i + 1),
					"data-candidate": String(i + 1), "data-id": `candidate ${i}`, "aria-label": `Candidate ${i + 1}: ${candidateName(c)}`, onclick: () => pick(i) },
				keyCap(String(i + 1)), ` ${candidateName(c)}`)))) : null,
			el("div", { class: "keys", role: "group", "aria-label": "Moments" }, el("span", {}, "Look at"),
				data.places.map((w, i) => el("button", { type: "button", "aria-pressed": String(i === at), "data-id": `moment ${i}`, onclick: () => look(i) }, w.title)),
				el("span", {}, at === 0 ? "Moves shift the whole take." : "Moves change its clock; the clap stays.")),
			el("div", { class: "sheet" }, sheet),
			take.picture ? el("img", { class: "stills", id: "stills", alt: `Five stills of ${take.player || take.name}; the middle one at ${m.title}.` }) : null,
			el("p", { class: "where", id: "where" }),
			el("div", { class: "keys", role: "group", "aria-label": "Play" }, el("span", {}, "Play"),
				key("with click", "c", () => play("click")), key(at === 0 ? "the clap alone" : "this beat alone", "k", () => play("moment")),
				key("take alone", "a", () => play("alone")),
				key("with others", "o", () => play("others")), key("stop", "s", stopPlaying)),
			el("div", { class: "keys", role: "group", "aria-label": "Move" }, el("span", {}, "Earlier, later"),
				key("−1 frame", ",", () => move(-1 / data.fps)), key("−10 ms", "Shift+ArrowLeft", () => move(-0.01)),
				key("−1 ms", "ArrowLeft", () => move(-0.001)), key("+1 ms", "ArrowRight", () => move(0.001)),
				key("+10 ms", "Shift+ArrowRight", () => move(0.01)), key("+1 frame", ".", () => move(1 / data.fps)),
				key("the loudest is it", "h", loudest)),
			el("div", { class: "keys" }, key("Accept", "y", accept, { class: "main", id: "accept" }),
				key("As it was", "r", () => choose(take))));
		refresh();
	}

	// candidateName says what is taken for the beginning; where that is the same in two of
	// them, it says where the take begins by it, too.
	function candidateName(c) {
		const what = (one) => `${one.by === "cue" ? "clap" : "first note"} at ${one.at.toFixed(2)} s of the file`;
		const twice = take.candidates.some((one) => one !== c && what(one) === what(c));
		return `${what(c)}, ${odds(c.odds)}${twice ? `; it begins at ${signed(c.offset, 3)} s` : ""}`;
	}

	const odds = (x) => x >= 0.995 ? "99 %" : x < 0.01 ? "under 1 %" : `${Math.round(100 * x)} %`;

	function look(i) {
		if (i < 0 || i >= data.places.length) return;
		at = i;
		showBench();
		desk.tell(`Looking at ${moment().title}.`);
	}

	// refresh draws what is seen at the moment, and says it in words.
	async function refresh() {
		const turn = ++drawing, m = moment(), half = reaches[reach], where = place;
		const view = { from: m.at - half, to: m.at + half };
		const stills = bench.querySelector("#stills");
		if (stills) {
			const src = `/api/strip/${encodeURIComponent(take.name)}?at=${(Math.round((fileTime(place, m.at) + take.lead) * 30) / 30).toFixed(3)}`;
			if (stills.getAttribute("src") !== src) stills.setAttribute("src", src);
		}
		try {
			const [guide, mine] = await Promise.all([piece(data.guide, onGuide, view.from, view.to),
				take.sound ? piece(take.sound, where, view.from, view.to) : undefined]);
			if (turn !== drawing) return; // something newer is drawn
			drawSheet(sheet, view, m.at, data.beats, guide, mine);
			drawn = { take: take.name, place: where, at };
			const loud = mine && loudestNear(mine, m.at, half);
			const near = data.beats.filter((b) => b.at >= view.from && b.at <= view.to).map(beatName).join(", ");
			const begins = fileTime(where, m.at), ends = take.sound && take.sound.frames / take.sound.rate;
			const text = !mine || begins < 0 ? "the recording has not begun" : begins > ends ? "the recording has ended"
				: loud === undefined ? "silence here" : `the loudest moment lies ${signed(1000 * (loud - m.at), 0)} ms from it`;
			sheet.setAttribute("aria-label", `Sound of ${take.name} round ${m.title}, beats ${near}: ${text}. Click where the sound of ${m.title} is.`);
			bench.querySelector("#where").textContent = `${words()}. At ${m.title}: ${text}. ${sayMoved()}`;
			sheet.dataset.drawn = JSON.stringify({ take: take.name, offset: place.offset, drift: place.drift, moment: at }); // for tests
		} catch (error) {
			if (turn === drawing) desk.fail(error);
		}
	}

	// here takes a click on the wave for the moment's sound.
	function here(event) {
		const half = reaches[reach], box = sheet.getBoundingClientRect();
		const guide = moment().at - half + (event.clientX - box.left) / box.width * 2 * half;
		// What is clicked is what is seen; keys may have gone on.
		move(moment().at - guide, drawn?.take === take?.name && drawn.at === at ? drawn.place : place);
	}

	// loudest takes the loudest moment that is seen for the moment's sound.
	async function loudest() {
		if (!take?.sound) return;
		const m = moment(), half = reaches[reach], of = take.name;
		try {
			const loud = loudestNear(await piece(take.sound, place, m.at - half, m.at + half), m.at, half);
			// Who has gone on to another take or moment does not mean that one. Keys that came
			// meanwhile add to it.
			if (loud !== undefined && of === take?.name && m.at === moment().at) move(m.at - loud);
		} catch (error) {
			desk.fail(error);
		}
	}

	function step(by) {
		const all = ordered(), i = all.findIndex((t) => t.name === take?.name);
		const next = all[Math.min(all.length - 1, Math.max(0, i + by))];
		if (!next || next.name === take?.name) return;
		choose(next);
		list.querySelector(`[data-take="${CSS.escape(next.name)}"]`)?.scrollIntoView({ block: "nearest" });
		desk.tell(`${next.player || next.name}: ${stateOf(next)}.`);
	}

	function zoom(by) {
		reach = Math.min(reaches.length - 1, Math.max(0, reach + by));
		refresh();
		desk.tell(`${reaches[reach]} s to either side.`);
	}

	return {
		name: "place", title: "Place", needs: "place",
		isReady: (state) => state.placed,
		keys: [
			["n", "the next take", () => take && step(1)], ["b", "the take before", () => take && step(-1)],
			["1", "the first candidate; 2 to 9 the others", () => take && pick(0)],
			...[2, 3, 4, 5, 6, 7, 8, 9].map((i) => [String(i), "", () => take && pick(i - 1)]),
			["c", "play with the click", () => play("click")], ["k", "play the clap alone, or the beat one looks at, with its click", () => play("moment")],
			["a", "play the take alone", () => play("alone")],
			["o", "play with the others", () => play("others")], ["s", "stop", stopPlaying],
			["ArrowLeft", "1 ms earlier", () => move(-0.001)], ["ArrowRight", "1 ms later", () => move(0.001)],
			["Shift+ArrowLeft", "10 ms earlier", () => move(-0.01)], ["Shift+ArrowRight", "10 ms later", () => move(0.01)],
			[",", "one frame earlier", () => move(-1 / data.fps)], [".", "one frame later", () => move(1 / data.fps)],
			["h", "here: the loudest moment that is seen is it", loudest],
			["]", "look at the next moment", () => take && look(at + 1)], ["[", "look at the moment before", () => take && look(at - 1)],
			["+", "nearer", () => take && zoom(-1)], ["-", "farther", () => take && zoom(1)],
			["y", "yes: write this place into the manifest", accept], ["r", "as it was", () => take && choose(take)],
		],
		show(into) {
			root = into;
			[list, bench] = listAndBench(root);
		},
		load,
		redraw: () => { if (take && bench.firstChild) refresh(); },
		hide: stopPlaying,
	};
}
