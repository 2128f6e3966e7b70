// Draws every figure of the page with Plotly, in the colours of the page, and again when these change.
import { coloured } from "./chart-colours.js";
import { fitted, hourStep, legendHeight, named, valueRanges } from "./chart-fit.js";
import { offerToKeep } from "./chart-keep.js";

const COARSE = matchMedia("(pointer: coarse)");

class Chart {
  constructor(box) {
    this.box = box;
    this.place = box.querySelector("[data-chart-place]");
    this.views = box.querySelector("[data-chart-views]");
    this.figure = JSON.parse(box.querySelector("[data-chart]").textContent);
    this.shown = {};
    this.legend = 40;
  }

  // One after the other: Plotly draws in steps, and a second drawing must not run into the first.
  draw() {
    this.drawing = Promise.resolve(this.drawing).catch(() => {}).then(() => this.drawNow());
    return this.drawing;
  }

  async drawNow() {
    await this.put();
    const legend = legendHeight(this.place);
    if (legend === this.legend) return;
    this.legend = legend;
    await this.put();
  }

  put() {
    const width = this.place.clientWidth;
    const { data, layout, config } = fitted(coloured(structuredClone(this.figure)), this.legend, COARSE.matches);
    // Copies: Plotly writes into the ranges that it is given.
    Object.entries(structuredClone(this.shown)).forEach(([path, value]) => assign(layout, path, value));
    layout.xaxis.dtick = hourStep(layout.xaxis.range, width);
    data.filter((trace) => trace.mode === "text" && trace.customdata).forEach((trace) => named(trace, layout.xaxis.range, width));
    this.width = width;
    return Plotly.react(this.place, data, layout, config);
  }

  async start() {
    this.place.replaceChildren();
    await this.draw();
    this.offerViews(this.figure.layout.meta?.views ?? []);
    offerToKeep(this.box, this.place, () => this.say("It could not be kept. Try again with a connection."));
    this.place.on("plotly_relayout", (change) => this.follow(change));
    this.place.on("plotly_click", ({ points: [point] }) => this.followMark(point));
    // The room for the legend and the step of the hours depend on the width.
    new ResizeObserver(() => {
      clearTimeout(this.wait);
      this.wait = setTimeout(() => this.place.clientWidth !== this.width && this.draw(), 150);
    }).observe(this.place);
  }

  say(words) {
    this.box.querySelector("[data-chart-said]").textContent = words;
  }

  offerViews(views) {
    if (views.length < 2) return;
    this.views.replaceChildren(...views.map((view, index) => {
      const button = Object.assign(document.createElement("button"), { type: "button", textContent: view.name });
      button.className = "chart-view";
      button.addEventListener("click", () => this.show(index));
      return button;
    }));
    this.views.hidden = false;
    this.press(0);
  }

  show(index) {
    const view = this.figure.layout.meta?.views?.[index];
    if (!view) return;
    this.shown = view.set;
    this.draw();
    this.press(index);
  }

  press(pressed) {
    [...this.views.children].forEach((button, index) => button.setAttribute("aria-pressed", index === pressed));
  }

  // A photo's mark leads to it: a link among its words would need an inline style. The entry's own mark may lie on it.
  followMark(point) {
    const marks = this.figure.data.find((trace) => trace.name === "photos");
    if (!marks || point?.data.yaxis !== marks.yaxis) return;
    const place = marks.x.findIndex((x, index) => x === point.x && marks.y[index] === point.y);
    if (place >= 0) location.assign(marks.customdata[place]);
  }

  // Dragged or zoomed: the hours are then read off at another step, and no view is the chosen one.
  follow(change) {
    const range = change["xaxis.range"] ?? [change["xaxis.range[0]"], change["xaxis.range[1]"]];
    if (range.some((hour) => hour === undefined)) return;
    const whole = this.figure.layout.meta?.views?.[0]?.set["xaxis.range"];
    if (whole?.every((hour, end) => Math.abs(hour - range[end]) < 1e-6)) return this.show(0);
    this.shown = { ...this.shown, ...valueRanges(this.figure, range), "xaxis.range": [...range] };
    this.press(-1);
    this.draw();
  }
}

function assign(target, path, value) {
  const steps = path.split(".");
  const last = steps.pop();
  steps.reduce((part, step) => (part[step] ??= {}), target)[last] = value;
}

const charts = [...document.querySelectorAll("[data-chart-box]")].map((box) => new Chart(box));
if (window.Plotly) {
  charts.forEach((chart) => chart.start());
  const redraw = () => charts.forEach((chart) => chart.draw());
  ["(prefers-color-scheme: dark)", "print"].forEach((query) => matchMedia(query).addEventListener("change", redraw));
  new MutationObserver(redraw).observe(document.documentElement, { attributeFilter: ["data-theme"] });
} else {
  document.querySelectorAll("[data-chart-waits]").forEach((words) => {
    words.textContent = "The chart could not be drawn. The table below holds the same.";
  });
}
