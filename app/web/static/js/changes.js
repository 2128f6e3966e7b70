// Live pages: asks every few seconds whether anything came, and renews the parts of the page that tell of the batch,
// from a fresh copy of it. What is being typed, an open screen, the focus and the scroll stay as they are.
import { remember } from "./db.js";

const EVERY_MS = 4000;
const idOf = (form) => form.dataset.subject.split(":")[1];
let seq = 0, isAsking = false;

export function startChanges(form) {
  seq = Number(form.dataset.seq);
  setInterval(() => ask(form), EVERY_MS);
  document.addEventListener("visibilitychange", () => ask(form));
  sheet(form);
}

async function ask(form) {
  if (isAsking || document.visibilityState !== "visible") return;
  isAsking = true;
  try {
    const answer = await fetch(`/changes?after=${seq}&batch=${idOf(form)}`, { redirect: "error", cache: "no-store", signal: AbortSignal.timeout(10_000) });
    if (answer.status !== 200) return;
    const { seq: last } = await answer.json();
    await renew(form);
    seq = last;
  } catch { /* No connection: asked again in a moment. */ } finally {
    isAsking = false;
  }
}

export async function renew(form) {
  const answer = await fetch(location.pathname, { redirect: "error", cache: "no-store" });
  if (!answer.ok) throw new Error(`answered ${answer.status}`);
  const copy = new DOMParser().parseFromString(await answer.text(), "text/html");
  for (const part of document.querySelectorAll("[data-live]")) {
    const fresh = copy.querySelector(`[data-live="${part.dataset.live}"]`);
    if (fresh && fresh.innerHTML !== part.innerHTML) replace(part, fresh);
  }
  await sheet(form);
}

function replace(part, fresh) {
  const focused = part.contains(document.activeElement) && document.activeElement;
  const open = new Set([...part.querySelectorAll("details[open] > summary")].map((each) => each.textContent));
  for (const summary of fresh.querySelectorAll("details > summary")) {
    if (open.has(summary.textContent)) summary.parentElement.open = true;
  }
  const same = (each) => each.tagName === focused.tagName && each.textContent === focused.textContent;
  part.replaceChildren(...fresh.childNodes);
  if (focused) [...part.querySelectorAll(focused.tagName)].find(same)?.focus({ preventScroll: true });
}

// What the phone must know of the batch to ask back and to correct when there is no connection.
async function sheet(form) {
  const answer = await fetch(`/sync/batches/${idOf(form)}`, { redirect: "error", cache: "no-store" }).catch(() => null);
  if (answer?.ok) await remember(`sheet ${idOf(form)}`, await answer.json());
}
