// The page works without this. With it: a keypad with a fixed point, readings kept while there is no signal and sent once when it is
// back, in their order, and verdicts looked up in the table of the step. Nothing is judged here.
const page = document.body.dataset, byId = id => document.getElementById(id), NAME = "capsaddle-name";
const main = document.querySelector("main"), secure = self.isSecureContext && "serviceWorker" in navigator && "indexedDB" in self;
let ended = false, changed = false, own = false, signal = true, taking = false;

function element(tag, text, ...inside) {
  const made = document.createElement(tag.split(".")[0]);
  made.className = tag.split(".").slice(1).join(" ");
  if (text) made.textContent = text;
  made.append(...inside.filter(Boolean));
  return made;
}
function button(text, run, look = "btn") { const made = element("button." + look, text); made.type = "button"; made.onclick = run; return made; }
function link(text, to, look = "btn") { const made = element("a." + look, text); made.href = to; return made; }
const clock = ms => new Date(ms).toTimeString().slice(0, 5);

// --- what is said at the top ---
async function tellSignal(left) {
  const line = byId("signal"), count = left.length, sent = byId("sent");
  sent.hidden = !page.base || !secure;
  sent.firstChild.textContent = count ? count + " not sent" : "all sent";
  const unsent = count ? `, ${count} not sent` : "";
  line.replaceChildren();
  if (ended) line.append("This link has ended. What you read stays here until you copied it" + unsent + ".", link("Show it", page.base + "/unsent"));
  else if (changed) line.append((own ? "What you sent changed the card." : "The card has changed meanwhile.") + " Load it before you go on" + unsent + ".", button("Load the card", () => location.reload()));
  else if (!secure) line.append(element("small", "This address is not secure (https): nothing can be kept on this phone; a signal is needed."));
  else if (!signal) line.append(`No signal: go on. ${count || "Nothing"} kept here, not sent.`);
  line.hidden = !line.hasChildNodes();
  for (const send of document.querySelectorAll("form[data-what] [type=submit]")) send.disabled = ended || changed;
}

// --- sending ---
async function reach(path, options = {}) { // the answer, or null where there is no signal
  const stop = new AbortController(), timer = setTimeout(() => stop.abort(), options.body instanceof Blob ? 90000 : 15000);
  try { return await fetch(page.base + path, {cache: "no-store", redirect: "error", ...options, signal: stop.signal}); } catch { return null; } finally { clearTimeout(timer); }
}
const gone = answer => answer.status === 404 || answer.status === 410;
function posted(item, held) {
  const sent = {id: item.id, what: item.what, fields: item.fields, taken: item.taken, now: Date.now(), held};
  if (!item.photo) return reach("/entries", {method: "POST", headers: {"Content-Type": "application/json"}, body: JSON.stringify(sent)});
  const about = new URLSearchParams({id: item.id, taken: item.taken, now: sent.now, ...Object.fromEntries(Object.entries(item.fields).map(([k, v]) => [k, v[0]]))});
  return reach("/photos?" + about, {method: "POST", headers: {"Content-Type": item.photo.type}, body: item.photo});
}
async function look() { // what the order stands at; says when the signal is gone, the link has ended, the card has changed
  const answer = await reach("/state");
  signal = Boolean(answer) && answer.status < 500;
  ended = Boolean(answer) && gone(answer);
  if (!answer || !answer.ok) return null;
  const now = await answer.json();
  if (page.revision && String(now.revision) !== page.revision) changed = true;
  return now;
}
async function sendAll() {
  const told = [];
  for (const item of await waiting(page.order)) {
    if (item.refused) continue;
    if (item.id === withdrawn) break; // it is being typed again
    const answer = await posted(item, true);
    if (!answer || answer.status >= 500 || answer.status === 429) { signal = false; break; }
    if (gone(answer)) { ended = true; break; }
    const said = await answer.json().catch(() => ({}));
    if (answer.ok) { await drop(item.n); told.push([item, said]); }
    else await mark({...item, refused: said.detail || "not taken"});
  }
  return told;
}
let turn = Promise.resolve();
function sync() { // one after the other, in all tabs of this phone
  const run = async () => {
    const now = await look(), left = await waiting(page.order);
    let told = [];
    if (now && left.some(item => !item.refused)) {
      const locked = navigator.locks ? work => navigator.locks.request("capsaddle", work) : work => work();
      told = await locked(sendAll);
      await look();
    }
    if (told.length) { own = true; tell(told); }
    await tellSignal(await waiting(page.order));
    await listUnsent();
  };
  return turn = turn.then(run, run);
}
function tell(told) { // what became of what was sent later; another verdict than the one looked up stands first
  const differs = ([item, said]) => item.looked && said.said && (item.looked.v !== said.said.v || (item.looked.l || "") !== (said.said.l || ""));
  const rows = told.slice().sort((a, b) => differs(b) - differs(a)).map(([item, said]) => element("li", "",
    element("span", (differs([item, said]) ? "THE SERVICE SAYS OTHERWISE: " : "") + item.said + ": " + (said.said ? said.said.h : "kept")), element("b", clock(item.taken))));
  const card = element("section.card", "", element("b", told.length + " sent, each once"), element("ul.lines", "", ...rows), link("Go on with the card", page.base));
  card.id = "sent-now";
  byId("sent-now")?.remove();
  (byId("told").hidden ? main : byId("told")).prepend(card);
}

