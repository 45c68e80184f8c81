// The room of the takes: what was found of each, heard and seen at the place, decided by
// hand where a person hears it otherwise, and the note to the player.
import { el, fill, keyCap, listAndBench, mark } from "./dom.js";
import { copyText } from "./copy.js";
import { holding } from "./held.js";
import { get } from "./server.js";
import { fetchPiece, peakOf, playTogether, stopPlaying } from "./sound.js";

// Seconds that are heard before and after the place of a finding.
const before = 1, after = 4;

// heardPeak is the highest level of what is played here.
const heardPeak = 0.25;

// What a level means, in words.
const meaning = { ok: "usable", ask: "worth a question", redo: "to be recorded again", missing: "not in yet" };

// takesRoom returns the room; desk is what main.js offers.
export function takesRoom(desk) {
	let data, root, list, bench, take, hand = 0;
	const held = holding(); // by take
	const drafts = new Map(); // by take: a note as a person has changed it, and of which it was made

	const order = { redo: 0, ask: 1, missing: 2, ok: 3 };
	const ordered = () => [...data.takes].sort((a, b) => order[a.level] - order[b.level]);

	async function load() {
		const answered = held.asked(), next = await get("judge"), was = take;
		answered();
		for (const one of next.takes) held.onto(one.take, one);
		data = next;
		take = data.takes.find((t) => t.take === was?.take) || ordered()[0];
		hand = Math.min(hand, Math.max(0, (take?.findings.length || 1) - 1));
		showList();
		if (!bench.firstChild || JSON.stringify(was) !== JSON.stringify(take)) showBench();
	}

	function choose(one) {
		take = one;
		hand = 0;
		stopPlaying();
		mark(list, take.take);
		showBench();
	}

	function showList() {
		const waiting = data.takes.filter((t) => t.level === "ask" || t.level === "redo").length;
		fill(list, el("h2", {}, waiting ? `${waiting} of ${data.takes.length} need an answer` : "Nothing has to be asked"),
			el("ol", { class: "parts" }, ordered().map((t) => el("li", { class: t.level },
				el("button", { type: "button", "data-take": t.take,
					"data-id": "take " + t.take, onclick: () => choose(t) },
				el("b", {}, t.player || t.take), t.part ? ` · ${t.part}` : "",
				el("span", { class: "state" }, meaning[t.level] + (t.verdict ? ", by hand" : "")))))));
		mark(list, take?.take);
	}

	// play plays what was found, where it was found.
	async function play(i) {
		const f = take?.findings[i];
		if (!f?.sound) return;
		hand = i;
		showStill();
		const rate = f.sound.rate, first = Math.round((f.at - before) * rate);
		try {
			const channels = await fetchPiece(f.sound, first, Math.round((before + after) * rate));
			playTogether([{ channels, rate, gain: Math.min(100, heardPeak / Math.max(1e-6, peakOf(channels))) }],
				() => desk.tell("Played."));
			desk.tell(`Playing: ${f.what}.`);
		} catch (error) {
			desk.fail(error);
		}
	}

	function showStill() {
		const part = bench.querySelector("#found-still"), f = take.findings[hand];
		if (!part) return;
		if (!take.picture || !f) {
			fill(part);
			return;
		}
		fill(part, el("img", { class: "stills", id: "stills", src: `/api/strip/${encodeURIComponent(take.take)}?at=${f.seen.toFixed(3)}`,
			alt: `Five stills of ${take.player || take.take} where it was found: ${f.what}.` }));
	}

	async function decide(verdict) {
		if (!take || take.level === "missing") return;
		const name = take.take, again = take.verdict === verdict, values = { verdict: again ? "" : verdict };
		if (values.verdict) values.level = verdict; // else check says it
		held.hold(name, values);
		Object.assign(take, values);
		showBench();
		const done = await desk.decide("change", { what: `verdict on ${name}`,
			changes: [{ take: name, keys: ["verdict"], value: values.verdict || null }] }, held.sent(name, ["verdict", "level"]));
		if (done) desk.tell(again || !verdict ? `${name} is left to check.` : `${name}: ${meaning[verdict]}, by hand.`);
	}

	async function copy() {
		const area = bench.querySelector("#letter");
		if (!area) return;
		const done = await copyText(area);
		desk.tell(done ? "Copied." : "Selected; copy it with Ctrl and C.");
	}

	function step(by) {
		if (!take) return;
		const all = ordered(), i = all.indexOf(take);
		const next = all[Math.min(all.length - 1, Math.max(0, i + by))];
		if (!next || next === take) return;
		choose(next);
		list.querySelector(`[data-take="${CSS.escape(next.take)}"]`)?.scrollIntoView({ block: "nearest" });
		desk.tell(`${next.player || next.take}: ${meaning[next.level]}.`);
	}

	function foundView(f, i) {
		return el("li", { class: f.level },
			el("b", {}, { ok: "To know", ask: "To ask", redo: "To be done again" }[f.level]), ` ${f.what}`,
			f.file ? el("small", {}, ` ${f.file}, at ${f.at.toFixed(1)} s`) : null,
			f.ask ? el("q", {}, f.ask) : null,
			f.sound || take.picture ? el("div", { class: "keys" },
				el("button", { type: "button", "data-id": `hear ${i}`, "aria-keyshortcuts": String(i + 1), disabled: !f.sound,
					"aria-label": `Hear it: ${f.what}`, onclick: () => play(i) }, "Hear it ", keyCap(String(i + 1))),
				take.picture ? el("button", { type: "button", "data-id": `see ${i}`, "aria-label": `See it: ${f.what}`,
					onclick: () => { hand = i; showStill(); } }, "See it") : null) : null);
	}

	function verdictView() {
		const key = (verdict, text, press) => el("button", { type: "button", "aria-pressed": String(take.verdict === verdict),
			"aria-keyshortcuts": press, "data-id": `verdict ${verdict}`, onclick: () => decide(verdict) }, text, " ", keyCap(press));
		return el("div", { class: "keys", role: "group", "aria-label": "Your word on this take" },
			el("span", {}, take.verdict ? "Decided by hand" : "Decide by hand"),
			key("ok", "Usable", "k"), key("ask", "Ask", "a"), key("redo", "Record again", "d"),
			take.verdict ? el("button", { type: "button", "data-id": "verdict none", onclick: () => decide("") }, "As check finds") : null);
	}

	function noteView() {
		if (!take.letter) return el("p", { class: "soft" }, `The note is with take ${take.with}.`);
		const name = take.take, { letter } = take, draft = drafts.get(name), text = draft?.text ?? letter;
		return el("div", {},
			el("label", {}, "Note to the player", el("textarea", { id: "letter", "data-id": "letter", class: "letter", rows: text.split("\n").length + 1,
				oninput: (e) => drafts.set(name, { text: e.target.value, of: draft?.of ?? letter }) }, text)),
			el("div", { class: "keys" },
				draft && draft.of !== letter ? el("button", { type: "button", "data-id": "fresh", onclick: () => {
					drafts.delete(name);
					showBench();
				} }, "What was found has changed: write it anew") : null,
				el("button", { type: "button", "data-id": "copy", "aria-keyshortcuts": "c", onclick: copy }, "Copy it ", keyCap("c")),
				take.mail ? el("a", { href: take.mail, class: "button", "data-id": "mail" }, "Open it in the mail program")
					: el("span", { class: "soft" }, "With email: under the take, the mail program opens from here.")));
	}

	function showBench() {
		if (!take) {
			fill(bench, el("p", {}, "There are no takes yet."));
			return;
		}
		fill(bench, el("h2", {}, take.player || take.take, take.part ? el("span", {}, ` · ${take.part}`) : ""),
			el("p", { class: "soft" }, `Take ${take.take}: ${meaning[take.level]}. Release: ${take.release}.`),
			take.findings.length ? el("ol", { class: "found" }, take.findings.map(foundView))
				: el("p", {}, take.level === "missing" ? "Nothing has come yet." : "Nothing is wrong with it."),
			el("div", { id: "found-still" }),
			take.level === "missing" ? null : verdictView(), noteView());
		showStill();
		root.dataset.drawn = `${take.take} ${take.level} ${take.verdict}`; // for tests
	}

	return {
		name: "takes", title: "Takes", needs: "judge",
		isReady: (state) => state.judged,
		keys: [
			["n", "the next take", () => step(1)], ["b", "the take before", () => step(-1)],
			["1", "hear the first finding; 2 to 9 the others", () => play(0)],
			...[2, 3, 4, 5, 6, 7, 8, 9].map((i) => [String(i), "", () => play(i - 1)]), ["s", "stop", stopPlaying],
			["k", "usable, whatever was found", () => decide("ok")], ["a", "worth a question", () => decide("ask")],
			["d", "to be recorded again", () => decide("redo")], ["c", "copy the note", copy],
		],
		show(into) {
			root = into;
			[list, bench] = listAndBench(root);
		},
		load,
		hide: stopPlaying,
	};
}
