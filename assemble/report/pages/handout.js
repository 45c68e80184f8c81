"use strict";
// The film lies in the page as text. It becomes a file of the browser's own, so that
// it can be jumped about in; what is said is saved as a small file. Nothing is fetched
// and nothing is sent.
(() => {
	const by = id => document.getElementById(id);
	const facts = JSON.parse(document.body.dataset.facts);
	const { beats, words } = facts;
	const film = by("film");
	const say = (key, fill = {}) => words["handout." + key].replace(/\{([a-z-]+)\}/g, (all, name) => fill[name] ?? all);
	const tell = text => { by("told").textContent = text; };

	const text = by("data").textContent.trim();
	const parts = [];
	for (let at = 0; at < text.length; at += 1 << 20) { // a multiple of four
		const piece = atob(text.slice(at, at + (1 << 20)));
		const bytes = new Uint8Array(piece.length);
		for (let i = 0; i < piece.length; i++) bytes[i] = piece.charCodeAt(i);
		parts.push(bytes);
	}
	by("data").remove();
	film.src = URL.createObjectURL(new Blob(parts, { type: "video/mp4" }));

	// Where it is in the music.
	const guide = () => facts.zero + film.currentTime;
	const indexAt = at => {
		let low = 0, high = beats.length;
		while (low < high) {
			const middle = (low + high) >> 1;
			if (beats[middle][0] <= at + 1e-3) low = middle + 1;
			else high = middle;
		}
		return low - 1;
	};
	const placeOf = at => {
		const i = indexAt(at);
		return i < 0 ? say("count-in") : say("place", { measure: beats[i][1], beat: beats[i][2] });
	};
	const clock = at => {
		const s = Math.max(0, at), m = Math.floor(s / 60);
		return m + ":" + (s - 60 * m).toFixed(1).padStart(4, "0").replace(".", facts.decimal);
	};

	let mine = [];
	const key = "ripieno-review-" + facts.sha256;
	const remember = () => {
		try {
			localStorage.setItem(key, JSON.stringify({ mine, name: by("name").value, approve: by("approve").checked }));
		} catch { /* it is a help and no more */ }
	};
	try {
		const old = JSON.parse(localStorage.getItem(key));
		if (Array.isArray(old?.mine)) mine = old.mine.filter(r => Number.isFinite(r.at) && typeof r.text === "string");
		if (typeof old?.name === "string") by("name").value = old.name;
		by("approve").checked = old?.approve === true;
	} catch { /* so there is none */ }

	let at; // the moment that is written about; it stays while one writes
	const moment = () => at ?? guide();
	const show = () => {
		const now = guide();
		const time = document.createElement("small");
		time.textContent = say("guide-time", { time: clock(now) });
		by("where").replaceChildren(placeOf(now), time);
		by("at").textContent = placeOf(moment());
	};
	const nameOf = take => [...by("whom").options].find(o => o.value === take)?.textContent.trim() ?? take;
	const list = () => {
		mine.sort((a, b) => a.at - b.at);
		by("none").hidden = mine.length > 0;
		by("mine").replaceChildren(...mine.map(r => {
			const item = document.createElement("li"), go = document.createElement("button"), away = document.createElement("button");
			const who = document.createElement("span"), words = document.createElement("span");
			go.type = away.type = "button";
			go.textContent = placeOf(r.at);
			go.setAttribute("aria-label", say("go") + ": " + placeOf(r.at) + ". " + r.text);
			go.addEventListener("click", () => leap(r.at));
			away.textContent = say("take-away");
			away.setAttribute("aria-label", say("take-away") + ": " + r.text);
			away.addEventListener("click", () => {
				mine = mine.filter(o => o !== r);
				remember();
				list();
				by("text").focus();
				tell(say("taken-away"));
			});
			who.className = "who";
			who.textContent = r.for ? say("for", { name: nameOf(r.for) }) : say("for-all");
			words.className = "text";
			words.textContent = r.text;
			item.append(go, " ", who, " ", away, words);
			return item;
		}));
	};

	const leap = to => {
		film.currentTime = Math.max(0, to - facts.zero);
		film.play().catch(() => tell(say("no-play")));
	};
	const skip = by => {
		const downs = beats.filter(b => b[2] === 1);
		const now = guide();
		let to = by > 0 ? downs.find(b => b[0] > now + 0.05) : downs.findLast(b => b[0] < now - 0.4);
		film.currentTime = Math.max(0, (to ? to[0] : by > 0 ? facts.end : 0) - facts.zero);
	};
	const toggle = () => { film.paused ? film.play().catch(() => tell(say("no-play"))) : film.pause(); };

	for (const b of document.querySelectorAll("[data-go]")) b.addEventListener("click", () => leap(Number(b.dataset.go)));
	by("back").addEventListener("click", () => skip(-1));
	by("on").addEventListener("click", () => skip(1));
	by("play").addEventListener("click", toggle);
	for (const event of ["timeupdate", "seeked", "loadedmetadata", "pause"]) film.addEventListener(event, show);
	const run = () => {
		if (!film.paused) show();
		requestAnimationFrame(run);
	};
	run();

	by("text").addEventListener("input", () => {
		if (by("text").value === "") at = undefined;
		else at ??= guide();
		show();
	});
	by("text").addEventListener("keydown", e => {
		if (e.key === "Enter" && (e.ctrlKey || e.metaKey)) by("say").requestSubmit();
		if (e.key === "Escape") by("play").focus();
	});
	by("say").addEventListener("submit", e => {
		e.preventDefault();
		const said = by("text").value.trim();
		if (!said) {
			tell(say("nothing"));
			by("text").focus();
			return;
		}
		const one = { at: Math.round(moment() * 1000) / 1000, text: said };
		if (by("whom").value) one.for = by("whom").value;
		mine.push(one);
		by("text").value = "";
		at = undefined;
		remember();
		list();
		show();
		tell(say("added", { place: placeOf(one.at) }));
	});
	for (const id of ["name", "approve"]) by(id).addEventListener("input", remember);

	let saved = JSON.stringify(mine);
	by("keep").addEventListener("submit", e => {
		e.preventDefault();
		const name = by("name").value.trim();
		if (!name) {
			tell(say("no-name"));
			by("name").focus();
			return;
		}
		if (!mine.length && !by("approve").checked) {
			tell(say("nothing"));
			by("text").focus();
			return;
		}
		const out = { ripieno_remarks: 1, title: facts.title, film: facts.film, sha256: facts.sha256, by: name,
			approved: by("approve").checked, remarks: mine };
		const link = document.createElement("a");
		const plain = name.normalize("NFKD").replace(/[^A-Za-z0-9]+/g, "-").replace(/^-+|-+$/g, "").toLowerCase();
		link.download = "remarks-" + (plain || "review") + ".json";
		link.href = URL.createObjectURL(new Blob([JSON.stringify(out, null, 1) + "\n"], { type: "application/json" }));
		link.click();
		saved = JSON.stringify(mine);
		tell(say("saved", { file: link.download }));
	});
	addEventListener("beforeunload", e => {
		if (JSON.stringify(mine) !== saved) e.preventDefault();
	});

	addEventListener("keydown", e => {
		// On many keyboards the brackets take AltGr or the option key, told as Ctrl and Alt.
		if (e.target.matches("input, textarea, select") || (e.ctrlKey || e.metaKey || e.altKey) && !(e.altKey && "[]".includes(e.key))) return;
		const does = { p: toggle, "[": () => skip(-1), "]": () => skip(1), r: () => by("text").focus() }[e.key];
		if (!does) return;
		e.preventDefault();
		does();
	});
	list();
	show();
})();
