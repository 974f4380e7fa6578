// The board of a day: dragging a stop over the lanes fills in the form below them. Nothing is
// changed by it; the form shows what the change costs, and a second button accepts.
// Pointer events serve mouse, pen and finger alike; keys use the form itself.

const FAR = 5; // pixels before a press becomes a drag

const board = document.querySelector("[data-board]");
const form = document.querySelector("#move");
const drawing = board?.querySelector("svg.lanes");

const point = (event) => {
  const at = drawing.createSVGPoint();
  at.x = event.clientX;
  at.y = event.clientY;
  return at.matrixTransform(drawing.getScreenCTM().inverse());
};
const middle = (box) => {
  const found = box.getBBox();
  return { x: found.x + found.width / 2, y: found.y + found.height / 2 };
};
const stops = (run) =>
  [...drawing.querySelectorAll(`[data-stop][data-run="${run}"]`)].sort((a, b) => middle(a).x - middle(b).x);

// The lane nearest in height, and the last of its stops that lies before the place.
const target = (at, moved) => {
  const lanes = [...drawing.querySelectorAll("[data-lane]")];
  const away = (lane) => Math.abs(middle(lane).y - at.y);
  const lane = lanes.reduce((best, one) => (away(one) < away(best) ? one : best));
  const run = lane.dataset.lane;
  const behind = stops(run).filter((one) => one !== moved && middle(one).x < at.x).at(-1);
  return { run, behind: behind?.dataset.stop ?? "0", lane };
};

if (form && drawing) {
  let held = null;

  const mark = document.createElementNS("http://www.w3.org/2000/svg", "path");
  mark.setAttribute("class", "drop-mark");
  drawing.append(mark);

  const letGo = () => {
    held?.box.removeAttribute("transform");
    held?.box.classList.remove("held");
    mark.removeAttribute("d");
    held = null;
  };

  drawing.addEventListener("pointerdown", (event) => {
    const box = event.target.closest("[data-movable=yes]");
    if (!box || event.button !== 0) return;
    held = { box, from: point(event), moved: false, pointer: event.pointerId };
    box.setPointerCapture(event.pointerId);
    event.preventDefault();
  });

  // A finger on a box drags it and does not scroll the lanes.
  drawing.addEventListener(
    "touchstart",
    (event) => {
      if (event.target.closest("[data-movable=yes]")) event.preventDefault();
    },
    { passive: false },
  );

  drawing.addEventListener("pointermove", (event) => {
    if (!held || event.pointerId !== held.pointer) return;
    const at = point(event);
    const [right, down] = [at.x - held.from.x, at.y - held.from.y];
    held.moved ||= Math.hypot(right, down) > FAR;
    if (!held.moved) return;
    held.box.classList.add("held");
    held.box.setAttribute("transform", `translate(${right} ${down})`);
    const { lane } = target(at, held.box);
    const found = lane.getBBox();
    mark.setAttribute("d", `M${at.x},${found.y - 4}V${found.y + found.height + 4}`);
  });

  drawing.addEventListener("pointerup", (event) => {
    if (!held || event.pointerId !== held.pointer) return;
    const { box, moved } = held;
    const to = target(point(event), box);
    letGo();
    form.elements.stop.value = box.dataset.stop;
    if (!moved) {
      form.elements.to.focus();
      return;
    }
    form.elements.to.value = `${to.run}-${to.behind}`;
    form.requestSubmit();
  });

  drawing.addEventListener("pointercancel", letGo);
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") letGo();
  });
}

// What a change would do is read out, and shown where it is seen.
document.addEventListener("htmx:afterSwap", (event) => {
  if (event.target.id === "change") event.target.scrollIntoView({ block: "nearest" });
});
