// Small helpers that make nodes and write numbers.

export const find = (id) => document.getElementById(id);

const SVG = "http://www.w3.org/2000/svg";

export function make(parent, name, attributes = {}, text = "") {
  const node = document.createElementNS(SVG, name);
  put(node, attributes);
  if (text) node.textContent = text;
  parent.append(node);
  return node;
}

export function put(node, attributes) {
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
}

export function html(parent, name, properties = {}, text = "") {
  const node = Object.assign(document.createElement(name), properties);
  if (text) node.textContent = text;
  parent.append(node);
  return node;
}

export function line(svg, points, name, closed = false) {
  const d = points.map(([x, y], k) => `${k ? "L" : "M"}${x.toFixed(2)} ${y.toFixed(2)}`).join("");
  return make(svg, "path", { d: closed ? d + "Z" : d, class: name });
}

const minus = (text) => text.replace("-", "−");

export function shown(value, digits) {
  if (value === undefined || value === null) return "–";
  return minus(Number(value.toFixed(digits)) === 0 ? (0).toFixed(digits) : value.toFixed(digits));
}

// A difference with its sign; nothing where either is missing.
export function changeShown(value, other, digits) {
  if (value === undefined || value === null || other === undefined || other === null) return "";
  const text = shown(value - other, digits);
  if (Number(text.replace("−", "-")) === 0) return "±0";
  return text.startsWith("−") ? text : "+" + text;
}

// Places of ticks between two values: 1, 2 or 5 times a power of ten, at most so many.
export function ticks(low, high, most) {
  const unit = 10 ** Math.floor(Math.log10((high - low) / most));
  const step = [1, 2, 5, 10].map((k) => k * unit).find((k) => (high - low) / k <= most) || 10 * unit;
  const found = [];
  for (let k = Math.ceil(low / step); k * step <= high; k += 1) found.push(Number((k * step).toPrecision(6)));
  return found;
}