// --- a form ---
function fieldsOf(form) {
  const fields = {};
  for (const [name, value] of new FormData(form)) if (typeof value === "string" && name !== "nonce") (fields[name] ||= []).push(value.replace(/_+$/, ""));
  return fields;
}
function spokenText(form, fields) {
  const hidden = ["step", "kind", "position", "revision", "replaces", "reason", "taken_by", "done", "withdraws"];
  const typed = Object.entries(fields).filter(([name]) => !hidden.includes(name) && fields[name].join("")).map(([name, all]) => name === "unit" ? all[0] : (/^(one|two|series|word|note)$/.test(name) ? "" : name + " ") + all.join(" "));
  return `${page.number}, ${form.dataset.said}: ${typed.join(", ") || "done"}; ${(fields.taken_by || [""])[0]}, ${new Date().toISOString().slice(0, 16)}Z`;
}
async function startedBy(left, position) { // the unsent initial clearance of this bearing; false where something unsent makes the table old
  const own = left.filter(item => (item.fields.position || [])[0] === position && !item.refused && item.id !== withdrawn);
  const starts = own.filter(item => item.fields.kind?.[0] === "initial_clearance");
  if (own.some(item => item.fields.kind?.[0] === "residual_clearance") || starts.length > 1) return false;
  return starts.length ? starts[0] : null;
}
const REVISES = ["initial_clearance", "seat_spacing"];
const makesAnew = item => ["answer", "as_found"].includes(item.what) || REVISES.includes(item.fields.kind?.[0]); // the card is another one after it
async function looked(fields) {
  const data = byId("table");
  if (!data || fields.replaces) return null;
  const table = JSON.parse(data.textContent), unit = (fields.unit || [""])[0];
  if (table.kind !== (fields.kind || [""])[0]) return null;
  if (table.words) return table.words[fields.done ? "yes" : (fields.word || [""])[0]] || null;
  if (table.runs) {
    const older = (await waiting(page.order)).some(item => makesAnew(item) && !item.refused && item.id !== withdrawn);
    return older ? null : fields.two ? null : lookUpLine(table, fields.one[0], unit);
  }
  let started = null;
  if (table.kind === "residual_clearance") {
    const item = await startedBy(await waiting(page.order), fields.position[0]);
    if (item === false) return null;
    if (item) started = [nanometres(table, item.fields.one[0], item.fields.unit[0]), nanometres(table, item.fields.two[0], item.fields.unit[0])];
  }
  return lookUp(table, fields.one[0], fields.two[0], unit, started);
}
async function smaller(photo) { // no larger than is useful, and without what the camera wrote into it
  if (!photo || !self.createImageBitmap) return photo;
  try {
    const seen = await createImageBitmap(photo), share = Math.min(1, 2048 / Math.max(seen.width, seen.height)), drawn = document.createElement("canvas");
    drawn.width = Math.round(seen.width * share); drawn.height = Math.round(seen.height * share);
    drawn.getContext("2d").drawImage(seen, 0, 0, drawn.width, drawn.height);
    return await new Promise(done => drawn.toBlob(done, "image/jpeg", 0.85)) || photo;
  } catch { return photo; }
}
async function submitted(event) {
  const form = event.target;
  if (!form.dataset || !form.dataset.what) return;
  for (const field of form.querySelectorAll("[data-prefix]")) { // the printed digits alone are no number
    field.value = field.value.replace(/_+$/, "");
    if (Number(field.dataset.cells) && field.value === field.dataset.prefix) field.value = "";
  }
  if (!form.reportValidity()) return event.preventDefault();
  if (!secure) return;
  event.preventDefault();
  if (taking) return;
  taking = true;
  try { await take(form); } finally { taking = false; }
}
const withdrawn = new URLSearchParams(location.search).get("withdraws"); // an unsent reading that this page types again
async function takeBack(item, old) { // in the place of the one that waits; where it may have been sent, the service finds it by its UUID
  const swap = async () => { const still = (await waiting(page.order)).find(each => each.id === old); return still ? (await mark({...item, n: still.n}), still.n) : keep(item); };
  return navigator.locks ? navigator.locks.request("capsaddle", swap) : swap();
}
async function take(form) {
  const fields = fieldsOf(form);
  if (fields.taken_by) localStorage.setItem(NAME, fields.taken_by[0]);
  const all = await waiting(page.order), left = all.filter(each => each.id !== withdrawn), retyped = withdrawn && form.dataset.what === "reading";
  if (retyped) fields.withdraws = [withdrawn, ...all.find(each => each.id === withdrawn)?.fields.withdraws || []];
  // after an unsent reading that makes a revision the card in hand is the one that it will make: no revision is named
  if (left.some(item => REVISES.includes(item.fields.kind?.[0]) && !item.refused)) delete fields.revision;
  const item = {id: crypto.randomUUID(), order: page.order, number: page.number, base: page.base, what: form.dataset.what, fields, said: form.dataset.said,
    text: spokenText(form, fields), taken: Date.now(), path: location.pathname + location.search};
  if (form.dataset.what === "photo") item.photo = await smaller(form.querySelector("[type=file]").files[0]);
  item.looked = form.dataset.what === "reading" ? await looked(fields).catch(() => null) : null;
  const n = retyped ? await takeBack(item, withdrawn) : await keep(item);   // kept first: whatever happens now, it is not lost
  if (item.what === "as_found") drafted(form, "");
  if (left.some(each => !each.refused)) { await sync(); if (!signal) return show(item); const still = (await waiting(page.order)).find(each => each.n === n); if (!still) return; if (still.refused) return refuse(form, still); return show(item); }
  const answer = await posted(item, false);
  if (!answer || answer.status >= 500 || answer.status === 429) { signal = false; await tellSignal(await waiting(page.order)); return show(item); }
  if (gone(answer)) { ended = true; await tellSignal(await waiting(page.order)); return show(item); }
  const said = await answer.json().catch(() => ({}));
  if (answer.ok) { await drop(n); drafted(form, ""); location.assign(said.page || page.base); return; }
  await drop(n);                // it was never taken: what was typed stands in the form still
  if (said.code === "stale_version") { changed = true; await tellSignal(await waiting(page.order)); scrollTo(0, 0); return; }
  refuse(form, {...item, n: null, refused: said.detail || "not taken"});
}
async function refuse(form, item) {
  if (item.n) await drop(item.n);
  form.querySelector("[role=alert]")?.remove();
  const fault = element("p.fault", "Not taken: " + item.refused);
  fault.setAttribute("role", "alert");
  form.prepend(fault);
  fault.scrollIntoView({block: "nearest"});
  await tellSignal(await waiting(page.order));
}
const typeAgain = item => { const to = new URL(item.path, location.href); to.searchParams.set("withdraws", item.id); return to.pathname + to.search; };
function enlarged(figure) { // a picture beside a keypad is small: touched, it fills the screen
  figure.tabIndex = 0; figure.setAttribute("role", "button"); figure.setAttribute("aria-expanded", false);
  const turn = () => figure.setAttribute("aria-expanded", figure.classList.toggle("whole"));
  figure.onclick = turn;
  figure.onkeydown = event => { if (["Enter", " ", "Escape"].includes(event.key)) { event.preventDefault(); turn(); } };
}
function photoApart(form) { // the form of a photo stands apart from the one above it, one touch away
  const other = [...document.querySelectorAll("form[data-what]")].find(each => each !== form), ends = document.querySelector("nav.end");
  if (!other || !ends) return;
  const shot = button("Photo", () => { form.hidden = !form.hidden; other.hidden = !form.hidden; shot.textContent = form.hidden ? "Photo" : "Back to the form"; scrollTo(0, 0); });
  form.hidden = true;
  ends.prepend(shot);
}
function show(item) { // the screen after a reading that waits
  const told = byId("told"), found = item.looked, next = document.querySelector("[rel=next]"), parts = [];
  if (next && found?.v === "accept" && item.fields.kind?.[0] === "confirmation") return location.assign(next.href); // a tick goes on
  parts.push(element("h1.mid", found ? found.h : "Kept; judged when sent"), element("p", item.said));
  if (found) {
    parts.push(element("p.m", "Looked up in the printed table; the service judges again."));
    if (found.l) parts.push(element("section.card", "", element("b", "Leave, this bearing"), element("p.big", found.l)));
    if (found.g && found.m) parts.push(element("div.two", "", element("section.card.thin", "", element("small", "goes in, light drag"), element("p.mid", found.g)), element("section.card.thin", "", element("small", "must not go in"), element("p.mid", found.m))));
    parts.push(element("ol.now", "", ...(found.n || []).map(line => element("li", line))));
  }
  parts.push(found && found.v !== "accept" ? link("Read again", location.pathname + location.search, "btn.main") : next ? link("Go on: " + next.textContent.trim(), next.href, "btn.main") : null);
  const wrong = item.what === "reading" ? link("Read wrong: again", typeAgain(item)) : null;
  parts.push(element("nav.end", "", wrong, link("Not sent", page.base + "/unsent"), link("Overview", page.base)));
  told.replaceChildren(...parts.filter(Boolean));
  told.hidden = false; main.hidden = true; scrollTo(0, 0);
}

