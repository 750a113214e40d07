// What a page does beyond plain forms: live answers, drafts, the offline mark, keys, light and dark.
// Every page is complete without it. Nothing here decides or computes; the server does.
"use strict";

// --- small parts ------------------------------------------------------------------------------

const PAUSE_MS = 150; // after the last key, before the answers are asked for (our choice)
const RETRY_MS = 5000; // between two tries to send what waits (our choice)
const PING_MS = 3000; // a network that answers no sooner counts as none (our choice)
const FETCHED = { "X-Requested-With": "fetch" };

const make = (tag, text, known) => Object.assign(document.createElement(tag), { textContent: text }, known);
const DRAFTS = `draft:${document.body.dataset.person}:`; // nobody on a shared tablet sends what another one typed
const draftKey = (form) => DRAFTS + form.dataset.draft;

// Private windows may keep nothing: then there are no drafts, and the rest goes on.
const readStore = (key) => { try { return JSON.parse(localStorage.getItem(key)); } catch { return null; } };
const writeStore = (key, value) => { try { localStorage.setItem(key, JSON.stringify(value)); } catch { /* none kept */ } };
const dropStore = (key) => { try { localStorage.removeItem(key); } catch { /* as above */ } };

const bar = make("p", "", { className: "bar", hidden: true });
bar.setAttribute("role", "status");
document.body.prepend(bar);
const tell = (text) => { bar.textContent = text; bar.hidden = !text; };

async function reachable() {
  if (!navigator.onLine) return false;
  try {
    await fetch("/sent/ping", { headers: FETCHED, cache: "no-store", signal: AbortSignal.timeout(PING_MS) });
    return true;
  } catch { return false; }
}

// --- live answers -----------------------------------------------------------------------------

function liveAnswers(box) {
  let timer = 0, running = null;
  const vehicle = box.form && box.form.elements.namedItem("vehicle");
  const places = ["understood-live", "answers"].map((id) => document.getElementById(id)).filter(Boolean);
  const before = places.map((place) => place.innerHTML);
  if (!places.length) return;

  async function ask() {
    if (running) running.abort();
    if (!box.value.trim()) { places.forEach((place, at) => { place.innerHTML = before[at]; }); return; }
    running = new AbortController();
    const url = new URL(box.dataset.live, location.href);
    url.searchParams.set(box.name === "q" ? "q" : "text", box.value);
    if (vehicle && vehicle.value) url.searchParams.set("vehicle", vehicle.value);
    places.forEach((place) => place.setAttribute("aria-busy", "true"));
    try {
      const answer = await fetch(url, { headers: FETCHED, signal: running.signal });
      if (answer.status === 401) { tell("You are signed out. What you typed is kept on this device; sign in, then send it."); return; }
      if (answer.ok || answer.status === 400) swap(await answer.text());
    } catch (error) {
      if (error.name === "AbortError") return; // a newer question is on its way
      showConnection(false);
    }
    places.forEach((place) => place.removeAttribute("aria-busy"));
  }

  function swap(text) {
    const fresh = new DOMParser().parseFromString(text, "text/html");
    places.forEach((place) => {
      const found = fresh.getElementById(place.id);
      if (found) place.replaceChildren(...found.childNodes);
    });
  }

  const later = () => { clearTimeout(timer); timer = setTimeout(ask, PAUSE_MS); };
  box.addEventListener("input", later);
  if (vehicle) vehicle.addEventListener("input", later);
}

// --- drafts: what is typed stays on this device until the shop has it ----------------------------

const KEPT = "input:not([type=hidden]):not([type=password]):not([type=file]), textarea, select";

function readFields(form) {
  const fields = [];
  for (const field of form.querySelectorAll(KEPT)) {
    if (!field.name || field.disabled) continue;
    if ((field.type === "radio" || field.type === "checkbox") && !field.checked) continue;
    fields.push([field.name, field.value]);
  }
  return fields;
}

function fillFields(form, fields) {
  const typed = new Map();
  fields.forEach(([name, value]) => typed.set(name, [...(typed.get(name) || []), value]));
  for (const field of form.querySelectorAll(KEPT)) {
    const values = typed.get(field.name);
    if (field.type === "radio" || field.type === "checkbox") field.checked = Boolean(values && values.includes(field.value));
    else if (values) field.value = values.shift() ?? field.value;
  }
  form.querySelectorAll("details").forEach((part) => {
    if ([...part.querySelectorAll(KEPT)].some((field) => field.value && field.type !== "radio")) part.open = true;
  });
}

