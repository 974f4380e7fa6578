// Bags for the bank: what the chosen ones hold together is told as they are chosen. The service
// adds them up itself; without this script its links choose all of them, and its page says the sum.

const form = document.querySelector("[data-bank]");
// Whole numbers add up without a rest: an amount has four decimals at most.
const PARTS = 10_000;

if (form) {
  const boxes = [...form.querySelectorAll("input[name=bags]")];
  const number = form.querySelector("[data-number]");
  const sum = form.querySelector("[data-sum]");
  // Nothing, as the service writes it, shows the sign and how many decimals the money has.
  const { nothing } = form.dataset;
  const figures = nothing.match(/[\d.]+/)[0];
  const places = (figures.split(".")[1] ?? "").length;

  const tell = () => {
    const chosen = boxes.filter((box) => box.checked);
    const parts = chosen.reduce((held, box) => held + Math.round(box.dataset.left * PARTS), 0);
    const told = (parts / PARTS).toLocaleString("en-US", {
      minimumFractionDigits: places,
      maximumFractionDigits: places,
    });
    number.textContent = chosen.length;
    sum.textContent = nothing.replace(figures, told);
  };

  form.addEventListener("change", tell);
  for (const link of form.querySelectorAll("[data-choose]")) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      for (const box of boxes) box.checked = link.dataset.choose === "all";
      tell();
    });
  }
  // Coming back with the browser's own button, it has ticked boxes again by itself.
  window.addEventListener("pageshow", tell);
}
