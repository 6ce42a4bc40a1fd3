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
:root{color-scheme:light dark}
body{font:18px/1.35 system-ui,sans-serif;margin:0 auto;max-width:34rem;padding:.6rem}
h1{font-size:1.3rem;margin:.3rem 0}
section{border:1px solid #8888;border-radius:.6rem;margin:.7rem 0;padding:.7rem}
section.done{opacity:.55}
.top{display:flex;justify-content:space-between;gap:.6rem;font-weight:700;font-size:1.15rem}
.where,.hint{color:#777;font-size:.95rem;margin:.15rem 0 .5rem}
.buttons{display:grid;grid-template-columns:repeat(2,1fr);gap:.45rem}
button{font:inherit;padding:.6rem;border:1px solid #8888;border-radius:.5rem;background:#8881;color:inherit}
button[aria-pressed=true]{background:#1c6b45;color:#fff}
label{display:block;margin-top:.45rem}
input{font:inherit;width:100%%;box-sizing:border-box;padding:.45rem;margin-top:.15rem}
footer{position:sticky;bottom:0;background:Canvas;padding:.5rem 0;border-top:1px solid #8888}
</style></head><body><h1>Round</h1><main id="doors"></main>
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
const keep = () => { try { localStorage.setItem(memory, JSON.stringify(taken)); } catch { /* private window */ } show(); };
const ways = [["paid in cash", "cash"], ["paid otherwise", "otherwise"], ["not in", "none"], ["partly", "partly"]];
function set(drop, way) {
  const due = drop.due;
  taken[drop.number] = { way: way, cash: way === "cash" ? plain(due) : "", otherwise: way === "otherwise" ? plain(due) : "",
    remarks: way === "none" ? "not in" : (taken[drop.number] || {}).remarks || "" };
  keep();
}
function field(section, drop, name, title, mode) {
  const label = document.createElement("label");
  label.textContent = title;
  const input = document.createElement("input");
  input.value = (taken[drop.number] || {})[name] || "";
  input.inputMode = mode;
  input.onchange = () => { taken[drop.number] = { ...taken[drop.number], [name]: input.value }; keep(); };
  label.append(input);
  section.append(label);
}
function show() {
  const place = document.getElementById("doors");
  place.replaceChildren();
  let cash = 0, otherwise = 0, wrong = [];
  for (const drop of data.drops) {
    const now = taken[drop.number];
    const section = document.createElement("section");
    if (now && now.way !== "partly") section.className = "done";
    const top = document.createElement("div");
    top.className = "top";
    for (const words of [drop.number + ". " + drop.who, drop.shown]) {
      const part = document.createElement("span");
      part.textContent = words;
      top.append(part);
    }
    const where = document.createElement("div");
    where.className = "where";
    const bags = drop.bags === 1 ? "1 bag" : drop.bags + " bags";
    where.textContent = [drop.where, bags, drop.hint].filter(Boolean).join(" \\u00b7 ");
    const buttons = document.createElement("div");
    buttons.className = "buttons";
    for (const [words, way] of ways) {
      const button = document.createElement("button");
      button.textContent = words;
      button.setAttribute("aria-pressed", String(!!now && now.way === way));
      button.onclick = () => set(drop, way);
      buttons.append(button);
    }
    section.append(top, where, buttons);
    if (now) {
      field(section, drop, "cash", "cash, change taken off", "decimal");
      field(section, drop, "otherwise", "paid otherwise", "decimal");
      field(section, drop, "remarks", "remarks", "text");
      for (const name of ["cash", "otherwise"]) {
        const value = now[name] ? minor(now[name]) : 0;
        if (value === null) wrong.push(drop.number);
        else if (name === "cash") cash += value; else otherwise += value;
      }
    }
    place.append(section);
  }
  document.getElementById("sum").textContent = "cash " + plain(cash) + ", otherwise " + plain(otherwise) +
    (wrong.length ? " - not an amount at drop " + wrong.join(", ") : "");
}
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
document.getElementById("clear").onclick = () => { if (confirm("Clear everything that was ticked?")) { taken = {}; keep(); } };
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
