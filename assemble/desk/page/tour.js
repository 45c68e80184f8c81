// The tour: what each room is for, on the first start and whenever it is asked for. That
// it was seen is remembered in a cookie, since every desk has a port of its own and
// cookies do not know ports.
import { byId } from "./dom.js";

const cookie = "ripieno-tour";

const stops = [
	["", "The desk", "Here you hear, see and decide what the program can only ask. What you decide is written into "
		+ "production.yaml as you would write it by hand, and every step can be taken back with z."],
	["place", "Place", "Takes of which nobody can be sure where they lie wait here. Listen with the click, choose a "
		+ "candidate, click on the wave where the clap is, and accept."],
	["takes", "Takes", "What was found of every take, heard and seen where it was found. Your own word beats it, and the "
		+ "note to the player is ready to be sent."],
	["mix", "Mix", "The ensemble plays from the takes themselves. Gain, place, room and low cut of every player, and of "
		+ "sections; what you hear is what the film has."],
	["picture", "Picture", "Who sits where, what is kept of each picture, and what is shown from which beat on, in "
		+ "three shapes of film side by side."],
	["review", "Review", "The film itself, with what was said of it beside its measures. A page for the conductor is "
		+ "written here, and what comes back is taken in."],
	["", "By keyboard", "Everything has a key. ? lists those of the room you are in; Alt and a number leads from room to "
		+ "room. This tour is under Tour."],
];

let at = 0;

// startTour begins the tour; unless asked for only where it was never seen.
export function startTour(asked) {
	if (!asked && document.cookie.split("; ").some((c) => c.startsWith(cookie + "="))) return;
	at = 0;
	show();
	byId("way").showModal();
	byId("way-on").focus();
}

function show() {
	const [room, head, text] = stops[at];
	for (const link of document.querySelectorAll("#rooms a")) link.classList.toggle("shown", link.hash === "#" + room);
	byId("way-head").textContent = head;
	byId("way-text").textContent = text;
	byId("way-count").textContent = `${at + 1} of ${stops.length}`;
	byId("way-back").disabled = at === 0;
	byId("way-on").textContent = at === stops.length - 1 ? "Begin" : "On";
}

function step(by) {
	if (at + by >= stops.length) {
		byId("way").close();
		return;
	}
	at = Math.max(0, at + by);
	show();
}

byId("way-on").addEventListener("click", () => step(1));
byId("way-back").addEventListener("click", () => step(-1));
byId("way-end").addEventListener("click", () => byId("way").close());
byId("way").addEventListener("keydown", (event) => {
	if (event.key === "ArrowRight") step(1);
	if (event.key === "ArrowLeft") step(-1);
});
byId("way").addEventListener("close", () => {
	document.querySelector("#rooms .shown")?.classList.remove("shown");
	document.cookie = `${cookie}=seen; path=/; max-age=31536000; samesite=strict`;
});