function mark(form, text) {
  let note = form.querySelector(".unsent");
  if (!note) {
    note = make("p", "", { className: "unsent" });
    note.setAttribute("role", "status");
    form.append(note);
  }
  note.textContent = text;
  note.hidden = !text;
}

function watchDraft(form) {
  const key = draftKey(form), id = form.elements.namedItem("form_id");
  const untouched = JSON.stringify(readFields(form));
  const refused = Boolean(form.querySelector("[aria-invalid=true]"));
  const kept = readStore(key);

  if (kept && !refused && JSON.stringify(kept.fields) !== untouched) {
    fillFields(form, kept.fields);
    // Under its own number: if the first sending arrived after all, this one makes no second record.
    if (id && kept.formId) id.value = kept.formId;
    mark(form, "Not sent yet: typed on this device earlier.");
    const live = form.querySelector("[data-live]");
    if (live) live.dispatchEvent(new Event("input", { bubbles: true }));
  }
  form.addEventListener("input", () => {
    const fields = readFields(form);
    if (JSON.stringify(fields) === untouched) { dropStore(key); mark(form, ""); return; }
    const before = readStore(key) || {};
    writeStore(key, { ...before, fields, formId: id && id.value, queued: null });
    mark(form, "Not sent yet: kept on this device.");
  });
  form.addEventListener("submit", (event) => holdWhileOffline(form, event));
}

async function holdWhileOffline(form, event) {
  if (form.dataset.passed) return;
  event.preventDefault();
  const submitter = event.submitter, id = form.elements.namedItem("form_id");
  const draft = { fields: readFields(form), formId: id && id.value, queued: null };
  if (form.dataset.draft) writeStore(draftKey(form), draft);
  if (await reachable()) {
    form.dataset.passed = "yes";
    form.requestSubmit(submitter);
    return;
  }
  if (!form.dataset.draft) { // photos stay chosen on the page; they are not written down here
    mark(form, "Not sent: no connection. Send it again when the connection is back.");
    return;
  }
  const extra = submitter && submitter.name ? [[submitter.name, submitter.value]] : [];
  const hidden = [...form.querySelectorAll("input[type=hidden]")].map((field) => [field.name, field.value]);
  const action = submitter && submitter.hasAttribute("formaction") ? submitter.formAction : form.getAttribute("action"); // a button may be named "action"
  writeStore(draftKey(form), { ...draft, queued: { action, pairs: [...hidden, ...draft.fields, ...extra] } });
  mark(form, "Not sent: no connection. It is sent once, by itself, when the connection is back.");
  showConnection(false);
}

// --- what waits is asked after, then sent once --------------------------------------------------

function drafts() {
  const found = [];
  try {
    for (let at = 0; at < localStorage.length; at += 1) {
      const key = localStorage.key(at);
      if (key.startsWith(DRAFTS)) found.push([key, readStore(key)]);
    }
  } catch { /* no store, no drafts */ }
  return found.filter(([, draft]) => draft);
}

// The server knows which forms it took: only those may be forgotten here.
async function forgetTaken() {
  for (const [key, draft] of drafts()) {
    if (!/^[0-9a-f]{32}$/.test(draft.formId || "")) continue;
    try {
      const answer = await fetch("/sent/" + draft.formId, { headers: FETCHED, cache: "no-store" });
      if (answer.status === 204) dropStore(key);
    } catch { return false; }
  }
  return true;
}

async function sendWaiting() {
  for (const [key, draft] of drafts()) {
    if (!draft.queued) continue;
    const body = new URLSearchParams(draft.queued.pairs);
    let answer;
    try {
      answer = await fetch(draft.queued.action, { method: "POST", body, headers: FETCHED });
    } catch { showConnection(false); return; }
    if (answer.ok && answer.redirected) {
      dropStore(key);
      const form = [...document.querySelectorAll("form[data-draft]")].find((one) => draftKey(one) === key);
      tell("Sent: what you typed without a connection has arrived.");
      if (form) location.assign(answer.url);
    } else {
      writeStore(key, { ...draft, queued: null });
      tell(answer.status === 401 ? "You are signed out. What you typed is kept on this device; sign in, then send it."
        : "What you typed without a connection was not taken. It is kept; open its page and send it again.");
    }
  }
}

