// The dispatcher's board. Choosing a ticket shows what it would mean for each driver; a drag over
// the drivers does the same and then presses the button that keys use. What others do is asked for
// every few seconds. No rule stands here: the page is made by the service each time.

const POLL_S = 4;
const ANEW_S = 60; // the words that count down are made anew so often
const FAR = 6; // pixels before a press becomes a drag

const board = () => document.querySelector("#board");
const card = (key) => document.querySelector(`.ticket[data-ticket="${key}"]`);
const address = (key) => `${board().dataset.here}${key ? `&ticket=${key}` : ""}`;

// Choosing

const mark = (key) => {
  for (const one of document.querySelectorAll(".pick[aria-current]")) one.removeAttribute("aria-current");
  card(key)?.querySelector(".pick").setAttribute("aria-current", "true");
  board().dataset.chosen = key ?? "";
  board().classList.toggle("has-chosen", Boolean(key));
};

// A part of the page made anew; whoever asks again before it is there takes back the first question.
let asked = null;

const anew = async (id, key, first) => {
  asked?.abort();
  const mine = new AbortController();
  asked = mine;
  try {
    const headers = { "HX-Request": "true", "HX-Target": id };
    const answer = await fetch(address(key), { headers, signal: mine.signal });
    if (!answer.ok || answer.redirected) {
      window.location.reload(); // signed out meanwhile, or a fault: the whole page says it
      return false;
    }
    const made = document.createElement("template");
    made.innerHTML = await answer.text();
    if (asked !== mine) return false;
    first?.(); // at the last moment, so that nothing done meanwhile is lost
    document.getElementById(id).replaceWith(made.content);
    htmx.process(document.getElementById(id));
    return true;
  } catch {
    return false; // taken back, or without a signal: the board stands as it was shown
  } finally {
    if (asked === mine) asked = null;
  }
};

// Only the drivers' side is made anew, so that the list keeps its place.
const choose = async (key, { focus = true } = {}) => {
  mark(key);
  // What was offered for another ticket must not be pressed for this one.
  document.querySelector("#chosen")?.remove();
  for (const one of document.querySelectorAll(".price, .would")) one.remove();
  document.querySelector("#lanes").setAttribute("aria-busy", "true");
  history.replaceState(null, "", address(key));
  if (!(await anew("lanes", key)) || !focus || !key) return;
  document.querySelector("#chosen")?.focus();
  document.querySelector("#chosen")?.scrollIntoView({ block: "nearest" });
};

// What a form sends wins over what is only looked at.
document.addEventListener("htmx:beforeRequest", () => asked?.abort());

const letBe = (event) => {
  event?.preventDefault();
  const key = board().dataset.chosen;
  if (!key) return;
  choose("");
  document.querySelector(`#t-${key}`)?.focus();
};

document.addEventListener("click", (event) => {
  if (event.target.closest("#let-be")) letBe(event);
  const pick = event.target.closest("#board .pick");
  if (!pick || event.metaKey || event.ctrlKey || event.shiftKey) return;
  event.preventDefault();
  if (Date.now() - draggedAt < 300) return; // the click that ends a drag chooses nothing
  choose(pick.closest("[data-ticket]").dataset.ticket);
});

document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && !held && !document.querySelector(".group[open]")) letBe();
  const pick = document.activeElement?.closest(".free .pick");
  if (!pick || !["ArrowDown", "ArrowUp"].includes(event.key)) return;
  const all = [...document.querySelectorAll(".free .pick")];
  const next = all[all.indexOf(pick) + (event.key === "ArrowDown" ? 1 : -1)];
  if (!next) return;
  event.preventDefault();
  next.focus();
});

// Dragging, with mouse, pen or finger

let held = null;
let draggedAt = 0;

const under = (event) => document.elementFromPoint(event.clientX, event.clientY)?.closest("[data-lane]");

const letGo = () => {
  held?.shape?.remove();
  document.body.classList.remove("lifting");
  for (const one of document.querySelectorAll(".over")) one.classList.remove("over");
  held = null;
};

const lift = (event) => {
  held.shape = held.card.cloneNode(true);
  held.shape.classList.add("lifted");
  held.shape.setAttribute("aria-hidden", "true");
  document.body.append(held.shape);
  document.body.classList.add("lifting");
  held.known = choose(held.key, { focus: false });
  event.preventDefault();
};

