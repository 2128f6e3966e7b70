// Counting by tapping: each picture adds one to its class; the mean, the spread and the share overgrown follow.
const MIDDLE = {
  to_quarter: 0.125, quarter_to_half: 0.375, half_to_three_quarters: 0.625, three_quarters_to_full: 0.875, over: 1.125,
};

export function startTallies(root) {
  for (const kernels of root.querySelectorAll(".kernels")) startTally(kernels);
}

function startTally(kernels) {
  const taps = [];
  const summary = document.createElement("div");
  summary.className = "row tally-summary";
  const said = document.createElement("p");
  said.setAttribute("aria-live", "polite");
  const undo = document.createElement("button");
  Object.assign(undo, { type: "button", className: "button button--quiet", textContent: "Undo last", disabled: true });
  summary.append(said, undo);
  kernels.after(summary);

  for (const cell of kernels.querySelectorAll("[data-tally]")) {
    const input = document.getElementById(cell.dataset.tally);
    const tap = document.createElement("button");
    tap.type = "button";
    tap.className = "kernel-tap";
    tap.setAttribute("aria-label", `One more: ${cell.querySelector("label").textContent}`);
    tap.append(...cell.querySelectorAll("svg"));
    cell.prepend(tap);
    tap.addEventListener("click", () => {
      input.value = String(count(input) + 1);
      taps.push(input);
      show();
    });
    input.addEventListener("input", show);
  }
  undo.addEventListener("click", () => {
    const input = taps.pop();
    if (input) input.value = String(Math.max(0, count(input) - 1) || "");
    show();
  });

  function show() {
    undo.disabled = taps.length === 0;
    said.textContent = words(countsOf(kernels));
  }
  show();
}

function count(input) {
  const number = Number.parseInt(input.value, 10);
  return Number.isFinite(number) && number > 0 ? number : 0;
}

function countsOf(kernels) {
  const counts = {};
  for (const cell of kernels.querySelectorAll("[data-tally]")) {
    const input = document.getElementById(cell.dataset.tally);
    // On the tub page a field carries its kind's name before its own.
    counts[input.name.split("-").pop()] = count(input);
  }
  return counts;
}

export function words(counts) {
  const total = Object.values(counts).reduce((sum, each) => sum + each, 0);
  const judged = Object.keys(MIDDLE).reduce((sum, name) => sum + (counts[name] ?? 0), 0);
  if (total === 0) return "Tap the picture it looks like.";
  if (judged === 0) return `${total} counted`;
  const mean = Object.entries(MIDDLE).reduce((sum, [name, middle]) => sum + middle * (counts[name] ?? 0), 0) / judged;
  const square = Object.entries(MIDDLE).reduce((sum, [name, middle]) => sum + (counts[name] ?? 0) * (middle - mean) ** 2, 0);
  const spread = judged > 1 ? Math.sqrt(square / (judged - 1)) : 0;
  const over = (100 * (counts.over ?? 0)) / judged;
  return `${judged} judged · mean ${mean.toFixed(2)} · spread ${spread.toFixed(2)} · over ${over.toFixed(0)} %`;
}
