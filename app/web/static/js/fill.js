// Opens an entry's screen on the tub page with what was said, to be said again rightly.
import { leave } from "./offline_form.js";
import { localText } from "./house_time.js";

// Whether all that was said has its place on this page: what is asked of another stage has none.
export function hasScreen({ kind, typed }) {
  const screen = document.getElementById(kind)?.closest(".tub-form .screen");
  const names = Object.keys(typed ?? {}).filter((name) => name !== "insisted");
  return Boolean(screen) && names.every((name) => screen.querySelector(`[name="${kind}-${name}"]`));
}

// as: {editing: id} for an entry that waits here, {supersedes: id} for a fact that the house has.
export async function fill(form, record, as) {
  await leave(form);
  const { kind, typed } = record, { zone } = form.dataset;
  const unitless = Object.fromEntries(Object.entries(typed).filter(([name]) => name !== "insisted"));
  for (const field of form.elements) {
    if (!field.name.startsWith(`${kind}-`)) continue;
    set(field, field.name.endsWith("-method") ? record.method : unitless[field.name.slice(kind.length + 1)]);
  }
  const isSpan = record.earliest_at !== record.latest_at;
  const times = { at: record.earliest_at, earliest: record.earliest_at, latest: record.latest_at };
  for (const [name, at] of Object.entries(times)) form.elements[name].value = localText(Date.parse(at), zone);
  for (const field of form.elements) {
    if (field.name === "when") field.checked = field.value === (isSpan ? "between" : "at");
    if (["place", "instrument", "person", "note", "quality"].includes(field.name)) set(field, record[field.name]);
  }
  Object.assign(form.dataset, as, { filled: kind, exact: `${record.earliest_at} ${record.latest_at}` });
  for (const count of form.querySelectorAll(".kernels input")) count.dispatchEvent(new Event("input"));
  location.hash = kind;
  window.scrollTo(0, 0);
}

function set(field, value) {
  if (field.type === "radio") field.checked = field.value === value;
  else if (value !== undefined || field.type !== "select-one") field.value = value ?? "";
}