document.addEventListener("pointerdown", (event) => {
  const found = event.target.closest(".can-give .ticket");
  if (!found || event.button !== 0) return;
  held = { card: found, key: found.dataset.ticket, x: event.clientX, y: event.clientY, pointer: event.pointerId };
});

document.addEventListener("pointermove", (event) => {
  if (!held || event.pointerId !== held.pointer) return;
  if (!held.shape && Math.hypot(event.clientX - held.x, event.clientY - held.y) > FAR) lift(event);
  if (!held.shape) return;
  held.shape.style.left = `${event.clientX - 24}px`;
  held.shape.style.top = `${event.clientY - 18}px`;
  const lane = under(event);
  for (const one of document.querySelectorAll(".over")) if (one !== lane) one.classList.remove("over");
  lane?.classList.add("over");
});

document.addEventListener("pointerup", async (event) => {
  if (!held || event.pointerId !== held.pointer) return;
  const { shape, known } = held;
  const lane = shape && under(event)?.dataset.lane;
  letGo();
  if (!shape) return;
  draggedAt = Date.now();
  await known;
  if (lane) document.querySelector(`#chosen form[data-for="${lane}"]`)?.requestSubmit();
});

document.addEventListener("pointercancel", letGo);
document.addEventListener("dragstart", (event) => {
  if (event.target.closest?.("#board .pick")) event.preventDefault();
});
document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && held) letGo();
});

// A board that is made anew keeps what was open and typed, where the list stood, and where the keys were.

const places = () =>
  new Map([...document.querySelectorAll(".ticket[data-ticket]")].map((one) => [one.dataset.ticket, one.closest("[data-lane]")?.dataset.lane]));

const keep = () => ({
  top: document.querySelector(".free").scrollTop,
  focus: document.activeElement?.id,
  index: [...document.querySelectorAll(".free .pick")].indexOf(document.querySelector(`#t-${board().dataset.chosen}`)),
  open: [...document.querySelectorAll("#board details[open][id]")].map((one) => one.id),
  typed: [...document.querySelectorAll("#board .views input[id]")].map((one) => [one.id, one.value]),
  places: places(),
});

const putBack = ({ top, focus, index, open, typed, places: before }, gave) => {
  document.querySelector(".free").scrollTop = top;
  for (const id of open) document.getElementById(id)?.setAttribute("open", "");
  for (const [id, value] of typed) if (document.getElementById(id)) document.getElementById(id).value = value;
  for (const [key, lane] of places()) {
    if (before.has(key) && before.get(key) !== lane) card(key).classList.add("moved");
  }
  if (!gave) {
    if (focus) document.getElementById(focus)?.focus({ preventScroll: true });
    return;
  }
  history.replaceState(null, "", address(board().dataset.chosen));
  const left = document.querySelectorAll(".free .pick");
  const chosen = document.querySelector("#chosen");
  (chosen ?? left[Math.min(Math.max(index, 0), left.length - 1)])?.focus({ preventScroll: !chosen });
};

let kept = null;

document.addEventListener("htmx:beforeSwap", (event) => {
  if (event.detail.target.id === "board") kept = { ...keep(), gave: event.detail.requestConfig.verb === "post" };
});

document.addEventListener("htmx:afterSettle", () => {
  if (!kept || !board()) return;
  putBack(kept, kept.gave);
  kept = null;
});

// What others do

let shownAt = Date.now();

const isBusy = () => {
  const at = document.activeElement;
  return held || asked || document.querySelector(".htmx-request, #board form[data-sent]") || at?.matches("#board input:not([type=hidden]), #board select, #board textarea");
};

const refresh = async () => {
  shownAt = Date.now();
  let before;
  const first = () => (before = keep());
  if (await anew("board", board().dataset.chosen, first)) putBack(before, false);
};

const look = async () => {
  if (document.hidden || !board() || isBusy()) return;
  const { poll, last, digest } = board().dataset;
  let found;
  try {
    const answer = await fetch(`${poll}&since=${last}`, { headers: { Accept: "application/json" } });
    if (!answer.ok) return;
    found = await answer.json();
  } catch {
    return; // without a signal the board stands as it was shown
  }
  if (found.told.length) {
    const at = new Date().toTimeString().slice(0, 5);
    document.querySelector("#told").textContent = `${at} ${found.told.join(" · ")}`;
    board().dataset.last = found.last;
  }
  if (found.digest !== digest || Date.now() - shownAt > ANEW_S * 1000) if (!isBusy()) await refresh();
};

if (board()) setInterval(look, POLL_S * 1000);
