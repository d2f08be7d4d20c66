/* Several products timed at once. Starts and stopped times wait in localStorage until the server has them; each is sent
   under one name of its own, in order. Plain HTTP has no service worker, randomUUID or locks. */
const home = document.getElementById("stopwatch");
const box = document.getElementById("watch");
const stateLine = document.getElementById("watch-state");
const setup = JSON.parse(home.dataset.setup);
const AT = `/studies/${setup.study}/bench`;
const KEY = `stopwatch:${setup.study}`;
const PATIENCE = 20000;
const GUARD = 350; // the second tap of a double tap must not stop what the first one started
const KEPT = 60; // stored times that stay in the list
const EMPTY = { by: "", instrument: "", measurand: "", running: [], stopped: [] };
let memory = "";
let sending = false;
let failures = 0;
let lastStatus = 0;
let timer = 0;
let guardUntil = 0;
let doubted = ""; // the start that somebody may throw away

const on = (target, kind, act) => target.addEventListener(kind, act);
const nameOf = (list, id) => list.find((one) => (one.id ?? one.key) === id)?.name ?? "";
const productName = (id) => nameOf(setup.products, id);
const measurandName = (key) => nameOf(setup.measurands, key);

function make(tag, properties = {}, attributes = {}, ...inside) {
  const element = Object.assign(document.createElement(tag), properties);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...inside);
  return element;
}

function button(text, className, act, spoken = "") {
  const made = make("button", { type: "button", className }, {}, text);
  if (spoken) made.append(make("span", { className: "hidden-label", textContent: ` ${spoken}` }));
  on(made, "click", act);
  return made;
}

// -- what is kept on the phone

function load() {
  try {
    return { ...EMPTY, ...JSON.parse(localStorage.getItem(KEY) ?? "{}") };
  } catch {
    return { ...EMPTY, ...JSON.parse(memory || "{}") };
  }
}

function change(act) {
  const state = load();
  act(state);
  const saved = state.stopped.filter((one) => one.state === "saved");
  state.stopped = state.stopped.filter((one) => one.state !== "saved" || saved.indexOf(one) >= saved.length - KEPT);
  const text = JSON.stringify(state);
  try {
    localStorage.setItem(KEY, text);
  } catch {
    memory = text;
    tell("This browser keeps nothing: do not close or reload this page while a time runs.");
  }
  return state;
}

const waiting = () => load().stopped.filter((one) => one.state === "waiting");

function randomName() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

// -- time: tenths of a second, shown and stored alike

const tenthsSince = (started) => Math.max(0, Math.floor((Date.now() - started) / 100));

function clock(tenths) {
  const two = (number) => String(number).padStart(2, "0");
  const [hours, minutes] = [Math.floor(tenths / 36000), Math.floor(tenths / 600) % 60];
  const rest = `${two(Math.floor(tenths / 10) % 60)}.${tenths % 10}`;
  return hours ? `${hours}:${two(minutes)}:${rest}` : `${minutes}:${rest}`;
}

function tell(text) {
  if (stateLine.textContent !== text) stateLine.textContent = text;
}

// -- starting, laps, stopping

function start(event) {
  event.preventDefault();
  const form = event.target;
  const started = Date.now();
  const chosen = [...form.querySelectorAll("input[type=checkbox]:checked")].map((tick) => tick.value);
  const by = form.elements.by.value.trim();
  if (!by) return refuse(form, form.elements.by, "Write your name or initials first.");
  if (!chosen.length) {
    return refuse(form, form.querySelector("input[type=checkbox]"), "Tick what is to be started together.");
  }
  change((state) => {
    Object.assign(state, { by, instrument: form.elements.instrument?.value ?? "", measurand: form.elements.measurand.value });
    const { measurand, instrument } = state;
    for (const product of chosen) {
      if (state.running.some((one) => one.product === product && one.measurand === measurand)) continue;
      state.running.push({ id: randomName(), measurand, product, instrument, by, started, laps: [] });
    }
  });
  guardUntil = performance.now() + GUARD;
  draw();
  tell(`Started: ${chosen.length}.`);
  home.scrollIntoView();
}

function refuse(form, field, text) {
  const said = form.querySelector(".wrong-text");
  said.textContent = text;
  said.hidden = false;
  field.focus();
}

function lap(id) {
  if (performance.now() < guardUntil) return;
  change((state) => {
    const one = state.running.find((each) => each.id === id);
    const tenths = one && tenthsSince(one.started);
    if (one && tenths > (one.laps.at(-1) ?? 0)) one.laps.push(tenths);
  });
  draw();
}

