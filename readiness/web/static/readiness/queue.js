"use strict";
// On every page of a signed-in person, and on the page of the queue: marks forms that may wait on the device, says how
// old a kept page is, and shows and sends what waits. The queue itself is worker.js's alone.

const body = document.body;
const keptAt = document.documentElement.dataset.keptAt || "";
const MARK = "on_device";
const EVERY_MS = 30000;
const SIGNAL_MS = 3000;  // for the server to say that it is there, before a form is taken to have no signal

const can = "serviceWorker" in navigator && window.isSecureContext;

async function worker() {
  const found = await navigator.serviceWorker.ready;
  return found.active;
}

async function ask(deed, more = {}) {
  const to = await worker();
  return new Promise((resolve, reject) => {
    const line = new MessageChannel();
    line.port1.onmessage = ({ data }) => (data.wrong ? reject(new Error(data.wrong)) : resolve(data.answer));
    to.postMessage({ deed, ...more }, [line.port2]);
  });
}

// A time-ordered id (UUID version 7, RFC 9562), as the server mints them.
function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  const at = Date.now();
  for (let n = 0; n < 6; n += 1) bytes[n] = Math.floor(at / 2 ** (8 * (5 - n))) % 256;
  bytes[6] = (bytes[6] & 0x0f) | 0x70;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((each) => each.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

function clock(text) {
  const at = new Date(text);
  const two = (n) => String(n).padStart(2, "0");
  const time = `${two(at.getHours())}:${two(at.getMinutes())}`;
  const isToday = at.toDateString() === new Date().toDateString();
  return isToday ? time : `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())} ${time}`;
}

function age(text) {
  const minutes = Math.floor((Date.now() - Date.parse(text)) / 60000);
  if (minutes < 1) return "just now";
  if (minutes < 120) return `${minutes} min`;
  return minutes < 48 * 60 ? `${Math.floor(minutes / 60)} h` : `${Math.floor(minutes / 1440)} days`;
}

const entries = (count) => (count === 1 ? "1 entry" : `${count} entries`);

// -- forms ------------------------------------------------------------------------------------------------------------

// At a shared tablet: who says to make the entry, until the PIN is seen.
function whoSays(form) {
  const chosen = form.querySelector('select[name="tablet_person"]');
  const said = chosen && chosen.value ? chosen.selectedOptions[0].textContent : "";
  return said ? `${said}, at ${body.dataset.who}` : body.dataset.who;
}

function noteOf(form) {
  return {
    id: newId(),
    label: form.dataset.queued,
    whose: body.dataset.whose,
    who: whoSays(form),
    deviceAt: new Date().toISOString(),
  };
}

function marked(form, note) {
  let field = form.querySelector(`input[name="${MARK}"]`);
  if (!field) {
    field = document.createElement("input");
    field.type = "hidden";
    field.name = MARK;
    form.append(field);
  }
  field.value = JSON.stringify(note);
}

function prepare(form) {
  const id = form.querySelector('input[name="entry_id"]');
  if (keptAt && id) id.value = newId();  // the same copy may be filled in twice
  if (!mends) holdTyped(form);
  form.addEventListener("submit", (event) => {
    form.querySelectorAll(`input[name="${MARK}"]`).forEach((each) => each.remove());
    const isEntry = !(event.submitter && event.submitter.dataset.needsSignal);
    if (isEntry) marked(form, noteOf(form));
    if (mends || goesAhead.delete(form) || !mayWait(form, isEntry)) return;
    event.preventDefault();
    if (!asking.has(form)) void askSignal(form, event.submitter, isEntry);
  });
}

const asking = new WeakSet();     // forms whose signal is being looked for: a second tap changes nothing
const goesAhead = new WeakSet();  // forms that may be sent as they are
const mends = location.hash.startsWith("#mend=");

// A form is looked over where there is a queue to put it in and something was typed or chosen.
const mayWait = (form, isEntry) => can && navigator.serviceWorker.controller && (typed(form).length > 0 || !isEntry);

async function askSignal(form, submitter, isEntry) {
  asking.add(form);
  unsay(form);
  const here = navigator.onLine ? await whoIsHere(SIGNAL_MS) : null;
  try {
    if (here && here.whose === body.dataset.whose) {
      goesAhead.add(form);
      form.requestSubmit(submitter);
    } else if (isEntry) {
      await queueAfterLook(form, submitter, here);
    } else if (here) {
      location.assign(body.dataset.queue);
    } else {
      sayFaults(form, [{ field: null, said: submitter.dataset.needsSignal }]);
    }
  } finally {
    asking.delete(form);
  }
}

async function queueAfterLook(form, submitter, here) {
  const faults = faultsOf(form);
  if (faults.length) return void sayFaults(form, faults);
  const why = here
    ? "The sign-in is over. This will wait on the device until you sign in again:"
    : "No signal. This will wait on the device and is sent when there is signal:";
  const note = noteOf(form);
  if (!(await lookOver(form, why))) return void (submitter && submitter.focus());
  const fields = [...new FormData(form, submitter)];
  await ask("queue", { note, fields, address: new URL(form.action).pathname + new URL(form.action).search });
  forgetHalf(form);
  location.assign(`${body.dataset.queue}#kept`);
}

function fillIn(form, fields) {
  const left = fields.filter(([, value]) => typeof value === "string");
  for (const field of form.elements) {
    if (!field.name || ["csrfmiddlewaretoken", MARK].includes(field.name) || field.type === "file") continue;
    const values = left.filter(([name]) => name === field.name).map(([, value]) => value);
    if (["radio", "checkbox"].includes(field.type)) field.checked = values.includes(field.value);
    else if (values.length) field.value = values[0];
  }
}

async function mend(id) {
  const form = document.querySelector("form[data-queued]");
  const entry = form && (await ask("entry", { id }));
  if (!entry || entry.whose !== body.dataset.whose) return;
  fillIn(form, entry.fields);
  form.querySelectorAll("details").forEach((each) => { each.open = true; });
  const said = document.createElement("p");
  said.className = "message warning";
  said.textContent = `This entry waits on the device since ${clock(entry.deviceAt)}. ${entry.said} Mend it and send it again.`;
  form.before(said);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const typed = [...new FormData(form, event.submitter)];
    const isKept = ([name, value]) => name !== "csrfmiddlewaretoken" && name !== MARK && name !== "tablet_pin"
      && !(value instanceof File && !value.size);
    const files = entry.fields.filter(([name, value]) => value instanceof File && !typed.some(([other, file]) => other === name && file.size));
    await ask("mend", { entry: { ...entry, fields: [...typed.filter(isKept), ...files] } });
    location.assign(body.dataset.queue);
  });
}

