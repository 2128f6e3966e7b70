// Clock times of the house, wherever the phone thinks it is.
const shapes = new Map();

// A moment as a date-and-time field shows it.
export function localText(moment, zone) {
  if (!shapes.has(zone)) {
    shapes.set(zone, new Intl.DateTimeFormat("sv-SE", { timeZone: zone, dateStyle: "short", timeStyle: "short" }));
  }
  return shapes.get(zone).format(moment).replace(" ", "T");
}

// The moments that a clock time can mean: two in the night when the clocks are put back, none when they are put forward.
export function momentsOf(text, zone) {
  const asIfUtc = Date.parse(`${text}Z`);
  if (Number.isNaN(asIfUtc)) return [];
  const found = new Set();
  for (const near of [asIfUtc - 864e5, asIfUtc + 864e5]) {
    const moment = asIfUtc - (Date.parse(`${localText(near, zone)}Z`) - near);
    if (localText(moment, zone) === text.slice(0, 16)) found.add(moment);
  }
  return [...found].sort((one, other) => one - other);
}
