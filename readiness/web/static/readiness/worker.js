"use strict";
// Keeps copies of the crew's pages and the queue of forms that could not be sent. DEVELOPERS.md tells how it works.
// Only this script writes the queue; pages ask it by message. It asks nobody but the server that it came from.

const PAGES = "pages ";          // a cache for the one sign-in whose pages are kept; its name ends with whose they are
const SHELL = "shell";           // pages that are the same for everybody
const ASSETS = "assets";         // style sheets, scripts and icons of ours
const LEAVING = "leaving";       // is there while the server has not been told of a sign-out
const ANSWERED = "answered";     // the numbers of the last forms that were answered with a page to read
const QUEUE = "/crew/queue/";
const SIGN_OUT = "/sign-out/";
const MARK = "on_device";
const NOT_KEPT = new Set(["csrfmiddlewaretoken", "tablet_pin", MARK]);
const PATIENCE_MS = 6000;        // for a page of which there is a copy
const SEND_PATIENCE_MS = 30000;  // for a form
const MOST_ANSWERED = 200;
const MOST_FURTHER = 12;         // forms of what falls due, kept beside a unit's pages
const SENT_KEPT_MS = 3 * 86400000;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

// -- the queue on the device ------------------------------------------------------------------------------------------

function database() {
  return new Promise((resolve, reject) => {
    const opening = indexedDB.open("foam-readiness", 1);
    opening.onupgradeneeded = () => opening.result.createObjectStore("entries", { keyPath: "id" });
    opening.onsuccess = () => resolve(opening.result);
    opening.onerror = () => reject(opening.error);
  });
}

async function inQueue(mode, work) {
  const db = await database();
  try {
    return await new Promise((resolve, reject) => {
      const deed = db.transaction("entries", mode, { durability: "strict" });
      const asked = work(deed.objectStore("entries"));
      deed.oncomplete = () => resolve(asked && asked.result);
      deed.onerror = deed.onabort = () => reject(deed.error);
    });
  } finally {
    db.close();
  }
}

const put = (entry) => inQueue("readwrite", (store) => store.put(entry));
const drop = (id) => inQueue("readwrite", (store) => store.delete(id));
const one = (id) => inQueue("readonly", (store) => store.get(id));
async function every() {
  const found = await inQueue("readonly", (store) => store.getAll());
  return found.sort((a, b) => a.deviceAt.localeCompare(b.deviceAt));
}

async function changed() {
  for (const page of await self.clients.matchAll({ includeUncontrolled: true })) page.postMessage({ changed: true });
}

// -- sending ----------------------------------------------------------------------------------------------------------

class NoSignal extends Error {}

function within(ms, promise) {
  return Promise.race([promise, new Promise((_, reject) => setTimeout(() => reject(new NoSignal()), ms))]);
}

const isGateway = (response) => [502, 503, 504].includes(response.status);

function send(pin) {
  return navigator.locks.request("send the queue", () => sendAll(pin));
}

async function sendAll(pin) {
  if (!(await hasLeft())) return;
  const now = Date.now();
  const entries = await every();
  for (const entry of entries) {
    if (entry.state === "sent" && now - Date.parse(entry.sentAt) > SENT_KEPT_MS) await drop(entry.id);
  }
  const waiting = entries.filter((entry) => !["sent", "refused"].includes(entry.state));
  for (const entry of waiting) {
    if (entry.state === "PIN" && !(pin && pin.id === entry.id)) continue;
    if (!(await sendOne(entry, entry.address, pin && pin.id === entry.id ? pin : null))) break;
  }
  await changed();
}

async function whoIsHere() {
  const answer = await within(PATIENCE_MS, fetch(`${QUEUE}token/`, { cache: "no-store", redirect: "error" }));
  if (!answer.ok) throw new NoSignal();
  return answer.json();
}

// A sign-out that was pressed without signal reaches the server before anything else does, or there is no signal yet.
async function leave() {
  if (await caches.has(LEAVING)) await navigator.locks.request("leave", tellLeaving);
}

