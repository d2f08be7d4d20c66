/* The whole ballot is on the phone: answers wait in localStorage until the server has committed them, and are sent
   in order, each under one name. Plain HTTP has no service worker, randomUUID or locks. */
const { attempt, heading } = document.body.dataset;
const main = document.getElementById("main");
const stateLine = document.getElementById("state");
const retry = document.getElementById("again");
const KEY = `ballot:${attempt}`;
const LOCK = `${KEY}:lock`;
const TAB = randomName();
const PATIENCE = 20000;
const pages = new Map(); // number of a screen, "end" or "thanks" -> makes its markup
const done = new Set(); // numbers answered on this phone
const given = new Map(); // number of an answered screen -> what was answered, where it may be corrected
const earlier = document.querySelector(".earlier");
let current = null; // number of the screen shown
let again = false; // whether it is answered already and being corrected
let shownAt = "";
let sending = false;
let failures = 0;
let timer = 0;
let sentSome = false;
let guardUntil = 0;
let lastTap = { x: 0, y: 0 };

const queued = Boolean(attempt);
const say = JSON.parse(document.body.dataset.words);
const fill = (text, values) => text.replace(/\{(\w+)\}/g, (_, name) => values[name]);
const on = (target, kind, act) => target.addEventListener(kind, act);

function make(tag, properties, attributes = {}) {
  return mark(Object.assign(document.createElement(tag), properties), attributes);
}

function mark(element, attributes) {
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  return element;
}

// -- what is kept on the phone

function readJson(key, otherwise) {
  try {
    return JSON.parse(localStorage.getItem(key)) ?? otherwise;
  } catch {
    return otherwise;
  }
}

const writeJson = (key, value) => localStorage.setItem(key, JSON.stringify(value));
const kept = () => readJson(KEY, { queue: [], saved: [] });
const waiting = () => kept().queue.length > 0;
const draftKey = (number) => `${KEY}:draft:${number}`;

function forgetAll() {
  for (const key of Object.keys(localStorage)) if (key.startsWith(KEY)) localStorage.removeItem(key);
}

const startAgain = () => location.replace(`/t/${attempt}`);

function randomName() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

// -- state in words

function tell(text, offerRetry = false) {
  if (stateLine.textContent !== text) stateLine.textContent = text;
  retry.hidden = !offerRetry;
}

// -- showing screens

function collect() {
  const first = main.querySelector(".screen");
  if (!first) return;
  const copy = first.cloneNode(true);
  pages.set(Number(first.dataset.number), () => copy.cloneNode(true));
  for (const template of document.querySelectorAll("template[data-screen]")) {
    const name = template.dataset.screen;
    pages.set(Number(name) || name, () => template.content.firstElementChild.cloneNode(true));
  }
  current = Number(first.dataset.number);
  again = first.matches(".correcting");
  const asked = new Set(pages.keys());
  if (again) {
    asked.delete(current);
    done.add(current);
  }
  for (const template of document.querySelectorAll("template[data-earlier]")) {
    const number = Number(template.dataset.earlier);
    pages.set(number, () => template.content.firstElementChild.cloneNode(true));
    done.add(number);
  }
  // What the server still asks for it does not have, whatever this phone remembers.
  const state = kept();
  state.saved = state.saved.filter((number) => !asked.has(number));
  writeJson(KEY, state);
  learnDone();
  if (done.has(current) && !again) showNext();
  else prepare(first);
}

function learnDone() {
  const state = kept();
  for (const entry of state.queue) {
    done.add(entry.number);
    remember(entry.number, entry.fields);
  }
  for (const number of state.saved) done.add(number);
}

// Where the organiser allows it, an answered screen can be opened again.
function remember(number, fields) {
  if (!earlier || !pages.has(number)) return;
  given.set(number, fields);
  earlier.hidden = false;
  if (earlier.querySelector(`[data-to="${number}"]`)) return;
  const link = make("a", { className: "plain", href: `/t/${attempt}/${number}` }, { "data-to": number });
  const { childNodes } = pages.get(number)().querySelector("h1");
  link.append(...[...childNodes].slice(1), " ", pages.get(number)().querySelector(".how strong") ?? "");
  earlier.querySelector("p").append(link);
}

function lookBack(event) {
  const link = event.target.closest("[data-to]");
  if (!link) return;
  const number = Number(link.dataset.to);
  if (again) localStorage.removeItem(draftKey(current));
  if (number && !pages.has(number)) return; // the server has it
  event.preventDefault();
  if (earlier) earlier.open = false;
  if (number) show(number, true);
  else showNext();
}

