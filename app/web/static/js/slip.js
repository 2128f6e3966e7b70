// "Another unit, or a slip?" asked on the phone, by the ranges that the house gave for each stage.

// The stage of a batch, as far as this phone knows: stages that wait here count too.
export function stageNow(sheet, rows, batchId) {
  const begun = rows.filter((row) => row.state === "waiting" && row.record.subject.id === batchId && sheet.starts[row.record.kind]);
  return begun.length ? sheet.starts[begun.at(-1).record.kind] : sheet.stage;
}

// A question like those of the house, or null. ranges: field -> unit -> [symbol, usual, possible and wild, low and high].
export function slip({ kind, typed }, word, sheet, stage) {
  for (const [name, units] of Object.entries(sheet?.ranges[stage]?.[kind] ?? {})) {
    const text = typed[name], unit = typed[`${name}_unit`], own = units[unit];
    const number = Number(String(text ?? "").replace(/\s/g, "").replace("−", "-").replace(",", "."));
    if (!text || !own || Number.isNaN(number) || holds(own, 2, number)) continue;
    const likelier = Object.entries(units).find(([key, range]) => key !== unit && holds(range, 0, number));
    if (!likelier && holds(own, 4, number)) continue;
    const [symbol, , , low, high] = own;
    const said = `${word} ${text} ${symbol} is ${number < low ? "less" : "more"} than one expects here (${low} to ${high} ${symbol}).`;
    const other = likelier && `${text} ${likelier[1][0]}`;
    return {
      message: `${said} ${other ? `Is it ${other}?` : "Is that what you read?"}`,
      alternative: likelier ? { [`${name}_unit`]: likelier[0] } : {},
      alternative_words: other ?? "",
      as_typed_words: `${text} ${symbol}, as typed`,
    };
  }
  return null;
}

const holds = (range, place, number) => range[1 + place] <= number && number <= range[2 + place];
