"use strict";
// Before a form is queued without signal: refuses what can be seen wrong on the device, by what the page says of its
// fields (data-needed, data-most, the rules of the form), and shows what will be queued. It knows nothing of the book.

const NOT_SEEN = ["not looked at", ""];
const LOOK_MS = 1000;  // a tap that comes sooner was meant for the button that stood there before
const WORST = ["not carried", "fault", "not looked at", "good"];  // of a thing and its parts, the first that is there

const plainText = (node) => {
  const copy = node.cloneNode(true);
  copy.querySelectorAll(".age, .help, .optional, .errorlist").forEach((each) => each.remove());
  return copy.textContent.replace(/\s+/g, " ").trim();
};

function made(tag, words = "", looks = "") {
  const node = document.createElement(tag);
  node.textContent = words;
  if (looks) node.className = looks;
  return node;
}

// -- reading the form -------------------------------------------------------------------------------------------------

const named = (form, name) => [...form.elements].filter((each) => each.name === name || each.name === `${name}_number`);

function valueOf(form, name) {
  const [first, ...others] = named(form, name);
  if (!first) return "";
  if (first.type !== "radio") return first.value.trim();
  const checked = [first, ...others].find((each) => each.checked);
  return checked ? checked.value : "";
}

// The unit that stands behind a number, as it is printed or chosen.
function unitOf(field) {
  const around = field.closest(".quantity");
  const chosen = around && around.querySelector("select");
  const printed = around && around.querySelector(".unit");
  if (chosen) return chosen.selectedOptions[0].textContent;
  return printed ? printed.textContent : "";
}

const reading = (field) => (/[a-z]/i.test(field.value) ? field.value.trim() : `${field.value.trim()} ${unitOf(field)}`.trim());

function nameOf(field) {
  const group = field.type === "radio" && field.closest("fieldset");
  const label = group ? group.querySelector("legend") : field.labels && field.labels[0];
  return label ? plainText(label) : "";
}

const typed = (form) => [...form.elements].filter((each) => each.name && !["hidden", "submit", "button", "fieldset"].includes(each.type)
  && each.tagName !== "FIELDSET" && each.name !== "tablet_pin");

// -- what can be seen wrong -------------------------------------------------------------------------------------------

// As the server says it: it does not guess which of the two a comma is.
function withComma(text) {
  const [number] = text.match(/^[0-9]+,[0-9]+/);
  const right = `write ${number.replace(",", ".")} with a point if that was meant`;
  return `“${text}” was read: a comma stands only between thousands, as in 3,000; ${right}.`;
}

function wrongNumber(field) {
  const text = field.value.trim();
  if (field.inputMode !== "decimal" || !text) return "";
  if (/^[-−–]/.test(text)) return `“${text}” was read: it is never below zero.`;
  if (!/[0-9¼½¾⅛⅜⅝⅞]/.test(text)) return `“${text}” was read, which does not begin with a number.`;
  if (/^[0-9]+,[0-9]+(?![0-9,.])/.test(text) && !/^[0-9]{1,3},[0-9]{3}(?![0-9])/.test(text)) return withComma(text);
  const { most, full, above } = field.dataset;
  if (!most || !/^[0-9]+(\.[0-9]+)?$/.test(text) || Number(text) <= Number(most)) return "";
  const unit = unitOf(field);
  return above.replace("{read}", `${text} ${unit}`).replace("{full}", `${full} ${unit}`);
}

function broken(form, rule) {
  const answer = valueOf(form, rule.of);
  if ((rule.answers || []).includes(answer) === Boolean(rule.otherwise)) return null;
  if ((rule.unless || []).some(([name, value]) => valueOf(form, name) === value)) return null;
  const held = [...(rule.given || []), ...(rule.lacking || [])].find((name) => !NOT_SEEN.includes(valueOf(form, name)));
  if (Boolean(held) !== Boolean(rule.given)) return null;
  const read = held ? reading(named(form, held)[0]) : "";
  return { field: named(form, rule.at)[0], said: rule.sentence.replace("{answer}", answer || "nothing").replace("{read}", read) };
}

// Every fault with its field, in the order of the page; each field once.
function faultsOf(form) {
  const found = [];
  for (const field of typed(form)) {
    if (field.dataset.needed && !valueOf(form, field.name)) found.push({ field, said: field.dataset.needed });
    else if (wrongNumber(field)) found.push({ field, said: wrongNumber(field) });
  }
  for (const rule of JSON.parse(form.dataset.rules || "[]")) found.push(broken(form, rule));
  const seen = new Set();
  const each = found.filter((one) => one && one.field && !seen.has(one.field.name) && seen.add(one.field.name));
  if (!each.length && form.dataset.nothing && !somethingSeen(form)) each.push({ field: null, said: form.dataset.nothing });
  return each;
}