// -- what waits -------------------------------------------------------------------------------------------------------

const SAID = {
  "waiting": "waits for signal",
  "sign in": "waits until somebody signs in",
  "somebody else's": "waits",
  "PIN": "waits for a PIN",
  "refused": "not entered",
  "sent": "sent",
};
const SHAPES = { "waiting": "◔", "sign in": "◔", "somebody else's": "◔", "PIN": "◔", "refused": "✕", "sent": "✓" };

const isOpen = (entry) => entry.state !== "sent";

function indicate(found) {
  const place = document.getElementById("queue-state");
  if (!place || document.getElementById("queue")) return;
  const open = found.filter(isOpen);
  place.hidden = open.length === 0;
  const after = body.dataset.whose ? "" : ": kept, and sent after the next sign-in of whoever made it";
  if (open.length) place.textContent = `${entries(open.length)} on this device not sent, oldest ${age(open[0].deviceAt)}${after}`;
}

function sentence(entry, here) {
  if (entry.state === "sent") {
    if (entry.outcome === "held") return `Handed to the company officer ${clock(entry.sentAt)}.`;
    const again = entry.outcome === "posted before" ? " It had arrived before; it was entered once." : "";
    return `Sent ${clock(entry.sentAt)}.${again}`;
  }
  if (entry.state === "refused" || entry.state === "PIN") return entry.said;
  const whose = here && here.whose && here.whose !== entry.whose;
  if (whose && here.who === entry.who) return "It is of another of your departments and waits until you go over to that one.";
  if (whose) return `${here.who} is signed in. It is ${entry.who}’s and waits until ${entry.who} signs in.`;
  if (here && !here.whose) return `${entry.who} has to sign in again; then it is sent.`;
  return entry.said || "It is sent as soon as the server can be reached.";
}