async function tellLeaving() {
  if (!(await caches.has(LEAVING))) return;
  const here = await whoIsHere();
  if (here.whose) {
    const headers = { "X-CSRFToken": here.token };
    const told = fetch(SIGN_OUT, { method: "POST", headers, redirect: "manual", cache: "no-store" });
    if (!isDone(await within(PATIENCE_MS, told))) throw new NoSignal();
  }
  await caches.delete(LEAVING);
}

const hasLeft = () => leave().then(() => true, () => false);

const isDone = (response) => response.ok || response.type === "opaqueredirect";

// Sends one entry; false where nothing further can be sent now.
async function sendOne(entry, address, pin, more = []) {
  let said;
  try {
    const here = await whoIsHere();  // a fresh token before each
    if (!here.whose) return await wait(entry, "sign in", "", false);
    if (here.whose !== entry.whose) return await wait(entry, "somebody else's", "", true);
    const body = new FormData();
    for (const [name, value] of [...entry.fields, ...more]) body.append(name, value);
    if (!body.has("confirm")) body.append("confirm", "yes");
    if (pin) {
      body.set("tablet_person", pin.person);
      body.set("tablet_pin", pin.pin);
    }
    const headers = {
      "Accept": "application/json",
      "X-CSRFToken": here.token,
      "Queued-Entry": entry.id,
      "Queued-For": entry.whose,
      "Queued-At": entry.deviceAt,
      "Queued-Sent-At": new Date().toISOString(),
    };
    const posted = fetch(address, { method: "POST", body, headers, redirect: "manual", cache: "no-store" });
    said = await (await within(SEND_PATIENCE_MS, posted)).json();
  } catch {
    return wait(entry, "waiting", "", false);
  }
  if (said.id !== entry.id) return wait(entry, "waiting", "", false);
  return heard(entry, said);
}

async function wait(entry, state, said, goOn) {
  await put({ ...entry, state, said: said || (state === entry.state ? entry.said : ""), triedAt: new Date().toISOString() });
  return goOn;
}

async function heard(entry, { outcome, said, came_to: cameTo }) {
  if (["posted", "posted before", "held"].includes(outcome)) {
    await put({ ...entry, fields: [], state: "sent", outcome, said, cameTo, sentAt: new Date().toISOString() });
    return true;
  }
  if (outcome === "later") return wait(entry, "waiting", said, false);
  await wait(entry, outcome, said, true);
  return true;
}

self.addEventListener("sync", (event) => event.waitUntil(send()));

// -- what pages ask ---------------------------------------------------------------------------------------------------

const shown = (entry) => ({
  ...entry,
  fields: entry.fields.map(([name, value]) => [name, typeof value === "string" ? value : `file ${value.name}`]),
});

const deeds = {
  list: async () => (await every()).map(shown),
  entry: async ({ id }) => one(id),
  send: async ({ pin }) => send(pin),
  drop: async ({ id }) => drop(id),
  queue: async ({ note, fields, address }) => enqueue(note, fields, address),
  mend: async ({ entry }) => {
    await put({ ...entry, state: "waiting", said: "" });
    await send();
  },
  hand: async ({ id }) => {
    const entry = await one(id);
    const more = [["of", entry.address], ["why", entry.said]];
    await navigator.locks.request("send the queue", () => sendOne(entry, `${QUEUE}hold/`, null, more));
  },
  keep: async ({ pages, assets }) => keepAll(pages, assets),
  left: async () => ({ leaving: await caches.has(LEAVING), nobody: !(await caches.keys()).some((name) => name.startsWith(PAGES)) }),
};

self.addEventListener("message", (event) => {
  const deed = deeds[event.data.deed];
  if (!deed) return;
  event.waitUntil(
    deed(event.data)
      .then((answer) => event.ports[0] && event.ports[0].postMessage({ answer }))
      .catch((wrong) => event.ports[0] && event.ports[0].postMessage({ wrong: String(wrong) }))
      .then(() => (["send", "drop", "mend", "hand"].includes(event.data.deed) ? changed() : null)),
  );
});

// -- pages and assets -------------------------------------------------------------------------------------------------

let lostAt = 0;  // when a page could last not be had: what belongs to it is then taken from the device at once

