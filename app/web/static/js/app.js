// On every page: opens without a connection next time, sends what waits, and says what was kept before this page.
import { button, make, say } from "./notices.js";
import { start } from "./outbox_badge.js";

// The answer to a form stands in the history as a page, not as a form to be sent again: so Back leads somewhere.
const { ownAddress } = document.body.dataset;
if (ownAddress) history.replaceState(history.state, "", ownAddress);

const [saying, grave] = ["kept", "grave"].map((key) => sessionStorage.getItem(key));
if (saying) {
  for (const key of ["kept", "grave"]) sessionStorage.removeItem(key);
  say(saying, "fine", false, JSON.parse(grave));
}
if ("indexedDB" in window) start();

// One tap for a look at which nothing is amiss: every question that stands open, answered so. Each stays to be changed.
for (const first of document.querySelectorAll(":not([data-clean]) + [data-clean]")) {
  const all = () => {
    for (const asked of first.parentElement.querySelectorAll("[data-clean]")) {
      asked.querySelector(`[value="${asked.dataset.clean}"]`).checked = true;
    }
  };
  first.before(make("p", { className: "buttons" }, button("All of this is clean", all)));
}
navigator.serviceWorker?.register("/sw.js").catch(() => { /* Not here: plain http, or switched off. */ });