function button(words, deed, grave) {
  const made = document.createElement("button");
  made.type = "button";
  made.textContent = words;
  if (grave) made.className = "grave";
  made.addEventListener("click", deed);
  return made;
}

function pinForm(entry, here) {
  const form = document.getElementById("pin-form").content.firstElementChild.cloneNode(true);
  const [who, pin] = [form.querySelector("select"), form.querySelector("input")];
  who.id += entry.id;
  pin.id += entry.id;
  form.querySelectorAll("label").forEach((label) => { label.htmlFor += entry.id; });
  const claimed = (entry.fields.find(([name]) => name === "tablet_person") || ["", ""])[1];
  for (const [key, words] of here.people || []) who.append(new Option(words, key, false, key === claimed));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    await ask("send", { pin: { id: entry.id, person: who.value, pin: pin.value } });
  });
  return form;
}

const NOBODY = { whose: "", who: "" };

function drawn(entry, here) {
  const item = document.createElement("li");
  item.className = `panel queue-${entry.state === "refused" ? "refused" : isOpen(entry) ? "waiting" : "sent"}`;
  const head = document.createElement("h3");
  head.textContent = `${SHAPES[entry.state]} ${entry.label}: ${SAID[entry.state]}`;
  const of = document.createElement("p");
  of.className = "age";
  of.textContent = `typed ${clock(entry.deviceAt)} on this device’s clock, as ${entry.who}`;
  const said = document.createElement("p");
  said.textContent = sentence(entry, here);
  item.append(head, of, said);
  if (entry.cameTo) {
    const tools = made("p", "", "tools");
    const link = made("a", "See what came of it", "button");
    link.href = entry.cameTo;
    tools.append(link);
    item.append(tools);
  }
  const isMine = here && here.whose === entry.whose;
  if (entry.state === "PIN" && isMine) item.append(pinForm(entry, here));
  if (isOpen(entry) && (isMine || !here)) {
    const tools = document.createElement("p");
    tools.className = "tools";
    if (entry.state === "refused") {
      const open = document.createElement("a");
      open.className = "button main";
      open.href = `${entry.address}#mend=${entry.id}`;
      open.textContent = "Open it and mend it";
      tools.append(open);
    }
    if (isMine && ["refused", "PIN"].includes(entry.state)) {
      tools.append(button("Hand it to the company officer", () => ask("hand", { id: entry.id })));
    }
    tools.append(button("Throw it away", () => {
      if (tools.dataset.sure) return void ask("drop", { id: entry.id });
      tools.dataset.sure = "yes";
      tools.lastElementChild.textContent = "Yes, throw it away for good";
      return undefined;
    }, true));
    item.append(tools);
  }
  return item;
}

async function whoIsHere(patience = 6000) {
  try {
    const answer = await fetch(body.dataset.token, { cache: "no-store", signal: AbortSignal.timeout(patience) });
    return answer.ok ? await answer.json() : null;
  } catch {
    return null;
  }
}

async function show() {
  const found = await ask("list");
  indicate(found);
  const place = document.getElementById("queue");
  if (!place) return;
  const left = await ask("left");
  if (!place.dataset.drawn) draw(found, undefined, left);  // at once: whether the server answers may take seconds to know
  draw(found, await whoIsHere(), left);
}

