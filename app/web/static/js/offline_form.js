// Takes over the forms of entries: what is said goes into the outbox first, and from there to the house at once where
// it can be reached. Where the outbox can't be had, the form is sent as without script.
import { recall } from "./db.js";
import { grave } from "./grave.js";
import { ask, button, clear, nameOf, say, showErrors } from "./notices.js";
import { add, amend, answered, askOf, discard, HOLD_MS, list, release, releaseUnasked } from "./outbox.js";
import { readPlain } from "./plain_entry.js";
import { readForm } from "./record.js";
import { slip, stageNow } from "./slip.js";
import { flush } from "./sync.js";
import { uuid } from "./uuid.js";

const SOON_MS = 5000;

// saved(entry): what the page does once an entry was kept; entry.isSent, entry.isRefused. dropped(): once it was not meant.
export function takeOver(form, saved, dropped = null) {
  form.addEventListener("submit", (event) => {
    const pressed = event.submitter;
    if (form.dataset.plain) return;
    event.preventDefault();
    if (form.dataset.busy) return;
    form.dataset.busy = "yes";
    const { hash } = location;
    for (const old of document.querySelectorAll("[aria-label='What it means'], #kept .notice--fine")) old.remove(); // of the entry before
    const isWhole = form.matches(".tub-form, .screen-form");
    (isWhole ? readWhole : readPlain)(form, pressed)
      .then((entry) => entry && keep(entry))
      .catch(() => {
        form.dataset.plain = "yes";
        // Within the event that is still being told about, the browser takes no other.
        setTimeout(() => form.requestSubmit(pressed));
      })
      .then((entry) => entry && goOn({ ...entry, saved, dropped, hash }))
      .finally(() => { delete form.dataset.busy; });
  });
}

async function readWhole(form, pressed) {
  const isTub = form.matches(".tub-form");
  const kind = isTub ? pressed.value : form.dataset.kind;
  const prefix = isTub ? `${kind}-` : "", place = isTub ? pressed.closest(".screen") : form;
  const word = form.dataset.word ?? place.querySelector("h2").textContent;
  clear(place);
  const known = await recall(`sheet ${form.dataset.subject.split(":")[1]}`), sheet = prefix && known;
  const { record, shown, errors } = readForm(form, kind, prefix, await recall("offset_s"), sheet?.needs.includes(kind));
  if (errors) return refuse(form, pressed, place, errors);
  const supersedes = form.dataset.supersedes ?? form.elements.supersedes_id?.value;
  if (supersedes) record.supersedes_id = supersedes;
  return { form, place, prefix, sheet, grave: grave(record, known), row: { record: { id: uuid(), ...record }, word, shown } };
}

async function keep(entry) {
  const { form, row } = entry, files = [...(form.elements.photo?.files ?? [])], photos = [];
  if (files.length) {
    const { shrunk } = await import("./photo_shrink.js");
    for (const file of files) photos.push(await shrunk(file));
  }
  row.record.id = form.dataset.editing
    ? await amend(form.dataset.editing, row, photos, HOLD_MS)
    : (await add(row, photos, HOLD_MS), row.record.id);
  // Pressed once more the same entry is meant, until the form is cleared.
  form.dataset.editing = row.record.id;
  if (files.length) form.elements.photo.value = "";
  return entry;
}

async function goOn(entry) {
  const { sheet, row: { record, word } } = entry;
  const question = sheet && slip(record, word, sheet, stageNow(sheet, await list(), record.subject.id));
  return question ? askBack(entry, [question]) : send(entry, !entry.done);
}

async function askBack(entry, questions) {
  const isHeld = await askOf(entry.row.record.id, questions);
  if (isHeld) say(`Not kept yet, it waits for your answer: ${nameOf(entry.row)}`, "caution", true, entry.grave);
  ask(entry.place, questions, async (changes, words) => {
    const row = entry.row = answered(entry.row, changes, words);
    clear(entry.place);
    row.record.id = await amend(row.record.id, row, [], HOLD_MS);
    await send(entry, false);
  }, async () => {
    await discard(entry.row.record.id);
    delete entry.form.dataset.editing;
    clear(entry.place);
    entry.dropped?.();
    say(`Dropped, not kept: ${nameOf(entry.row)}`, "none");
  });
}

async function send(entry, mayAsk) {
  const { form, row, place, prefix } = entry;
  say(`Kept on this phone: ${nameOf(row)}`, "fine", true, entry.grave);
  const answers = await Promise.race([flush(row.record.id, mayAsk), new Promise((done) => setTimeout(done, SOON_MS))]);
  const answer = answers?.get(row.record.id);
  if (answer?.questions) return askBack(entry, answer.questions);
  const isWrong = answer?.status === 422 && !answer.current;
  if (isWrong) say(`Not kept yet: ${nameOf(row)}`, "caution", true, entry.grave);
  if (isWrong) return showErrors(place, Object.entries(answer.errors).map(([name, message]) => [fieldOf(form, prefix, name), message]));
  await release(row.record.id);
  if (form.dataset.editing === row.record.id) delete form.dataset.editing;
  return entry.saved({ ...entry, meant: answer?.meaning, isSent: answer?.status < 300, isRefused: answer?.status >= 400 });
}

function fieldOf(form, prefix, name) {
  const field = form.elements[`${prefix}${name}`] ?? form.elements[name];
  return field instanceof Element ? field : null;
}

// A time that came twice that night is asked for here.
function refuse(form, pressed, place, errors) {
  const choose = (fold, text) => button(text, () => { form.dataset.fold = fold; form.requestSubmit(pressed); });
  const isTwice = errors.some((each) => each[2] === "fold");
  showErrors(place, errors, isTwice ? [choose("first", "The first time"), choose("second", "The second time")] : []);
}

// The form is left: what it held is no longer being written.
export async function leave(form) {
  const { editing } = form.dataset;
  for (const name of ["editing", "supersedes", "exact", "fold", "filled", "busy"]) delete form.dataset[name];
  form.reset();
  for (const count of form.querySelectorAll(".kernels input")) count.dispatchEvent(new Event("input"));
  if (editing) await releaseUnasked(editing);
}
