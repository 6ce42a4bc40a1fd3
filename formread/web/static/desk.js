/* The desk's script. Every page works without it; it saves waiting and clicks. */
"use strict";

const say = (text) => { const live = document.getElementById("live"); if (live) live.textContent = text; };

/* Pages are fetched and put in place of the page's content, so that an answer shows at once. */

let turn = 0;

function put(text, address, push) {
  const made = new DOMParser().parseFromString(text, "text/html");
  const main = made.getElementById("main");
  if (!main) { location.assign(address); return; }
  document.title = made.title;
  document.body.className = made.body.className;
  document.querySelector("header.top").replaceWith(made.querySelector("header.top"));
  document.getElementById("main").replaceWith(main);
  if (push && address !== location.href) history.pushState({ swapped: true }, "", address);
  wake(main);
  const first = main.querySelector("[autofocus]");
  if (first) { first.focus({ preventScroll: true }); if (first.dataset.select !== undefined) first.select(); } else main.focus({ preventScroll: true });
  const said = main.querySelector(".said, [role=alert]");
  const asked = main.querySelector("h1");
  say([said && said.textContent, asked && asked.textContent].filter(Boolean).join(" "));
}

async function swap(address, options, keepPlace) {
  const mine = ++turn;
  const at = scrollY;
  let answer;
  try {
    answer = await fetch(address, { credentials: "same-origin", ...options });
  } catch {
    say("The desk does not answer. Is it still open?");
    fell(true);
    return;
  }
  fell(false);
  const text = await answer.text();
  if (mine !== turn) return;
  const moved = answer.headers.get("X-Address");
  const posted = options && options.method === "POST" && !answer.redirected && !moved;
  put(text, moved ? new URL(moved, location.href).href : answer.url, !posted);
  scrollTo(0, keepPlace ? at : 0);
}

function fell(down) {
  let note = document.getElementById("down");
  if (down && !note) {
    note = document.createElement("p");
    note.id = "down";
    note.setAttribute("role", "alert");
    note.textContent = "The desk does not answer. Start it again with “formread desk”: nothing it had is lost.";
    document.body.prepend(note);
  } else if (!down && note) note.remove();
}

addEventListener("popstate", () => swap(location.href));

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.dataset.sure && !confirm(form.dataset.sure)) { event.preventDefault(); return; }
  if (form.dataset.busy) {
    const told = document.createElement("p");
    told.className = "quiet";
    told.textContent = form.dataset.busy;
    form.append(told);
    say(form.dataset.busy);
  }
  if (form.dataset.swap === undefined) return;
  event.preventDefault();
  const body = new URLSearchParams(new FormData(form, event.submitter));
  swap(form.action, { method: "POST", body, headers: { "X-Address": "please" } }, form.closest(".slip") !== null);
});

document.addEventListener("click", (event) => {
  const link = event.target.closest("a[data-swap]");
  if (link && !event.ctrlKey && !event.metaKey && !event.shiftKey) {
    event.preventDefault();
    const address = link.getAttribute("href");
    swap(new URL(address, location.href).href, undefined, link.closest(".slip") !== null);
  }
  if (event.target.closest("[data-print]")) print();
  const paid = event.target.closest("[data-paid]");
  if (paid) { const field = paid.closest("li").querySelector("[data-due]"); field.value = field.dataset.due; }
  const back = event.target.closest("[data-back]");
  if (back && history.length > 1) { event.preventDefault(); history.back(); }
});

/* Keys. Letters act only while the field of the question, which takes digits alone, has the focus. */

let hurried = -Infinity;

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const at = document.activeElement;
  const form = at && at.closest(".ask, .settling, .cell");
  if (!form) return;
  if (event.key === "Enter" && performance.now() - hurried < 900) { event.preventDefault(); return; }
  const named = at.matches("input") ? /^[a-z ]$|^Escape$/ : /^.$|^Escape$/;
  if (at.matches(".fields input") || !named.test(event.key)) return;
  if (event.key === " " && at.matches("button, a")) return;
  for (const taker of document.querySelectorAll("#main [data-key]")) {
    if (taker.dataset.key === event.key) { event.preventDefault(); taker.click(); return; }
  }
});

document.addEventListener("input", (event) => {
  const field = event.target;
  if (!field.matches(".big")) return;
  echo(field);
  /* What agrees with a likely reading, and begins no other, needs no Enter. */
  const likely = (field.dataset.likely || "").split(" ").filter(Boolean);
  const mine = amount(field);
  if (mine === null) return;
  const same = likely.filter((other) => other.replace(/\D/g, "") === mine);
  const longer = likely.filter((other) => other.replace(/\D/g, "") !== mine && other.replace(/\D/g, "").startsWith(mine));
  if (same.length && !longer.length && field.value.indexOf(".") < 0) {
    hurried = performance.now();
    field.form.requestSubmit();
  }
});

