// The outbox as a file; without what waits for an answer.
import { isAsked, list, pictures } from "./outbox.js";
import { make } from "./notices.js";

export async function download() {
  const rows = (await list()).filter((row) => !isAsked(row));
  const whole = { chitbook_outbox: 1, saved_at: new Date().toISOString(), photos_left: (await pictures()).length, entries: rows.map((row) => row.record) };
  const address = URL.createObjectURL(new Blob([JSON.stringify(whole, null, 1)], { type: "application/json" }));
  make("a", { href: address, download: `chitbook-unsent-${whole.saved_at.slice(0, 16).replace(":", "")}.json` }).click();
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
}
