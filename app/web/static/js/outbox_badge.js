// "3 waiting": how many entries wait on this phone, since when, why, and a button to send them now. Says when to send.
import { button, make, say } from "./notices.js";
import { isAsked, list, outbox, pictures, releaseAll } from "./outbox.js";
import { download } from "./unsent.js";
import { flush, state } from "./sync.js";

let hadSome = false;
const TICK_MS = 2000, LONG_MS = 24 * 36e5;
const badge = make("section", { className: "outbox only-at-rest notice notice--notice", hidden: true, ariaLabel: "Outbox" });
const said = make("p", { ariaLive: "polite" });
const warning = make("p", { className: "soft" });
const row = make("div", { className: "row" }, said, button("Send now", () => releaseAll().then(send)));
badge.append(row, warning, button("Download unsent", download, "button--quiet"));

export async function send() {
  await flush();
  await show();
}

async function show() {
  const [rows, photos] = await Promise.all([list(), pictures()]);
  const waiting = [...rows, ...photos].filter((each) => each.state === "waiting").length;
  const refused = rows.length + photos.length - waiting;
  if (hadSome && !rows.length && !photos.length && document.querySelector("#kept [data-waits]")) say("Sent: the house has all that waited here.");
  hadSome = rows.length + photos.length > 0;
  badge.hidden = !rows.length && !photos.length;
  const open = rows.filter(isAsked).length;
  const parts = [open && `${open} not kept yet: answer below, at the tub`, waiting > open && `${waiting - open} waiting on this phone`, refused && `${refused} not taken: look at ${refused > 1 ? "them" : "it"} below, at the tub`];
  const text = [...parts.filter(Boolean)].join(" · ");
  if (said.textContent !== text) said.textContent = text;
  const oldest = Math.min(...rows.map((row) => row.kept_at));
  const isLong = Date.now() - oldest > LONG_MS;
  const old = `The oldest has waited since ${new Date(oldest).toLocaleString([], { dateStyle: "medium", timeStyle: "short" })}. Some phones clear what waits after a week: send it, or download it and take it to the desk.`;
  warning.textContent = [waiting && state.trouble, isLong && old].filter(Boolean).join(" ");
  warning.hidden = !warning.textContent;
  badge.classList.toggle("notice--caution", isLong || refused > 0);
  return waiting;
}

async function tick() {
  if (document.visibilityState === "visible" && Date.now() >= state.nextAt && (await show())) await send();
}

export function start() {
  document.getElementById("kept").after(badge);
  outbox.addEventListener("change", show);
  const soon = () => { Object.assign(state, { nextAt: 0, failures: 0 }); tick(); };
  for (const event of ["online", "pageshow"]) window.addEventListener(event, soon);
  document.addEventListener("visibilitychange", soon);
  setInterval(tick, TICK_MS);
  flush().then(show);
}

// What is kept here should stay: asked once, after the first entry.
outbox.addEventListener("change", () => navigator.storage?.persist?.(), { once: true });
