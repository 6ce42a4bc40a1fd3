// Expands what repeats on a pad and writes down where its boxes are, for the program that renders it.
//
// <tbody data-rows=12> repeats its first child; data-comb=6 parts a box into cells; each box says its
// data-role, the pence's part of a parted box stands in an element with data-pence=ROLE of the same row; a discount of
// which a percentage is printed has data-percent.
addEventListener("DOMContentLoaded", async () => {
  for (const body of document.querySelectorAll("[data-rows]")) {
    const [first] = body.children;
    for (let n = 1; n < Number(body.dataset.rows); n++) body.append(first.cloneNode(true));
    [...body.children].forEach((row, n) => {
      row.dataset.row = n + 1;
      for (const place of row.querySelectorAll("[data-number]")) place.textContent = n + 1;
      if (n % 2) row.classList.add("even");
    });
  }
  for (const box of document.querySelectorAll("[data-comb]")) {
    const n = Number(box.dataset.comb);
    for (let k = 0; k < n; k++) {
      const cell = document.createElement("i");
      cell.style.left = `${(100 * k) / n}%`;
      cell.style.right = `${100 - (100 * (k + 1)) / n}%`;
      box.append(cell);
    }
  }
  await document.fonts.ready;
  const place = (element) => {
    if (!element) return null;
    const { left, top, right, bottom } = element.getBoundingClientRect();
    return [left, top, right, bottom];
  };
  const boxes = [...document.querySelectorAll("[data-role]")].map((box) => {
    const row = box.closest("[data-row]");
    const role = box.dataset.role;
    return {
      role,
      row: row ? Number(row.dataset.row) : null,
      rect: place(box),
      pence: place((row ?? document).querySelector(`[data-pence=${role}]`)),
      pound: place(box.querySelector("[data-pound]")),
      point: place(box.querySelector("[data-point]")),
      percent: box.dataset.percent ? Number(box.dataset.percent) : null,
      cells: [...box.querySelectorAll("i")].map(place),
    };
  });
  const fields = [...document.querySelectorAll("[data-fill]")].map((line) => ({
    what: line.dataset.fill,
    rect: place(line),
  }));
  const main = document.querySelector("main");
  const out = document.createElement("script");
  out.type = "application/json";
  out.id = "places";
  out.textContent = JSON.stringify({ main: place(main), code: main.dataset.code ?? "six", boxes, fields });
  document.body.append(out);
});