function amount(field) {
  const text = field.value.trim().replace(",", ".");
  if (!/^\d*\.?\d*$/.test(text) || !/\d/.test(text)) return null;
  const digits = Number(field.dataset.digits || 0);
  const [whole, part] = text.split(".");
  if (part === undefined || !digits) return String(Number(whole));
  return part.length > digits ? null : String(Number(whole + part.padEnd(digits, "0")));
}

function echo(field) {
  const out = document.querySelector(`output[for="${field.id}"]`);
  if (!out || field.dataset.digits === undefined) return;
  const minor = amount(field);
  const digits = Number(field.dataset.digits);
  if (minor === null) { out.textContent = ""; return; }
  const padded = minor.padStart(digits + 1, "0");
  const whole = digits ? `${padded.slice(0, -digits)}.${padded.slice(-digits)}` : padded;
  out.textContent = `${field.dataset.symbol}${whole}`;
}

/* Ledger and picture light up together. */

function light(event) {
  const on = event.type === "mouseover" || event.type === "focusin";
  const one = event.target.closest && event.target.closest("[data-box]");
  if (!one) return;
  for (const each of document.querySelectorAll(`[data-box="${CSS.escape(one.dataset.box)}"]`)) each.classList.toggle("lit", on);
}
for (const kind of ["mouseover", "mouseout", "focusin", "focusout"]) document.addEventListener(kind, light);

/* Photos: chosen, dropped with their folders, or pasted; sent one by one, so that each shows how far it is. */

const AT_ONCE = 3;
const queue = [];
let sending = 0;

function send(files, address) {
  const list = document.querySelector(".sending");
  for (const file of files) {
    const row = document.createElement("li");
    const name = document.createElement("span");
    name.textContent = file.name || "pasted photo";
    const bar = document.createElement("progress");
    bar.max = 1; bar.value = 0;
    bar.setAttribute("aria-label", `Sending ${name.textContent}`);
    row.append(name, bar);
    if (list) { list.hidden = false; list.append(row); }
    queue.push({ file, row, bar, address });
  }
  if (files.length) say(`Sending ${files.length} photo${files.length === 1 ? "" : "s"}.`);
  pump();
}

function pump() {
  while (sending < AT_ONCE && queue.length) {
    const job = queue.shift();
    sending++;
    const body = new FormData();
    body.append("photos", job.file, job.file.name || "pasted photo.png");
    const request = new XMLHttpRequest();
    request.open("POST", job.address);
    request.setRequestHeader("Accept", "application/json");
    request.upload.onprogress = (event) => { if (event.lengthComputable) job.bar.value = event.loaded / event.total; };
    request.onloadend = () => {
      sending--;
      if (request.status === 200) {
        const told = JSON.parse(request.responseText);
        if (told.new) job.row.remove(); else { job.bar.replaceWith(" is here already"); setTimeout(() => job.row.remove(), 4000); }
      } else {
        const again = document.createElement("button");
        again.className = "button quiet";
        again.textContent = "Send again";
        again.onclick = () => { job.row.remove(); send([job.file], job.address); };
        job.bar.replaceWith(request.status === 413 ? " is too large: save it smaller" : " did not arrive ", again);
      }
      const list = document.querySelector(".sending");
      if (list && !list.children.length) list.hidden = true;
      pump();
      watch();
    };
    request.send(body);
  }
}

document.addEventListener("change", (event) => {
  const field = event.target;
  if (field.type !== "file") return;
  const form = field.form;
  if (form.dataset.auto !== undefined) { form.requestSubmit(); return; }
  if (form.dataset.upload === undefined) return;
  send([...field.files].filter(isPhoto), form.action);
  field.value = "";
});

const isPhoto = (file) => !file.name.startsWith(".") && (/^image\/|pdf$/.test(file.type) || /\.(jpe?g|jpe|png|tiff?|webp|bmp|heic|heif|pdf)$/i.test(file.name));

async function inside(entry) {
  if (entry.isFile) return [await new Promise((done, no) => entry.file(done, no))];
  const reader = entry.createReader();
  const found = [];
  for (;;) {
    const some = await new Promise((done, no) => reader.readEntries(done, no));
    if (!some.length) return found;
    for (const each of some) found.push(...await inside(each));
  }
}

