// Makes another design of a pad before pad.js expands and measures it, from what variants.py puts into VARY:
// `seed` (0: the pad as it is) and `words` ({role: [wording, ...]}). Afterwards `faults` joins the pad's places: the
// texts that lie over a box, over one another or off the paper.
{
  const MM = 96 / 25.4;
  const LEAST_ROW = 5.5 * MM; // nobody writes on a lower line
  const WIDEST = 890; // the browser's window
  const LONGER = 4; // characters that other wording may be longer by

  let state = VARY.seed >>> 0;
  const random = () => {
    state = (state + 0x6d2b79f5) >>> 0; // mulberry32
    let t = Math.imul(state ^ (state >>> 15), 1 | state);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
  const chance = (share) => random() < share;
  const between = (low, high) => low + (high - low) * random();
  const pick = (list) => list[Math.floor(random() * list.length)];
  const shuffled = (list) => {
    const left = [...list];
    return list.map(() => left.splice(Math.floor(random() * left.length), 1)[0]);
  };
  const all = (query, root = document) => [...root.querySelectorAll(query)];
  const style = (css) => {
    const element = document.createElement("style");
    element.textContent = css;
    document.head.append(element);
  };
  const texts = (root) => {
    const walker = document.createTreeWalker(root, NodeFilter.SHOW_TEXT);
    const found = [];
    while (walker.nextNode()) {
      const parent = walker.currentNode.parentElement;
      if (walker.currentNode.data.trim() && !parent.closest("script,style")) found.push(walker.currentNode);
    }
    return found;
  };

  // The columns of a table that repeats one row, as [{th, tds, cols}]; null where cells don't stand under headings.
  const columns = (table, row) => {
    const head = table.tHead?.rows ?? [];
    const tds = [...row.children];
    const cols = all("col", table);
    if (head.length !== 1 || cols.length !== tds.length) return null;
    if (tds.some((td) => td.colSpan > 1 || td.rowSpan > 1)) return null;
    const groups = [];
    let n = 0;
    for (const th of head[0].cells) {
      const part = { ths: [th], tds: tds.slice(n, n + th.colSpan), cols: cols.slice(n, n + th.colSpan) };
      n += th.colSpan;
      const last = groups.at(-1);
      if (last && part.tds[0]?.dataset.pence) {
        for (const key of ["ths", "tds", "cols"]) last[key].push(...part[key]);
      } else groups.push(part);
    }
    return n === tds.length ? groups : null;
  };

  const reorder = (table, row) => {
    const groups = columns(table, row);
    if (!groups || [...row.cells].some((td) => /^[x×@=]$/i.test(td.textContent.trim()))) return;
    const role = (group) => group.tds[0].dataset.role;
    let first = 0;
    while (first < groups.length && !role(groups[first])) first++; // printed row numbers
    const last = groups.findLastIndex((group) => role(group) === "line_total");
    if (last - first < 2) return;
    const order = [...groups.slice(0, first), ...shuffled(groups.slice(first, last)), ...groups.slice(last)];
    for (const key of ["ths", "tds", "cols"]) {
      const parents = order[0][key][0].parentElement;
      if (order.every((group) => group[key].every((one) => one.parentElement === parents)))
        parents.append(...order.flatMap((group) => group[key]));
    }
  };

  // Takes a column away that an order can do without, and a line of the totals.
  const OPTIONAL = ["size", "page", "other", "code"];
  const fewer = (table, row) => {
    const groups = columns(table, row);
    const spans = all("tfoot [colspan],tbody [colspan]", table).length > 0;
    const free = groups?.filter((group) => OPTIONAL.includes(group.tds[0].dataset.role)) ?? [];
    if (groups?.length > 4 && free.length && !spans) {
      const gone = pick(free);
      for (const foot of table.tFoot?.rows ?? []) if (foot.cells.length === row.cells.length) return;
      for (const key of ["ths", "tds", "cols"]) for (const element of gone[key]) element.remove();
    }
  };
  const totals = () => {
    const box = pick(all("[data-role=goods],[data-role=discount],[data-role=deposit]"));
    if (!box) return;
    const line = box.closest("tr") ?? box.parentElement;
    const alone = all("[data-role]", line).length === 1 && !all("[rowspan]", line).length;
    if (alone && line.textContent.trim() && all("*", line).length < 8) line.remove();
  };

  const widths = (table) => {
    const factors = new Map(); // equal widths stay equal: totals stand under their column
    const factor = (width) => {
      if (!factors.has(width)) factors.set(width, between(0.8, 1.25));
      return factors.get(width);
    };
    for (const each of all("table")) {
      const cols = all("col", each).filter((col) => /mm|px/.test(col.style.width));
      const before = cols.reduce((sum, col) => sum + parseFloat(col.style.width), 0);
      const changed = cols.map((col) => parseFloat(col.style.width) * factor(col.style.width));
      const grown = changed.reduce((sum, width) => sum + width, 0);
      const back = Math.min(1, (1.05 * before) / grown); // the rest must still hold a description
      cols.forEach((col, k) => (col.style.width = `${changed[k] * back}${col.style.width.replace(/[\d.]+/, "")}`));
    }
    const grids = new Map();
    for (const grid of all("main *")) {
      const css = getComputedStyle(grid);
      if (css.display !== "grid" || !/ .* /.test(css.gridTemplateColumns)) continue;
      const old = css.gridTemplateColumns;
      if (!/^[\d.px ]+$/.test(old)) continue;
      if (!grids.has(old)) {
        const parts = old.split(" ").map(parseFloat);
        const sum = parts.reduce((a, b) => a + b, 0);
        const next = parts.map((width) => width * between(0.85, 1.18));
        const after = next.reduce((a, b) => a + b, 0);
        grids.set(old, next.map((width) => `${(width * sum) / after}px`).join(" "));
      }
      grids.get(old) && (grid.style.gridTemplateColumns = grids.get(old));
    }
  };

  const rows = (body, row) => {
    const css = getComputedStyle(body);
    if (css.display === "grid" || css.columnCount !== "auto") return; // rows side by side
    const before = Number(body.dataset.rows);
    const high = row.getBoundingClientRect().height;
    const most = Math.floor((high * before) / LEAST_ROW);
    const after = Math.max(3, Math.min(most, Math.round(before * between(0.6, 1.3))));
    if (!(after > 0) || high < LEAST_ROW) return;
    // fewer rows may also leave room below the table
    const ratio = Math.max(Math.min((before / after) * between(0.9, 1), 1.7), LEAST_ROW / high);
    const lines = row.matches("tr") ? [...row.cells] : [row, ...all("*", row)];
    const heights = lines.map((line) => line.getBoundingClientRect().height);
    lines.forEach((line, k) => {
      const inside = line !== row && !line.matches("td") && !line.querySelector("[data-role]");
      if (inside && !line.dataset.role && !line.dataset.pence) return;
      if (getComputedStyle(line).position === "absolute" || heights[k] < 0.5 * high) return;
      line.style.height = `${heights[k] + (ratio - 1) * high}px`;
    });
    body.dataset.rows = after;
  };

  const rules = (row) => {
    const swap = chance(0.4) ? pick(["solid", "solid", "dotted", "dashed", "double"]) : null;
    const wide = between(0.6, 1.8);
    const light = chance(0.5) ? between(35, 95) : 100;
    const without = pick(["", "", "", "", "", "vertical", "vertical", "horizontal"]);
    const roles = all("[data-role],[data-pence]", row);
    for (const box of all("main td,main th,main .box,main [data-role],main [data-pence],main .v,main .w")) {
      const css = getComputedStyle(box);
      for (const side of ["Top", "Right", "Bottom", "Left"]) {
        const kind = css[`border${side}Style`];
        const width = parseFloat(css[`border${side}Width`]);
        if (kind === "none" || !width) continue;
        const colour = css[`border${side}Color`];
        const upright = side === "Left" || side === "Right";
        const next = swap ?? kind;
        box.style[`border${side}Style`] = next;
        box.style[`border${side}Width`] = `${Math.max(width * wide, next === "double" ? 2.2 : 0.4)}px`;
        box.style[`border${side}Color`] =
          row.contains(box) && without === (upright ? "vertical" : "horizontal") && roles.length > 2
            ? "transparent"
            : `color-mix(in srgb, ${colour} ${light}%, transparent)`;
      }
    }
    return without;
  };

  const zebra = (without) => {
    const tint = `hsl(${Math.floor(between(0, 360))} ${Math.floor(between(0, 60))}% ${Math.floor(between(86, 95))}%)`;
    if (chance(without === "horizontal" ? 0.6 : 0.25))
      style(`[data-rows]>.even,[data-rows]>.even>td{background:${tint}!important}`);
    else if (chance(0.3)) style("[data-rows]>.even,[data-rows]>.even>td{background-color:transparent}");
  };

  const heading = (table) => {
    const what = random();
    const [h1] = all("h1");
    if (h1) {
      const size = parseFloat(getComputedStyle(h1).fontSize);
      if (what < 0.06) h1.style.display = "none";
      else if (what < 0.12) h1.style.visibility = "hidden";
      else if (what < 0.6) h1.style.fontSize = `${size * between(0.65, 1.2)}px`;
      if (chance(0.25)) h1.style.textAlign = pick(["left", "center", "right"]);
    }
    if (!table?.tHead) return;
    const align = chance(0.3) ? pick(["left", "center", "right"]) : null;
    const ink = getComputedStyle(document.querySelector("main")).color;
    const ground = random();
    for (const th of all("th", table.tHead)) {
      if (align) th.style.textAlign = align;
      if (ground < 0.12) {
        th.style.background = ink;
        th.style.color = "#fff";
        for (const part of all("*", th)) part.style.color = "inherit";
      } else if (ground < 0.24) {
        th.style.background = `color-mix(in srgb, ${ink} 14%, white)`;
        th.style.color = ink;
      } else if (ground < 0.3) {
        th.style.background = "transparent";
        th.style.color = ink;
      }
    }
  };

  const colours = (main) => {
    const what = random();
    if (what < 0.25) main.style.filter = `grayscale(1) contrast(${between(1, 1.3)})`;
    else if (what < 0.75)
      main.style.filter =
        `hue-rotate(${between(0, 360)}deg) saturate(${between(0.5, 1.4)}) brightness(${between(0.92, 1.1)})`;
  };

  const page = (main) => {
    const css = getComputedStyle(main);
    const pad = (side) => parseFloat(css[`padding${side}`]);
    const [left, right, top] = [pad("Left"), pad("Right"), pad("Top")];
    const wide = main.getBoundingClientRect().width;
    if (chance(0.35)) main.style.width = `${Math.min(wide * between(0.9, 1.18), Math.max(wide, WIDEST))}px`;
    const shift = between(-3, 3) * MM;
    const squeeze = between(-2, 2) * MM;
    if (left < 2 * MM || right < 2 * MM) return;
    main.style.paddingLeft = `${Math.max(2 * MM, left + shift + squeeze)}px`;
    main.style.paddingRight = `${Math.max(2 * MM, right - shift + squeeze)}px`;
    if (top > 2 * MM) main.style.paddingTop = `${Math.max(2 * MM, top + between(-3, 3) * MM)}px`;
  };

  // What a printed word stands for: the box under it, or the only one beside it.
  const roleOf = (text, table, row) => {
    const th = text.parentElement.closest("thead th");
    if (th && table?.contains(th)) {
      const group = columns(table, row)?.find((one) => one.ths.includes(th));
      return group?.tds[0].dataset.role ?? null;
    }
    for (let up = text.parentElement; up && up.tagName !== "MAIN"; up = up.parentElement) {
      const boxes = all("[data-role]", up);
      if (boxes.length === 1) return boxes[0].dataset.role;
      if (boxes.length > 1) return null;
    }
    return null;
  };
  const words = (table, row) => {
    const bare = (text) => text.trim().replace(/[.:]+$/, "").toLowerCase();
    const changed = [];
    for (const text of texts(document.querySelector("main"))) {
      const list = VARY.words[roleOf(text, table, row)];
      const old = text.data.trim();
      if (!list || !list.some((word) => bare(word) === bare(old)) || chance(0.25)) continue;
      let next = pick(list.filter((word) => word.length <= old.length + LONGER));
      if (old.length > 1 && old === old.toUpperCase()) next = next.toUpperCase();
      else if (old === old.toLowerCase()) next = next.toLowerCase();
      changed.push([text, text.data]);
      text.data = text.data.replace(old, next);
    }
    return changed;
  };

  const rect = (text) => {
    const range = document.createRange();
    range.selectNodeContents(text);
    return range.getBoundingClientRect();
  };
  const meet = (a, b, by) =>
    Math.min(a.right, b.right) - Math.max(a.left, b.left) > by &&
    Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > by;
  const printed = (main) =>
    texts(main)
      .filter((text) => getComputedStyle(text.parentElement).visibility !== "hidden")
      .map((text) => ({ text, at: rect(text) }))
      .filter(({ at }) => at.width > 0);
  const faultsOf = (main) => {
    const paper = main.getBoundingClientRect();
    const boxes = all("[data-role],[data-pence]").map((box) => ({ box, at: box.getBoundingClientRect() }));
    const found = printed(main);
    let faults = 0;
    found.forEach(({ text, at }, k) => {
      if (at.left < -1 || at.top < -1 || at.right > paper.right + 1 || at.bottom > paper.bottom + 1) faults++;
      if (boxes.some(({ box, at: other }) => !box.contains(text) && meet(at, other, 1.2 * MM))) faults++;
      faults += found.slice(k + 1).filter((other) => meet(at, other.at, 1.2 * MM)).length;
    });
    return faults;
  };

  addEventListener("DOMContentLoaded", () => {
    const main = document.querySelector("main");
    const body = document.querySelector("[data-rows]"); // null where a pad's rows differ: those stay as they are
    const row = body?.children[0];
    const table = body?.closest("table");
    let changed = [];
    if (VARY.seed) {
      if (chance(0.8)) page(main);
      if (table && chance(0.3)) fewer(table, row);
      if (chance(0.2)) totals();
      if (table && chance(0.5)) reorder(table, row);
      if (row && chance(0.7)) changed = words(table, row);
      heading(table);
      if (chance(0.7)) widths(table);
      if (row && chance(0.75)) rows(body, row);
      if (row) zebra(chance(0.65) ? rules(row) : "");
      colours(main);
    }
    document.fonts.ready.then(() => {
      // before pad.js measures: wording that does not fit where it stands goes back
      const before = changed.map(([text, old]) => [text, old, text.data]);
      for (const [text, old] of before) text.data = old;
      const heights = before.map(([text]) => rect(text).height);
      before.forEach(([text, old, next], k) => {
        text.data = next;
        const place = text.parentElement;
        if (rect(text).height > heights[k] + 2 || place.scrollWidth > place.clientWidth + 1) text.data = old;
      });
      setTimeout(() => {
        const out = document.getElementById("places");
        out.textContent = JSON.stringify({ ...JSON.parse(out.textContent), faults: faultsOf(main) });
      });
    });
  });
}
