// What depends on the width of the page: the step of the hours, the room for the legend, what a drag does.

const STEPS_H = [1 / 12, 1 / 4, 1 / 2, 1, 2, 3, 6, 12, 24, 48, 96, 168, 336];
const BELOW_AXIS = 30;

// The least step whose labels ("h 120") stand clear of one another.
export function hourStep([low, high], width) {
  const most = Math.max(2, Math.floor((width - 52) / 52));
  return STEPS_H.find((step) => (high - low) / step <= most) ?? STEPS_H.at(-1);
}

// legend: its height in pixels. The panels keep theirs, the figure grows by the legend.
export function fitted(figure, legend, isTouched) {
  const { layout } = figure;
  const plot = layout.meta?.plot_height ?? 320;
  layout.margin.b = BELOW_AXIS + legend + 6;
  layout.height = plot + layout.margin.t + layout.margin.b;
  layout.legend.y = -BELOW_AXIS / plot;
  layout.font.family = layout.hoverlabel.font.family = getComputedStyle(document.body).fontFamily;
  // A finger that strokes over the chart scrolls the page; the buttons above zoom.
  if (isTouched) layout.dragmode = false;
  return figure;
}

// A stage's name stands in the middle of what is seen of its box, where it fits in.
export function named(trace, [low, high], width) {
  const pixels = (width - 52) / (high - low);
  const seen = trace.customdata.map(([start, end]) => [Math.max(start, low), Math.min(end, high)]);
  trace.text = trace.text.map((name, at) => ((seen[at][1] - seen[at][0]) * pixels > name.length * 6.5 + 4 ? name : ""));
  trace.x = seen.map(([start, end], at) => (end > start ? (start + end) / 2 : trace.x[at]));
}

// Between these hours each panel is on the scale of what is seen there: a window of the floor not on the kiln's.
export function valueRanges({ data, layout }, [low, high]) {
  const panels = ["y", "y2"].map((axis) => {
    const points = data.filter((trace) => trace.yaxis === axis).flatMap(({ x, y, error_y: bars = {} }) => x.flatMap((hour, at) => {
      if (hour === null || hour < low || hour > high || y[at] === null) return [];
      return [y[at] + (bars.array?.[at] ?? 0), y[at] - ((bars.arrayminus ?? bars.array)?.[at] ?? 0)];
    }));
    const limits = layout.shapes.filter((shape) => shape.yref === axis && shape.x0 < high && shape.x1 > low);
    return [axis.replace("y", "yaxis"), [...points, ...limits.flatMap((shape) => [shape.y0, shape.y1])]];
  });
  return Object.fromEntries(panels.filter(([, seen]) => seen.length).map(([name, seen]) => {
    const [least, most] = [Math.min(...seen), Math.max(...seen)];
    const margin = Math.max(1, 0.06 * (most - least));
    return [`${name}.range`, [least - margin, most + margin]];
  }));
}

// The height that the legend took at this width, once it is drawn.
export function legendHeight(place) {
  return Math.ceil(Number(place.querySelector(".legend .bg")?.getAttribute("height") ?? 0));
}