function showNext() {
  for (const number of pages.keys()) if (number > 0 && !done.has(number)) return show(number);
  if (waiting()) return show("end");
  startAgain();
}

function show(name, correcting = false) {
  const made = pages.get(name)();
  main.replaceChildren(made);
  current = name;
  again = correcting;
  guardUntil = performance.now() + 350;
  if (name > 0) prepare(made);
  else document.querySelector(".foot").hidden = true;
  scrollTo(0, 0);
  main.querySelector("h1")?.focus({ preventScroll: true });
  const { step, steps } = made.dataset;
  document.title = step ? `${heading}, ${fill(say.step, { step, steps })}` : main.querySelector("h1").textContent;
  return made;
}

function prepare(article) {
  shownAt = new Date().toISOString();
  const form = article.querySelector("form");
  const draft = { ...(again ? given.get(current) : {}), ...(queued ? readJson(draftKey(current), {}) : {}) };
  article.classList.toggle("correcting", again);
  if (again) {
    form.elements.again.value = 1;
    for (const first of article.querySelectorAll(".gate, .confirm, .rinse:not(.changing)")) first.remove();
  }
  for (const field of form.elements) {
    if (!(field.name in draft) || field.type === "hidden") continue;
    if (field.type === "radio" || field.type === "checkbox") field.checked = field.value === draft[field.name];
    else field.value = draft[field.name];
  }
  for (const question of form.querySelectorAll(".question.line")) makeLine(question, draft);
  for (const question of form.querySelectorAll(".question.order")) makeOrder(question);
  makeConfirm(form);
  makeGates(article);
  on(form, "submit", submit);
  if (queued) on(form, "input", () => keepDraft(form));
}

function keepDraft(form) {
  try {
    writeJson(draftKey(current), fieldsOf(form));
  } catch {} // a full store loses the draft only
}

const fieldsOf = (form) => Object.fromEntries(new FormData(form));

// -- the line: no handle until tapped, no ticks, the value hidden

function makeLine(question, draft) {
  const { key } = question.dataset;
  const places = question.querySelector(".places");
  const { low, high } = places.dataset;
  const start = places.querySelector(":checked")?.value ?? draft[key] ?? places.dataset.value;
  const value = make("input", { type: "hidden", name: key });
  const length = make("input", { type: "hidden", name: `${key}-length` });
  const range = { "aria-valuemin": 0, "aria-valuemax": 100, "aria-labelledby": `${key}-asks` };
  const track = make("div", { className: "track", id: key, tabIndex: 0 }, { role: "slider", ...range });
  const box = () => track.getBoundingClientRect();
  const handle = make("span", { className: "handle" });
  const told = make("p");
  question.setAttribute("role", "group");
  question.removeAttribute("aria-required");
  for (const name of ["aria-describedby", "aria-invalid"]) {
    if (question.hasAttribute(name)) track.setAttribute(name, question.getAttribute(name));
    question.removeAttribute(name);
  }

  const draw = (number) => {
    const answered = number !== null;
    const place = Math.round(number);
    handle.remove();
    if (answered) track.append(handle);
    handle.style.insetInlineStart = `${number}%`;
    const words = answered ? fill(say.lineValue, { place, low, high }) : say.notAnswered;
    mark(track, { "aria-valuenow": place, "aria-valuetext": words });
    told.textContent = answered ? say.lineAnswered : say.lineOpen;
  };
  const chosen = () => (value.value === "" ? null : Number(value.value));
  const choose = (number) => {
    value.value = number.toFixed(1);
    length.value = box().width.toFixed(1);
    draw(number);
    const cannot = question.querySelector(".cannot input");
    if (cannot) cannot.checked = false;
    value.dispatchEvent(new Event("input", { bubbles: true }));
  };
  const move = (by) => {
    if (chosen() === null) choose(by > 0 ? 0 : 100); // from an end, so that no middle is suggested
    else choose(Math.min(100, Math.max(0, chosen() + by)));
  };

  const rightToLeft = getComputedStyle(question).direction === "rtl";
  const at = (event) => {
    const share = Math.min(1, Math.max(0, (event.clientX - box().left) / box().width));
    return 100 * (rightToLeft ? 1 - share : share);
  };
  let held = false;
  on(track, "pointerdown", (event) => {
    held = !event.button;
    track.setPointerCapture(event.pointerId);
  });
  on(track, "pointermove", (event) => held && draw(at(event)));
  on(track, "pointerup", (event) => {
    if (held) choose(at(event));
    held = false;
  });
  on(track, "pointercancel", () => {
    held = false; // the finger scrolled the page instead
    draw(chosen());
  });
  on(track, "keydown", (event) => {
    const right = rightToLeft ? -1 : 1;
    const by = { ArrowRight: right, ArrowLeft: -right, ArrowUp: 1, ArrowDown: -1, PageUp: 10, PageDown: -10 };
    if (event.key === "Home") choose(0);
    else if (event.key === "End") choose(100);
    else if (event.key in by) move(by[event.key]);
    else return;
    event.preventDefault();
  });

  const step = (textContent, end, by) => {
    const label = { "aria-label": fill(say.towards, { end }) };
    const button = make("button", { type: "button", className: "step", textContent }, label);
    on(button, "click", () => move(by));
    return button;
  };
  const fine = make("div", { className: "fine" });
  fine.append(step("−", low, -1), told, step("+", high, 1));
  places.replaceWith(track);
  question.querySelector(".ends").after(fine, value, length);
  if (start) {
    value.value = start;
    length.value = draft[`${key}-length`] ?? box().width.toFixed(1);
  }
  draw(start ? Number(start) : null);
}

