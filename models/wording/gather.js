// Adds the texts of a pad to what pad.js wrote: `texts`, each with its `lines` ({text, rect}), the `role` and `row` of
// the box that it stands in, and `box`: the place among the boxes of the only one that its nearest parents hold.
addEventListener("DOMContentLoaded", async () => {
  const main = document.querySelector("main");
  const boxes = () => [...document.querySelectorAll("[data-role]")];
  const blockOf = (node) => {
    let up = node.parentElement;
    while (up !== main && getComputedStyle(up).display.startsWith("inline")) up = up.parentElement;
    return up;
  };
  const onlyBox = (node) => {
    for (let up = node.parentElement; up && up !== main; up = up.parentElement) {
      const found = [...up.querySelectorAll("[data-role]")];
      if (up.dataset.role || found.length > 1) return null;
      if (found.length === 1) return boxes().indexOf(found[0]);
    }
    return null;
  };
  const words = function* (node) {
    for (const match of node.data.matchAll(/\S+/g)) {
      const range = document.createRange();
      range.setStart(node, match.index);
      range.setEnd(node, match.index + match[0].length);
      const { left, top, right, bottom } = range.getBoundingClientRect();
      if (right > left) yield { text: match[0], rect: [left, top, right, bottom] };
    }
  };
  const collect = () => {
    const units = [];
    let unit = null;
    const walk = (element) => {
      for (const node of element.childNodes) {
        if (node.nodeType === Node.TEXT_NODE) {
          if (getComputedStyle(element).visibility === "hidden") continue;
          const block = blockOf(node);
          for (const word of words(node)) {
            const last = unit?.lines.at(-1);
            const [left, top, right, bottom] = word.rect;
            const high = bottom - top;
            const level = last && Math.min(bottom, last.rect[3]) - Math.max(top, last.rect[1]) > 0.4 * high;
            const apart = level && (left - last.rect[2] > 1.6 * high || left < last.rect[0]);
            const fresh = !unit || unit.block !== block || apart;
            if (fresh) {
              const box = element.closest("[data-role]");
              const row = element.closest("[data-row]");
              unit = { block, lines: [], role: box?.dataset.role ?? null, row: row ? Number(row.dataset.row) : null };
              unit.box = onlyBox(node);
              units.push(unit);
            }
            if (level && !fresh) {
              last.text += ` ${word.text}`;
              last.rect = [last.rect[0], Math.min(top, last.rect[1]), right, Math.max(bottom, last.rect[3])];
            } else unit.lines.push(word);
          }
        } else if (node.nodeType === Node.ELEMENT_NODE && !["SCRIPT", "STYLE", "svg"].includes(node.nodeName)) {
          const writes = node.matches("[data-role],[data-fill]");
          if (writes) unit = null;
          walk(node);
          if (writes) unit = null;
        }
      }
    };
    walk(main);
    return units.map(({ block, ...rest }) => rest);
  };
  await document.fonts.ready;
  setTimeout(() => {
    const out = document.getElementById("places");
    out.textContent = JSON.stringify({ ...JSON.parse(out.textContent), texts: collect() });
  });
});