function stop(id) {
  const stoppedAt = Date.now();
  if (performance.now() < guardUntil) return;
  change((state) => {
    const one = state.running.find((each) => each.id === id);
    const tenths = one ? Math.floor((stoppedAt - one.started) / 100) : 0;
    if (tenths < 1) return;
    state.running = state.running.filter((each) => each !== one);
    const laps = one.laps.filter((each) => each <= tenths);
    state.stopped.push({ ...one, laps, tenths, stoppedAt: new Date(stoppedAt).toISOString(), state: "waiting" });
  });
  draw();
  flush();
}

function throwAway(id) {
  doubted = "";
  change((state) => {
    state.running = state.running.filter((one) => one.id !== id);
  });
  draw();
}

// -- drawing

function runningCard(one) {
  const name = productName(one.product);
  const digits = make("p", { className: "digits", textContent: clock(tenthsSince(one.started)) }, { role: "timer" });
  digits.dataset.started = one.started;
  const what = make("p", { className: "small faint", textContent: measurandName(one.measurand) });
  const head = make("div", { className: "watch-head" });
  head.append(make("div", {}, {}, make("h2", { className: "minor", textContent: name }), what));
  const laps = make("p", { className: "small laps", textContent: lapWords(one.laps) });
  const acts = make("div", { className: "watch-acts" });
  acts.append(button("Lap", "lap", () => lap(one.id), `of ${name}`), button("Stop", "main stop", () => stop(one.id), name));
  const card = make("li", { className: "watch-card" }, { "data-id": one.id }, head, digits, laps, acts);
  const draws = (to) => () => {
    doubted = to;
    draw();
  };
  if (doubted === one.id) {
    const sure = [button("Throw this start away", "alarm", () => throwAway(one.id)), button("Let it run", "quiet", draws(""))];
    card.append(make("div", { className: "watch-doubt" }, {}, ...sure));
  } else head.append(button("Mistake", "quiet", draws(one.id), `: ${name} was not to be started`));
  return card;
}

const lapWords = (laps) => laps.map((each, n) => `lap ${n + 1} ${clock(each)}`).join(", ");
const SAID = { waiting: "Saved on this phone, waits to be sent", saved: "Saved", refused: "Not taken" };

function stoppedLine(one) {
  const words = [measurandName(one.measurand), one.run ? `run ${one.run}` : "", lapWords(one.laps)];
  const head = make("strong", { textContent: productName(one.product) });
  const digits = make("span", { className: "digits-done", textContent: clock(one.tenths) });
  const more = make("span", { className: "small faint", textContent: words.filter(Boolean).join(", ") });
  const state = make("span", { className: `small said-${one.state}`, textContent: SAID[one.state] });
  const line = make("li", {}, { "data-id": one.id }, head, digits, more, state);
  if (one.state === "refused") {
    state.textContent = `Not taken: ${one.problem} `;
    line.append(button("Send again", "quiet", () => sendAgain(one.id)));
  }
  if (one.entry) {
    const link = make("a", { href: `${AT}/entries/${one.entry}`, textContent: "Correct it, or leave it out" });
    link.append(make("span", { className: "hidden-label", textContent: `: ${productName(one.product)}` }));
    line.append(link);
  }
  return line;
}

function sendAgain(id) {
  change((state) => {
    for (const one of state.stopped) if (one.id === id) one.state = "waiting";
  });
  draw();
  flush();
}

function field(label, control, id) {
  control.id = id;
  return make("div", { className: "field" }, {}, make("label", { htmlFor: id, textContent: label }), control);
}

function pick(name, options, value) {
  const select = make("select", { name });
  for (const [key, text] of options) select.append(make("option", { value: key, textContent: text }));
  if (options.some(([key]) => key === value)) select.value = value;
  return select;
}

function makeSetup() {
  const state = load();
  const form = make("form", { className: "watch-setup" });
  const by = make("input", { name: "by", type: "text", value: state.by, autocomplete: "off" });
  const keys = setup.measurands.map((one) => [one.key, one.name]);
  form.append(make("h2", { textContent: "Start" }), field("Your name or initials", by, "by"));
  form.append(field("What is timed", pick("measurand", keys, home.dataset.chosen || state.measurand), "measurand"));
  if (setup.instruments.length) {
    const watches = setup.instruments.map((one) => [one.id, one.name]);
    form.append(field("With", pick("instrument", [["", "This phone"], ...watches], state.instrument), "instrument"));
  }
  const list = make("fieldset", { className: "watch-products" }, {}, make("legend", { textContent: "Together" }));
  for (const one of setup.products) {
    const tick = make("input", { type: "checkbox", name: "product", value: one.id, id: `p-${one.id}` });
    const running = make("span", { className: "small faint running-now" });
    const label = make("label", { htmlFor: tick.id }, {}, make("span", { textContent: one.name }), running);
    list.append(make("div", { className: "choice" }, {}, tick, label));
  }
  const wrong = make("p", { className: "wrong-text", hidden: true }, { role: "alert" });
  const go = make("button", { className: "main go", textContent: "Start" });
  form.append(list, wrong, make("div", { className: "actions sticky" }, {}, go));
  on(form, "submit", start);
  on(form, "change", drawSetup);
  return form;
}

