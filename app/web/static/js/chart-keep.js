// A chart kept as a file: a picture, or a page by itself that needs neither this house nor a network.

const ESCAPES = { "&": "&amp;", "<": "&lt;" };
const plain = (text) => text.replace(/[&<]/g, (sign) => ESCAPES[sign]);

export function offerToKeep(box, place, failed) {
  const title = place.getAttribute("aria-label");
  const name = title.toLowerCase().replace(/[^\p{L}\p{N}]+/gu, "-");
  const ways = { "Keep as a picture": () => keepPicture(place, name), "Keep as a page": () => keepPage(place, title, name) };
  const row = box.querySelector("[data-chart-keep]");
  row.replaceChildren(...Object.entries(ways).map(([words, keep]) => {
    const button = Object.assign(document.createElement("button"), { type: "button", textContent: words, className: "chart-view" });
    button.addEventListener("click", () => keep().catch(failed));
    return button;
  }));
  row.hidden = false;
}

function keepPicture(place, filename) {
  return window.Plotly.downloadImage(place, { format: "png", scale: 2, filename });
}

async function keepPage({ data, layout }, title, name) {
  const source = [...document.scripts].find((script) => script.src.includes("/plotly/")).src;
  const answer = await fetch(source);
  if (!answer.ok) throw new Error("The drawing script could not be had.");
  const figure = JSON.stringify([data, { ...layout, autosize: true, width: undefined }, { responsive: true, displaylogo: false }]);
  const page = `<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><title>${plain(title)}</title></head>
<body><h1>${plain(title)}</h1><div id="chart"></div><p>${plain(layout.meta?.caption ?? "")}</p>
<script>${await answer.text()}</script>
<script>Plotly.newPlot("chart", ...${figure.replaceAll("<", "\\u003c")})</script></body></html>`;
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([page], { type: "text/html" }));
  link.download = `${name}.html`;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
}
