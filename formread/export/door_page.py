"""A page for the phone at the door: each drop with what is due; tick off what was paid, save it as a CSV list.

One file without anything from outside: it works without a network and sends nothing. What is ticked stays in
the phone's browser until the seller saves it (``formread round --takings`` reads that file) and clears it.
"""

import json

from formread.money import currency, format_money, format_plain
from formread.round.evening import Evening

_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>Round</title><style>
:root{color-scheme:light dark;background:#fff;color:#1d2329}
@media(prefers-color-scheme:dark){:root{background:#14171b;color:#efeadf}}
body{font:18px/1.35 system-ui,sans-serif;margin:0 auto;max-width:34rem;padding:.6rem}
h1{font-size:1.3rem;margin:.3rem 0}
section{border:1px solid #8888;border-radius:.6rem;margin:.7rem 0;padding:.7rem}
section.done{border-style:dashed;border-color:#1c6b45}
section.done h2::before{content:"\\2713  "}
h2{display:flex;justify-content:space-between;gap:.6rem;font-weight:700;font-size:1.15rem;margin:0}
h2 span:first-of-type{margin-right:auto}
.where{color:#585858;font-size:.95rem;margin:.15rem 0 .5rem}
@media(prefers-color-scheme:dark){.where{color:#b4b4b4}}
:focus-visible{outline:3px solid #1f78a0;outline-offset:2px}
[hidden]{display:none}
.buttons{display:grid;grid-template-columns:repeat(2,1fr);gap:.45rem}
button{font:inherit;padding:.6rem;border:1px solid #8888;border-radius:.5rem;background:#8881;color:inherit}
button[aria-pressed=true]{background:#1c6b45;color:#fff}
label{display:block;margin-top:.45rem}
input{font:inherit;width:100%%;box-sizing:border-box;padding:.45rem;margin-top:.15rem}
footer{position:sticky;bottom:0;background:inherit;padding:.5rem 0;border-top:1px solid #8888}
</style></head><body><header><h1>Round</h1></header><main id="doors"></main>
<footer><div id="sum"></div><div class="buttons"><button id="save">Save as a list</button>
<button id="clear">Clear everything</button></div></footer>
<script id="data" type="application/json">%(data)s</script><script>
const data = JSON.parse(document.getElementById("data").textContent);
const memory = "round " + data.key;
let taken = {};
try { taken = JSON.parse(localStorage.getItem(memory)) || {}; } catch { taken = {}; }
const plain = (minor) => {
  const text = String(Math.abs(minor)).padStart(data.digits + 1, "0");
  const cut = text.length - data.digits;
  return (minor < 0 ? "-" : "") + text.slice(0, cut) + (data.digits ? "." + text.slice(cut) : "");
};
const minor = (text) => {
  const found = /^(-?)(\\d*)(?:[.,](\\d*))?$/.exec(text.trim());
  if (!found || (!found[2] && !found[3]) || (found[3] || "").length > data.digits) return null;
  const value = Number(found[2] || 0) * 10 ** data.digits + Number((found[3] || "").padEnd(data.digits, "0") || 0);
  return found[1] ? -value : value;
};
const keep = () => { try { localStorage.setItem(memory, JSON.stringify(taken)); } catch { /* private window */ } sum(); };
const ways = [["paid in cash", "cash"], ["paid otherwise", "otherwise"], ["not in", "none"], ["partly", "partly"]];
const fields = [["cash", "cash, change taken off", "decimal"], ["otherwise", "paid otherwise", "decimal"],
  ["remarks", "remarks", "text"]];
function make(name, words, where) {
  const made = document.createElement(name);
  if (words) made.textContent = words;
  if (where) where.append(made);
  return made;
}
function door(drop) {
  const section = make("section");
  const top = make("h2", "", section);
  make("span", drop.number + ". " + drop.who, top);
  make("span", drop.shown, top);
  const bags = drop.bags === 1 ? "1 bag" : drop.bags + " bags";
  make("p", [drop.where, bags, drop.hint].filter(Boolean).join(" \\u00b7 "), section).className = "where";
  const buttons = make("div", "", section);
  buttons.className = "buttons";
  const more = make("div", "", section);
  const inputs = {};
  for (const [name, words, mode] of fields) {
    const input = make("input", "", make("label", words, more));
    input.inputMode = mode;
    /* Kept with every sign typed: a phone may be put away at any time. */
    input.oninput = () => { taken[drop.number] = { ...taken[drop.number], [name]: input.value }; keep(); };
    inputs[name] = input;
  }
  const pressed = ways.map(([words, way]) => {
    const button = make("button", words, buttons);
    button.onclick = () => {
      const said = (taken[drop.number] || {}).remarks || "";
      taken[drop.number] = { way: way, cash: way === "cash" ? plain(drop.due) : "",
        otherwise: way === "otherwise" ? plain(drop.due) : "",
        remarks: way === "none" ? "not in" : said === "not in" ? "" : said };
      stand();
      keep();
      if (way === "partly") inputs.cash.focus();
    };
    return [button, way];
  });
  function stand() {
    const now = taken[drop.number];
    section.className = now && now.way !== "partly" ? "done" : "";
    more.hidden = !now;
    for (const [button, way] of pressed) button.setAttribute("aria-pressed", String(!!now && now.way === way));
    for (const name in inputs) inputs[name].value = (now || {})[name] || "";
  }
  stand();
  return section;
}
function sum() {
  let cash = 0, otherwise = 0, left = 0;
  const wrong = [];
  for (const drop of data.drops) {
    const now = taken[drop.number];
    if (!now) { left++; continue; }
    for (const name of ["cash", "otherwise"]) {
      const value = now[name] ? minor(now[name]) : 0;
      if (value === null) wrong.push(drop.number);
      else if (name === "cash") cash += value; else otherwise += value;
    }
  }
  document.getElementById("sum").textContent = "cash " + plain(cash) + ", otherwise " + plain(otherwise) +
    (left ? ", " + left + " to go" : "") + (wrong.length ? " - not an amount at drop " + wrong.join(", ") : "");
}
function show() { document.getElementById("doors").replaceChildren(...data.drops.map(door)); sum(); }
const cell = (text) => '"' + String(text).replaceAll('"', '""') + '"';
document.getElementById("save").onclick = () => {
  const rows = data.drops.filter((drop) => taken[drop.number]).map((drop) => {
    const now = taken[drop.number];
    return [drop.number, now.cash || 0, now.otherwise || 0, cell(now.remarks || "")].join(",");
  });
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob(["drop,cash,otherwise,remarks\\n" + rows.join("\\n") + "\\n"], { type: "text/csv" }));
  link.download = "takings.csv";
  link.click();
};
document.getElementById("clear").onclick = () => {
  if (confirm("Clear everything that was ticked?")) { taken = {}; keep(); show(); }
};
show();
</script></body></html>
"""


def door_page(evening: Evening) -> str:
    """Write the page as HTML text."""
    unit = currency(evening.goods.report.currency)
    drops = [
        {
            "number": drop.number,
            "who": drop.who,
            "where": drop.where,
            "bags": drop.bags,
            "due": drop.due,
            "shown": format_money(drop.due, unit),
            "hint": f"{format_money(drop.handed, unit)} takes {format_money(drop.change, unit)} change"
            if drop.due > 0 and drop.change
            else "",
        }
        for drop in evening.plan.drops
    ]
    # The key tells one round's ticks from another's in the same browser.
    key = " ".join(format_plain(drop.due, unit) for drop in evening.plan.drops)
    data = json.dumps({"digits": unit.digits, "key": key, "drops": drops}, ensure_ascii=True)
    safe = data.replace("<", "\\u003c").replace("&", "\\u0026")
    return _PAGE % {"data": safe}
