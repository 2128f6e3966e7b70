// The page on which an entry is corrected or struck out: both go through the outbox, as at the tub.
import { nameOf, say } from "./notices.js";
import { takeOver } from "./offline_form.js";
import { startTallies } from "./tally.js";

const { done, kept } = document.querySelector("[data-done]").dataset;

function saved({ row, isSent, isRefused, meant, grave, ...entry }) {
  if (isSent) {
    sessionStorage.setItem("kept", entry.done ?? kept);
    if (["caution", "act"].includes(meant?.status)) sessionStorage.setItem("grave", JSON.stringify([meant.status, meant.text]));
    return location.assign(done);
  }
  return say(isRefused ? "Not taken: look at it under “Waiting to be sent” at the tub." : `Kept on this phone: ${nameOf(row)}. It is judged when it is sent.`, isRefused ? "caution" : "fine", !isRefused, grave);
}

for (const form of document.querySelectorAll("form[data-subject]")) takeOver(form, saved);
startTallies(document);
