"use strict";
// A plant's value and place, on touch or by the arrow keys.
for (const figure of document.querySelectorAll("figure")) {
	const marks = [...figure.querySelectorAll("svg path > title")].map((title) => title.parentNode);
	if (marks.length === 0) continue;
	const box = figure.querySelector(".scroll");
	const line = document.createElement("p");
	const hint = "Touch a plant to read it; by keyboard, come to the picture and use the arrow keys.";
	line.className = "touched";
	line.setAttribute("role", "status");
	line.textContent = hint;
	figure.insertBefore(line, figure.querySelector("figcaption"));
	let on = null;
	const middle = (mark) => {
		const r = mark.getBoundingClientRect();
		return [r.left + r.width / 2, r.top + r.height / 2];
	};
	const show = (mark) => {
		if (on) on.classList.remove("on");
		on = mark;
		if (on) on.classList.add("on");
		line.textContent = on ? on.querySelector("title").textContent : hint;
	};
	// nearest is the mark of least cost, which tells how far off it is.
	const nearest = (cost) => {
		let best = null, least = Number.MAX_VALUE;
		for (const mark of marks) {
			const far = cost(...middle(mark));
			if (least > far) [best, least] = [mark, far];
		}
		return best;
	};
	box.addEventListener("click", (event) => {
		show(nearest((x, y) => {
			const far = Math.hypot(x - event.clientX, y - event.clientY);
			return far > 40 ? Number.MAX_VALUE : far;
		}));
	});
	const ways = { ArrowRight: [1, 0], ArrowLeft: [-1, 0], ArrowDown: [0, 1], ArrowUp: [0, -1] };
	box.addEventListener("keydown", (event) => {
		if (event.key === "Escape") show(null);
		const way = ways[event.key];
		if (!way) return;
		event.preventDefault();
		if (!on) return show(marks[0]);
		const [x0, y0] = middle(on);
		const next = nearest((x, y) => {
			const along = (x - x0) * way[0] + (y - y0) * way[1];
			const across = Math.abs((x - x0) * way[1]) + Math.abs((y - y0) * way[0]);
			return along > 0.5 ? along + 2 * across : Number.MAX_VALUE;
		});
		if (!next) return;
		show(next);
		next.scrollIntoView({ block: "nearest", inline: "nearest" });
	});
}
