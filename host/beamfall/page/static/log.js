// The shot log: filters, the list and the panel of the chosen shot. 10,000 shots scroll like ten.

import { h, select } from './dom.js';
import { makeDetail } from './logdetail.js';
import { lines, load, merge } from './loglines.js';
import { makeList } from './loglist.js';
import { hear } from './net.js';
import { attempt } from './press.js';

/** @type {number | null} */
let openLater = null;
/** @type {{ open: (shot: number) => void } | null} */
let api = null;

/** @param {number | null} shot */
export function openShot(shot) {
  if (!api) {
    openLater = shot;
    return;
  }
  if (shot !== null) api.open(shot);
}

export function makeLog() {
  const find = h('input', { type: 'search', id: 'log-find', placeholder: 'notes, rigs', maxlength: 80 });
  const stateBox = select(
    [['', 'any state'], 'fired', 'missed', 'fault', 'not-released', 'outcome unknown'],
    { id: 'log-state' },
  );
  const least = select(
    ['any rating', '1 or better', '2 or better', '3 or better', '4 or better', '5 or better'].map(
      (words, n) => [String(n), words],
    ),
    { id: 'log-rating' },
  );
  const series = h('input', {
    type: 'text',
    id: 'log-series',
    placeholder: 'all',
    size: 5,
    maxlength: 8,
    inputmode: 'numeric',
  });
  const pictured = h('input', { type: 'checkbox', id: 'log-pictured' });
  const figure = h('span.soft', { role: 'status' });
  const asTable = h('button', { type: 'button', 'aria-pressed': 'true' }, 'Table'),
    asSheet = h('button', { type: 'button', 'aria-pressed': 'false' }, 'Contact sheet');
  const compareButton = h('button', { type: 'button', disabled: true }, 'Compare two');
  const root = h('div.view.logview');
  /** @type {{ selected: number | null, marks: number[] }} */
  const picked = { selected: null, marks: [] };
  /** @type {ListedShot[]} */
  let chosen = [];
  const list = makeList(picked, { open, toggleMark });
  const detail = makeDetail({
    toggleMark,
    comparing: (is) => root.toggleAttribute('data-comparing', is),
  });

  // -- filter: which of the lines are shown --------------------------------------------------------------------
  function filter() {
    const words = find.value.trim().toLowerCase(),
      wantedSeries = series.value.trim(),
      min = Number(least.value),
      wanted = stateBox.value;
    chosen = lines.filter(
      (line) =>
        (!wanted || line.state === wanted) &&
        (!min || (line.rating ?? 0) >= min) &&
        (!wantedSeries || String(line.series) === wantedSeries) &&
        (!pictured.checked || line.picture) &&
        (!words ||
          `${line.note} ${line.rig} ${line.purpose} ${line.kind} ${line.port}`.toLowerCase().includes(words)),
    );
    figure.textContent = lines.length
      ? (chosen.length === lines.length ? '' : `${chosen.length} of `) +
        `${lines.length} ${lines.length === 1 ? 'shot' : 'shots'}`
      : 'no shots yet';
    list.show(chosen);
  }

  // -- choosing, comparing -----------------------------------------------------------------------------------------
  function toggleMark(/** @type {number} */ shot) {
    picked.marks = picked.marks.includes(shot)
      ? picked.marks.filter((one) => one !== shot)
      : [...picked.marks, shot].slice(-2);
    compareButton.disabled = picked.marks.length !== 2;
    compareButton.textContent =
      picked.marks.length === 2
        ? `Compare ${Math.min(...picked.marks)} and ${Math.max(...picked.marks)}`
        : 'Compare two';
    list.refill();
  }
  function open(/** @type {number} */ shot, { scroll = false, wanted = true } = {}) {
    picked.selected = shot;
    history.replaceState(null, '', `#log/${shot}`);
    if (scroll) list.bringUp(shot);
    list.refill();
    detail.showDetail(shot).then(() => {
      // Where the panel lies below the list, a press must not seem to do nothing.
      const below = detail.root.getBoundingClientRect().top > innerHeight / 2;
      if (wanted && below) detail.root.scrollIntoView({ block: 'start' });
    });
  }
  compareButton.addEventListener('click', () =>
    attempt(detail.showCompare(Math.min(...picked.marks), Math.max(...picked.marks))),
  );

  // -- life -----------------------------------------------------------------------------------------------------
  for (const one of [find, series]) one.addEventListener('input', filter);
  for (const one of [stateBox, least, pictured]) one.addEventListener('change', filter);
  const turn = (/** @type {boolean} */ is) => {
    asTable.setAttribute('aria-pressed', String(!is));
    asSheet.setAttribute('aria-pressed', String(is));
    list.turn(is);
  };
  asTable.addEventListener('click', () => turn(false));
  asSheet.addEventListener('click', () => turn(true));
  const shown = (/** @type {number} */ shot) =>
    shot === picked.selected && !root.hasAttribute('data-comparing');
  hear('line', ({ line }) => {
    merge(line);
    filter();
    if (shown(line.shot)) detail.takeNews(line);
  });
  hear('picture', ({ shot }) => {
    const line = lines.find((one) => one.shot === shot);
    if (line) {
      line.picture ??= 'simulated';
      list.refill();
    }
    if (shown(shot)) detail.showDetail(shot);
  });
  hear('whole', () => attempt(load().then(filter))); // after a time without the server
  attempt(
    load().then(() => {
      filter();
      api = {
        open: (/** @type {number} */ shot) => {
          if (shot !== picked.selected) open(shot, { scroll: true });
        },
      };
      if (openLater !== null) api.open(openLater);
      else if (chosen.length) open(chosen[0].shot, { wanted: false });
    }),
  );
  root.append(
    h(
      'section.panel.loglist',
      h(
        'div.row.filters',
        h('div.row', { role: 'group', 'aria-label': 'How the shots are shown' }, asTable, asSheet),
        h('label', { for: 'log-find' }, 'Find'),
        find,
        h('label.unseen', { for: 'log-state' }, 'State'),
        stateBox,
        h('label.unseen', { for: 'log-rating' }, 'Rating'),
        least,
        h('label', { for: 'log-series' }, 'Series'),
        series,
        h('label.tick', pictured, ' with a picture'),
        compareButton,
        h('a.button', { href: '#recipes' }, 'Recipes'),
        figure,
      ),
      list.root,
    ),
    detail.root,
  );
  return root;
}