// here: whoever is signed in, null where the server cannot be reached, undefined while that is not known yet.
// left: what the worker says of a sign-out; whose entries they are to decide about is then known to nobody.
function draw(found, here, left) {
  const who = left.leaving || (!here && left.nobody) ? NOBODY : here;
  const place = document.getElementById("queue");
  place.dataset.drawn = "yes";
  const [open, sent] = [found.filter(isOpen), found.filter((entry) => !isOpen(entry)).reverse()];
  const state = document.getElementById("queue-says");
  const unknown = here === undefined ? "Asking whether the server can be reached." : "No signal: the server cannot be reached.";
  const signal = here ? "The server can be reached." : unknown;
  const oldest = open.length ? `${entries(open.length)} not sent, oldest ${age(open[0].deviceAt)}.` : "Nothing waits on this device.";
  const signIn = here && !here.whose && open.length ? " Nobody is signed in: sign in, then it is sent." : "";
  state.textContent = `${signal} ${oldest}${signIn}`;
  for (const what of ["not-kept", "not-sent", "signed-out"]) {
    document.getElementById(`queue-${what}`).hidden = here !== null || location.hash !== `#${what}`;
  }
  document.getElementById("send-now").hidden = open.length === 0;
  document.getElementById("queue-sign-in").hidden = !(here && !here.whose);
  place.replaceChildren(...open.map((entry) => drawn(entry, who)));
  document.getElementById("sent").replaceChildren(...sent.map((entry) => drawn(entry, who)));
  document.getElementById("queue-part").hidden = open.length === 0;
  document.getElementById("sent-part").hidden = sent.length === 0;
}

// -- the page ---------------------------------------------------------------------------------------------------------

function sayHowOld() {
  const place = document.getElementById("kept-note");
  if (!keptAt || !place || document.getElementById("queue")) return;
  place.textContent = `No signal. This page is as of ${clock(keptAt)}. What you enter is kept on this device and sent when there is signal.`;
  place.hidden = false;
}

function toKeep() {
  const pages = [...document.querySelectorAll("a[data-keep]")].map((each) => each.href);
  const looks = [...document.querySelectorAll("link[rel=stylesheet], link[rel=icon], link[rel=manifest]")].map((each) => each.href);
  const parts = [...document.querySelectorAll("script[src], img[src]")].map((each) => each.src);
  const assets = [...looks, ...parts].filter((each) => each.startsWith(location.origin));
  return { pages: [location.href, ...pages, new URL(body.dataset.queue, location).href], assets };
}

// A page that comes back out of the browser's own memory after its person has signed out.
window.addEventListener("pageshow", async (event) => {
  if (!event.persisted || !body.dataset.whose || !can || !navigator.serviceWorker.controller) return;
  const left = await ask("left");
  if (left.leaving || left.nobody) location.replace(`${body.dataset.queue}#signed-out`);
});

async function start() {
  forgetSent();
  document.querySelectorAll("form[data-queued]").forEach(prepare);
  const lacking = document.getElementById("queue-cannot");
  if (!can) {
    if (lacking) lacking.hidden = false;
    return;
  }
  const isCrews = document.querySelector("[data-crew-page]") !== null;
  const isThere = Boolean(await navigator.serviceWorker.getRegistration());
  if (!isCrews && !isThere) return;
  const registering = isCrews && navigator.serviceWorker.register("/sw.js", { updateViaCache: "none" });
  if (isThere) Promise.resolve(registering).catch(() => null);  // it would wait for a server that does not answer
  else await registering;
  navigator.serviceWorker.addEventListener("message", ({ data }) => data.changed && show());
  sayHowOld();
  if (location.hash.startsWith("#mend=")) await mend(location.hash.slice(6));
  await show();
  const send = () => ask("send");
  const tryAgain = async () => {
    const waits = (await ask("list")).some((entry) => ["waiting", "sign in", "somebody else's"].includes(entry.state));
    if (waits || (await ask("left")).leaving) await send();
  };
  window.addEventListener("online", tryAgain);
  window.addEventListener("focus", tryAgain);
  setInterval(tryAgain, EVERY_MS);
  const now = document.getElementById("send-now");
  if (now) now.addEventListener("click", async () => { await send(); await show(); });
  if (isCrews && !keptAt) await ask("keep", toKeep());
  await tryAgain();
}

start().catch((wrong) => console.error(String(wrong)));