const keyOf = (address) => address.split("#")[0];

let partings = 0;  // how often all pages were taken away: one that was asked for before comes too late to be kept

async function forget(but) {
  if (!but) partings += 1;
  for (const name of await caches.keys()) {
    if (name.startsWith(PAGES) && name !== but) await caches.delete(name);
  }
}

async function keep(address, response, since) {
  const whose = response.headers.get("Keep-For");
  if (!whose || !response.ok || response.redirected || since !== partings) return;
  if (whose === "nobody") return void (await forget(""));
  if (whose !== "everybody") await forget(PAGES + whose);
  const body = await response.text();
  if (since !== partings) return;
  const headers = new Headers(response.headers);
  headers.set("Kept-At", new Date().toISOString());
  const cache = await caches.open(whose === "everybody" ? SHELL : PAGES + whose);
  await cache.put(keyOf(address), new Response(body, { headers }));
}

async function keptCopy(address) {
  for (const name of await caches.keys()) {
    if (name !== SHELL && !name.startsWith(PAGES)) continue;
    const found = await (await caches.open(name)).match(keyOf(address), { ignoreVary: true });
    if (found) return found;
  }
  return undefined;
}

// The way in leads to the unit whose page is kept.
async function keptUnit() {
  for (const name of await caches.keys()) {
    if (!name.startsWith(PAGES)) continue;
    const found = (await (await caches.open(name)).keys()).map((each) => new URL(each.url).pathname);
    const unit = found.reverse().find((each) => /^\/crew\/\d+\/$/.test(each));
    if (unit) return unit;
  }
  return "";
}

// A copy says of itself that it is one: the page's script then tells how old it is.
async function served(copy) {
  const body = (await copy.text()).replace("<html ", `<html data-kept-at="${copy.headers.get("Kept-At")}" `);
  return new Response(body, { headers: copy.headers });
}

async function keepAll(pages, assets) {
  if (!(await hasLeft())) return;
  const store = await caches.open(ASSETS);
  for (const address of assets) {
    if (await store.match(address)) continue;
    const response = await fetch(address);
    if (response.ok) await store.put(address, response);
  }
  for (const address of pages) await keepOne(address);
  for (const address of await furtherPages(pages.slice(1))) await keepOne(address);
}

async function keepOne(address) {
  const known = await keptCopy(address);
  if (known && Date.now() - Date.parse(known.headers.get("Kept-At")) < 300000) return;
  const since = partings;
  await keep(address, await fetch(address, { headers: { "Keep-Copy": "yes" }, cache: "no-store" }), since);
}

// What the pages that were asked for lead on to, where they say that it is to be kept as well: one step, no further.
async function furtherPages(pages) {
  const found = new Set();
  for (const address of pages) {
    const copy = await keptCopy(address);
    const links = copy ? (await copy.text()).matchAll(/<a [^>]*data-keep[^>]* href="([^"]+)"/g) : [];
    for (const [, href] of links) found.add(new URL(href.replaceAll("&amp;", "&"), address).href);
  }
  return [...found].slice(0, MOST_FURTHER);
}

async function page(event) {
  const { request } = event;
  const copy = await keptCopy(request.url);
  const since = partings;
  try {
    await leave();
    const response = await (copy ? within(PATIENCE_MS, fetch(request)) : fetch(request));
    if (isGateway(response) && copy) throw new NoSignal();
    event.waitUntil(keep(request.url, response.clone(), since));
    return response;
  } catch {
    lostAt = Date.now();
    if (copy) return served(copy);
    const unit = ["/", "/crew/"].includes(new URL(request.url).pathname) && (await keptUnit());
    if (unit) return Response.redirect(unit, 302);
    return toQueue("#not-kept");
  }
}

// The page that says what is the matter, where it is kept.
async function toQueue(what) {
  const shell = await keptCopy(new URL(QUEUE, location).href);
  return shell ? Response.redirect(`${QUEUE}${what}`, 303) : Response.error();
}