// --- what waits, as text and as a code ---
async function listUnsent() {
  const place = byId("unsent");
  if (!place || !secure) return;
  const left = await waiting(page.order);
  byId("none").hidden = left.length > 0;
  place.replaceChildren(...left.map(item => {
    const copied = button("Copy", async () => { try { await navigator.clipboard.writeText(item.text); } catch { getSelection().selectAllChildren(text); document.execCommand("copy"); } away.hidden = false; copied.textContent = "Copied"; });
    const away = button("Written down: take it off this phone", async () => { await drop(item.n); await listUnsent(); await tellSignal(await waiting(page.order)); });
    const code = button("Show as code", () => { const drawn = qrPicture(item.text); box.replaceChildren(drawn || "Too long for a code: copy it."); away.hidden = false; });
    const text = element("p.kept", item.text + (item.photo ? " (photo)" : "")), box = element("div.code");
    away.hidden = true;
    return element("section.card.thin", "", item.refused ? element("p.fault", "Not taken: " + item.refused) : null, text, element("div.row", "", item.what === "reading" && page.base ? link("Read wrong: again", typeAgain(item)) : null, copied, code), box, away);
  }));
}

// --- typing with a thumb ---
function keypad(form) {
  const keys = form.querySelector(".keys"), fields = [...form.querySelectorAll(".fld.n input[name]")];
  if (!keys || !fields.length) return;
  let at = fields[0];
  const cells = field => Number(field.dataset.cells), prefix = field => field.dataset.prefix || "";
  const typed = field => field.value.replace(/_+$/, "");
  function put(field, text) { field.value = cells(field) && text.startsWith(prefix(field)) ? text + "_".repeat(Math.max(0, cells(field) - (text.length - prefix(field).length))) : text; }
  function choose(field) {
    at = field;
    for (const each of fields) { each.closest(".fld").classList.toggle("on", each === at); if (each !== at && typed(each) === prefix(each) && cells(each)) each.value = ""; }
    if (cells(field) && !field.value) put(field, prefix(field));
    if (document.activeElement !== field && fields.includes(document.activeElement)) field.focus();
  }
  function press(key) {
    const text = typed(at);
    if (key === "erase") return put(at, text.length > prefix(at).length || !cells(at) ? text.slice(0, -1) : text);
    if (key === "other") { for (const each of fields) { each.dataset.cells = 0; each.dataset.prefix = ""; } at.value = ""; other.textContent = "."; other.dataset.key = "."; return at.focus(); }
    if (key === "blades") return byBlade(keys, digits, fields, () => at, choose);
    if (key === "next") return choose(fields[(fields.indexOf(at) + 1) % fields.length]);
    if (cells(at) && text.length - prefix(at).length >= cells(at)) return;
    put(at, text + key);
    if (cells(at) && typed(at).length === prefix(at).length + cells(at) && fields.length > 1 && at === fields[0]) choose(fields[1]);
  }
  let other = null;
  const point = cells(at) ? "other" : ".", four = Boolean(keys.dataset.blades);
  const order = four ? ["1", "2", "3", "erase", "4", "5", "6", "next", "7", "8", "9", point, "0", "blades"]
    : [..."123456789", "erase", "0", ...(keys.hasAttribute("data-fractions") ? [".", "/", "blank"] : [point])];
  const digits = order.map(key => {
    const made = button({blank: "space", next: "other row", blades: "by blade"}[key] || key, () => press(made.dataset.key), key.length > 1 ? "w" : "");
    made.dataset.key = key === "blank" ? " " : key;
    if (key === "other") other = made;
    return made;
  });
  keys.classList.toggle("four", four);
  keys.append(...digits);
  keys.hidden = false;
  for (const field of fields) {
    field.inputMode = "none";
    field.addEventListener("focus", () => choose(field));
    field.addEventListener("keydown", event => { // a real keyboard goes by the same fixed point
      if (event.key.length === 1 && cells(field) && !event.ctrlKey && !event.metaKey) { event.preventDefault(); if (/\d/.test(event.key)) press(event.key); }
      else if (event.key === "Backspace" && cells(field)) { event.preventDefault(); press("erase"); }
    });
  }
  choose(at);
}
function byBlade(keys, digits, fields, at, choose) { // the blades that passed are touched, their stamps are added: no point is typed
  const {blades, unit} = keys.dataset, stamps = blades.split(" "), ROOM = 12;
  let first = 0, stack = [];
  const chosen = fields[0].form.querySelector("[name=unit]");
  if (chosen) chosen.value = unit;
  for (const each of fields) { each.dataset.cells = 0; each.dataset.prefix = ""; each.value = each.value.replace(/_+$/, ""); if (/^0?\.0*$/.test(each.value)) each.value = ""; }
  const write = () => { at().value = stackReads(stack, stamps); draw(); };
  const touch = stamp => { if (stack.includes(stamp)) stack = stack.filter(each => each !== stamp); else if (stack.length < 3) stack.push(stamp); write(); };
  function draw() {
    const shown = stamps.slice(first, first + ROOM).map(stamp => { const made = button(stamp, () => touch(stamp), ""); made.setAttribute("aria-pressed", stack.includes(stamp)); return made; });
    const turn = stamps.length > ROOM ? button(first ? "thinner" : "thicker", () => { first = first ? 0 : stamps.length - ROOM; draw(); }, "w") : null;
    keys.replaceChildren(...shown, ...[button("none: 0", () => { stack = []; write(); }, "w"), button("other row", () => { stack = []; choose(fields[(fields.indexOf(at()) + 1) % fields.length]); draw(); }, "w"), turn, button("digits", () => keys.replaceChildren(...digits), "w")].filter(Boolean));
  }
  draw();
}
function drafted(form, text) { localStorage.setItem(`capsaddle-draft ${page.order} ${form.dataset.said}`, text); }
function series(form) { // each pair stays on the phone until the series is sent; the minute counts from the first Add
  const place = form.querySelector("[data-series]"), area = form.querySelector("[name=series]");
  if (!place) return;
  const began = `capsaddle-began ${page.order} ${form.dataset.said}`, minute = place.querySelector("[data-minute]"), degrees = place.querySelector("[data-degrees]");
  const draft = localStorage.getItem(`capsaddle-draft ${page.order} ${form.dataset.said}`);
  if (draft) area.value = draft;
  const count = () => { const first = Number(localStorage.getItem(began)); minute.value = first ? Math.round((Date.now() - first) / 60000) : 0; };
  area.addEventListener("input", () => drafted(form, area.value));
  place.querySelector("[data-add]").onclick = () => {
    if (!degrees.value) return;
    if (!localStorage.getItem(began)) localStorage.setItem(began, Date.now() - Number(minute.value || 0) * 60000);
    area.value = area.value.trimEnd() + (area.value.trim() ? "\n" : "") + minute.value + " " + degrees.value;
    degrees.value = ""; drafted(form, area.value); count();
  };
  place.hidden = false; count();
}

