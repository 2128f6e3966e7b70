// What a form says, as the record that the house takes: as it was typed, with units, and by which clock.
import { momentsOf } from "./house_time.js";

export const V = 1;
const AGO = { now: 0, m5: 5, m15: 15, m60: 60 };
const COMMON = ["place", "instrument", "person", "note"];
const NUMBER = /^[+-]?(\d+([.,]\d*)?|[.,]\d+|\d{1,3}( \d{3})+([.,]\d*)?)$/;

// Reads the fields of one kind; prefix: what their names begin with where several kinds share a form.
// Gives {record, shown}, or {errors: [[field, message], …]}.
export function readForm(form, kind, prefix, offsetS, needsNumber = false) {
  form.querySelectorAll(".quantity-number").forEach(takeUnit);
  const data = new FormData(form), { subject, zone, person } = form.dataset;
  const errors = [], typed = {}, shown = [];
  const own = [...form.elements].filter((field) => field.name && belongs(field.name, prefix));
  for (const field of own) {
    const name = field.name.slice(prefix.length), text = String(data.get(field.name) ?? "").trim();
    if (!text || name === "method" || name in typed || (field.type === "radio" && !field.checked)) continue;
    typed[name] = text;
    if (field.type === "datetime-local") typed[`${name}_unit`] = zone;
    if (field.inputMode === "decimal" && !isNumber(text)) errors.push([field, `“${text}” is not a number: write digits, such as 12 or 12.5.`]);
    if (field.type !== "hidden" && !name.endsWith("_unit")) shown.push(asShown(field, text));
  }
  const quality = data.get("quality") || "measured";
  const numbers = own.filter((field) => field.classList.contains("quantity-number"));
  if (needsNumber && ["measured", "estimated"].includes(quality) && numbers.every((field) => !field.value.trim())) {
    errors.push([numbers[0], "This is missing."]);
  }
  const span = spanOf(form, data, zone, errors);
  if (errors.length) return { errors };
  const [type, id] = subject.split(":");
  const record = { v: V, kind, subject: { type, id }, ...span, written_at: iso(Date.now()), quality, typed };
  if (offsetS !== undefined) record.clock_offset_s = offsetS;
  if (person) Object.assign(record, { person, entered_by: person });
  for (const name of COMMON) if (String(data.get(name) ?? "").trim()) record[name] = data.get(name).trim();
  if (data.get(`${prefix}method`)) record.method = data.get(`${prefix}method`);
  return { record, shown: shown.slice(0, 4).join(", ") };
}

const OF_EVERY_ENTRY = new Set([...COMMON, "id", "csrf_token", "supersedes_id", "insist", "when", "at", "earliest", "latest", "fold", "quality", "photo"]);
const belongs = (name, prefix) => (prefix ? name.startsWith(prefix) : !OF_EVERY_ENTRY.has(name));
const isNumber = (text) => NUMBER.test(text.replace("−", "-").replace(/\s+/g, " "));
export const iso = (moment) => new Date(moment).toISOString();

// “5,0 kg” or “68 F”: the number stays, and its unit is chosen by what was typed.
function takeUnit(field) {
  const [, number, sign] = /^([^a-z°%]*\d[\d.,]*)\s*([a-z°%][^\s\d]*)$/i.exec(field.value.trim()) ?? [];
  const select = field.closest(".quantity")?.querySelector("select.quantity-unit");
  const meant = (word) => [...(select?.options ?? [])].find((each) => [plain(each.text), each.value].includes(word));
  const option = sign && (meant(plain(sign)) ?? meant(plain(sign).replace(/s$/, "")));
  if (option) [field.value, select.value] = [number.trim(), option.value];
}

const plain = (sign) => sign.replace("°", "").trim().toLowerCase();

function asShown(field, text) {
  if (field.type === "radio") return field.closest("label").textContent.trim();
  const unit = field.closest(".quantity")?.querySelector(".quantity-unit")?.selectedOptions?.[0]?.textContent ?? "";
  return unit && unit !== "–" ? `${text}\u00a0${unit}` : text;
}

function spanOf(form, data, zone, errors) {
  const when = data.get("when") || "now";
  if (when in AGO) {
    const at = iso(Date.now() - 60_000 * AGO[when]);
    return { earliest_at: at, latest_at: at, clock: "now" };
  }
  const [first, last] = when === "at" ? ["at", "at"] : ["earliest", "latest"];
  const [begin, end] = [moment(form, data, zone, first, errors), moment(form, data, zone, last, errors)];
  if (end < begin) errors.push([form.elements.latest, "The end is before the beginning."]);
  return errors.length ? {} : { earliest_at: iso(begin), latest_at: iso(end), clock: "typed" };
}

function moment(form, data, zone, name, errors) {
  const field = form.elements[name], text = String(data.get(name) ?? ""), found = momentsOf(text, zone);
  if (!found.length) {
    errors.push([field, text ? "The clocks were put forward that night, and this time was left out." : "This is not a date and time."]);
    return NaN;
  }
  // A time left as it was shown keeps its seconds.
  const exact = (form.dataset.exact ?? "").split(" ").map(Date.parse).find((at) => found.some((each) => at >= each && at < each + 60_000));
  if (exact) return exact;
  const fold = data.get("fold") || form.dataset.fold;
  if (found.length > 1 && !fold) {
    errors.push([field, "The clocks were put back that night, and this time came twice: which one was it?", "fold"]);
  }
  return fold === "second" ? found.at(-1) : found[0];
}
