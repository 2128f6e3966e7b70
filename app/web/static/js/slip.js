// A slip? Asked on the phone.

// The stage of a batch, as far as this phone knows: stages that wait here count too.
export function stageNow(sheet, rows, batchId) {
  const begun = rows.filter((row) => row.state === "waiting" && row.record.subject.id === batchId && sheet.starts[row.record.kind]);
  return begun.length ? sheet.starts[begun.at(-1).record.kind] : sheet.stage;
}

// A question like those of the house, or null. ranges: field -> unit -> [symbol, usual, possible, wild: low and high].
export function slip({ kind, typed }, word, sheet, stage) {
  const known = { ...sheet?.ranges[stage]?.[kind], ...sheet?.masses?.[kind] };
  for (const name of Object.keys(known)) {
    const field = name === "net" && !typed.net_unit ? "gross_unit" : `${name}_unit`;
    const text = typed[name], unit = typed[field];
    // With its tare a gross weight is as heavy as its net may be.
    const less = name === "gross" ? numberOf(typed.tare) || 0 : 0, units = less ? known.net : known[name];
    const own = units[unit], number = numberOf(text) - less;
    if (!text || !own || Number.isNaN(number) || (known.net && number < 0) || (name === "net" && typed.gross) || holds(own, 2, number)) continue;
    const likelier = [SAME_SYSTEM[unit], ...Object.keys(units)].find((key) => key !== unit && units[key] && holds(units[key], 0, number));
    if (!likelier && holds(own, 4, number)) continue;
    const [symbol, , , low, high] = own;
    const said = `${word} ${text} ${symbol} is ${number < low ? "less" : "more"} than one expects here (${shown(low + less)} to ${shown(high + less)} ${symbol}).`;
    const other = likelier && `${text} ${units[likelier][0]}`;
    return {
      message: `${said} ${other ? `Is it ${other}?` : "Is that what you read?"}`,
      alternative: likelier ? { [field]: likelier } : {},
      alternative_words: other ?? "",
      as_typed_words: `${text} ${symbol}, as typed`,
      can_be: !(number > sheet.most?.[unit]),
    };
  }
  return null;
}

const SAME_SYSTEM = { kg: "g", g: "kg", lb: "oz", oz: "lb" };
const numberOf = (text) => Number(String(text ?? "").replace(/\s/g, "").replace("−", "-").replace(",", "."));
const shown = (number) => String(Number(number.toPrecision(6)));
const holds = (range, place, number) => range[1 + place] <= number && number <= range[2 + place];
