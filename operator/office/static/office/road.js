// A driver's pages on a bad signal. What is typed is kept in the browser at once; an act that is
// sent waits in a queue until the service has answered it, in order, and counts from when it was
// done. Each has a key of its own, so that sent twice it counts once. Without this script the same
// forms post as they are.

const root = document.querySelector("[data-road-person]");
const QUEUE = `road-queue-${root.dataset.roadPerson}`;
const DRAFTS = `road-drafts-${root.dataset.roadPerson}`;
const CHOSEN = `road-photos-${root.dataset.roadPerson}`;
const AGAIN_MS = 15000;
const OLD_MS = 60000;

const stored = (name, empty) => JSON.parse(localStorage.getItem(name)) ?? empty;
const store = (name, value) => localStorage.setItem(name, JSON.stringify(value));
const queue = () => stored(QUEUE, []);
const clock = (iso) => new Date(iso).toLocaleTimeString([], {hour: "2-digit", minute: "2-digit", hourCycle: "h23"});

function change(key, item) {
  const items = queue();
  const at = items.findIndex((one) => one.key === key);
  if (at < 0) return;
  if (item) items[at] = item;
  else items.splice(at, 1);
  store(QUEUE, items);
}

function newKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

function token() {
  const part = document.cookie.split("; ").find((one) => one.startsWith("csrftoken="));
  return part ? part.slice("csrftoken=".length) : "";
}

// What is typed

const formsOfRoad = () => root.querySelectorAll("form[data-road]");
const typedIn = (form) => [...form.elements].filter((one) => one.name && !["hidden", "submit", "file"].includes(one.type));
const picturesOf = (form) => [...form.elements].filter((one) => one.type === "file");
const path = (form) => new URL(form.action).pathname;

function keepDraft(form) {
  const drafts = stored(DRAFTS, {});
  drafts[path(form)] = typedIn(form).map((one) => [one.name, one.type === "checkbox" ? one.checked : one.value]);
  store(DRAFTS, drafts);
}

function dropDraft(address) {
  const drafts = stored(DRAFTS, {});
  delete drafts[address];
  store(DRAFTS, drafts);
}

function bringDrafts() {
  const drafts = stored(DRAFTS, {});
  for (const form of formsOfRoad()) {
    for (const [name, value] of drafts[path(form)] ?? []) {
      const input = form.elements[name];
      if (!input || input instanceof RadioNodeList) continue;
      const stood = input.type === "checkbox" ? input.checked : input.value;
      if (stood === value) continue;
      if (input.type === "checkbox") input.checked = value;
      else input.value = value;
      input.closest("details")?.toggleAttribute("open", true);
    }
  }
  // A suggestion was for what is on its way already.
  const sent = queue().filter((one) => !one.refused).map((one) => one.url);
  for (const form of formsOfRoad()) {
    if (!sent.includes(path(form)) || drafts[path(form)]) continue;
    for (const input of typedIn(form)) if (input.inputMode === "numeric") input.value = "";
  }
}

// Pictures chosen, each kept under a key of its own until it is sent or taken away

const chosenFor = (form) => stored(CHOSEN, {})[path(form)] ?? [];
let keeping = Promise.resolve();

function choose(address, photos) {
  const all = stored(CHOSEN, {});
  if (photos.length) all[address] = photos;
  else delete all[address];
  store(CHOSEN, all);
}

async function keepChosen(input) {
  const form = input.form;
  const files = [...input.files];
  input.value = "";
  let lost = 0;
  for (const file of files) {
    const small = await smaller(file);
    const photo = {key: newKey(), field: input.name, name: small === file ? file.name : file.name.replace(/\.\w+$/, "") + ".jpg"};
    try {
      await keepPhoto(photo.key, small);
      choose(path(form), [...chosenFor(form), photo]);
    } catch {
      lost += 1;
    }
  }
  showChosen(form);
  if (!lost) return;
  const list = input.parentElement.querySelector("[data-road-photos]");
  list.hidden = false;
  list.append(line("This browser has no room to keep a picture. Send what waits first, and choose it again."));
}

function showChosen(form) {
  for (const input of picturesOf(form)) {
    let list = input.parentElement.querySelector("[data-road-photos]");
    if (!list) {
      list = document.createElement("ul");
      list.className = "reasons";
      list.dataset.roadPhotos = "";
      input.after(list);
    }
    const photos = chosenFor(form).filter((one) => one.field === input.name);
    list.hidden = photos.length === 0;
    list.replaceChildren(...photos.map((photo) => line(`${photo.name} is kept `, button(`Take ${photo.name} away`, () => {
      choose(path(form), chosenFor(form).filter((one) => one.key !== photo.key));
      dropPhoto(photo.key);
      showChosen(form);
    }))));
  }
}

// The queue