// -- what comes first: a break, a wait, the right cup in the hand

function makeGates(article) {
  const gates = [...article.querySelectorAll(".gate")];
  const ends = `${draftKey(current)}:until`;
  const next = () => {
    const gate = gates.shift();
    article.classList.toggle("gated", Boolean(gate));
    for (const one of article.querySelectorAll(".gate")) one.hidden = one !== gate;
    if (!gate) return;
    if (gate.dataset.gate === "wait") return count(gate);
    const button = gate.querySelector("button");
    button.hidden = false;
    on(button, "click", next);
  };
  const count = (gate) => {
    const shown = gate.querySelector(".count");
    const until = readJson(ends, 0) || Date.now() + gate.dataset.seconds * 1000;
    if (queued) writeJson(ends, until);
    shown.hidden = false;
    const tick = () => {
      const left = Math.ceil((until - Date.now()) / 1000);
      if (!gate.isConnected) return;
      shown.textContent = left;
      if (left > 0) return setTimeout(tick, 250);
      next();
      article.querySelector("h1").focus();
    };
    tick();
  };
  next();
}

function makeConfirm(form) {
  const confirm = form.querySelector(".confirm");
  if (!confirm) return;
  const { right } = confirm.dataset;
  const held = () => confirm.querySelector(":checked")?.value;
  const draw = () => form.classList.toggle("unsure", held() !== right);
  on(confirm, "change", () => {
    draw();
    if (held() === right) return form.querySelector(".question:not(.confirm *)")?.scrollIntoView({ block: "nearest" });
    complain([{ field: "cup", text: fill(say.wrongCup, { code: right }) }]);
    if (queued) call({ code: held() });
    confirm.querySelector(":checked").checked = false;
  });
  draw();
}

function call(fields) {
  const headers = { Accept: "application/json" };
  return fetch(`/t/${attempt}/help`, { method: "POST", headers, body: new URLSearchParams(fields) });
}

async function askForHelp(event) {
  event.preventDefault();
  const told = document.querySelector("[data-called]");
  told.textContent = say.calling;
  const reply = await call({}).catch(() => ({ ok: false }));
  told.textContent = reply.ok ? say.called : say.notCalled;
}

// -- ranking: tap in order; a second tap takes a cup out again

function makeOrder(question) {
  const rows = [...question.querySelectorAll(".row")];
  const order = [];
  const told = make("p", { className: "quiet" }, { role: "status" });
  const tap = (row) => {
    const at = order.indexOf(row);
    if (at < 0) order.push(row);
    else order.splice(at, 1);
    draw();
    row.select.dispatchEvent(new Event("input", { bubbles: true }));
  };
  const draw = () => {
    for (const row of rows) {
      const rank = order.indexOf(row) + 1;
      row.select.value = rank || "";
      row.badge.textContent = rank || "";
      const spoken = [...row.dataset.code].join(" ");
      const place = rank ? fill(say.place, { rank, count: rows.length }) : say.noPlace;
      mark(row.button, { "aria-label": `${spoken}, ${place}`, "aria-pressed": rank > 0 });
    }
    const next = order.length + 1;
    told.textContent = next > rows.length ? say.allPlaced : fill(say.tapNext, { rank: next, count: rows.length });
  };
  for (const row of rows) {
    row.select = row.querySelector("select");
    row.badge = make("span", { className: "rank" });
    row.button = make("button", { type: "button", className: "pick", id: row.select.id });
    row.button.append(row.badge, row.querySelector(".code"));
    row.select.removeAttribute("id");
    row.select.hidden = true;
    row.querySelector("label").replaceWith(row.button);
    on(row.button, "click", () => tap(row));
  }
  const ranked = rows.filter((row) => row.select.value);
  order.push(...ranked.sort((a, b) => a.select.value - b.select.value));
  question.append(told);
  draw();
}

