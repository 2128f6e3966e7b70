// The tub page: the number is ready to be typed as soon as its screen opens, kernels are counted by tapping, what is
// said goes through the outbox, and what others say shows.
import { renew, startChanges } from "./changes.js";
import { recall } from "./db.js";
import { fill, hasScreen } from "./fill.js";
import { nameOf, say } from "./notices.js";
import { leave, takeOver } from "./offline_form.js";
import { startTallies } from "./tally.js";
import "./due_bell.js";
import { uuid } from "./uuid.js";
import { startList } from "./waiting_list.js";

const page = document.querySelector(".tub"), form = page.querySelector(".tub-form");

// The number is what one came for: the first that is not preset.
function focusFirst(section) {
  // Where the first thing is a choice, the keyboard would only hide it.
  if (section.querySelector(".kernels, [data-clean]")) return;
  const numbers = [...section.querySelectorAll(".quantity-number")].filter((each) => !each.closest("details"));
  const field = numbers.find((each) => !each.value) ?? numbers[0] ?? section.querySelector("textarea, input[type=text]");
  field?.focus({ preventScroll: true });
}

// Digits take the place of what is preset. The browser sets its caret after the focus, and takes the choice away again.
form.addEventListener("focusin", ({ target }) => {
  target.enterKeyHint = target.matches("textarea") ? "" : "go";
  if (target.matches(".quantity-number")) setTimeout(() => target.select());
});

// Enter, or Go on a phone, keeps the entry that is open.
form.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || event.isComposing || !event.target.matches("input:not([type=file])")) return;
  event.preventDefault();
  [...form.querySelectorAll(".screen .keep button")].find((each) => each.offsetHeight)?.click();
});

// Only from within a tap may the keyboard be opened.
page.addEventListener("click", (event) => {
  const link = event.target.closest("a.tile[href^='#']");
  const section = link && document.getElementById(link.hash.slice(1))?.closest(".screen");
  if (!section) return;
  event.preventDefault();
  location.hash = link.hash;
  window.scrollTo(0, 0);
  focusFirst(section);
});

// What was kept last is corrected here, without a connection too; other kinds on their own page.
document.addEventListener("click", async (event) => {
  const link = event.target.closest(".tub-home a[href$='/correct']");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  const sheet = await recall(`sheet ${form.dataset.subject.split(":")[1]}`).catch(() => null);
  const fact = sheet?.last.find((each) => each.id === link.pathname.split("/")[2]);
  if (fact && hasScreen(fact)) {
    document.querySelector(`#${fact.kind} h2`).dataset.was = link.nextElementSibling?.textContent ?? "";
    await fill(form, fact, { supersedes: fact.id });
  } else location.assign(link.href);
});

// Back from an open question asks for an answer; without one it is not kept.
page.addEventListener("click", (event) => {
  const question = event.target.closest("a.back") && event.target.closest(".screen").querySelector(".is-asked:not(.is-left)");
  if (!question) return;
  event.preventDefault();
  question.classList.add("is-left");
  question.focus();
});

// Whoever leaves a screen has done with what was opened there to be corrected, or asked about.
window.addEventListener("hashchange", () => {
  if ((form.dataset.editing || form.dataset.supersedes) && location.hash !== `#${form.dataset.filled}`) leave(form);
});

async function saved({ row, grave, isSent, isRefused, done, hash }) {
  // Whoever has gone on to something else meanwhile is left there.
  if (!done && hash !== location.hash) return isSent && renew(form).catch(() => null);
  if (isSent && done) sessionStorage.setItem("kept", done);
  if (isSent) return location.assign(`${location.pathname}${done ? "" : `?kept=${row.record.id}#kept`}`);
  if (!done) await leave(form);
  if (isRefused) say(`Not taken: ${nameOf(row)}. See below.`, "caution");
  else say(`Kept on this phone: ${nameOf(row)}. It is judged when it is sent.`, "fine", true, grave);
  location.hash = "kept";
  window.scrollTo(0, 0);
}

// A page that comes back from the browser's own cache must not send an entry under the name of the last one.
window.addEventListener("pageshow", (event) => {
  if (!event.persisted) return;
  form.elements.id.value = uuid();
  delete form.dataset.busy;
  renew(form).catch(() => null);
});
takeOver(form, saved, () => leave(form).then(() => { location.hash = "kept"; }));
document.addEventListener("submit", (event) => {
  const other = event.target;
  if (!/\/(flags|withdraw)$/.test(other.action) || other.dataset.taken) return;
  other.dataset.taken = "yes";
  event.preventDefault();
  takeOver(other, saved);
  other.requestSubmit(event.submitter);
}, true);
startTallies(document);
startList(form);
startChanges(form);
