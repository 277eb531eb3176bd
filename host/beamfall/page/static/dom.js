// Elements, made without markup: text is always text (and the page's policy refuses markup anyway).

const SVG = 'http://www.w3.org/2000/svg';

function fill(node, props, children) {
  for (const [name, value] of Object.entries(props)) {
    if (value === null || value === undefined || value === false) continue;
    if (name === 'on') for (const [event, f] of Object.entries(value)) node.addEventListener(event, f);
    else if (name === 'text') node.textContent = value;
    else if (name === 'value' || name === 'checked' || name === 'disabled') node[name] = value;
    else node.setAttribute(name, value === true ? '' : value);
  }
  for (const child of children.flat(Infinity))
    if (child !== null && child !== undefined && child !== false) node.append(child);
  return node;
}

export const h = (tag, props = {}, ...children) => fill(document.createElement(tag), props, children);
export const s = (tag, props = {}, ...children) => fill(document.createElementNS(SVG, tag), props, children);

export function show(node, ...children) {
  node.replaceChildren(
    ...children.flat(Infinity).filter((c) => c !== null && c !== undefined && c !== false),
  );
  return node;
}

const NBSP = '\u00a0';
export const number = (value, digits = 2) =>
  value === null || value === undefined ? '–' : value.toFixed(digits).replace('-', '−');
export const ms = (value, digits = 2) =>
  value === null || value === undefined ? '–' : `${number(value, digits)}${NBSP}ms`;
export const us = (value, digits = 3) =>
  value === null || value === undefined ? '–' : `${value > 0 ? '+' : ''}${number(value, digits)}${NBSP}µs`;
export const mm = (value, digits = 1) =>
  value === null || value === undefined ? '–' : `${number(value, digits)}${NBSP}mm`;
export const percent = (value) =>
  value === null || value === undefined
    ? '–'
    : `${value > 0.995 && value < 1 ? '>99' : value > 0 && value < 0.005 ? '<1' : (value * 100).toFixed(0)}${NBSP}%`;
export const clock = (when) => {
  const d = new Date(when);
  const p = (n) => String(n).padStart(2, '0');
  return `${d.getFullYear()}-${p(d.getMonth() + 1)}-${p(d.getDate())} ${p(d.getHours())}:${p(d.getMinutes())}:${p(d.getSeconds())}`;
};

export const calm = () => matchMedia('(prefers-reduced-motion: reduce)').matches;

// Interpolate y at x on a rising list of xs; null outside.
export function at(xs, ys, x) {
  if (!xs.length || x < xs[0] || x > xs[xs.length - 1]) return null;
  let low = 0,
    high = xs.length - 1;
  while (high - low > 1) {
    const mid = (low + high) >> 1;
    if (xs[mid] <= x) low = mid;
    else high = mid;
  }
  const share = xs[high] === xs[low] ? 0 : (x - xs[low]) / (xs[high] - xs[low]);
  return ys[low] + share * (ys[high] - ys[low]);
}

// Whether somebody is typing into a field: until it is entered or left, what is in it is theirs and no news may write over it.
// `left` is called where it is left as it was found, since the news in between has not been shown.
export function watchTyping(field, left) {
  let under = false;
  field.addEventListener('input', () => {
    under = true;
  });
  field.addEventListener('change', () => {
    under = false;
  });
  field.addEventListener('blur', () => {
    if (under) {
      under = false;
      left();
    }
  });
  return () => under;
}

// Write into a field that somebody may be in: what was selected whole, to be typed over, stays so.
export function write(field, text) {
  if (field.value === text) return;
  const whole =
    document.activeElement === field &&
    field.value !== '' &&
    field.selectionStart === 0 &&
    field.selectionEnd === field.value.length;
  field.value = text;
  if (whole) field.select();
}

// Call `draw(width, height)` now and whenever the box changes its size.
export function fit(box, draw) {
  let last = '';
  const look = () => {
    const { width, height } = box.getBoundingClientRect();
    const now = `${Math.round(width)} ${Math.round(height)}`;
    if (width > 0 && now !== last) {
      last = now;
      draw(width, height);
    }
  };
  new ResizeObserver(look).observe(box);
  return () => {
    last = '';
    look();
  };
}