document.addEventListener("dragover", (event) => {
  if (document.querySelector("[data-drop]")) { event.preventDefault(); document.body.classList.add("dropping"); }
});
document.addEventListener("dragleave", (event) => { if (!event.relatedTarget) document.body.classList.remove("dropping"); });
document.addEventListener("drop", async (event) => {
  const target = document.querySelector("[data-drop]");
  if (!target) return;
  event.preventDefault();
  document.body.classList.remove("dropping");
  const entries = [...event.dataTransfer.items].map((item) => item.webkitGetAsEntry && item.webkitGetAsEntry()).filter(Boolean);
  const loose = [...event.dataTransfer.files];
  const found = [];
  for (const entry of entries) found.push(...await inside(entry));
  send((entries.length ? found : loose).filter(isPhoto), target.dataset.drop);
});
document.addEventListener("paste", (event) => {
  const target = document.querySelector("[data-drop]");
  const files = [...(event.clipboardData || {}).files || []].filter(isPhoto);
  if (target && files.length) { event.preventDefault(); send(files, target.dataset.drop); }
});

/* A pile that changes fetches itself anew; what stays the same is left where it is. */

let watching = 0;

function watch() {
  clearTimeout(watching);
  const pile = document.querySelector("[data-live]");
  if (!pile) return;
  watching = setTimeout(async () => {
    let busy = true;
    try {
      const told = await (await fetch(pile.dataset.live)).json();
      fell(false);
      busy = told.waiting > 0 || sending > 0;
      const mark = pile.classList.contains("camera") ? `${told.revision}` : `${told.revision}.${told.reading}`;
      if (mark !== pile.dataset.revision && pile.isConnected) await renew(pile);
    } catch { fell(true); }
    pile.dataset.pace = busy ? "fast" : "slow";
    watch();
  }, pile.dataset.pace === "slow" ? 3000 : 600);
}

async function renew(pile) {
  const text = await (await fetch(location.href)).text();
  if (!pile.isConnected) return;
  const made = new DOMParser().parseFromString(text, "text/html").getElementById("pile");
  if (!made) return;
  const field = pile.querySelector("[type=search]");
  const open = field && document.activeElement === field;
  const pictures = new Map([...pile.querySelectorAll(".card")].map((card) => [card.id, card.querySelector("img")]));
  for (const card of made.querySelectorAll(".card")) {
    const known = pictures.get(card.id);
    if (known) card.querySelector("img").replaceWith(known);
  }
  const rows = [...pile.querySelectorAll(".sending > li")];
  const focused = pile.contains(document.activeElement) ? document.activeElement : null;
  const path = focused && (focused.id ? `#${focused.id}` : focused.getAttribute("href") ? `a[href="${focused.getAttribute("href")}"]` : null);
  if (open) made.querySelector("[type=search]").value = field.value;
  pile.replaceWith(made);
  const list = made.querySelector(".sending");
  if (list && rows.length) { list.append(...rows); list.hidden = false; }
  if (open) made.querySelector("[type=search]").focus();
  else if (path) { const again = made.querySelector(path); if (again) again.focus({ preventScroll: true }); }
  const bar = made.querySelector(".work label");
  if (bar) say(bar.textContent);
}

/* Searching as one types. */

let typing = 0;
document.addEventListener("input", (event) => {
  const field = event.target;
  if (!field.matches(".find [type=search]")) return;
  clearTimeout(typing);
  typing = setTimeout(async () => {
    const address = new URL(location.href);
    address.searchParams.set("search", field.value);
    history.replaceState(history.state, "", address);
    await renew(document.getElementById("pile"));
  }, 150);
});

function wake(part) {
  for (const place of part.querySelectorAll("[data-load]")) {
    fetch(place.dataset.load).then((answer) => answer.text()).then((text) => {
      const made = new DOMParser().parseFromString(text, "text/html");
      place.replaceChildren(...made.body.childNodes);
    }).catch(() => {});
  }
  for (const field of part.querySelectorAll(".big")) echo(field);
  const form = part.querySelector("form[data-pair]");
  if (form && location.hash.length > 1) {
    form.elements.secret.value = location.hash.slice(1);
    history.replaceState(null, "", location.pathname);
  }
  watch();
}

document.documentElement.classList.add("script");
wake(document);
history.replaceState({ swapped: true }, "", location.href);
const enter = document.querySelector("[data-enter], [autofocus]");
if (enter && !document.querySelector(":focus-visible")) enter.focus({ preventScroll: true });
