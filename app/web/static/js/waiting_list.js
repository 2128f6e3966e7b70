// The entries of this batch that wait on this phone, laid over the page; what the house wouldn't take, and why.
import { fill, hasScreen } from "./fill.js";
import { localText } from "./house_time.js";
import { asking, button, make, nameOf, say } from "./notices.js";
import { again, amend, answered, discard, isAsked, list, outbox, photoGone, photoNow, pictures, strike } from "./outbox.js";
import { send } from "./outbox_badge.js";
import { plainRecord } from "./plain_entry.js";
import { uuid } from "./uuid.js";

const sheet = make("section", { className: "sheet only-at-rest outbox-list", hidden: true });

export function startList(form) {
  form.closest(".tub").before(sheet);
  outbox.addEventListener("change", () => show(form));
  show(form);
}

async function show(form) {
  const [all, photos] = await Promise.all([list(), pictures()]);
  const rows = all.filter((row) => `batch:${row.record.subject.id}` === form.dataset.subject);
  const alone = photos.filter((photo) => !all.some((row) => row.id === photo.fact_id));
  const items = [...rows.map((row) => item(form, row, rows, photos)), ...alone.map(photoItem)];
  sheet.hidden = !items.length;
  // What the house has, and was struck out or said anew here, is shown so before it hears of it.
  for (const link of document.querySelectorAll(".tub-home a[href^='/facts/'][href$='/correct']")) {
    link.closest("span")?.classList.toggle("struck", rows.some((row) => row.record.supersedes_id === link.pathname.split("/")[2]));
  }
  const note = make("p", { className: "soft", textContent: rows.some(isAsked) ? "What is asked about is not kept yet." : "Kept on this phone; judged when sent." });
  sheet.replaceChildren(make("h2", { textContent: "Waiting to be sent" }), note, make("ul", { className: "plain" }, ...items));
}

function item(form, row, rows, photos) {
  const { record } = row;
  const isOver = rows.some((other) => other.record.supersedes_id === row.id);
  const own = photos.filter((photo) => photo.fact_id === row.id).length;
  const words = make("span", { className: isOver ? "struck" : "" }, `${row.word} `, make("b", { textContent: row.shown }), own ? ` · ${own} photo${own > 1 ? "s" : ""}` : "");
  const clock = localText(Date.parse(record.latest_at), form.dataset.zone).slice(-5);
  const head = make("div", { className: "row" }, words, make("span", { className: "soft", textContent: clock }));
  const actions = row.state === "rejected" ? afterRefusal(form, row) : isOver ? [] : whileWaiting(form, row);
  return make("li", { dataset: { entry: row.id } }, head, row.state === "rejected" && why(row), isAsked(row) && question(row), make("div", { className: "buttons" }, ...actions.filter(Boolean)));
}

function whileWaiting(form, row) {
  const withdrawal = () => ({ record: { id: uuid(), ...plainRecord("withdrawal", form.dataset.subject, {}, { person: form.dataset.person, offsetS: row.record.clock_offset_s }) }, word: "Struck out:", shown: nameOf(row) });
  const out = async ({ currentTarget }) => {
    currentTarget.disabled = true;
    if (await strike(row.id, withdrawal())) return send();
    return tellOfEnd(`Struck out before it was sent: ${nameOf(row)}`);
  };
  return [
    hasScreen(row.record) && button("Correct", () => fill(form, row.record, { editing: row.id }), "button--quiet"),
    row.record.kind !== "withdrawal" && button("Strike out", out, "button--quiet"),
  ];
}

// What was asked when it was written, for whoever left without an answer.
function question(row) {
  const answer = (changes, words) => amend(row.id, answered(row, changes, words)).then(send);
  const drop = () => discard(row.id).then(() => tellOfEnd(`Dropped, not kept: ${nameOf(row)}`));
  return make("section", { className: "notice notice--caution stack stack--tight" }, ...asking(row.questions, answer, drop));
}

// What is gone unsent must not be taken as sent. What harms somebody stays until the page is left.
function tellOfEnd(text) {
  if (!document.querySelector("#kept .meaning")) say(text, "none");
}

function why(row) {
  const other = row.status === 409 && row.current;
  const theirs = other && `${other.kind === "withdrawal" ? "struck out" : Object.values(other.typed).join(" ")}${other.person ? `, by ${other.person}` : ""}`;
  const reasons = Object.values(row.errors ?? {}).join(" ") || "It was not taken.";
  return make("p", { className: "wrong", textContent: other ? `${reasons} It now says: ${theirs}.` : reasons });
}

function afterRefusal(form, row) {
  const throwAway = () => discard(row.id).then(() => tellOfEnd(`Thrown away, not sent: ${nameOf(row)}`));
  const retry = (record) => again(row.id, record).then(send);
  if (row.status === 409 && row.current) {
    const said = { ...row.record, kind: "note", method: undefined, supersedes_id: undefined, typed: { text: `Not taken as a correction: ${row.word} ${row.shown}` } };
    const mine = { ...row.record, supersedes_id: row.current.id };
    const isBoth = row.current.kind === "withdrawal" && row.record.kind === "withdrawal";
    return [
      !isBoth && button("Mine", () => retry(mine), "button--first"),
      button(isBoth ? "All right" : "Theirs, mine as a note", () => (isBoth ? throwAway() : retry(JSON.parse(JSON.stringify(said))))),
    ];
  }
  return [
    hasScreen(row.record) && button("Edit", () => fill(form, row.record, { editing: row.id }), "button--first"),
    button("Send again", () => retry(), "button--quiet"),
    button("Throw away", throwAway, "button--quiet"),
  ];
}

function photoItem(photo) {
  const isRefused = photo.state === "rejected";
  const actions = isRefused && make("div", { className: "buttons" }, button("Send again", () => photoNow(photo, "waiting").then(send), "button--quiet"), button("Throw away", () => photoGone(photo.id), "button--quiet"));
  return make("li", {}, make("div", { className: "row" }, "Photo"), isRefused && make("p", { className: "wrong", textContent: photo.reason }), actions);
}
