"use strict";
// copyText copies what a text field holds, and reports whether it did. Where a page may
// not write to the clipboard the text is selected, and one keystroke copies it.
const copyText = async (area) => {
	area.focus();
	area.select();
	try {
		await navigator.clipboard.writeText(area.value);
		return true;
	} catch {
		try { return document.execCommand("copy"); } catch { return false; }
	}
};
