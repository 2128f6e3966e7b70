// What depends on the width of the page: the step of the hours, the room for the legend, what a drag does.

const STEPS_H = [1 / 12, 1 / 4, 1 / 2, 1, 2, 3, 6, 12, 24, 48, 96, 168, 336];
const LEGEND_ROW = 21;
const LEGEND_COLUMN = 158;

// The least step whose labels ("h 120") stand clear of one another.
export function hourStep([low, high], width) {
  const most = Math.max(2, Math.floor((width - 48) / 52));
  return STEPS_H.find((step) => (high - low) / step <= most) ?? STEPS_H.at(-1);
}

export function fitted(figure, width, isTouched) {
  const { layout, data, config } = figure;
  const named = data.filter((trace) => trace.showlegend !== false).length;
  const perRow = Math.max(1, Math.floor(width / LEGEND_COLUMN));
  const legend = LEGEND_ROW * Math.ceil(named / perRow);
  const plot = layout.meta?.plot_height ?? 320;
  layout.margin.b = 34 + legend;
  layout.height = plot + layout.margin.t + layout.margin.b;
  layout.legend.y = -30 / plot;
  layout.font.family = getComputedStyle(document.body).fontFamily;
  // A finger that strokes over the chart scrolls the page; the buttons above zoom.
  if (isTouched) layout.dragmode = false;
  return { layout, data, config };
}
