// What this phone keeps by itself. An upgrade carries the rows over; a connection that died is opened anew, once.
export const NAME = "chitbook";

// One step a version, each run once over the rows that are there, whichever version a phone comes from.
// A step is never changed once it was shipped: a change is a further step.
export const STEPS = [
  (db) => {
    db.createObjectStore("entries", { keyPath: "id" }).createIndex("state_order", ["state", "order"]);
    db.createObjectStore("photos", { keyPath: "id" }).createIndex("fact_id", "fact_id");
    db.createObjectStore("meta");
  },
];

export function open(steps = STEPS, name = NAME) {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(name, steps.length);
    request.onupgradeneeded = ({ oldVersion }) => {
      for (const step of steps.slice(oldVersion)) step(request.result, request.transaction);
    };
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

// A phone that was ahead of a program set back to an older version goes on with what it has.
function openNewest() {
  return open().catch((error) => {
    if (error.name !== "VersionError") throw error;
    return new Promise((resolve, reject) => {
      const request = indexedDB.open(NAME);
      request.onsuccess = () => resolve(request.result);
      request.onerror = () => reject(request.error);
    });
  });
}

let connection = null;

function connected() {
  connection ??= openNewest().then(
    (db) => {
      db.onclose = () => { connection = null; };
      // Another page wants to upgrade: it must not wait for this one.
      db.onversionchange = () => { db.close(); connection = null; };
      return db;
    },
    (error) => { connection = null; throw error; },
  );
  return connection;
}

export const asked = (request) => new Promise((resolve, reject) => {
  request.onsuccess = () => resolve(request.result);
  request.onerror = () => reject(request.error);
});

// Runs work(store, …) in one transaction, and resolves with what it returned once all of it is on the disk.
export async function transact(stores, mode, work) {
  try {
    return await inOne(await connected(), stores, mode, work);
  } catch (error) {
    if (!["InvalidStateError", "UnknownError"].includes(error?.name)) throw error;
    connection = null;
    return inOne(await connected(), stores, mode, work);
  }
}

async function inOne(db, stores, mode, work) {
  const transaction = db.transaction(stores, mode, { durability: "strict" });
  const whole = new Promise((resolve, reject) => {
    transaction.oncomplete = resolve;
    transaction.onabort = () => reject(transaction.error ?? new DOMException("given up", "AbortError"));
  });
  try {
    const [result] = await Promise.all([work(...[stores].flat().map((name) => transaction.objectStore(name))), whole]);
    return result;
  } catch (error) {
    try { transaction.abort(); } catch { /* It ended by itself. */ }
    throw error;
  }
}

export const remember = (key, value) => transact("meta", "readwrite", (meta) => asked(meta.put(value, key)));
export const recall = (key) => transact("meta", "readonly", (meta) => asked(meta.get(key)));