const runningList = make("ul", { className: "watch-cards" });
const stoppedList = make("ul", { className: "watch-stopped" });
const stoppedHead = make("h2", { textContent: "Stopped" });

function draw() {
  const state = load();
  const held = document.activeElement?.closest?.("[data-id]")?.dataset.id;
  runningList.replaceChildren(...state.running.map(runningCard));
  stoppedList.replaceChildren(...state.stopped.map(stoppedLine).reverse());
  stoppedHead.hidden = !state.stopped.length;
  if (held) document.querySelector(`[data-id="${held}"] button:last-of-type, [data-id="${held}"] a`)?.focus();
  drawSetup();
}

function drawSetup() {
  const form = box.querySelector("form");
  const { running } = load();
  const busy = new Set(running.filter((r) => r.measurand === form.elements.measurand.value).map((r) => r.product));
  for (const tick of form.querySelectorAll("input[type=checkbox]")) {
    if (busy.has(tick.value)) tick.checked = false;
    tick.disabled = busy.has(tick.value);
    tick.closest(".choice").querySelector(".running-now").textContent = tick.disabled ? "running" : "";
  }
  const count = form.querySelectorAll("input[type=checkbox]:checked").length;
  form.querySelector(".go").textContent = count > 1 ? `Start ${count} together` : "Start";
  form.querySelector(".wrong-text").hidden = true;
}

function tick() {
  for (const digits of runningList.querySelectorAll(".digits")) {
    digits.textContent = clock(tenthsSince(Number(digits.dataset.started)));
  }
}

// -- sending, in order, each once

async function flush() {
  if (sending) return;
  clearTimeout(timer);
  sending = true;
  let outcome = "saved";
  try {
    for (let next = waiting()[0]; next && outcome !== "wait"; next = waiting()[0]) {
      if (!failures) tell("Sending…");
      outcome = await send(next);
      draw();
    }
  } finally {
    sending = false;
  }
  report();
}

function report() {
  const count = waiting().length;
  const refused = load().stopped.some((one) => one.state === "refused");
  if (count) {
    const times = count === 1 ? "1 time waits" : `${count} times wait`;
    tell(lastStatus === 403
      ? `Saved on this phone. ${times}: you are not signed in here any more. Open your link again.`
      : `Saved on this phone. ${times} for the network.`);
    timer = setTimeout(flush, Math.min(15000, 1000 * 2 ** failures++));
  } else if (refused) tell("A time was not taken. See below; it is kept on this phone.");
  else if (load().stopped.length) tell("Saved");
}

async function send(one) {
  const ending = new AbortController();
  setTimeout(() => ending.abort(), PATIENCE);
  const { id, measurand, product, instrument, by, laps, tenths, stoppedAt } = one;
  const inSeconds = (each) => (each / 10).toFixed(1);
  const fields = { submission: id, measurand, product, instrument, by, seconds: inSeconds(tenths), stopped_at: stoppedAt };
  fields.laps = laps.map(inSeconds).join(" ");
  try {
    const headers = { Accept: "application/json" };
    const body = new URLSearchParams(fields);
    const reply = await fetch(`${AT}/stopwatch`, { method: "POST", headers, body, signal: ending.signal });
    lastStatus = reply.status;
    if ([404, 409, 413].includes(reply.status)) return settled(id, { state: "refused", problem: "the study takes no times now." });
    if (reply.status === 422) return settled(id, { state: "refused", problem: (await reply.json()).problem });
    const told = reply.ok ? await reply.json() : {};
    if (told.saved !== true) return "wait";
    failures = 0;
    return settled(id, { state: "saved", entry: told.entry, run: told.run });
  } catch {
    lastStatus = 0;
    return "wait";
  }
}

function settled(id, news) {
  change((state) => {
    for (const one of state.stopped) if (one.id === id) Object.assign(one, news);
  });
  return news.state;
}

// -- beginning

function begin() {
  document.getElementById("without-script").hidden = true;
  box.hidden = false;
  box.append(runningList, stoppedHead, stoppedList, makeSetup());
  draw();
  setInterval(tick, 100);
  for (const kind of ["online", "focus"]) on(window, kind, flush);
  on(document, "visibilitychange", () => !document.hidden && flush());
  on(window, "pageshow", (event) => event.persisted && draw());
  on(window, "storage", (event) => event.key === KEY && draw());
  on(box.querySelector("[name=by]"), "input", (event) => change((state) => { state.by = event.target.value; }));
  flush();
}

begin();
