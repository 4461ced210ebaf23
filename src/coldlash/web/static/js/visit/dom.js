// Building the page: elements from names, attributes and children, never from markup.

const SVG = "http://www.w3.org/2000/svg";

/** An element. Attributes whose value is null or false are left out; "on..." are listeners. */
export function h(name, attributes = {}, ...children) {
  return fill(document.createElement(name), attributes, children);
}

/** A drawing from its tree of [name, attributes, children]. */
export function draw([name, attributes, children]) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) {
    element.setAttribute(key, value);
  }
  for (const child of children) {
    element.append(typeof child === "string" ? child : draw(child));
  }
  return element;
}

function fill(element, attributes, children) {
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) {
      continue;
    }
    if (key.startsWith("on")) {
      element.addEventListener(key.slice(2), value);
    } else {
      element.setAttribute(key, value === true ? "" : String(value));
    }
  }
  for (const child of children.flat()) {
    if (child !== null && child !== undefined && child !== false) {
      element.append(child);
    }
  }
  return element;
}

export function paragraphs(texts, attributes = {}) {
  return texts.map((text) => h("p", attributes, text));
}
