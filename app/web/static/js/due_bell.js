// Rings once when a step falls due, and once for each *act now*, as long as the page is open. Off until it is switched
// on here. What is silent at its hour was marked so by the house, which knows the quiet hours.
const SWITCH = "bell", RUNG = "bell-rung";
const EVERY_MS = 5000, FRESH_MS = 60_000, FORGOTTEN_MS = 3 * 86_400_000;
const opened = Date.now();
const isOn = () => localStorage.getItem(SWITCH) === "on";
let audio = null;

// A browser lets a page sound only after it was touched.
function wake() {
  audio ??= new AudioContext();
  if (audio.state === "suspended") audio.resume();
}

function ring(isLoud) {
  navigator.vibrate?.(isLoud ? [300, 120, 300, 120, 300] : [200, 120, 200]);
  if (!audio) return;
  for (const [place, pitch] of (isLoud ? [880, 660, 880, 660] : [660, 880]).entries()) {
    const tone = audio.createOscillator(), gain = audio.createGain();
    const start = audio.currentTime + place * 0.22;
    tone.frequency.value = pitch;
    gain.gain.setValueAtTime(isLoud ? 0.3 : 0.15, start);
    gain.gain.exponentialRampToValueAtTime(0.001, start + 0.2);
    tone.connect(gain).connect(audio.destination);
    tone.start(start);
    tone.stop(start + 0.2);
  }
}

// Whose it is and what: the hour of a step shifts with every reading, and the same step must not ring for each.
function nameOf(each) {
  const whose = each.closest("article")?.querySelector("h2") ?? document.querySelector("h1");
  return `${whose?.textContent} ${(each.querySelector(".next-what, summary, a") ?? each).textContent}`.replace(/\s+/g, " ").trim();
}

function look() {
  if (!isOn()) return;
  const now = Date.now(), rung = JSON.parse(localStorage.getItem(RUNG) ?? "{}");
  let found = null;
  for (const each of document.querySelectorAll("[data-due]")) {
    const { due, loud, silent } = each.dataset, name = nameOf(each), at = Date.parse(due);
    const since = rung[name] ?? (loud === undefined ? opened - FRESH_MS : 0);
    if (silent !== undefined || at > now || at <= since) continue;
    rung[name] = now;
    found = found || (loud === undefined ? "due" : "loud");
    if (loud !== undefined) found = "loud";
  }
  if (!found) return;
  const kept = Object.entries(rung).filter(([, at]) => now - at < FORGOTTEN_MS);
  localStorage.setItem(RUNG, JSON.stringify(Object.fromEntries(kept)));
  ring(found === "loud");
}

const slot = document.querySelector("[data-bell]"), light = document.querySelector("form[action='/people/theme']");
if (slot || light) {
  const button = Object.assign(document.createElement("button"), { type: "button", className: "button button--quiet" });
  const show = () => {
    button.textContent = isOn() ? "Bell is on" : "Ring when a step is due";
    button.setAttribute("aria-pressed", isOn());
  };
  button.addEventListener("click", () => {
    localStorage.setItem(SWITCH, isOn() ? "off" : "on");
    show();
    // Heard once at the switch: what it sounds like, and that it does.
    if (isOn()) { wake(); ring(false); }
  });
  if (slot) slot.append(button);
  else light.after(button);
  show();
}
document.addEventListener("pointerdown", () => isOn() && wake());
setInterval(look, EVERY_MS);
look();