let offline = false;
function showConnection(there) {
  if (there === !offline) return;
  offline = !there;
  tell(there ? "" : "No connection. Go on typing: it is kept on this device, marked as not sent.");
}

async function lookAround() {
  const waiting = offline || !navigator.onLine || drafts().some(([, draft]) => draft.queued);
  if (!waiting) return;
  if (!(await reachable())) { showConnection(false); return; }
  showConnection(true);
  if (await forgetTaken()) await sendWaiting();
}

// --- keys at the desk, and light or dark ---------------------------------------------------------

const KEYS = [
  ["/", "find", () => focusOn("#q") || focusOn("[data-find]") || location.assign("/find")],
  ["t", "today", () => location.assign("/")],
  ["n", "a new job", () => focusOn("[data-draft=today] textarea") || location.assign("/#text")],
  ["a", "add to this job", () => focusOn("[data-draft^=job-] textarea")],
  ["c", "close this job", () => follow("a[data-key=c]")],
  ["k", "the week", () => location.assign("/week")],
  ["w", "words", () => location.assign("/words")],
  ["?", "these keys", () => keyList().showModal()],
];

function focusOn(selector) {
  const field = document.querySelector(selector);
  if (field) { field.focus(); field.scrollIntoView({ block: "nearest" }); }
  return field;
}

function follow(selector) {
  const link = document.querySelector(selector);
  if (link) location.assign(link.href);
}

function keyList() {
  const known = document.getElementById("keys");
  if (known) return known;
  const list = make("dialog", "", { id: "keys" }), title = make("h2", "Keys", { id: "keys-title" });
  list.setAttribute("aria-labelledby", "keys-title");
  const rows = make("dl", "", { className: "keys" });
  KEYS.forEach(([key, does]) => rows.append(make("dt", key), make("dd", does)));
  const label = make("label", "", { className: "choice" }), choice = make("input", "", { type: "checkbox" });
  choice.checked = readStore("keys") !== "off";
  choice.addEventListener("change", () => writeStore("keys", choice.checked ? "on" : "off"));
  label.append(choice, "Keys work");
  const shut = make("button", "Done", { type: "button" });
  shut.addEventListener("click", () => list.close());
  list.append(title, rows, label, shut);
  document.body.append(list);
  return list;
}

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
  if (event.target.closest("input, textarea, select, dialog, [contenteditable]")?.checkVisibility()) return; // a closed list keeps the focus for a moment
  const found = KEYS.find(([key]) => key === event.key);
  if (!found || (readStore("keys") === "off" && event.key !== "?")) return;
  event.preventDefault();
  found[2]();
});

function themeButton() {
  const dark = () => (document.documentElement.dataset.theme || (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light")) === "dark";
  const words = () => (dark() ? "Light page" : "Dark page");
  const button = make("button", words(), { type: "button", className: "quiet" });
  button.addEventListener("click", () => {
    document.documentElement.dataset.theme = dark() ? "light" : "dark";
    writeStore("theme", document.documentElement.dataset.theme);
    button.textContent = words();
  });
  const keys = make("button", "Keys", { type: "button", className: "quiet" });
  keys.addEventListener("click", () => keyList().showModal());
  const foot = document.querySelector("footer");
  if (foot) foot.append(button, keys);
}

// --- begin ---------------------------------------------------------------------------------------
const theme = readStore("theme");
if (theme === "dark" || theme === "light") document.documentElement.dataset.theme = theme;
themeButton();
document.querySelectorAll("[data-live]").forEach(liveAnswers);
document.querySelectorAll("form[enctype]").forEach((form) => form.addEventListener("submit", (event) => holdWhileOffline(form, event)));
forgetTaken().then(() => {
  document.querySelectorAll("form[data-draft]").forEach(watchDraft);
  lookAround();
});
addEventListener("online", lookAround);
addEventListener("offline", () => showConnection(false));
setInterval(lookAround, RETRY_MS);
