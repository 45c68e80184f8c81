// The room in which the film is looked at and spoken of: remarks at a moment, for all or
// for one player, and who approves which version.
import { el, fill, keyCap } from "./dom.js";
import { get, post } from "./server.js";
import { clock, placeOf, stepMeasure, thinned } from "./bars.js";

// reviewRoom returns the room; desk is what main.js offers.
export function reviewRoom(desk) {
	let data, root, film, video, where, ruler, list, words, told, frame, moment, needle, slider, listed, gone;

	const guide = () => data.zero + (video?.currentTime || 0);
	const at = () => moment ?? guide();
	// length is that of the film, which the ruler shows as the bar above it does.
	const length = () => video?.duration || data.end - data.zero;
	const open = () => data.remarks.filter((r) => !r.settled).length;

	async function load() {
		data = await get("review");
		const had = film;
		film = data.films.find((f) => f.name === had?.name) || data.films[0];
		if (!root.firstChild) draw();
		showFilm(had);
		showList();
		showTime();
	}

	// showFilm gives the player its film; one that is the same plays on.
	function showFilm(had) {
		const part = root.querySelector("#film-part");
		if (!film) {
			video = undefined;
			fill(part, el("p", {}, "There is no film yet. The rough cut is made from here."));
			return;
		}
		if (video && had?.hash === film.hash) return;
		const on = video?.currentTime || 0;
		video = el("video", { id: "film", preload: "metadata", playsInline: true, onclick: toggle, "aria-label": `The film ${film.name}`,
			src: `/api/film/${encodeURIComponent(film.name)}?v=${film.hash}`,
			onerror: whenBroken });
		video.currentTime = on;
		for (const event of ["seeked", "timeupdate", "loadedmetadata"]) video.addEventListener(event, showTime);
		video.addEventListener("loadedmetadata", () => { if (list.firstChild) showList(); });
		where = el("p", { id: "film-where", class: "at-measure" });
		ruler = el("div", { class: "ruler marks", "aria-hidden": "true", onclick: (e) => {
			const box = ruler.getBoundingClientRect();
			leap(data.zero + (e.clientX - box.left) / box.width * length());
		} });
		slider = el("input", { type: "range", id: "at", "data-id": "at", min: "0", max: "1", step: "0.01", "aria-label": "Where it plays",
			oninput: () => leap(data.zero + Number(slider.value)) });
		fill(part, video, where, slider, ruler);
	}

	// whenBroken waits before it complains: a film that was made anew is read anew in a moment.
	function whenBroken(event) {
		setTimeout(() => { if (event.target === video) desk.tell("The browser cannot play this film."); }, 3000);
	}

	function showTime() {
		if (!video) return;
		const now = guide();
		fill(where, el("b", {}, placeOf(data.beats, now)), ` ${clock(now)} of the guide`);
		if (words) words.at.textContent = placeOf(data.beats, at());
		if (needle) needle.style.left = `${100 * (now - data.zero) / length()}%`;
		slider.max = String(video.duration || 1);
		if (!slider.matches(":active")) slider.value = String(video.currentTime);
		slider.setAttribute("aria-valuetext", placeOf(data.beats, now));
	}

	function run() {
		if (video && !video.paused) showTime();
		frame = requestAnimationFrame(run);
	}

	function leap(to) {
		if (!video) return;
		video.currentTime = Math.max(0, to - data.zero);
		showTime();
	}

	const skip = (by) => {
		if (!video) return;
		leap(stepMeasure(data.beats, guide(), by) ?? (by > 0 ? data.end : data.zero));
		desk.tell(`${placeOf(data.beats, guide())}.`);
	};

	async function toggle() {
		if (!video) return;
		if (!video.paused) {
			video.pause();
			return;
		}
		try {
			await video.play();
		} catch {
			desk.tell("The browser does not play it; press play in the picture.");
		}
	}

	// say sends what is to be kept, and tells what became of it.
	async function say(body, text) {
		try {
			const answer = await post("said", body);
			desk.tell([text, ...(answer.notes || [])].filter(Boolean).join(" "));
			desk.took(answer.state);
			return true;
		} catch (error) {
			desk.fail(error);
			return false;
		}
	}

	async function add(event) {
		event?.preventDefault();
		const text = words.text.value.trim();
		if (!text) {
			desk.tell("Write something first.");
			words.text.focus();
			return;
		}
		const when = at(), { value } = words.text;
		// The field is for the next remark from now on, and nothing is kept twice.
		words.text.value = "";
		moment = undefined;
		words.text.focus();
		const done = await say({ add: { at: when, for: words.whom.value, by: words.by.value.trim(), text, of: film?.hash || "" } },
			`Kept: ${placeOf(data.beats, when)}.`);
		if (done) return;
		words.text.value = [value, words.text.value].filter(Boolean).join("\n");
		moment = when;
		showTime();
	}

	function approve(event) {
		event?.preventDefault();
		const by = words.by.value.trim();
		if (!by || !film) {
			desk.tell("An approval needs your name, and a film.");
			words.by.focus();
			return;
		}
		say({ approve: { by, film: film.name, sha256: film.hash } }, `${film.name} is approved by ${by}.`);
	}

	// takeFile reads what a conductor has sent; the desk says what is in it.
	async function takeFile(event) {
		const file = event.target.files[0];
		event.target.value = "";
		if (!file) return;
		if (file.size > 60000) {
			desk.tell("That file is large; take it in with ripieno remarks --take.");
			return;
		}
		say({ take: await file.text() }, "");
	}

	const write = () => words?.text.focus();

	const nameOf = (take) => {
		const one = data.people.find((p) => p.take === take);
		return one?.player || one?.part || take;
	};

	function showList() {
		const whom = words.whom.value, people = JSON.stringify(data.people);
		if (people !== listed) fill(words.whom, el("option", { value: "" }, "for all"), data.people.map((p) =>
			el("option", { value: p.take }, p.player || p.take, p.part ? ` · ${p.part}` : "")));
		if (people !== listed) words.whom.value = data.people.some((p) => p.take === whom) ? whom : "";
		listed = people;
		const all = data.remarks;
		fill(list, el("h2", {}, all.length ? `${open()} of ${all.length} remarks are open` : "Nothing was said yet"),
			el("ol", { class: "said" }, all.map(remarkView)),
			gone ? el("p", {}, `Taken away: “${gone.text}” `, el("button", { type: "button", "data-id": "put back", onclick: putBack }, "Put it back")) : null);
		fill(told, data.approvals.map((a) => el("p", { class: a.current ? "approved" : "approved older" },
			a.current ? `${a.by} approves ${a.film} as it is. ` : `${a.by} approved ${a.film} before it changed. `,
			el("button", { type: "button", "data-id": `withdraw ${a.by} ${a.film}`, "aria-label": `Withdraw the approval of ${a.film} by ${a.by}`,
				onclick: () => say({ withdraw: { by: a.by, film: a.film, sha256: a.sha256 } }, "Withdrawn.") }, "Withdraw"))));
		if (!ruler || !film) return;
		const whole = length();
		needle = el("i", { class: "needle" });
		const lines = thinned(data.beats.filter((b) => b.down && !b.count_in), ruler.clientWidth);
		fill(ruler, lines.map((b) => put(el("i", {}, String(b.measure)), b.at)),
			all.map((r) => put(el("span", { class: r.settled ? "mark settled" : "mark" }), r.time)), needle);
		function put(node, time) {
			node.style.left = `${100 * (time - data.zero) / whole}%`;
			return node;
		}
		showTime();
	}

	function remarkView(r) {
		const place = placeOf(data.beats, r.time);
		const button = (id, text, label, body, done) => el("button", { type: "button", "data-id": `${id} ${r.id}`,
			"aria-label": `${label}: ${r.text}`, onclick: () => say(body, done) }, text);
		return el("li", { class: r.settled ? "settled" : "", "data-remark": r.id },
			el("button", { type: "button", "data-id": `go ${r.id}`, "aria-label": `Look at ${place}: ${r.text}`, onclick: () => leap(r.time) }, place),
			el("span", { class: "soft" }, [r.for ? `for ${nameOf(r.for)}` : "for all", r.by, r.settled ? "settled" : "",
				r.older ? "said of an earlier cut" : ""].filter(Boolean).join(" · ")),
			el("span", { class: "text" }, r.text),
			el("span", { class: "keys" },
				r.settled ? button("reopen", "Open again", "Open again", { reopen: r.id }, "Open again.")
					: button("settle", "Settled", "Settled", { settle: r.id }, "Settled."),
				el("button", { type: "button", "data-id": `remove ${r.id}`, "aria-label": `Take away: ${r.text}`, onclick: () => takeAway(r) }, "Take away")));
	}

	// takeAway takes a remark away; the last one can be put back.
	async function takeAway(r) {
		if (!await say({ remove: r.id }, "Taken away.")) return;
		gone = r;
		showList();
	}

	async function putBack() {
		const { time, for: whom, by, text, of } = gone;
		if (!await say({ add: { at: time, for: whom || "", by: by || "", text, of: of || "" } }, "Put back.")) return;
		gone = undefined;
		showList();
	}

	function draw() {
		const key = (text, press, does, more = {}) => el("button", { type: "button", "aria-keyshortcuts": press,
			"data-id": press, onclick: does, ...more }, text, " ", keyCap(press));
		// What is being written stays when somebody has looked into another room.
		words ??= { at: el("p", { class: "at-measure", id: "say-at" }),
			whom: el("select", { id: "whom", "data-id": "whom" }),
			text: el("textarea", { id: "text", rows: 3, maxLength: 2000, "aria-keyshortcuts": "r", oninput: () => {
				moment = words.text.value === "" ? undefined : moment ?? guide();
				showTime();
			}, onkeydown: (e) => {
				if (e.key === "Enter" && (e.ctrlKey || e.metaKey)) add();
				if (e.key === "Escape") root.querySelector('[data-id="p"]').focus();
			} }),
			by: el("input", { id: "by", type: "text", maxLength: 80, autocomplete: "name" }) };
		list = el("section", { "aria-label": "Remarks" });
		told = el("div", { id: "approvals" });
		fill(root,
			el("div", { class: "desk-bar", role: "group", "aria-label": "Make" },
				el("button", { type: "button", "data-id": "rough", onclick: () => desk.run("rough") }, "Make the rough cut"),
				el("button", { type: "button", "data-id": "render", onclick: () => desk.run("render") }, "Make the finished films"),
				el("button", { type: "button", "data-id": "page", onclick: () => desk.run("review") }, "Write the page for a conductor"),
				el("label", { class: "file" }, "Take in what came back", el("input", { type: "file", id: "take-in",
					accept: ".json,application/json", onchange: takeFile }))),
			el("div", { class: "picture" },
				el("section", { "aria-label": "The film" }, el("div", { id: "film-part" }),
					el("div", { class: "keys", role: "group", "aria-label": "Playing" }, key("Measure back", "[", () => skip(-1)),
						key("Play, or pause", "p", toggle), key("Measure on", "]", () => skip(1)))),
				el("section", { "aria-label": "Say something" },
					el("form", { class: "say", "aria-label": "A remark", onsubmit: add }, words.at,
						el("label", {}, "For whom", words.whom),
						el("label", {}, "What is said", words.text),
						el("label", {}, "Your name", words.by),
						el("div", { class: "keys" }, el("button", { type: "submit", class: "main", "data-id": "add" }, "Keep it at this moment"),
							el("button", { type: "button", "data-id": "approve", onclick: approve }, "Approve this version"))),
					told)),
			list);
	}

	return {
		name: "review", title: "Review", needs: "",
		isReady: () => true,
		standOf: (state) => `${state.remarks} ${state.films}`,
		keys: [
			["p", "play, or pause", toggle], [" ", "", toggle],
			["[", "a measure back", () => skip(-1)], ["]", "a measure on", () => skip(1)],
			["r", "write a remark; Ctrl and Enter keep it", write],
		],
		show(into) {
			root = into;
			video = undefined;
			fill(root);
			frame = requestAnimationFrame(run);
		},
		load,
		redraw: () => { if (data) showList(); },
		hide: () => {
			video?.pause();
			cancelAnimationFrame(frame);
		},
	};
}
