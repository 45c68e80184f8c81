// The room of the picture: who sits where, what is shown of everybody, and the list of
// shots on a ruler of measures, in three shapes of film side by side.
import { el, fill, keyCap } from "./dom.js";
import { get } from "./server.js";
import { cropOf, cut, lay } from "./frame.js";
import { grips } from "./grip.js";
import { holding } from "./held.js";
import { shotList } from "./shots.js";

const nudge = 0.01, nearer = 0.05, patience = 500;

// pictureRoom returns the room; desk is what main.js offers.
export function pictureRoom(desk) {
	let data, root, films, bench, list, hand, shown, wished, lifted, waiting, crop, listed;
	const held = holding(); // by take, and the list of shots

	// seen is the take in hand, which goes by its name: others may come before it. crop is
	// how it is being dragged.
	const seen = () => hand === undefined ? data?.takes[0] : data?.takes.find((t) => t.take === hand);
	const shot = () => data.films[0].shots[shown];
	const shots = shotList({ desk, held, data: () => data, inHand: () => seen() || data.takes[0], shown: shot, look, draw: drawList,
		width: () => list.clientWidth });

	async function load() {
		const answered = held.asked(), { version } = desk.state(), next = await get("look");
		answered();
		for (const one of next.takes) held.onto(one.take, one);
		held.onto("shots", next);
		data = next;
		shots.loaded(version);
		if (!seen()) hand = undefined;
		// A film begins with a card mostly; the first shot with players tells more.
		if (wished === undefined) shown = Math.max(0, data.films[0].shots.findIndex((x) => x.tiles.length > 0));
		else shown = shotAt(wished);
		wished ??= shot().from;
		draw();
	}

	// tileOf returns the tile of a take in the shot that is shown, in the first film.
	const tileOf = (take) => shot().tiles.find((t) => t.take === take && t.source);

	// cropNow returns what is kept of the take in hand: as it is moved, as the manifest
	// has it, or as the program has chosen.
	function cropNow() {
		if (crop) return crop;
		const one = seen(), tile = tileOf(one.take);
		if (one.crop) return one.crop;
		return tile ? cropOf(one, tile.source, tile.source.w / tile.source.h) : { x: 0.5, y: 0.5, zoom: 1 };
	}

	// movedTo returns the crop of a take that the plan does not know yet; undefined for none.
	const movedTo = (one) => (one === seen() && crop) || (held.has(one.take, "crop") && one.crop) || undefined;

	// laid are the stills of the tiles that are drawn.
	let laid = [];

	function layTile(one, img, { hole, source }) {
		const moved = one.fit ? undefined : movedTo(one);
		lay(img, one, moved ? cut(one, hole.w / hole.h, moved) : source);
	}

	// showCrop shows in all tiles what is kept of a take by now.
	function showCrop(one) {
		for (const { take, img, tile } of laid) if (take === one.take) layTile(one, img, tile);
	}

	// showHand marks the tile of the take in hand.
	function showHand() {
		for (const box of films.querySelectorAll(".tile[data-take]")) box.setAttribute("aria-pressed", String(box.dataset.take === seen()?.take));
	}

	function tileView(film, tile, busy) {
		const one = data.takes.find((t) => t.take === tile.take);
		const box = el(busy ? "button" : "div", busy ? { type: "button", class: "tile", "data-id": `tile ${tile.take}`, "data-take": tile.take,
			"aria-pressed": String(tile.take === seen()?.take),
			"aria-label": `${one?.player || tile.take}, seat ${tile.seat}${lifted === tile.take ? ", lifted" : ""}`,
			onclick: () => choose(tile.take), onpointerdown: carry, onpointermove: carryOn, onpointerup: putDown,
			onpointercancel: () => { carried = undefined; showFilms(); } } : { class: "tile" });
		const { hole } = tile;
		box.style.left = `${100 * hole.x / film.w}%`;
		box.style.top = `${100 * hole.y / film.h}%`;
		box.style.width = `${100 * hole.w / film.w}%`;
		box.style.height = `${100 * hole.h / film.h}%`;
		if (tile.source && one?.still) {
			const img = el("img", { src: `/api/still/${encodeURIComponent(tile.take)}`, alt: "", draggable: "false" });
			laid.push({ take: tile.take, img, tile });
			layTile(one, img, tile);
			box.append(img);
		}
		if (!box.firstChild) box.append(el("em", {}, one?.part || "no picture"));
		box.append(el("span", {}, one?.player || tile.take));
		return box;
	}

	function filmView(film, i) {
		const now = film.shots[shown] || film.shots[film.shots.length - 1];
		const canvas = el("div", { class: "canvas", role: i === 0 ? "group" : "img", "aria-label": i === 0 ? "Seats" : `The same in ${film.name}` },
			now.tiles.map((t) => tileView(film, t, i === 0)));
		canvas.style.aspectRatio = `${film.w} / ${film.h}`;
		const figure = el("figure", {}, canvas, el("figcaption", {}, film.name));
		figure.style.flexGrow = String(film.w / film.h);
		return figure;
	}

	function choose(take) {
		if (!data.takes.some((t) => t.take === take)) return;
		flush();
		const was = seen();
		hand = take;
		crop = undefined;
		if (was) showCrop(was); // as it was before it was dragged
		showHand();
		showBench();
	}

	// A tile that is dragged onto another one exchanges seats with it. What comes meanwhile
	// is drawn late, when the tile is put down, so that it does not vanish from under the hand.
	let carried, late = false;

	function carry(event) {
		carried = { take: event.currentTarget.dataset.take, x: event.clientX, y: event.clientY };
		event.currentTarget.setPointerCapture(event.pointerId);
	}

	function carryOn(event) {
		if (!carried || Math.hypot(event.clientX - carried.x, event.clientY - carried.y) < 8) return;
		carried.moved = true;
		event.currentTarget.style.transform = `translate(${event.clientX - carried.x}px, ${event.clientY - carried.y}px)`;
		event.currentTarget.style.zIndex = "3";
		event.currentTarget.style.pointerEvents = "none"; // what lies below is looked for
	}

	function putDown(event) {
		const from = carried;
		carried = undefined;
		if (!from?.moved) {
			if (late) setTimeout(showFilms); // after the click that may follow
			return;
		}
		const onto = document.elementFromPoint(event.clientX, event.clientY)?.closest(".tile[data-take]")?.dataset.take;
		showFilms();
		if (onto && onto !== from.take) swap(from.take, onto);
	}

	// swap exchanges the seats of two takes.
	async function swap(a, b) {
		lifted = undefined;
		const [one, other] = [a, b].map((name) => data.takes.find((t) => t.take === name));
		if (!one || !other || one === other) return;
		flush();
		// Whoever exchanges one of them again goes by where they are now.
		[one.seat, other.seat] = [other.seat, one.seat];
		const answered = [one, other].map(({ take, seat }) => {
			held.hold(take, { seat });
			return held.sent(take, ["seat"]);
		});
		const done = await desk.decide("change", { what: `seats of ${a} and ${b}`,
			changes: [one, other].map(({ take, seat }) => ({ take, keys: ["seat"], value: seat })) }, () => answered.forEach((does) => does()));
		if (done) desk.tell(`${a} and ${b} have changed their seats.`);
	}

	// lift takes the seat in hand, and gives it to the take in hand the second time.
	function lift() {
		const take = seen()?.take;
		if (!take) return;
		if (!lifted) {
			lifted = take;
			desk.tell(`${take} is lifted; go to another and press w again to exchange their seats.`);
			showFilms();
		} else {
			swap(lifted, take);
		}
	}

	function moveCrop(dx, dy, dz) {
		const one = seen();
		if (!one?.still || one.fit) return;
		const was = cropNow(), clip = (v, low, high) => Math.round(Math.max(low, Math.min(high, v)) * 1000) / 1000;
		setCrop({ x: clip(was.x + dx, 0, 1), y: clip(was.y + dy, 0, 1), zoom: clip(was.zoom + dz, 1, 8) });
	}

	// setCrop shows a crop at once and writes it when the person has come to rest.
	function setCrop(next) {
		const one = seen(), { take } = one;
		crop = undefined;
		one.crop = next;
		held.hold(take, { crop: next });
		showCrop(one);
		showBench();
		desk.tell(`Kept: ${Math.round(100 * next.x)} % from the left, ${Math.round(100 * next.y)} % from above, ${next.zoom.toFixed(2)} times.`);
		drop();
		const run = () => {
			waiting = undefined;
			const at = (key) => ({ take, keys: ["crop", key], value: next[key] });
			desk.decide("change", { what: `crop of ${take}`, changes: [at("x"), at("y"), at("zoom")] }, held.sent(take, ["crop"]));
		};
		waiting = { run, timer: setTimeout(run, patience) };
	}

	function drop() {
		clearTimeout(waiting?.timer);
		waiting = undefined;
	}

	function flush() {
		clearTimeout(waiting?.timer);
		waiting?.run();
	}

	function freeCrop(word) {
		const one = seen();
		if (!one || word === null && !one.crop) return;
		drop(); // of the same take: others were written when this one was taken in hand
		crop = undefined;
		one.crop = word === null ? null : { x: 0.5, y: 0.5, zoom: 1 };
		held.hold(one.take, { crop: one.crop });
		showCrop(one);
		showBench();
		desk.decide("change", { what: `crop of ${one.take}`, changes: [{ take: one.take, keys: ["crop"], value: word }] },
			held.sent(one.take, ["crop"]));
	}

	function showFilms() {
		late = Boolean(carried);
		if (late) return;
		laid = [];
		fill(films, data.films.map(filmView));
	}

	function showBench() {
		const one = seen();
		if (!one) return;
		const key = (text, press, does) => el("button", { type: "button", "aria-keyshortcuts": press, "data-id": press, onclick: does }, text, " ", keyCap(press));
		const tile = tileOf(one.take), now = cropNow();
		let picture = el("p", { class: "soft" }, "There is no picture of this take.");
		if (one.still) {
			const shape = tile ? tile.hole.w / tile.hole.h : 16 / 9, part = one.fit && tile ? tile.source : cut(one, shape, now);
			const frame = el("div", { class: "frame" });
			placeFrame(frame, one, part);
			picture = el("div", { class: "still", id: "still", ...still },
				el("img", { src: `/api/still/${encodeURIComponent(one.take)}`, alt: `Still of ${one.player || one.take}`, draggable: "false" }), frame);
			picture.style.aspectRatio = `${one.w} / ${one.h}`;
			if (tile?.head && !movedTo(one)) {
				// The head lies on the canvas; here it is where the tile takes it from.
				const { head, hole, source } = tile, guide = el("div", { class: "head" });
				const across = (v) => source.w / hole.w * v / one.w, down = (v) => source.h / hole.h * v / one.h;
				guide.style.left = `${100 * (source.x / one.w + across(head.x - hole.x))}%`;
				guide.style.top = `${100 * (source.y / one.h + down(head.y - hole.y))}%`;
				guide.style.width = `${100 * across(head.w)}%`;
				guide.style.height = `${100 * down(head.h)}%`;
				picture.append(guide);
			}
		}
		fill(bench, el("h2", {}, one.player || one.take, one.part ? el("span", {}, ` · ${one.part}`) : ""),
			el("p", { class: "soft" }, `Seat ${one.seat}. ${one.fit ? "The whole picture is shown." : one.crop ? "The crop is the manifest's." : "The program keeps the head in view."}`),
			picture,
			one.still && !one.fit ? el("div", { class: "keys", role: "group", "aria-label": "Crop" },
				key("left", "ArrowLeft", () => moveCrop(-nudge, 0, 0)), key("right", "ArrowRight", () => moveCrop(nudge, 0, 0)),
				key("up", "ArrowUp", () => moveCrop(0, -nudge, 0)), key("down", "ArrowDown", () => moveCrop(0, nudge, 0)),
				key("nearer", "+", () => moveCrop(0, 0, nearer)), key("farther", "-", () => moveCrop(0, 0, -nearer)),
				key("by the head", "0", () => freeCrop(null)), key("the middle", "m", () => freeCrop("middle"))) : null,
			el("div", { class: "keys", role: "group", "aria-label": "Seat" }, key(lifted ? `exchange with ${lifted}` : "exchange seats", "w", lift)));
	}

	const still = grips({
		now: () => seen().fit ? undefined : cropNow(),
		preview(next) {
			crop = next;
			const one = seen(), tile = tileOf(one.take), part = cut(one, tile ? tile.hole.w / tile.hole.h : 16 / 9, crop);
			placeFrame(bench.querySelector(".frame"), one, part);
			showCrop(one);
		},
		keep: (next) => setCrop(next),
		letGo() {
			crop = undefined;
			showCrop(seen());
			showBench();
		},
	});

	// placeFrame puts the frame round what is kept of a still.
	function placeFrame(frame, one, part) {
		for (const [side, v] of [["left", part.x / one.w], ["top", part.y / one.h], ["width", part.w / one.w],
			["height", part.h / one.h]]) frame.style[side] = `${100 * v}%`;
	}

	// shotAt returns the shot of the film at a guide time.
	function shotAt(guide) {
		const i = data.films[0].shots.findIndex((x) => x.to > guide + 0.05);
		return i < 0 ? data.films[0].shots.length - 1 : i;
	}

	// look shows the shot at a guide time, of which the film as it is planned may not know yet.
	function look(guide, from, show) {
		wished = guide;
		shown = shotAt(guide);
		crop = undefined;
		draw();
		desk.tell(`Shot from ${from}: ${show}.`);
	}

	function turn(by) {
		const next = data?.films[0].shots[shown + by];
		if (next) look(next.from, shots.wordOf(next.from), next.show);
	}

	function draw() {
		showFilms();
		showBench();
		drawList();
		root.dataset.drawn = desk.state().version;
	}

	// drawList draws the shots unless they are drawn as they are: a person may be about to
	// choose from one of its lists.
	function drawList(anyway) {
		const now = JSON.stringify([data.shots, data.start, data.end, shot().from, data.takes.map((t) => [t.take, t.section]), list.clientWidth]);
		if (now === listed && list.firstChild && !anyway) return;
		listed = now;
		fill(list, el("h2", {}, "Shots"), ...shots.view());
	}

	function step(by) {
		if (!data?.takes.length) return;
		flush();
		const next = data.takes[Math.min(data.takes.length - 1, Math.max(0, data.takes.indexOf(seen()) + by))];
		if (next !== seen()) choose(next.take);
		desk.tell(`${seen().player || seen().take}, seat ${seen().seat}.`);
	}

	return {
		name: "picture", title: "Picture", needs: "look",
		isReady: (state) => state.looked,
		keys: [
			["n", "the next take", () => step(1)], ["b", "the take before", () => step(-1)],
			["w", "lift the take; on another one, exchange their seats", lift],
			["ArrowLeft", "crop farther left", () => moveCrop(-nudge, 0, 0)], ["ArrowRight", "crop farther right", () => moveCrop(nudge, 0, 0)],
			["ArrowUp", "crop higher", () => moveCrop(0, -nudge, 0)], ["ArrowDown", "crop lower", () => moveCrop(0, nudge, 0)],
			["+", "nearer", () => moveCrop(0, 0, nearer)], ["-", "farther", () => moveCrop(0, 0, -nearer)],
			["0", "let the program crop by the head", () => freeCrop(null)], ["m", "keep the middle", () => freeCrop("middle")],
			["[", "the shot before", () => turn(-1)], ["]", "the next shot", () => turn(1)],
		],
		show(into) {
			root = into;
			films = el("section", { class: "films", "aria-label": "The picture in three shapes" });
			bench = el("section", { class: "bench", "aria-label": "The take in hand" });
			list = el("section", { "aria-label": "Shots" });
			fill(root, el("div", { class: "picture" }, films, bench), list);
		},
		load,
		redraw: () => { if (data) draw(); },
		flush,
		hide: flush,
	};
}
