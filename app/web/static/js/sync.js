// Brings the outbox to the house: hello, then entries by fifty, then photos. Knows no page. An entry leaves the outbox
// only when an answer of success repeats its id; whatever is unclear is kept and tried again.
import { remember } from "./db.js";
import { due, photoGone, photoNow, pictures, list, settle, stamp } from "./outbox.js";

const MOST = 50;
const PATIENCE_MS = 20_000;
const HELLO_LASTS_MS = 60_000;

export const state = { trouble: "", failures: 0, nextAt: 0 };
let hello = null;
let running = null;

class Later extends Error {}

export function pauseMs(failures, chance = Math.random()) {
  return Math.min(300_000, 1000 * 2 ** failures) * (0.5 + chance / 2);
}

async function call(path, options = {}) {
  const limit = AbortSignal.timeout(PATIENCE_MS);
  let answer;
  try {
    answer = await fetch(path, { redirect: "error", cache: "no-store", signal: limit, ...options });
  } catch {
    throw new Later("No connection to the house.");
  }
  const said = await answer.json().catch(() => null);
  if (answer.status === 401) throw new Later(said?.error?.text ?? "This phone is not paired with the house.");
  if ([408, 429].includes(answer.status) || answer.status >= 500 || !said) throw new Later("The house can't take it just now.");
  return { status: answer.status, isGood: answer.ok, said };
}

async function greet() {
  const began = Date.now();
  const { isGood, said } = await call("/sync/hello");
  if (!isGood || !said.csrf_token) throw new Later("The house gave no answer that makes sense.");
  const ended = Date.now();
  const offsetS = Math.round((Date.parse(said.server_time) - (began + ended) / 2) / 1000);
  hello = { token: said.csrf_token, at: ended };
  await remember("offset_s", offsetS);
  await stamp(offsetS);
}

async function post(path, body, headers = {}) {
  const send = () => call(path, { method: "POST", body, headers: { Accept: "application/json", "X-CSRFToken": hello.token, ...headers } });
  let answer = await send();
  if (answer.status === 400) {
    // The token has grown stale: hello once more, and once only.
    await greet();
    answer = await send();
    if (answer.status === 400) throw new Later("The house won't take what is sent just now.");
  }
  return answer;
}

async function sendSome(rows, ask, answers) {
  const body = JSON.stringify({ entries: rows.map((row) => row.record), ...(ask && { ask }) });
  const { status, isGood, said } = await post("/sync/facts", body, { "Content-Type": "application/json" });
  if (!isGood && rows.length > 1) {
    for (const row of rows) await sendSome([row], ask, answers);
    return;
  }
  const found = isGood ? said.answers ?? [] : [{ id: rows[0].id, status, errors: { "": said.error?.text ?? said.error?.title ?? "" } }];
  const ids = new Set(rows.map((row) => row.id));
  const gone = [], refused = [];
  for (const each of found.filter(({ id }) => ids.has(id))) {
    answers.set(each.id, each);
    if (each.status === 200 || each.status === 201) gone.push(each.id);
    else if ((each.status === 409 || each.status === 422) && !each.questions) {
      refused.push([each.id, { status: each.status, errors: each.errors, current: each.current }]);
    }
  }
  await settle(gone, refused);
  if (!gone.length && !refused.length && !found.some((each) => each.questions)) throw new Later("The house gave no answer that makes sense.");
}

async function sendPhotos() {
  const unsent = new Set((await list()).map((row) => row.id));
  for (const photo of await pictures()) {
    if (photo.state !== "waiting" || unsent.has(photo.fact_id)) continue;
    const form = new FormData();
    form.set("id", photo.id);
    form.set("fact_id", photo.fact_id);
    form.set("file", photo.blob, "photo.jpg");
    const { isGood, said } = await post("/sync/photos", form);
    if (isGood && said.id === photo.id) await photoGone(photo.id);
    else if (!isGood) await photoNow(photo, "rejected", Object.values(said.error?.fields ?? {})[0] ?? said.error?.text ?? said.error?.title ?? "refused");
    else throw new Later("The house gave no answer that makes sense.");
  }
}

async function run(held, mayAsk) {
  const answers = new Map();
  try {
    if (!hello || Date.now() - hello.at > HELLO_LASTS_MS) await greet();
    for (const tried = new Set(); ;) {
      const rows = (await due(held)).filter((row) => !tried.has(row.id)).slice(0, MOST);
      if (!rows.length) break;
      for (const row of rows) tried.add(row.id);
      await sendSome(rows, mayAsk && held, answers);
    }
    await sendPhotos();
    Object.assign(state, { trouble: "", failures: 0, nextAt: 0 });
  } catch (error) {
    if (!(error instanceof Later)) throw error;
    hello = null;
    state.trouble = error.message;
    state.failures += 1;
    state.nextAt = Date.now() + pauseMs(state.failures);
  }
  return answers;
}

// Sends what waits. held: an entry just written that nobody else sends yet; mayAsk: the house may ask back about it.
// Resolves with the answers by id.
export async function flush(held = null, mayAsk = false) {
  if (running && held) await running;
  running ??= run(held, mayAsk).finally(() => { running = null; });
  return running;
}
