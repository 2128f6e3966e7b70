// On every page: opens without a connection next time, sends what waits, and says what was kept before this page.
import { say } from "./notices.js";
import { start } from "./outbox_badge.js";

const saying = sessionStorage.getItem("kept");
if (saying) {
  sessionStorage.removeItem("kept");
  say(saying);
}
if ("indexedDB" in window) start();
navigator.serviceWorker?.register("/sw.js").catch(() => { /* Not here: plain http, or switched off. */ });