// What an input is called, without the hint that stands under it.
function labelOf(input) {
  const label = input.labels?.[0]?.cloneNode(true);
  label?.querySelectorAll("small").forEach((one) => one.remove());
  return label?.textContent.trim().replace(/\s+/g, " ") || input.name;
}

// What a person sees of a value: the words of a choice, not its key.
function shownAs(input, value) {
  if (input?.tagName === "SELECT") return input.selectedOptions[0]?.textContent.trim() ?? value;
  return input?.type === "checkbox" ? "yes" : value;
}

function take(form) {
  const now = new Date().toISOString();
  const fields = [...new FormData(form)].filter(([name, value]) => !(value instanceof File) && !["csrfmiddlewaretoken", "key", "at", "sent_at"].includes(name));
  const photos = chosenFor(form);
  // What stands as it stood is nothing to read again.
  const touched = typedIn(form).filter((one) => one.type !== "checkbox" || one.checked !== one.defaultChecked);
  const labels = Object.fromEntries(touched.map((one) => [one.name, labelOf(one)]));
  const typed = fields.filter(([name, value]) => value && labels[name]).map(([name, value]) => `${labels[name]}: ${shownAs(form.elements[name], value)}`);
  if (photos.length) typed.push(photos.length === 1 ? "1 picture" : `${photos.length} pictures`);
  store(QUEUE, [...queue(), {
    key: newKey(), url: path(form), page: location.pathname, after: form.closest("section")?.nextElementSibling?.id ?? "", at: now, said: form.dataset.road, next: form.dataset.roadNext ?? "", fields, photos, typed,
  }]);
  dropDraft(path(form));
  choose(path(form), []);
  showChosen(form);
  // Pressed again it would be done again: what is typed next is one more.
  for (const input of typedIn(form)) {
    if (input.type === "checkbox") input.checked = input.defaultChecked;
    else if (input.tagName === "INPUT" || input.tagName === "TEXTAREA") input.value = "";
  }
}

async function ask(item) {
  const body = item.photos?.length ? await withPhotos(item) : new URLSearchParams(item.fields);
  body.set("key", item.key);
  body.set("at", item.at);
  body.set("sent_at", new Date().toISOString());
  return fetch(item.url, {
    method: "POST", body, credentials: "same-origin", headers: {Accept: "application/json", "X-CSRFToken": token()},
  });
}

async function withPhotos(item) {
  const body = new FormData();
  for (const [name, value] of item.fields) body.append(name, value);
  for (const photo of item.photos) {
    const blob = await keptPhoto(photo.key);
    // A browser that was short of room may have let it go; the words are still worth sending.
    if (blob) body.append(photo.field, blob, photo.name);
  }
  return body;
}

const dropPhotos = (item) => Promise.allSettled((item.photos ?? []).map((photo) => dropPhoto(photo.key)));

let trouble = "";
let answered = null;

async function sendAll() {
  trouble = "";
  for (const item of queue().filter((one) => !one.refused)) {
    let response;
    try {
      response = await ask(item);
    } catch {
      trouble = "No signal. It is sent by itself when there is one.";
      break;
    }
    if (response.redirected || response.status === 401 || response.status === 403) {
      trouble = "sign-in";
      break;
    }
    if (response.status >= 500 || response.status === 429) {
      trouble = "The service cannot answer now. It is tried again.";
      break;
    }
    if (response.ok) {
      change(item.key, null);
      await dropPhotos(item);
      answered = item;
    } else {
      const said = await response.json().then((one) => one.said, () => null);
      change(item.key, {...item, refused: said ?? [`It was refused (${response.status}); load the page anew.`]});
    }
    show();
  }
  show();
  goOn();
}

let sending = false;
async function send() {
  if (sending) return;
  sending = true;
  try {
    // Of two pages open at once one sends, and the other then what is left.
    if (navigator.locks) await navigator.locks.request("road-send", sendAll);
    else await sendAll();
  } finally {
    sending = false;
  }
}

// Shows how things stand after what was sent from this page; what is typed elsewhere on it is kept.
function goOn() {
  if (!answered || queue().some((one) => !one.refused)) return;
  const last = answered;
  answered = null;
  if (last.page !== location.pathname || queue().some((one) => one.page === last.page)) return;
  if (last.next) {
    location.assign(last.next);
    return;
  }
  // On with what comes next at the machine, not from the top of a page that may be long.
  history.replaceState(null, "", last.after ? `#${last.after}` : location.pathname);
  location.reload();
}

// What the page shows of it

function line(words, ...more) {
  const item = document.createElement("li");
  item.append(words, ...more);
  return item;
}

function button(words, act) {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "plain";
  made.textContent = words;
  made.addEventListener("click", act);
  return made;
}

