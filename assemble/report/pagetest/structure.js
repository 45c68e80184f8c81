// Finds what is wrong with how a page is built; see structure.
(() => {
	const bad = [];
	const seen = e => e.getClientRects().length > 0;
	const all = selector => document.querySelectorAll(selector);
	const tell = (what, e) => bad.push(what + ': ' + e.outerHTML.slice(0, 80));
	const ids = [...all('[id]')].map(e => e.id);
	for (const id of new Set(ids.filter((id, i) => ids.indexOf(id) !== i))) bad.push('twice: ' + id);
	for (const e of all('[tabindex]')) if (e.tabIndex > 0) tell('before its turn', e);
	const roleless = '[tabindex="0"]:not([role], a, button, input, select, textarea)';
	for (const e of all('[onclick], ' + roleless)) tell('no role', e);
	const hidden = '[aria-hidden=true] :is(a, button, input, select, textarea)';
	for (const e of all('[role=img][tabindex], [role=presentation][tabindex], ' + hidden)) tell('reached and not there', e);
	for (const e of all('img:not([alt]), canvas:not([aria-label], [aria-hidden=true])')) if (seen(e)) tell('no words', e);
	for (const name of ['aria-labelledby', 'aria-describedby', 'aria-controls'])
		for (const e of all('[' + name + ']'))
			for (const id of e.getAttribute(name).split(/\s+/))
				if (!document.getElementById(id)) bad.push(name + ' leads nowhere: ' + id);
	for (const e of all('label'))
		if (seen(e) && !e.control) bad.push('a label of nothing: ' + e.textContent.slice(0, 40));
	for (const e of all('ul, ol')) for (const c of e.children) if (c.tagName !== 'LI') tell('no item of a list', c);
	for (const e of all('body *')) {
		const s = getComputedStyle(e);
		const turned = s.flexDirection.endsWith('reverse') || s.flexWrap.endsWith('reverse');
		if (s.order !== '0' || turned) tell('shown in another order', e);
	}
	let last = 0;
	for (const h of all('h1, h2, h3, h4, h5, h6')) {
		if (!seen(h)) continue;
		const level = Number(h.tagName[1]);
		if (level > last + 1) bad.push('heading ' + level + ' after ' + last + ': ' + h.textContent.slice(0, 40));
		if (!h.textContent.trim()) bad.push('an empty heading');
		last = level;
	}
	const root = document.documentElement;
	if (all('main').length !== 1 || !root.lang || !document.title) bad.push('no frame');
	const out = root.scrollWidth - window.innerWidth;
	if (out > 0) bad.push('sticks out by ' + out);
	return bad;
})()
