// One request to the house: with patience, without being led elsewhere, and with the token that writing takes.
const PATIENCE_MS = 20_000, HELLO_LASTS_MS = 60_000;
let hello = null;

// What can't be sent now may be sent later: it is kept.
export class Later extends Error {}

export async function call(path, options = {}) {
  let answer;
  try {
    answer = await fetch(path, { redirect: "error", cache: "no-store", signal: AbortSignal.timeout(PATIENCE_MS), ...options });
  } catch {
    throw new Later("No connection to the house.");
  }
  const said = await answer.json().catch(() => null);
  if (answer.status === 401) throw new Later(said?.text ?? "This phone is not paired with the house.");
  if ([408, 429].includes(answer.status) || answer.status >= 500 || !said) throw new Later("The house can't take it just now.");
  return { status: answer.status, isGood: answer.ok, said };
}

export const isKnown = () => hello !== null && Date.now() - hello.at < HELLO_LASTS_MS;
export const forget = () => { hello = null; };

// Is the house there, and what time has it? Returns how far this phone's clock is off, in seconds.
export async function greet() {
  const began = Date.now(), { isGood, said } = await call("/sync/hello"), ended = Date.now();
  if (!isGood || !said.csrf_token) throw new Later("The house gave no answer that makes sense.");
  hello = { token: said.csrf_token, at: ended };
  return Math.round((Date.parse(said.server_time) - (began + ended) / 2) / 1000);
}

export async function post(path, body, headers = {}) {
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
