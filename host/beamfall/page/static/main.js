// The bench page. The server's library decides everything; the page shows it and asks for it.

import { arm, makeBar, release, showStrip } from './bar.js';
import { makeBench } from './bench.js';
import { makeCalibrate } from './calibrate.js';
import { makeRepeatability } from './charts.js';
import { makeCheck } from './check.js';
import { byId, form, h, plain, show } from './dom.js';
import { startHands } from './hands.js';
import { findAction, isTeaching } from './keys.js';
import { makeLight } from './light.js';
import { makeLog, openShot } from './log.js';
import { abort, act, connect, emit, enter, hear, on, state } from './net.js';
import { attempt, makeButton } from './press.js';
import { makeRecipes } from './recipes.js';
import { makeRig } from './rig.js';
import { makeSeek } from './seek.js';
import { makeSound } from './sound.js';
import { makeSweep } from './sweep.js';
import { makeTable } from './table.js';

/** @type {[string, string, () => Element][]} */
const VIEWS = [
  ['bench', 'Bench', makeBench],
  ['rig', 'Rig', makeRig],
  ['sweep', 'Sweep', makeSweep],
  ['seek', 'Seek', makeSeek],
  ['check', 'Check', makeCheck],
  ['calibrate', 'Calibrate', makeCalibrate],
  ['log', 'Log', makeLog],
  ['repeatability', 'Repeatability', makeRepeatability],
  ['recipes', 'Recipes', makeRecipes],
  ['table', 'Table by hand', makeTable],
];
/** Views that another one leads to. @type {Record<string, string>} */
const WITHIN = { recipes: 'log', table: 'bench' };
/** @type {Map<string, Element>} */
const made = new Map();
let started = false;

function route() {
  if (!started) return;
  const [name, more] = location.hash.slice(1).split('/');
  const view = VIEWS.find(([id]) => id === name) ?? VIEWS[0];
  if (!made.has(view[0])) made.set(view[0], view[2]());
  for (const link of byId('nav').querySelectorAll('a')) {
    link.toggleAttribute('aria-current', false);
    if (link.hash === `#${WITHIN[view[0]] ?? view[0]}`) link.setAttribute('aria-current', 'page');
  }
  document.title = `${view[1]} – Beamfall`;
  const main = byId('main');
  if (main.firstChild !== made.get(view[0])) {
    show(main, h('h1.unseen', view[1]), made.get(view[0]));
    scrollTo(0, 0);
  }
  if (view[0] === 'log') openShot(more ? Number(more) : null);
  showStrip();
}

function showLink() {
  const chip = byId('linkchip'),
    link = state.link,
    board = state.board;
  const word =
    {
      up: link?.health === 'mended' ? 'link recovered' : 'link good',
      lost: 'board lost',
      none: 'no board',
      connecting: 'connecting',
    }[link?.state ?? 'connecting'] ?? '…';
  chip.dataset.state = link?.state ?? 'connecting';
  chip.dataset.health = link?.health ?? '';
  chip.textContent = board ? plain(`${board.name}: ${word}`) : word;
  chip.title = !board
    ? ''
    : `${board.port}, firmware ${board.firmware}, timing ${board.timing}, clock ${board.clock_hz / 1e6} MHz. ` +
      (link?.state === 'up'
        ? `Answers take ${link.round_trip_ms} ms. Damaged frames: ${link.frames_bad}; sent again: ` +
          `${link.retransmissions}; reconnections: ${link.reconnections}; board restarts: ${link.restarts}.`
        : '');
}

const step = (/** @type {string} */ by) => attempt(act('step', { of: 'delay', by }));

// -- keys: Esc aborts, everywhere and always. Letters work while nobody is typing. ------------------------------
/** @param {Element} target */
const typing = (target) =>
  target.closest('textarea, select, input:not([type="range"]):not([type="checkbox"]), [contenteditable]') !==
  null;
addEventListener(
  'keydown',
  (event) => {
    const action = findAction(event);
    if (event.key === 'Escape') {
      event.preventDefault();
      abort();
      return;
    }
    if (isTeaching()) return;
    if (event.ctrlKey || event.metaKey || event.altKey || event.repeat || event.isComposing) return;
    if (!(event.target instanceof Element) || typing(event.target)) return;
    const key = event.key.toLowerCase();
    if (action === 'arm') arm();
    else if (action === 'release') release({ unrested: event.shiftKey });
    else if (action === 'abort') abort();
    else if (action === 'later') step('0.1 ms');
    else if (action === 'earlier') step('-0.1 ms');
    else if (/^[1-9]$/.test(key) && VIEWS[Number(key) - 1] && !event.target.closest('.stars'))
      location.hash = `#${VIEWS[Number(key) - 1][0]}`;
    else return;
    event.preventDefault();
  },
  true,
);

function showLocked() {
  started = false;
  const field = h('input', { type: 'text', id: 'code', autocomplete: 'off', size: 48 });
  const said = h('p.field-problem', { hidden: true });
  const go = async () => {
    const code = field.value.trim().split('#').pop() ?? '';
    if (await enter(code)) location.reload();
    else {
      said.textContent = 'This link has already been used. Use a new one.';
      said.hidden = false;
    }
  };
  const advice =
    'Each link works once. To get another, open “Series, single drop …” on a page that is already open and ' +
    'choose “Link for another device”. Or end `beamfall page` with Ctrl-C and start it again.';
  show(
    byId('main'),
    h(
      'div.view',
      h(
        'section.panel',
        h('h1', 'Open the page with a new link'),
        h('p', advice),
        form(go, { class: 'row' }, h('label', { for: 'code' }, 'Link'), field, h('button', 'Open')),
        said,
      ),
    ),
  );
}

async function start() {
  for (const [id, title] of VIEWS.filter(([id]) => !WITHIN[id]))
    byId('nav').append(h('a', { href: `#${id}` }, title));
  byId('nav').append(h('a', { href: '/handbook/', target: '_blank', rel: 'noopener' }, 'Handbook'));
  show(
    byId('tools'),
    makeButton(
      'connecting',
      () => emit('trouble', { text: byId('linkchip').title || 'No board is connected yet.', level: 'note' }),
      { class: 'link', id: 'linkchip', 'data-state': 'connecting' },
    ),
    makeSound(),
    makeLight(),
  );
  makeBar();
  startHands();
  hear('locked', showLocked);
  addEventListener('hashchange', route);
  hear('whole', () => {
    if (!started) {
      started = true;
      route();
    }
  });
  on(['link', 'board'], showLink);
  const code = location.hash.slice(1);
  if (/^[A-Za-z0-9_-]{40,}$/.test(code)) {
    history.replaceState(null, '', '/'); // the code leaves the address bar and the history
    await enter(code); // where it is used up, the cookie may still be valid
  }
  connect();
}
start();