// -- answering

const RULES = {
  none: () => true,
  all: (given, names) => given.length === names.length,
  two: (given) => given.length === 2,
  halves: (given, names) => given.length === names.length && given.filter((g) => g === given[0]).length * 2 === names.length,
  ranks: (given, names) => new Set(given).size === names.length,
};

function faultsIn(form, fields) {
  const faults = [];
  for (const question of form.querySelectorAll(".question")) {
    const { key, missing, rule } = question.dataset;
    const names = question.dataset.names.split(" ");
    const given = names.map((name) => (fields[name] ?? "").trim()).filter(Boolean);
    if (!fields[`${key}-cannot`] && !RULES[rule](given, names)) faults.push({ field: key, text: missing });
  }
  return faults;
}

function submit(event) {
  const form = event.target;
  const fields = fieldsOf(form);
  const faults = faultsIn(form, fields);
  if (faults.length || queued) event.preventDefault();
  if (faults.length) return complain(faults);
  if (!queued) return;
  learnDone(); // another tab may have answered this screen
  if (again || !done.has(current)) {
    const state = kept();
    const id = randomName();
    Object.assign(fields, { submission: id, shown_at: shownAt, answered_at: new Date().toISOString() });
    state.queue.push({ number: current, id, fields });
    try {
      writeJson(KEY, state);
    } catch {
      return form.submit(); // no room on the phone: send it the plain way
    }
  }
  localStorage.removeItem(draftKey(current));
  localStorage.removeItem(`${draftKey(current)}:until`);
  done.add(current);
  remember(current, fields);
  tell(say.savedHere);
  showNext();
  flush();
}

function complain(faults) {
  const article = main.querySelector(".screen");
  for (const old of article.querySelectorAll(".summary, .error")) old.remove();
  const list = make("ul");
  for (const { field, text } of faults) {
    const question = article.querySelector(`[data-key="${field}"]`);
    if (!question) continue;
    const asks = question.querySelector(".asks");
    const hint = question.querySelector(".hint");
    const error = make("p", { className: "error", id: `${field}-error` });
    error.append(make("span", { className: "unseen", textContent: say.error }), ` ${text}`);
    (hint ?? asks).after(error);
    const target = document.getElementById(field) ?? document.getElementById(question.dataset.names.split(" ")[0]);
    const group = question.tagName === "FIELDSET" && !question.matches(".line");
    const bound = group ? question : target;
    mark(bound, { "aria-describedby": `${hint?.id ?? ""} ${error.id}`.trim() });
    if (!group || question.matches("[role=radiogroup]")) mark(bound, { "aria-invalid": "true" });
    const link = make("a", { href: `#${target.id}`, textContent: `${asks.textContent} ${text}` });
    on(link, "click", (event) => {
      event.preventDefault();
      question.scrollIntoView();
      target.focus({ preventScroll: true });
    });
    list.appendChild(make("li")).append(link);
  }
  const summary = make("div", { className: "summary", tabIndex: -1 });
  const alert = make("div", {}, { role: "alert" });
  alert.append(make("h2", { textContent: say.problem }), list);
  summary.append(alert);
  article.prepend(summary);
  if (!document.title.startsWith(say.error)) document.title = `${say.error} ${document.title}`;
  scrollTo(0, 0);
  summary.focus({ preventScroll: true });
}

// -- sending, in order, one tab at a time

function takeLock() {
  const held = readJson(LOCK, {});
  if (held.tab !== TAB && held.until > Date.now()) return false;
  writeJson(LOCK, { tab: TAB, until: Date.now() + PATIENCE + 1000 });
  return readJson(LOCK, {}).tab === TAB;
}

const dropLock = () => readJson(LOCK, {}).tab === TAB && localStorage.removeItem(LOCK);