function parts(form) { // a long form goes one part a screen; what is chosen stays on the phone until it is sent
  const all = [...form.querySelectorAll("[data-part]")], place = document.querySelector(".where");
  if (all.length < 2) return;
  const fault = form.querySelector("[role=alert]"), kept = localStorage.getItem(`capsaddle-draft ${page.order} ${form.dataset.said}`);
  for (const [name, value] of kept && !fault ? JSON.parse(kept) : []) for (const each of form.elements) {
    if (each.name !== name || ["position", "nonce", "taken_by"].includes(name)) continue;
    if (["radio", "checkbox"].includes(each.type)) each.checked = each.value === value || (each.type === "checkbox" && each.checked); else each.value = value;
  }
  if (secure) form.addEventListener("input", () => drafted(form, JSON.stringify([...new FormData(form)].filter(([, value]) => typeof value === "string" && value))));
  let at = 0;
  const count = element("b"), bar = element("div.row");
  const back = button("\u2039 back", () => turn(at - 1)), next = button("next \u203a", () => turn(at + 1), "main");
  function turn(to) {
    at = Math.max(0, Math.min(to, all.length - 1));
    all.forEach((each, n) => each.hidden = n !== at);
    back.disabled = !at; next.hidden = at === all.length - 1;
    count.textContent = `part ${at + 1} of ${all.length}`;
    scrollTo(0, 0);
  }
  place.append(count);
  bar.append(back, next);
  form.append(bar);
  form.addEventListener("invalid", event => turn(all.findIndex(each => each.contains(event.target))), true); // a field that is wrong is seen
  turn(fault ? all.length - 1 : 0);
}

