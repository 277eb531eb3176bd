// Elements, made without markup: text is always text (and the page's policy refuses markup anyway).

const SVG = 'http://www.w3.org/2000/svg';

// Characters that control, reorder or hide text; line ends, tabs, and the joiners of some scripts may stay.
const ACTING = /(?![\n\t\u200c\u200d])[\p{Cc}\p{Cf}\p{Zl}\p{Zp}]/gu;

/** Text from outside as `show_text` of the library shows it. @param {string} text */
export function plain(text) {
  return text.replace(ACTING, (one) => {
    const code = one.codePointAt(0) ?? 0;
    if (code < 0x20) return String.fromCodePoint(0x2400 + code);
    return `<U+${code.toString(16).toUpperCase().padStart(4, '0')}>`;
  });
}

const SHOWN = ['title', 'alt', 'aria-label', 'placeholder'];

/**
 * Attributes and children of a new element. The first of them may be its attributes.
 * @param {(tag: string) => Element} create
 * @param {string} selector the tag and its classes, such as `p.soft.small`
 * @param {(Props | Child)[]} content
 * @returns {any}
 */
function make(create, selector, content) {
  const [tag, ...classes] = selector.split('.');
  const [first, ...rest] = content;
  const node = create(tag);
  const has = isProps(first);
  if (classes.length) node.setAttribute('class', classes.join(' '));
  for (const [name, value] of Object.entries(has ? first : {})) setProp(node, name, value);
  node.append(...flatten(/** @type {Child[]} */ (has ? rest : content)));
  return node;
}

/** @param {Props | Child} one @returns {one is Props} */
const isProps = (one) =>
  typeof one === 'object' && one !== null && !Array.isArray(one) && !(one instanceof Node);

/** @param {Element} node @param {string} name @param {unknown} value */
function setProp(node, name, value) {
  if (value === null || value === undefined || value === false) return;
  if (name === 'on')
    for (const [event, f] of Object.entries(value))
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

/** @param {Child[]} children @returns {(Node | string)[]} */
function flatten(children) {
  return children.flatMap((child) => {
    if (Array.isArray(child)) return flatten(child);
    if (child === null || child === undefined || typeof child === 'boolean') return [];
    return child instanceof Node ? [child] : [plain(String(child))];
  });
}

/** An HTML element: `h('p.soft', { id: 'said' }, 'words')`. @type {MakeElement<HTMLElementTagNameMap>} */
export const h = (selector, ...content) => make((tag) => document.createElement(tag), selector, content);

/** The items of a list. @param {Child[]} content */
export const items = (content) => content.map((one) => h('li', one));

/** A choice among values, each with its words; a plain text is both. @param {(string | [string, string])[]} options */
export const select = (options, props = {}) => h('select', props, makeOptions(options));

/** @param {(string | [string, string])[]} options */
export const makeOptions = (options) =>
  options.map((one) => {
    const [value, words] = typeof one === 'string' ? [one, one] : one;
    return h('option', { value }, words);
  });

/** Names and what each of them means or has. @param {[string, Child][]} rows */
export const definitions = (rows) =>
  h(
    'dl',
    rows.map(([name, value]) => [h('dt', name), h('dd', value)]),
  );

/** @param {string} text */
export const caution = (text) => h('p.caution', h('b', 'Caution: '), text);

/** A form that the page itself sends. @param {() => unknown} submit @param {[Props, ...Child[]]} content */
export function form(submit, ...content) {
  const made = h('form', ...content);
  made.addEventListener('submit', (event) => {
    event.preventDefault();
    submit();
  });
  return made;
}

/** Those of the texts that say something, on one line. @param {(string | null | undefined)[]} texts */
export const joined = (...texts) => texts.filter(Boolean).join(' · ');

/** @param {unknown} error */
export const sayError = (error) => (error instanceof Error ? error.message : String(error));

/** A row of a table: its head, then its cells. @param {Child} head @param {Child[]} cells */
export const tableRow = (head, ...cells) =>
  h(
    'tr',
    h('th', { scope: 'row' }, head),
    cells.map((cell) => h('td', cell)),
  );

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

/** An element of a drawing. @type {MakeElement<SVGElementTagNameMap>} */
export const s = (selector, ...content) =>
  make((tag) => document.createElementNS(SVG, tag), selector, content);

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

/** An element that index.html or `main.js` has made. @param {string} id */
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
