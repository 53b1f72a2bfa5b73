"use strict";
// Long tables are sorted by a click on a heading and filtered by words; folded parts are open in print.
(() => {
  const number = (text) => {
    const found = text.replace(/\u2212/g, "-").match(/^\s*[<>±]?\s*(-?\d+(?:\.\d+)?(?:e-?\d+)?)/);
    return found ? Number(found[1]) : NaN;
  };
  const compare = (a, b) => {
    const [x, y] = [number(a), number(b)];
    if (!Number.isNaN(x) && !Number.isNaN(y)) return x - y;
    if (Number.isNaN(x) !== Number.isNaN(y)) return Number.isNaN(x) ? 1 : -1;
    return a.localeCompare(b, "en", { numeric: true });
  };
  for (const table of document.querySelectorAll("table")) {
    const heads = [...table.tHead.rows[0].cells];
    if (table.tBodies[0].rows.length < 3) continue;
    heads.forEach((head, column) => {
      const button = document.createElement("button");
      button.type = "button";
      button.append(...head.childNodes);
      head.append(button);
      button.addEventListener("click", () => {
        const falling = head.getAttribute("aria-sort") === "ascending";
        for (const other of heads) other.removeAttribute("aria-sort");
        head.setAttribute("aria-sort", falling ? "descending" : "ascending");
        const body = table.tBodies[0];
        const rows = [...body.rows].map((row) => [row.cells[column].textContent.trim(), row]);
        rows.sort((a, b) => (falling ? -1 : 1) * compare(a[0], b[0]));
        body.append(...rows.map((pair) => pair[1]));
      });
    });
    const grid = table.parentElement;
    const field = grid.querySelector("input[type=search]");
    if (!field) continue;
    field.addEventListener("input", () => {
      const words = field.value.toLowerCase().split(/\s+/).filter(Boolean);
      grid.classList.toggle("found", words.length > 0);
      for (const row of table.tBodies[0].rows) {
        const text = row.textContent.toLowerCase();
        row.classList.toggle("out", !words.every((word) => text.includes(word)));
      }
    });
  }
  let opened = [];
  window.addEventListener("beforeprint", () => {
    opened = [...document.querySelectorAll("details:not([open])")];
    for (const part of opened) part.open = true;
  });
  window.addEventListener("afterprint", () => {
    for (const part of opened) part.open = false;
  });
})();