const somethingSeen = (form) => typed(form).some((each) => each.closest("[data-things]")
  && (each.type !== "radio" || each.checked) && !NOT_SEEN.includes(each.value.trim()));

function unsay(form) {
  form.querySelectorAll(".by-device").forEach((each) => each.remove());
  form.querySelectorAll(".wrong-by-device").forEach((each) => each.classList.remove("wrong", "wrong-by-device"));
}

function sayFaults(form, faults) {
  const box = made("div", "", "faults by-device");
  box.setAttribute("role", "alert");
  box.tabIndex = -1;
  const count = faults.length === 1 ? "One thing has" : `${faults.length} things have`;
  const list = made("ul");
  for (const { field, said } of faults) {
    const item = made("li", field ? `: ${said}` : said);
    if (field) item.prepend(pointer(field, said));
    list.append(item);
  }
  box.append(made("h2", `${count} to be put right; nothing was queued`), list);
  form.prepend(box);
  box.focus();
  box.scrollIntoView();
}

// A link to the field, which is marked on the way; what is folded around it is opened.
function pointer(field, said) {
  const around = field.closest("fieldset, .measure, .what-is-wrong, .single, .field") || field.parentElement;
  around.classList.add("wrong", "wrong-by-device");
  const words = made("ul", "", "errorlist by-device");
  words.append(made("li", said));
  const head = around.querySelector("legend, label");
  if (head) (head.closest(".label") || head).after(words);
  for (let fold = field.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
  const link = made("a", nameOf(field));
  link.href = `#${field.id}`;
  return link;
}

// -- what will be queued ----------------------------------------------------------------------------------------------

const worst = (answers) => WORST.find((each) => answers.includes(each)) || "good";

// How many things have which answer: a thing of its own, or one of several alike that share an answer.
function counts(form) {
  const found = new Map(WORST.map((each) => [each, 0]));
  const add = (answer, number) => found.set(answer, found.get(answer) + number);
  for (const section of form.querySelectorAll("[data-things]")) {
    const whole = valueOf(form, section.dataset.of) || "not looked at";
    const apart = [...section.querySelectorAll(".single:not(.part) select")].map((each) => each.value).filter(Boolean);
    const parts = [...section.querySelectorAll(".part select")].map((each) => each.value).filter(Boolean);
    add(parts.length && NOT_SEEN.includes(whole) ? worst(parts) : worst([whole, ...parts]), Number(section.dataset.things) - apart.length);
    apart.forEach((each) => add(each === "opened" ? "good" : each.split(":")[0], 1));
  }
  return found;
}

function countsText(found) {
  const said = ["good", "fault", "not looked at", "not carried"].filter((each) => each !== "not carried" || found.get(each));
  return said.map((each) => `${found.get(each)} ${each === "fault" && found.get(each) !== 1 ? "faults" : each}`).join(", ");
}

// What is said of one field, "" where there is nothing to say or the counts say it.
function told(field) {
  if (field.type === "radio" && (!field.checked || !field.checkVisibility())) return "";
  if (field.type === "file") return field.files.length ? field.files[0].name : "";
  if (NOT_SEEN.includes(field.value.trim())) return "";
  if (field.closest("[data-things]") && field.value === "good") return "";
  if (field.type === "radio") return plainText(field.closest("label"));
  if (field.tagName === "SELECT") return field.closest(".quantity") ? "" : field.selectedOptions[0].textContent;
  return field.inputMode === "decimal" ? reading(field) : field.value.trim().replace(/(\d)T(?=\d)/, "$1 ");
}

function summary(form, why) {
  const shown = made("section", "", "panel look-over");
  const head = made("h2", "Look it over");
  head.tabIndex = -1;
  shown.append(head, made("p", why));
  if (form.dataset.unseen) shown.append(made("p", form.dataset.unseen, "message warning"));
  if (form.querySelector("[data-things]")) {
    shown.append(made("p", countsText(counts(form)), "counts"));
  }
  const list = made("dl");
  for (const field of typed(form)) {
    const said = told(field);
    if (said) list.append(made("dt", nameOf(field)), made("dd", said));
  }
  if (list.children.length) shown.append(list);
  return { shown, head };
}

// Shows what will be queued in place of the form; true once the person says to queue it, false for going back.
function lookOver(form, why) {
  const { shown, head } = summary(form, why);
  return new Promise((resolve) => {
    const leave = (answer) => {
      shown.remove();
      form.hidden = false;
      resolve(answer);
    };
    const queue = made("button", "Queue it", "main huge");
    const back = made("button", "Back", "huge");
    [queue, back].forEach((each) => { each.type = "button"; });
    const since = performance.now();
    queue.addEventListener("click", () => performance.now() - since >= LOOK_MS && leave(true));
    back.addEventListener("click", () => leave(false), { once: true });
    shown.append(queue, back);
    form.after(shown);
    form.hidden = true;
    head.focus();
    shown.scrollIntoView();
  });
}