async function asset(request) {
  const store = await caches.open(ASSETS);
  const copy = await store.match(request, { ignoreVary: true });
  const patience = Date.now() - lostAt < PATIENCE_MS ? 0 : PATIENCE_MS;
  try {
    const response = await (copy ? within(patience, fetch(request)) : fetch(request));
    if (response.ok) await store.put(request, response.clone());
    return response;
  } catch {
    return copy || Response.error();
  }
}

// -- forms ------------------------------------------------------------------------------------------------------------

async function form(event) {
  const { request } = event;
  const where = new URL(request.url).pathname;
  if (where === SIGN_OUT) return signOut(request);
  if (request.isHistoryNavigation) return anew(request.url);
  if (where.startsWith("/tablet/")) await forget("");  // whoever is signed in here is signed out by it
  const copy = request.clone();
  let response;
  try {
    await leave();
    response = await within(SEND_PATIENCE_MS, fetch(request));
    if (!isGateway(response) && response.headers.get("Keep-Entry") !== "yes") {
      if (response.type !== "opaqueredirect") event.waitUntil(noteAnswered(copy));
      return response;
    }
  } catch {
    response = null;
  }
  return (await queued(copy)) || response || toQueue("#not-sent");
}

// Going back to a page that answered a form asks for the form again, which nobody has sent: it is shown anew instead.
async function anew(address) {
  try {
    return await within(PATIENCE_MS, fetch(address, { cache: "no-store", redirect: "manual" }));
  } catch {
    const copy = await keptCopy(address);
    return copy ? served(copy) : toQueue("#not-kept");
  }
}

const fieldsOf = async (request) => [...(await request.formData().catch(() => new FormData()))];

function noteOf(fields) {
  const mark = fields.find(([name]) => name === MARK);
  return mark ? JSON.parse(mark[1]) : null;
}

// Each sending has a note of its own. One whose answer was shown comes again only as its page is loaded again.
const answeredKey = (note) => `/answered/${note.id}`;

async function noteAnswered(request) {
  const note = noteOf(await fieldsOf(request));
  if (!note) return;
  const store = await caches.open(ANSWERED);
  await store.put(answeredKey(note), new Response(""));
  const keys = await store.keys();
  for (const key of keys.slice(0, Math.max(0, keys.length - MOST_ANSWERED))) await store.delete(key);
}

const wasAnswered = async (note) => Boolean(await (await caches.open(ANSWERED)).match(answeredKey(note)));

// The pages go at once, whatever the server says; what waits in the queue stays for whoever made it.
async function signOut(request) {
  await forget("");
  await caches.open(LEAVING);
  try {
    const response = await within(PATIENCE_MS, fetch(request));
    if (isDone(response)) {
      await caches.delete(LEAVING);
      return response;
    }
    await leave();  // a kept page has an old token
    return Response.redirect("/", 303);
  } catch {
    if (self.registration.sync) await self.registration.sync.register("send the queue").catch(() => null);
    return toQueue("#signed-out");
  }
}

async function queued(request) {
  const fields = await fieldsOf(request);
  const note = noteOf(fields);
  if (!note) return null;
  if (await wasAnswered(note)) return anew(request.url);
  await enqueue(note, fields, new URL(request.url).pathname + new URL(request.url).search);
  return Response.redirect(`${QUEUE}#kept`, 303);
}

async function enqueue(note, given, address) {
  const number = given.find(([name]) => name === "entry_id");
  const id = (number && number[1]) || note.id;  // a button that may be pressed twice has no number of its own
  const fields = given.filter(([name, value]) => !NOT_KEPT.has(name) && !(value instanceof File && !value.size));
  const known = await one(id);
  if (!known || known.state !== "sent") {
    await put({ ...note, id, address, fields, state: "waiting", said: "" });
  }
  if (self.registration.sync) await self.registration.sync.register("send the queue").catch(() => null);
  await changed();
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  if (new URL(request.url).origin !== location.origin) return;
  if (request.mode === "navigate") {
    if (request.method === "GET") event.respondWith(page(event));
    if (request.method === "POST") event.respondWith(form(event));
  } else if (request.method === "GET" && ["style", "script", "image", "manifest"].includes(request.destination)) {
    event.respondWith(asset(request));
  }
});
