"use strict";
// The page shows everything without this script; with it, the list can be
// narrowed, notes can be copied, and measures can be found in the rough cut.
(() => {
	const all = s => [...document.querySelectorAll(s)];
	const form = document.getElementById("narrow");
	const told = document.getElementById("told");
	const cards = all("article[data-take]");
	const rows = all("[data-take]");

	const narrow = () => {
		const level = form.elements.level.value;
		const words = form.elements.words.value.toLowerCase().replaceAll("'", "’").split(/\s+/).filter(w => w);
		const off = new Set();
		for (const c of cards) {
			const is = c.querySelector(".name").textContent.toLowerCase().replaceAll("'", "’");
			if (level !== "all" && c.dataset.level !== level || !words.every(w => is.includes(w))) off.add(c.dataset.take);
		}
		for (const r of rows) r.classList.toggle("off", off.has(r.dataset.take));
		document.body.classList.toggle("brief", form.elements.brief.checked);
		const n = cards.length - off.size;
		const text = n === cards.length ? form.dataset.all : form.dataset.some;
		told.textContent = text.replace("{count}", n).replace("{all}", cards.length);
	};

	form.hidden = false;
	form.addEventListener("input", narrow);
	form.addEventListener("submit", e => e.preventDefault());
	form.addEventListener("reset", () => setTimeout(narrow));
	narrow();

	// A link leads to a take even when it had been filtered out.
	addEventListener("hashchange", () => {
		const to = document.getElementById(decodeURIComponent(location.hash.slice(1)));
		if (to && to.classList.contains("off")) {
			form.reset();
			narrow();
			to.scrollIntoView();
		}
	});

	const copy = async (button) => {
		const done = await copyText(document.getElementById(button.dataset.copy));
		document.getElementById(button.dataset.copy + "-told").textContent = done ? form.dataset.copied : form.dataset.selected;
	};
	for (const b of all("button[data-copy]")) {
		b.hidden = false;
		b.addEventListener("click", () => copy(b));
	}

	// Marks lead into the film on this page instead of into the bare file.
	const film = document.getElementById("film");
	for (const a of all("a[data-at]")) a.addEventListener("click", e => {
		if (!film || e.ctrlKey || e.metaKey || e.shiftKey) return;
		e.preventDefault();
		film.currentTime = Number(a.dataset.at);
		film.play().catch(() => {});
		film.focus();
	});
})();
