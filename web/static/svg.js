const NS = "http://www.w3.org/2000/svg";

export function el(name, attributes = {}, ...children) {
  const made = document.createElementNS(NS, name);
  set(made, attributes);
  made.append(...children);
  return made;
}

export function set(element, attributes) {
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
}

export function label(x, y, words, attributes = {}) {
  const made = el("text", { x, y, ...attributes });
  made.textContent = words;
  return made;
}
