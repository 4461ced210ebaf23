// Texts of the pages' scripts in the language of the page. The English text is the key; the catalogue of the page's
// language is one of the files that are kept on the device, so that it is there without a network.

const PSEUDO = "en-XA";
const tag = document.documentElement.lang || "en";
/** The tag for Intl: the language for tests is written as German is. */
export const localTag = tag === PSEUDO ? "de" : tag;
const words = await catalogue();

async function catalogue() {
  if (tag === "en" || tag === PSEUDO) {
    return {};
  }
  try {
    const answer = await fetch(new URL(`../words/${tag}.json`, import.meta.url));
    return answer.ok ? await answer.json() : {};
  } catch {
    return {}; // English is better than nothing
  }
}

/** `template` in the language of the page, its {fields} filled in from `values`. */
export function say(template, values = {}) {
  return filled(lookUp(template), values);
}

/** The text itself: marks a text of a table that is made while the module loads. Said with table() where it is used. */
export function mark(text) {
  return text;
}

/** `say` for a marked text of a table. */
export const table = say;

/** `say` for a word that other languages split: `context` tells which one is meant. */
export function say_in(context, template, values = {}) {
  const found = tag === PSEUDO ? lookUp(template) : words[`${context}\u0004${template}`] || template;
  return filled(found, values);
}

/** `one` or `many`, as the language counts `n`; {n} in them is the count. */
export function plural(one, many, n, values = {}) {
  const which = n === 1 ? 0 : 1; // as English and German count
  const text = words[one]?.[which] || [one, many][which];
  return filled(tag === PSEUDO ? lookUp(text) : text, { n, ...values });
}

/** A number as the language writes it; `places` decimals, or as it stands. */
export function number(value, places) {
  const text = places === undefined ? String(value) : value.toFixed(places);
  return tag === "en" ? text : text.replace(".", ",");
}

/** A day given as ISO 8601 text, as the language writes it. */
export function day(iso) {
  const match = /^(\d{4})-(\d\d)-(\d\d)$/.exec(iso);
  return match === null || tag === "en" ? iso : `${match[3]}.${match[2]}.${match[1]}`;
}

function lookUp(template) {
  if (tag === PSEUDO) {
    return template.trim() === "" ? template : `⟦${template}${"~".repeat(Math.floor(template.length * 0.35))}⟧`;
  }
  return words[template] || template; // one that isn’t translated yet stands there empty
}

function filled(template, values) {
  return template.replace(/\{(\w+)\}/g, (field, name) => {
    const value = values[name];
    if (value === undefined) {
      return field;
    }
    return typeof value === "number" ? number(value) : String(value);
  });
}
