// The tub page: the number is ready to be typed as soon as its screen opens, and kernels are counted by tapping.
import { startTallies } from "./tally.js";

const page = document.querySelector(".tub");

function focusFirst(section) {
  const field = section.querySelector(".quantity-number, textarea, input[type=text]:not([inputmode=numeric])");
  if (field && !section.querySelector(".kernels")) field.focus({ preventScroll: true });
}

// A tap that opens a screen may also open the keyboard, but only from within the tap itself.
page?.addEventListener("click", (event) => {
  const link = event.target.closest("a.tile[href^='#']");
  const section = link && document.getElementById(link.hash.slice(1))?.closest(".screen");
  if (!section) return;
  event.preventDefault();
  location.hash = link.hash;
  window.scrollTo(0, 0);
  focusFirst(section);
});

// A form that was sent twice by an impatient thumb is sent once.
page?.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.dataset.sent) event.preventDefault();
  form.dataset.sent = "yes";
});

// A page that comes back from the browser's own cache would send its entries under their old names.
window.addEventListener("pageshow", (event) => {
  if (event.persisted) location.reload();
});

startTallies(document);