async function flush() {
  if (sending) return;
  clearTimeout(timer);
  if (!waiting()) return settle();
  if (!takeLock()) return later(1000);
  sending = true;
  let outcome = "next";
  try {
    while (outcome === "next" && waiting()) {
      takeLock();
      if (!failures) tell(say.sending); // each tap tries again: no need to say so each time
      outcome = await sendOne(kept().queue[0]);
    }
  } finally {
    sending = false;
    dropLock();
  }
  if (outcome === "next") settle();
  else if (outcome === "wait") {
    const count = kept().queue.length;
    tell(count === 1 ? say.waitsOne : fill(say.waitsMany, { count }), true);
    later(Math.min(15000, 1000 * 2 ** failures++));
  } else if (outcome === "refused") {
    tell(say.refused, true);
    later(15000);
  }
}

async function sendOne(entry) {
  const stop = new AbortController();
  setTimeout(() => stop.abort(), PATIENCE);
  try {
    const reply = await fetch(`/t/${attempt}/${entry.number}`, {
      method: "POST",
      headers: { Accept: "application/json" },
      body: new URLSearchParams(entry.fields),
      signal: stop.signal,
    });
    if (reply.status === 422) return takeBack(entry, await reply.json());
    if ([403, 404, 405, 413].includes(reply.status)) return "refused";
    const told = await reply.json();
    if (told.saved !== true) return "wait";
    return acknowledged(entry, told);
  } catch {
    return "wait";
  }
}

function acknowledged(entry, told) {
  failures = 0;
  sentSome = true;
  leaveQueue(entry, true);
  if (told.finished && told.head && pages.has("thanks")) {
    show("thanks").querySelector("[data-head]").textContent = told.head;
    tell(told.late ? say.savedLate : say.saved);
    forgetAll();
    return "finished";
  }
  if ((told.closed || told.paused) && !waiting()) {
    startAgain();
    return "closed";
  }
  return "next";
}

function leaveQueue(entry, saved) {
  const state = kept();
  state.queue = state.queue.filter((other) => other.id !== entry.id);
  if (saved) state.saved.push(entry.number);
  writeJson(KEY, state);
}

// The server found something wrong: back onto the screen, with what was typed.
function takeBack(entry, told) {
  writeJson(draftKey(entry.number), entry.fields);
  leaveQueue(entry, false);
  if (!entry.fields.again) done.delete(entry.number);
  if (pages.has(entry.number)) {
    show(entry.number, Boolean(entry.fields.again));
    complain(told.problems);
  }
  return "next";
}

function settle() {
  if (current === null) forgetAll(); // no ballot here, and nothing left to send
  if (sentSome && current === null) startAgain();
  else if (current === "end") showNext();
  if (done.size || sentSome) tell(say.saved);
}

function later(milliseconds) {
  clearTimeout(timer);
  timer = setTimeout(flush, milliseconds);
}

// -- what wakes the queue

function start() {
  try {
    localStorage.setItem("ballot:try", "");
  } catch {
    return;
  }
  localStorage.removeItem("ballot:try");
  const help = document.querySelector("[data-help]");
  if (help) on(help, "submit", askForHelp);
  on(document, "click", lookBack);
  on(window, "online", flush);
  on(retry, "click", flush);
  on(window, "pointerup", () => waiting() && flush());
  on(document, "visibilitychange", () => !document.hidden && waiting() && flush());
  on(window, "pagehide", dropLock);
  on(window, "pageshow", (event) => event.persisted && location.reload());
  on(window, "storage", (event) => {
    if (event.key !== KEY) return;
    if (event.newValue === null) return startAgain(); // finished in another tab
    learnDone();
    if ((done.has(current) && !again) || (current === "end" && !waiting())) showNext();
  });
  for (const kind of ["pointerdown", "click"]) addEventListener(kind, stopSecondTap, { capture: true });
  collect();
  flush();
}

// The second tap of a double tap must not answer the screen that has just come up under the finger.
function stopSecondTap(event) {
  if (event.type === "click" && !event.detail) return; // from the keyboard
  const { clientX: x, clientY: y } = event;
  if (performance.now() < guardUntil && Math.hypot(x - lastTap.x, y - lastTap.y) < 24) {
    guardUntil = performance.now() + 350;
    event.preventDefault();
    event.stopPropagation();
  } else {
    guardUntil = 0;
    lastTap = { x, y };
  }
}

const shown = main.querySelector(".screen");
if (queued) start();
else if (shown) prepare(shown);
