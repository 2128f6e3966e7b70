// Whoever leaves this phone to somebody else leaves nothing unsent on it; and no page of the one who left stays.
import { say } from "./notices.js";
import { count } from "./outbox.js";
import { flush } from "./sync.js";

for (const form of document.querySelectorAll("form[data-leaves]")) {
  form.addEventListener("submit", async (event) => {
    if (form.dataset.free) return;
    event.preventDefault();
    const pressed = event.submitter;
    if (await count()) await flush();
    const waiting = await count();
    if (waiting) {
      say(`${waiting} still waiting on this phone under the present name. Send or download ${waiting > 1 ? "them" : "it"} first.`, "caution");
      window.scrollTo(0, 0);
      return;
    }
    await self.caches?.delete("chitbook-pages");
    form.dataset.free = "yes";
    form.requestSubmit(pressed);
  });
}
