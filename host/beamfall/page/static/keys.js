// Which key does what. A USB presenter or a foot pedal is a keyboard: teach the page its keys here.

import { h, show } from './dom.js';
import { keep, kept } from './kept.js';
import { makeButton } from './press.js';

/** @typedef {{ id: string, text: string, keys: string[] }} Action */
/** @type {Action[]} */
const ACTIONS = [
  { id: 'arm', text: 'Arm', keys: ['a'] },
  { id: 'release', text: 'Release', keys: ['r'] },
  { id: 'abort', text: 'Abort', keys: ['Escape'] },
  { id: 'later', text: 'Flash 0.1 ms later', keys: ['.'] },
  { id: 'earlier', text: 'Flash 0.1 ms earlier', keys: [','] },
];
/** Keys that cannot be changed. @type {[string, string][]} */
const FIXED = [
  ['Escape', 'aborts at any time, in every view, also while you type'],
  ['Shift+R', 'releases without waiting for the surface'],
  ['1 to 8', 'open the views'],
  ['↑ ↓', 'in the field of a timing: 0.1 ms; Page up and Page down: 1 ms'],
  ['+ − 0', 'on a chart: zoom in, zoom out, show all'],
];
const NAME = 'keys';

/** Keys by action, as this device has learned them. @returns {Record<string, string[]>} */
function read() {
  try {
    return JSON.parse(kept(NAME, '{}'));
  } catch {
    return {};
  }
}

/** The action of a key, if it has one. Escape always aborts. @param {KeyboardEvent} event */
export function findAction(event) {
  if (event.key === 'Escape') return 'abort';
  const learned = read();
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  return ACTIONS.find(({ id, keys }) => (learned[id] ?? keys).includes(key))?.id ?? null;
}

/** Names of keys as people know them. @param {string} key */
const say = (key) => (key === ' ' ? 'Space' : key.length === 1 ? key.toUpperCase() : key);

/** The action that waits for its key. @type {string | null} */
let waiting = null;
/** Whether the next key is taught and must do nothing else. */
export const isTeaching = () => waiting !== null;

/** The table of keys, to be changed. */
export function makeKeys() {
  const body = h('div.keys');
  const said = h('p.soft.small', { role: 'status' });

  const draw = () => {
    const learned = read();
    show(
      body,
      ACTIONS.map(({ id, text, keys }) =>
        h(
          'div.row',
          h('span.key-action', text),
          (learned[id] ?? keys).map((key) => h('kbd', say(key))),
          makeButton(waiting === id ? 'Press the key …' : 'Add a key', () => wait(id), {
            id: `key-${id}`,
            'aria-pressed': String(waiting === id),
          }),
          learned[id] ? makeButton('Reset', () => forget(id)) : null,
        ),
      ),
    );
  };
  const wait = (/** @type {string} */ id) => {
    waiting = waiting === id ? null : id;
    said.textContent = waiting ? 'Press the key or the pedal. Escape cancels.' : '';
    draw();
  };
  const forget = (/** @type {string} */ id) => {
    const learned = read();
    delete learned[id];
    keep(NAME, JSON.stringify(learned));
    draw();
  };
  addEventListener(
    'keydown',
    (event) => {
      if (!waiting || event.key === 'Tab' || event.key === 'Shift') return;
      if (!body.isConnected) {
        waiting = null;
        return;
      }
      if (event.key === 'Escape') {
        wait(waiting);
        return; // and aborts: it always does
      }
      event.preventDefault();
      event.stopPropagation();
      const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
      const learned = read();
      for (const { id, keys } of ACTIONS)
        learned[id] = (learned[id] ?? keys).filter((one) => one !== key || id === waiting);
      learned[waiting] = [...new Set([...learned[waiting], key])];
      keep(NAME, JSON.stringify(learned));
      said.textContent = `${say(key)} is assigned.`;
      waiting = null;
      draw();
    },
    true,
  );
  draw();
  return h(
    'details',
    h('summary', 'Keys, presenter, foot pedal'),
    body,
    said,
    FIXED.map(([key, text]) => h('p.small', h('kbd', key), ` ${text}`)),
    h('p.small.soft', 'Keys work in every view, and are saved on this device.'),
  );
}
