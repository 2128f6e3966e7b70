// What a person is told beside a form.
export function make(tag, properties = {}, ...children) {
  const { dataset, ...plain } = properties;
  const element = Object.assign(document.createElement(tag), plain);
  Object.assign(element.dataset, dataset);
  element.append(...children.filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

export const button = (text, press, kind = "") =>
  make("button", { type: "button", className: `button ${kind}`, textContent: text, onclick: press });

export const nameOf = (row) => [row.word, row.shown].filter(Boolean).join(" ");

// In the place where the page itself says what was kept; screen readers are told. grave: [status, text] that comes first.
export function say(text, status = "fine", waits = false, grave = null) {
  const first = grave && make("p", { className: "meaning" }, wordOf(...grave));
  const words = grave ? make("p", { className: "soft", textContent: text }) : make("p", {}, wordOf(status, text));
  // What harms somebody stays until the page is left.
  const dataset = waits && !grave ? { waits } : {};
  document.getElementById("kept").replaceChildren(make("div", { className: `notice notice--${grave?.[0] ?? status}`, dataset }, first, words));
}

function wordOf(status, text) {
  const shape = { none: "○", fine: "●", notice: "◆", caution: "▲", act: "■" }[status];
  return make("span", { className: `word word--${status}` }, make("span", { className: "word-shape", ariaHidden: "true", textContent: shape }), ` ${text}`);
}

function show(place, notice) {
  clear(place);
  const head = place.querySelector(":scope > .screen-head");
  head ? head.after(notice) : place.prepend(notice);
  notice.focus();
  notice.scrollIntoView({ block: "nearest" });
}

export function clear(place) {
  for (const old of place.querySelectorAll("[role=alert]")) old.remove();
  for (const field of place.querySelectorAll("[aria-invalid]")) field.removeAttribute("aria-invalid");
}

// errors: [[field or null, message], …]; each leads to its field.
export function showErrors(place, errors, more = []) {
  const lines = errors.map(([field, message]) => {
    const label = field?.labels?.[0]?.firstChild?.textContent.trim();
    return make("li", {}, label && make("a", { href: "", textContent: label, onclick: (event) => { event.preventDefault(); field.focus(); } }), label ? ": " : "", message);
  });
  const title = make("h2", { textContent: "■ Not kept yet" });
  show(place, make("section", { className: "notice notice--act", role: "alert", tabIndex: -1 }, title, make("ul", {}, ...lines), ...more));
  for (const [field] of errors) field?.setAttribute?.("aria-invalid", "true");
}

// answer(changes, words): what to change in what was typed, null for "as typed";
// drop(): it was not meant.
export function ask(place, questions, answer, drop) {
  show(place, make("section", { className: "notice notice--caution stack stack--tight is-asked", role: "alert", tabIndex: -1 }, ...asking(questions, answer, drop)));
}

export function asking(questions, answer, drop) {
  const parts = questions.flatMap((each) => [
    make("p", { textContent: each.message }),
    each.alternative_words && make("p", {}, button(each.alternative_words, () => answer(each.alternative, each.alternative_words), "button--first")),
  ]);
  const canBe = questions.every((each) => each.can_be !== false);
  const asTyped = canBe && button(questions.at(-1).as_typed_words || "Keep it as typed", () => answer(null));
  const title = make("h3", { textContent: "▲ Not kept yet: is that so?" });
  const leaving = canBe && make("p", { className: "leaving", textContent: "Drop it, or keep it as typed?" });
  return [title, ...parts.filter(Boolean), leaving, make("div", { className: "buttons" }, asTyped, button("Drop it", drop, "button--quiet"))];
}
