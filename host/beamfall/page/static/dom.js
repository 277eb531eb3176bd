// Elements, made without markup: text is always text (and the page's policy refuses markup anyway).

const SVG = 'http://www.w3.org/2000/svg';

// Characters that control, reorder or hide text; line ends, tabs, and the joiners of some scripts may stay.
const ACTING = /(?![\n\t\u200c\u200d])[\p{Cc}\p{Cf}\p{Zl}\p{Zp}]/gu;

/**
 * Text from outside as `show_text` of the library shows it.
 * @param {string} text
 */
export function plain(text) {
  return text.replace(ACTING, (one) => {
    const code = one.codePointAt(0) ?? 0;
    if (code < 0x20) return String.fromCodePoint(0x2400 + code);
    return `<U+${code.toString(16).toUpperCase().padStart(4, '0')}>`;
  });
}

const SHOWN = ['title', 'alt', 'aria-label', 'placeholder'];

/**
 * @template {Element} T
 * @param {T} node
 * @param {Props} props
 * @param {Child[]} children
 * @returns {T}
 */
function fill(node, props, children) {
  for (const [name, value] of Object.entries(props)) {
    if (value === null || value === undefined || value === false) continue;
    if (name === 'on')
      for (const [event, f] of Object.entries(props.on ?? {}))
        node.addEventListener(event, /** @type {EventListener} */ (f));
    else if (name === 'text') node.textContent = plain(String(value));
    else if (name === 'value' || name === 'checked' || name === 'disabled')
      Object.assign(node, { [name]: value });
    else
      node.setAttribute(
        name,
        value === true ? '' : SHOWN.includes(name) ? plain(String(value)) : String(value),
      );
  }
  node.append(...flatten(children));
  return node;
}

/**
 * @param {Child[]} children
 * @returns {(Node | string)[]}
 */
function flatten(children) {
  return children.flatMap((child) => {
    if (Array.isArray(child)) return flatten(child);
    if (child === null || child === undefined || typeof child === 'boolean') return [];
    return child instanceof Node ? [child] : [plain(String(child))];
  });
}

/**
 * An HTML element.
 * @template {keyof HTMLElementTagNameMap} T
 * @param {T} tag
 * @param {Props} [props]
 * @param {Child[]} children
 */
export const h = (tag, props = {}, ...children) => fill(document.createElement(tag), props, children);

/**
 * A table with a head; an empty head is a plain cell.
 * @param {string[]} heads
 * @param {Child[]} rows
 * @param {string} [caption]
 */
export const table = (heads, rows, caption) =>
  h(
    'table',
    { class: 'plain' },
    caption ? h('caption', { class: 'soft small' }, caption) : null,
    h(
      'thead',
      {},
      h(
        'tr',
        {},
        heads.map((name) => (name ? h('th', { scope: 'col' }, name) : h('td', {}))),
      ),
    ),
    h('tbody', {}, rows),
  );

/**
 * An element of a drawing.
 * @template {keyof SVGElementTagNameMap} T
 * @param {T} tag
 * @param {Props} [props]
 * @param {Child[]} children
 */
export const s = (tag, props = {}, ...children) => fill(document.createElementNS(SVG, tag), props, children);

/**
 * Replace what a node holds.
 * @template {Element} T
 * @param {T} node
 * @param {Child[]} children
 */
export function show(node, ...children) {
  node.replaceChildren(...flatten(children));
  return node;
}

/**
 * An element that index.html or `main.js` has made.
 * @param {string} id
 */
export function byId(id) {
  const found = document.getElementById(id);
  if (!found) throw new Error(`no element ${id}`);
  return found;
}

/** @param {string} id */
export function buttonById(id) {
  const found = byId(id);
  if (!(found instanceof HTMLButtonElement)) throw new Error(`${id} is not a button`);
  return found;
}

const NBSP = '\u00a0';
/** @param {number | null | undefined} value @param {number} [digits] */
export const number = (value, digits = 2) =>
  value === null || value === undefined ? '–' : value.toFixed(digits).replace('-', '−');
/** @param {number | null | undefined} value @param {number} [digits] */
export const ms = (value, digits = 2) =>
  value === null || value === undefined ? '–' : `${number(value, digits)}${NBSP}ms`;
/** @param {number | null | undefined} value @param {number} [digits] */
export const us = (value, digits = 3) =>
  value === null || value === undefined ? '–' : `${value > 0 ? '+' : ''}${number(value, digits)}${NBSP}µs`;
/** @param {number | null | undefined} value @param {number} [digits] */
export const mm = (value, digits = 1) =>
  value === null || value === undefined ? '–' : `${number(value, digits)}${NBSP}mm`;
/** @param {number | null | undefined} value */
export const percent = (value) =>
  value === null || value === undefined
    ? '–'
    : `${value > 0.995 && value < 1 ? '>99' : value > 0 && value < 0.005 ? '<1' : (value * 100).toFixed(0)}${NBSP}%`;
/** @param {number | string} when */
export const clock = (when) => {
  const d = new Date(when);
  const two = (/** @type {number} */ n) => String(n).padStart(2, '0');
  const day = [d.getFullYear(), two(d.getMonth() + 1), two(d.getDate())].join('-');
  return `${day} ${[d.getHours(), d.getMinutes(), d.getSeconds()].map(two).join(':')}`;
};

/** A page for fingers, with one column. */
export const narrow = matchMedia('(max-width: 900px)');
export const calm = () => matchMedia('(prefers-reduced-motion: reduce)').matches;

// Interpolate y at x on a rising list of xs; null outside.
/** @param {number[]} xs @param {number[]} ys @param {number} x @returns {number | null} */
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

// Whether somebody is typing into a field: until they enter or leave it, no news may overwrite their text.
// `left` is called when they leave it unchanged, since the news in between has not been shown.
/** @param {HTMLInputElement | HTMLSelectElement} field @param {() => void} left @returns {() => boolean} */
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

// Write into a field that somebody may be in: text that was selected whole stays selected.
/** @param {HTMLInputElement | HTMLSelectElement} field @param {string} text */
export function write(field, text) {
  if (field.value === text) return;
  const whole =
    field instanceof HTMLInputElement &&
    document.activeElement === field &&
    field.value !== '' &&
    field.selectionStart === 0 &&
    field.selectionEnd === field.value.length;
  field.value = text;
  if (whole) field.select();
}

// Call `draw(width, height)` now and whenever the box changes its size.
/** @param {Element} box @param {(width: number, height: number) => void} draw */
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
