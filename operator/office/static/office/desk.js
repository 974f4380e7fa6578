// Small manners of the desk; every page works without them.

// A second press on the same button sends nothing: the first is still on its way.
document.addEventListener("submit", (event) => {
  const form = event.target;
  const question = event.submitter?.dataset.confirm ?? form.dataset.confirm;
  if (form.dataset.sent || (question && !window.confirm(question))) {
    event.preventDefault();
    return;
  }
  // A driver's pages that were kept for a bad signal are not for whoever has the phone next.
  if (form.matches("[data-signs-out]")) window.caches?.delete("road");
  if (form.method === "post") {
    form.dataset.sent = "yes";
    for (const button of form.querySelectorAll("button")) button.setAttribute("aria-disabled", "true");
  }
});

// Coming back with the browser's own button shows the page as it was: the form may be sent again.
window.addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-sent]")) {
    delete form.dataset.sent;
    for (const button of form.querySelectorAll("button")) button.removeAttribute("aria-disabled");
  }
});

document.addEventListener("click", (event) => {
  if (event.target.closest("[data-print]")) window.print();
  // A heading of the bar closes when the page under it is used.
  for (const group of document.querySelectorAll(".group[open]")) {
    if (!group.contains(event.target)) group.open = false;
  }
});

document.addEventListener("keydown", (event) => {
  const group = event.key === "Escape" && document.querySelector(".group[open]");
  if (!group) return;
  group.open = false;
  group.querySelector("summary").focus();
});

// What comes back refused, with messages beside its fields or what changed meanwhile, is shown.
document.addEventListener("htmx:beforeSwap", (event) => {
  if ([409, 422].includes(event.detail.xhr.status)) {
    event.detail.shouldSwap = true;
    event.detail.isError = false;
  }
});

document.addEventListener("htmx:configRequest", (event) => {
  const token = document.cookie.split("; ").find((part) => part.startsWith("csrftoken="));
  if (token) event.detail.headers["X-CSRFToken"] = token.slice("csrftoken=".length);
});
