// Brings the outbox to the house. Knows no page. An entry leaves the outbox only when an answer of success repeats its
// id; whatever is unclear is kept and tried again.
import { remember } from "./db.js";
import { forget, greet, isKnown, Later, post } from "./house_call.js";
import { due, list, photoGone, photoNow, pictures, settle, stamp } from "./outbox.js";

const MOST = 50;
export const state = { trouble: "", failures: 0, nextAt: 0 };
let running = null, sending = null;

export function pauseMs(failures, chance = Math.random()) {
  return Math.min(300_000, 1000 * 2 ** failures) * (0.5 + chance / 2);
}

// Sends what waits. held: an entry just written that nobody else sends yet; mayAsk: the house may ask back about it.
// Resolves with the answers by id.
export async function flush(held = null, mayAsk = false) {
  if (running && held) await running;
  running ??= entries(held, mayAsk).finally(() => { running = null; });
  const answers = await running;
  // Nobody waits for photos to hear what an entry means.
  if (isKnown()) sending ??= photos().catch(giveUp).finally(() => { sending = null; });
  return answers;
}

async function entries(held, mayAsk) {
  const answers = new Map(), tried = new Set();
  try {
    if (!isKnown()) {
      const offsetS = await greet();
      await remember("offset_s", offsetS);
      await stamp(offsetS);
    }
    for (;;) {
      const rows = (await due(held)).filter((row) => !tried.has(row.id)).slice(0, MOST);
      if (!rows.length) break;
      for (const row of rows) tried.add(row.id);
      await sendSome(rows, mayAsk && held, answers);
    }
    Object.assign(state, { trouble: "", failures: 0, nextAt: 0 });
  } catch (error) {
    giveUp(error);
  }
  return answers;
}

function giveUp(error) {
  if (!(error instanceof Later)) throw error;
  forget();
  state.trouble = error.message;
  state.failures += 1;
  state.nextAt = Date.now() + pauseMs(state.failures);
}

async function sendSome(rows, ask, answers) {
  const body = JSON.stringify({ entries: rows.map((row) => row.record), ...(ask && { ask }) });
  const { status, isGood, said } = await post("/sync/facts", body, { "Content-Type": "application/json" });
  if (!isGood && rows.length > 1) {
    for (const row of rows) await sendSome([row], ask, answers);
    return;
  }
  const found = isGood ? said.answers ?? [] : [{ id: rows[0].id, status: 422, errors: { "": wordsOf(said, status) } }];
  const ids = new Set(rows.map((row) => row.id)), gone = [], refused = [];
  for (const each of found.filter(({ id }) => ids.has(id))) {
    answers.set(each.id, each);
    if (each.status === 200 || each.status === 201) gone.push(each.id);
    else if ((each.status === 409 || each.status === 422) && !each.questions) {
      refused.push([each.id, { status: each.status, errors: each.errors, current: each.current }]);
    }
  }
  await settle(gone, refused);
  if (!found.some(({ id }) => ids.has(id))) throw new Later("The house gave no answer that makes sense.");
}

const wordsOf = (said, status) => Object.values(said.error?.fields ?? {})[0] ?? said.error?.text ?? `It was answered with ${status}.`;

// A photo goes once the house has its entry.
async function photos() {
  const unsent = new Set((await list()).map((row) => row.id));
  for (const photo of await pictures()) {
    if (photo.state !== "waiting" || unsent.has(photo.fact_id)) continue;
    const form = new FormData();
    form.set("id", photo.id);
    form.set("fact_id", photo.fact_id);
    form.set("file", photo.blob, "photo.jpg");
    const { status, isGood, said } = await post("/sync/photos", form);
    if (isGood && said.id === photo.id) await photoGone(photo.id);
    else if (!isGood) await photoNow(photo, "rejected", wordsOf(said, status));
    else throw new Later("The house gave no answer that makes sense.");
  }
}
