"use strict";
// What is typed into a form that may wait on the device stays in this tab until it is sent: going back to it or loading
// it anew shows it whole, where a browser would bring back the taps without the numbers. No PIN and no photo is kept.

const HALF = "half-typed ";
const NOT_HELD = ["tablet_pin", "tablet_person"];

const tab = (() => {
  try {
    return window.sessionStorage;
  } catch {
    return null;  // a browser that lets no page keep anything
  }
})();

const mine = () => `${HALF}${document.body.dataset.whose} `;
const ofPage = () => `${mine()}${location.pathname}${location.search} `;
const keyOfForm = (form) => ofPage() + [...document.querySelectorAll("form[data-queued]")].indexOf(form);
const halfKeys = () => (tab ? Object.keys(tab).filter((key) => key.startsWith(HALF)) : []);
const readHalf = (key) => JSON.parse((tab && tab.getItem(key)) || "null");
const writeHalf = (key, half) => tab.setItem(key, JSON.stringify(half));
const forgetHalf = (form) => tab && tab.removeItem(keyOfForm(form));

const numbersOf = (within) => [...within.querySelectorAll('input[name="entry_id"]')].map((each) => each.value);

// The printed units of a form: where they differ since, its numbers would mean something else.
const unitsOf = (form) => [...form.querySelectorAll('input[type="hidden"][name$="_unit"]')]
  .map((each) => `${each.name} ${each.value}`).join();

function keepHalf(form, isSent) {
  const names = new Set(typed(form).map((each) => each.name).filter((name) => !NOT_HELD.includes(name)));
  const fields = [...new FormData(form)].filter(([name, value]) => names.has(name) && typeof value === "string");
  const photo = typed(form).some((each) => each.type === "file" && each.files.length);
  writeHalf(keyOfForm(form), { number: numbersOf(form)[0], units: unitsOf(form), fields, photo, isSent });
}

// What was sent is entered or queued, unless the page that answers carries its number still, or says that it is not.
// What somebody else typed goes as well.
function forgetSent() {
  const numbers = numbersOf(document);
  const isLost = ["#not-sent", "#not-kept"].includes(location.hash);
  const isEverybodys = document.getElementById("queue") && location.hash !== "#signed-out";  // it knows nobody
  for (const key of halfKeys()) {
    const half = readHalf(key);
    const isOpen = !half.isSent || isLost || numbers.includes(half.number);
    if ((isEverybodys || key.startsWith(mine())) && isOpen) writeHalf(key, { ...half, isSent: false });
    else tab.removeItem(key);
  }
}

function bringBack(form, half) {
  fillIn(form, half.fields);
  for (const fold of form.querySelectorAll("details")) {
    fold.open ||= [...fold.querySelectorAll('input:not([type="radio"], [type="hidden"]), textarea')].some((each) => each.value);
  }
  if (half.photo) form.prepend(made("p", "Choose the photo again: a browser does not hold it.", "message warning"));
}

// A form that is neither come back to nor loaded anew begins empty.
function holdTyped(form) {
  form.autocomplete = "off";  // the browser brings nothing back of its own
  if (!tab || !typed(form).length) return;
  const half = readHalf(keyOfForm(form));
  const isAgain = ["back_forward", "reload"].includes(performance.getEntriesByType("navigation")[0].type);
  if (half && isAgain && half.units === unitsOf(form)) bringBack(form, half);
  else if (half && half.number !== numbersOf(form)[0]) forgetHalf(form);
  for (const what of ["input", "change"]) form.addEventListener(what, () => keepHalf(form, false));
}

// Whatever leaves a page by a button: a form, what it will do, or the PIN to it.
document.addEventListener("submit", ({ target, defaultPrevented }) => {
  if (defaultPrevented || !tab) return;
  if (target.matches("[data-queued]") && typed(target).length) keepHalf(target, true);
  for (const key of halfKeys().filter((each) => each.startsWith(ofPage()))) writeHalf(key, { ...readHalf(key), isSent: true });
});
