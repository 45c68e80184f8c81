// What of a picture a tile shows, as the program cuts it: a rectangle of the tile's
// shape, as large as the picture allows, nearer by the zoom, with the point that is
// kept in its middle as far as the edges allow.

// cut returns the part {x, y, w, h} of a picture of some size for a tile's shape.
export function cut(size, shape, crop) {
	const zoom = Math.max(1, crop.zoom);
	let w = size.w, h = size.h;
	if (w / h > shape) w = h * shape;
	else h = w / shape;
	w /= zoom;
	h /= zoom;
	const put = (middle, part, whole) => Math.max(0, Math.min(whole - part, middle * whole - part / 2));
	return { x: put(crop.x, w, size.w), y: put(crop.y, h, size.h), w, h };
}

// cropOf returns the crop by which a part of a picture is shown.
export function cropOf(size, part, shape) {
	const whole = cut(size, shape, { x: 0.5, y: 0.5, zoom: 1 });
	return { x: (part.x + part.w / 2) / size.w, y: (part.y + part.h / 2) / size.h, zoom: Math.max(1, whole.w / part.w) };
}

// lay puts a part of a picture into a box, by percentages of the box.
export function lay(img, size, part) {
	img.style.width = `${100 * size.w / part.w}%`;
	img.style.height = `${100 * size.h / part.h}%`;
	img.style.left = `${-100 * part.x / part.w}%`;
	img.style.top = `${-100 * part.y / part.h}%`;
}
