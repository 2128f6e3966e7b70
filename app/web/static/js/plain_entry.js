// Entries that are said by one button: striking out, answering a flag.
import { recall } from "./db.js";
import { iso, V } from "./record.js";
import { uuid } from "./uuid.js";

export function plainRecord(kind, subject, typed, { offsetS, person, ...more }) {
  const [type, id] = subject.split(":"), at = iso(Date.now());
  const who = person ? { person, entered_by: person } : {};
  const offset = offsetS === undefined ? {} : { clock_offset_s: offsetS };
  return { v: V, kind, subject: { type, id }, earliest_at: at, latest_at: at, written_at: at, clock: "now", ...offset, ...who, ...more, typed };
}

export async function readPlain(form, pressed) {
  const said = Object.fromEntries(new FormData(form)), action = new URL(form.action).pathname.split("/");
  const { subject, person } = { ...document.querySelector("[data-subject]")?.dataset, ...form.dataset };
  const isAnswer = action.at(-1) === "flags", offsetS = await recall("offset_s");
  const typed = isAnswer
    ? { rule: said.rule, episode: said.episode, severity: said.severity, answer: pressed.value }
    : { ...(said.reason?.trim() && { reason: said.reason.trim() }) };
  if (pressed.value === "leaving") typed.until = new Date(Date.now() + 6 * 36e5).toISOString();
  const more = isAnswer ? {} : { supersedes_id: action.at(-2) };
  const record = { id: uuid(), ...plainRecord(isAnswer ? "flag_answer" : "withdrawal", subject, typed, { offsetS, person, ...more }) };
  const shown = isAnswer ? pressed.textContent.trim() : typed.reason ?? "";
  const done = isAnswer ? `${shown}. The flag stays in the record.` : "The entry is struck out. It stays in the record.";
  return { form, place: form, row: { record, word: isAnswer ? "Answer to a flag" : "Struck out", shown }, done };
}
