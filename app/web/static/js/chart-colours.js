// A figure names its colours by token: "var:steep", or "var:steep/0.12" see-through. Here they become rgba().

const NAMED = /^var:([a-z][a-z0-9-]*)(?:\/([\d.]+))?$/;

// Through the browser itself, since a token may be written in any way that CSS knows, such as oklch().
function channels(name) {
  const probe = document.createElement("i");
  probe.style.color = `color-mix(in srgb, var(--${name}, CanvasText) 100%, transparent)`;
  document.body.append(probe);
  const found = getComputedStyle(probe).color;
  probe.remove();
  return rgb(found);
}

// Computed as "color(srgb 0.1 0.2 0.3)" or, where a browser keeps to the older form, "rgb(26, 51, 77)".
export function rgb(text) {
  const numbers = (text.match(/-?[\d.]+(e-?\d+)?/g) ?? ["0", "0", "0"]).slice(0, 3).map(Number);
  const scale = text.startsWith("color(") ? 255 : 1;
  return numbers.map((each) => Math.round(Math.min(255, Math.max(0, each * scale))));
}

// Only under a key that ends in "color", so that words never turn into one. Changes the figure it is given.
export function coloured(figure, known = new Map()) {
  const paint = (value) => {
    const [, name, alpha = "1"] = NAMED.exec(value) ?? [];
    if (!name) return value;
    if (!known.has(name)) known.set(name, channels(name).join(","));
    return `rgba(${known.get(name)},${alpha})`;
  };
  for (const [key, value] of Object.entries(figure)) {
    if (/color$/.test(key) && typeof value === "string") figure[key] = paint(value);
    else if (/color$/.test(key) && Array.isArray(value)) figure[key] = value.map((each) => (typeof each === "string" ? paint(each) : each));
    else if (value && typeof value === "object") coloured(value, known);
  }
  return figure;
}
