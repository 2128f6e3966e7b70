// The outbox: entries kept on this phone until the house has them.
import { asked, transact } from "./db.js";
import { uuid } from "./uuid.js";

const BOTH = ["entries", "photos"];
export const HOLD_MS = 600_000; // so long an entry just written may still be asked about

// Tells all pages of this phone of a change.
export const outbox = new EventTarget();
const others = "BroadcastChannel" in window ? new BroadcastChannel("chitbook-outbox") : null;
if (others) others.onmessage = () => outbox.dispatchEvent(new Event("change"));

function tell() {
  outbox.dispatchEvent(new Event("change"));
  others?.postMessage("change");
}

async function write(work) {
  const result = await transact(BOTH, "readwrite", work);
  tell();
  return result;
}

const read = (work) => transact(BOTH, "readonly", work);

// A row: {id, state: waiting|rejected, order, kept_at, hold, record, word, shown, questions}; photos are blobs of the same
// entry; questions: what its writer is asked, as the house asks it.
// heldMs: nobody sends it for so long, for its writer may still be asked about it.
export function add(row, photos = [], heldMs = 0) {
  return write((entries, pictures) => {
    const kept = asKept(row, heldMs);
    for (const blob of photos) pictures.add({ id: uuid(), fact_id: kept.id, blob, state: "waiting" });
    return asked(entries.add(kept));
  });
}

function asKept(row, heldMs = 0) {
  const now = Date.now();
  return { state: "waiting", order: now, kept_at: now, hold: now + heldMs, ...row, id: row.record.id };
}

// Says an entry anew: in its own place where nobody has it yet, else as a correction of what may have been sent.
export function amend(id, row, photos = [], heldMs = 0) {
  return write(async (entries, pictures) => {
    const old = await asked(entries.get(id));
    const isMine = old && (old.state === "rejected" ? old.current?.id !== id : old.hold > Date.now() || Boolean(old.questions));
    const record = isMine
      ? { ...row.record, id, ...(old.record.supersedes_id && { supersedes_id: old.record.supersedes_id }) }
      : { ...row.record, id: row.record.id === id ? uuid() : row.record.id, supersedes_id: id };
    const now = Date.now();
    const order = isMine ? old.order : now;
    for (const blob of photos) pictures.add({ id: uuid(), fact_id: record.id, blob, state: "waiting" });
    if (old?.state === "rejected" && !isMine) entries.delete(id);
    await asked(entries.put({ ...row, id: record.id, record, state: "waiting", order, kept_at: now, hold: now + heldMs }));
    return record.id;
  });
}

// What was said once a question about it was answered. changes: to what was typed; null: it stands as typed.
export const answered = ({ record, word, shown }, changes, words) =>
  ({ word, shown: words ?? shown, record: { ...record, typed: { ...record.typed, ...(changes ?? { insisted: "1" }) } } });

// Lets change(row) alter a row that is there; false where it is gone.
export function change(id, alter) {
  return write(async (entries) => {
    const row = await asked(entries.get(id));
    if (row) await asked(entries.put(alter(row)));
    return Boolean(row);
  });
}

const released = (row) => ({ ...row, hold: 0, questions: null });
export const release = (id) => change(id, released);
export const releaseAll = () => write(async (entries) => {
  for (const row of await asked(entries.getAll())) if (row.hold && !row.questions) entries.put(released(row));
});

// Who leaves a form with its question open has kept nothing: it stands in the waiting list until it is answered.
export const releaseUnasked = (id) => change(id, (row) => (row.questions ? row : released(row)));

// A row whose writer was asked: nobody sends it until there is an answer, and the house hasn't got it.
export const isAsked = (row) => row.state === "waiting" && Boolean(row.questions);

// Keeps what is asked with the entry; false: too late, it goes as typed.
export function askOf(id, questions) {
  return write(async (entries) => {
    const row = await asked(entries.get(id)), isHeld = row?.hold > Date.now();
    if (isHeld) await asked(entries.put({ ...row, questions }));
    return isHeld;
  });
}

// Strikes an entry out by the row of a withdrawal. Where the house can't have it yet it is gone at once, and only what
// it would have corrected is left to be struck out. Resolves with whether the withdrawal was kept; once is enough.
export function strike(id, row) {
  return write(async (entries, photos) => {
    const [old, all] = await Promise.all([asked(entries.get(id)), asked(entries.getAll())]);
    if (all.some((other) => other.record.supersedes_id === id)) return true;
    const isUnsent = Boolean(old) && isAsked(old), struck = isUnsent ? old.record.supersedes_id : id;
    if (isUnsent) await drop(entries, photos, id);
    else if (old) entries.put(released(old));
    if (struck) entries.add(asKept({ ...row, record: { ...row.record, supersedes_id: struck } }));
    return Boolean(struck);
  });
}
export const again = (id, record) =>
  change(id, (row) => ({ ...row, record: record ?? row.record, state: "waiting", hold: 0, errors: null, current: null }));

export const list = () => read((entries) => asked(entries.index("state_order").getAll()))
  .then((rows) => rows.sort((one, other) => one.order - other.order));
// What may be sent; held: also this one.
export const due = async (held) =>
  (await list()).filter((row) => row.state === "waiting" && (row.id === held || (row.hold <= Date.now() && !row.questions)));
export const pictures = () => read((_, photos) => asked(photos.getAll()));
export const count = () => read(async (entries, photos) => (await asked(entries.count())) + (await asked(photos.count())));

// What the house answered, taken in at once: gone: ids it has; refused: [id, why] it won't take.
export function settle(gone, refused) {
  return write(async (entries) => {
    for (const id of gone) entries.delete(id);
    for (const [id, why] of refused) {
      const row = await asked(entries.get(id));
      if (row) entries.put({ ...row, state: "rejected", ...why });
    }
  });
}

export const discard = (id) => write((entries, photos) => drop(entries, photos, id));

async function drop(entries, photos, id) {
  entries.delete(id);
  for (const key of await asked(photos.index("fact_id").getAllKeys(id))) photos.delete(key);
}

export const photoGone = (id) => write((_, photos) => asked(photos.delete(id)));
export const photoNow = (photo, state, reason) => write((_, photos) => asked(photos.put({ ...photo, state, reason })));

// The offset of this phone's clock, for entries that were written before it was known.
export function stamp(offsetS) {
  return write(async (entries) => {
    for (const row of await asked(entries.getAll())) {
      if (row.record.clock_offset_s === undefined) entries.put({ ...row, record: { ...row.record, clock_offset_s: offsetS } });
    }
  });
}
