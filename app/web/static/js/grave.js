// What an entry says that can hurt somebody, by what the house gave for that: told at once, with or without a connection.

// [status, text], or null. Those of a kind come with the gravest first.
export function grave({ kind, typed, quality }, sheet) {
  const said = { ...typed, quality };
  const found = sheet?.grave?.[kind]?.find(([field, test]) => holds(said, field, test));
  return found ? found.slice(2) : null;
}

function holds(said, field, test) {
  if (typeof test === "string") return said[field] === test;
  const number = Number(String(said[field] ?? "").replace(/\s/g, "").replace("−", "-").replace(",", "."));
  return number > test[said[`${field}_unit`] ?? said.value_unit ?? ""];
}