function small(words) {
  const made = document.createElement("small");
  made.textContent = words;
  return made;
}

function show() {
  const items = queue();
  const waiting = items.filter((one) => !one.refused);
  const refused = items.filter((one) => one.refused);
  const box = root.querySelector("[data-road-queue]");
  box.hidden = waiting.length === 0;
  box.querySelector("[data-road-count]").textContent = waiting.length === 1 ? "1 thing waits to be sent" : `${waiting.length} things wait to be sent`;
  box.querySelector("[data-road-waiting]").replaceChildren(...waiting.map((one) => line(`${one.said}, ${clock(one.at)}`, small(one.typed.join("; ")))));
  box.querySelector("[data-road-trouble]")?.remove();
  if (trouble) box.append(troubleSaid());
  for (const form of formsOfRoad()) {
    form.querySelector("[data-road-kept]")?.remove();
    const last = waiting.findLast((one) => one.url === path(form));
    if (last) form.append(keptSaid(last));
  }
  const answers = root.querySelector("[data-road-answers]");
  answers.hidden = refused.length === 0;
  answers.querySelector("[data-road-refused]").replaceChildren(...refused.map(refusal));
}

function keptSaid(item) {
  const said = document.createElement("p");
  said.dataset.roadKept = "";
  said.className = "said";
  said.textContent = `Kept at ${clock(item.at)}; it waits to be sent. What you send now is one more.`;
  return said;
}

function troubleSaid() {
  const said = document.createElement("p");
  said.dataset.roadTrouble = "";
  said.className = "quiet";
  if (trouble !== "sign-in") said.textContent = trouble;
  else {
    const link = document.createElement("a");
    link.href = location.pathname;
    link.textContent = "Sign in again";
    said.append(link, "; nothing is lost, and what waits is sent then.");
  }
  return said;
}

function refusal(item) {
  const why = document.createElement("b");
  why.textContent = item.refused.join(" ");
  const mend = button("Mend it", () => {
    const drafts = stored(DRAFTS, {});
    drafts[item.url] = item.fields;
    store(DRAFTS, drafts);
    choose(item.url, item.photos ?? []);
    change(item.key, null);
    if (item.page === location.pathname) location.reload();
    else location.assign(item.page);
  });
  const drop = button("Drop it", () => {
    if (!confirm(`Drop “${item.said}” of ${clock(item.at)} for good?`)) return;
    change(item.key, null);
    dropPhotos(item);
    show();
  });
  const acts = document.createElement("span");
  acts.className = "acts";
  acts.append(mend, drop);
  return line(`${item.said}, ${clock(item.at)}: `, why, small(item.typed.join("; ")), acts);
}

// Pages that are kept for when there is no signal

async function keepPages() {
  if (!navigator.serviceWorker || !window.caches) return;
  await navigator.serviceWorker.register(root.dataset.roadWorker, {scope: root.dataset.roadScope});
  const kept = await caches.open("road");
  const parts = [...document.querySelectorAll("script[src], link[rel=stylesheet], link[rel=icon]")].map((one) => one.src || one.href);
  const pages = [location.href, ...[...root.querySelectorAll("a[data-road-keep]")].map((one) => one.href)];
  for (const address of [...new Set([...parts, ...pages])]) {
    const response = await fetch(address);
    if (!response.ok || response.redirected) continue;
    // Whole before it is put: a copy that breaks off would take the place of the one before it.
    const {status, headers} = response;
    await kept.put(address.split("#")[0], new Response(await response.blob(), {status, headers}));
  }
}

root.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.matches("form[data-road]") || event.submitter?.name === "add") return;
  event.preventDefault();
  event.stopPropagation();
  // A picture that is still being made small belongs to what is sent.
  keeping.then(() => {
    take(form);
    show();
    root.querySelector("[data-road-queue]").scrollIntoView({block: "nearest"});
    send();
  });
});
root.addEventListener("change", (event) => {
  const form = event.target.closest("form[data-road]");
  if (form && event.target.type === "file") keeping = keeping.then(() => keepChosen(event.target));
});
root.addEventListener("input", (event) => {
  const form = event.target.closest("form[data-road]");
  if (form) keepDraft(form);
});
root.querySelector("[data-road-send]").addEventListener("click", send);
window.addEventListener("online", send);
setInterval(() => queue().some((one) => !one.refused) && send(), AGAIN_MS);

const made = root.querySelector("[data-road-made]");
if (Date.now() - Date.parse(made.dataset.roadMade) > OLD_MS) made.hidden = false;
bringDrafts();
formsOfRoad().forEach(showChosen);
show();
send();
// After a reload the browser goes back to where it was, not to where the address points.
history.scrollRestoration = "manual";
document.getElementById(location.hash.slice(1))?.scrollIntoView();
keepPages().catch(() => {});