async function withdraws() { // what this page takes back, said above its form
  const item = withdrawn && (await waiting(page.order)).find(each => each.id === withdrawn), form = document.querySelector("form[data-what=reading]");
  if (item && form) form.prepend(element("p.fault", "Takes back, not sent: " + item.text));
}
async function leaves() { // what an unsent initial clearance leaves, where the kept step does not know it yet
  for (const place of document.querySelectorAll("[data-leave]")) {
    const started = await startedBy(await waiting(page.order), place.dataset.leave), found = started && started.looked;
    if (!found || !found.l) continue;
    place.replaceChildren(found.l, element("small", `to leave${found.g && found.m ? `. ${found.g} goes in, ${found.m} must not` : ""} (not sent yet)`));
    place.hidden = false;
  }
}

// --- begin ---
for (const form of document.querySelectorAll("form[data-what]")) { keypad(form); series(form); parts(form); if (form.dataset.what === "photo") photoApart(form); }
for (const figure of document.querySelectorAll("main figure")) enlarged(figure);
const name = secure && localStorage.getItem(NAME);
if (name) for (const field of document.querySelectorAll("[name=taken_by]")) if (!field.value) field.value = name;
document.addEventListener("submit", submitted);
if (secure && page.base) {
  navigator.serviceWorker.register(page.root + "/card/sw.js").catch(() => {});
  navigator.serviceWorker.ready.then(ready => ready.active.postMessage({keep: page.base}));
  navigator.storage?.persist?.();
  addEventListener("online", () => taking || sync()); addEventListener("offline", () => { signal = false; waiting(page.order).then(tellSignal); });
  document.addEventListener("visibilitychange", () => { if (!document.hidden && !taking) sync(); });
  setInterval(async () => { if (taking) return;
    if (!signal || (await waiting(page.order)).some(item => !item.refused)) sync(); }, 20000);
  const again = byId("try"); if (again) { again.hidden = false; again.onclick = sync; }
  sync(); leaves(); withdraws();
} else if (secure) listUnsent();
else if (page.base) tellSignal([]);
