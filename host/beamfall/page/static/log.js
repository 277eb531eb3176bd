// The shot log: a table and a contact sheet. Only what is in sight is drawn, so 10,000 shots scroll like ten.

import { attempt, ready } from './bar.js';
import { makeChart } from './chart.js';
import { clock, fit, h, ms, number, show, us } from './dom.js';
import { act, get, hear, on, state } from './net.js';
import { makeStars } from './stars.js';

const ROW = 38,
  CELL_W = 208,
  CELL_H = 214,
  MORE = 6;
/** @type {ListedShot[]} */
let lines = [];
/** @type {ListedShot[]} */
let chosen = [];
/** @type {number | null} */
let selected = null;
/** @type {number[]} */
let marks = [];
let loaded = false;
/** @type {number | null} */
let openLater = null;
/** @type {{ open: (shot: number) => void } | null} */
let api = null;
/** Notes by shot, as typed and not saved yet; they outlive news and another view. @type {Map<number, string>} */
const drafts = new Map();
addEventListener('beforeunload', (event) => {
  if (drafts.size) event.preventDefault();
});

/** @type {Promise<void> | null} */
let newest = null;
/** Lines that come while the log is on its way: they may not be in it. @type {ListedShot[] | null} */
let news = null;
function load() {
  news ??= [];
  /** @type {Promise<void>} */
  const mine = read(() => mine);
  newest = mine;
  return mine;
}
/**
 * Shots, newest first, from the columns that the server sends.
 * @param {Record<string, any[]>} columns
 * @returns {ListedShot[]}
 */
function readLines(columns) {
  const names = Object.keys(columns);
  const at = (/** @type {number} */ n) =>
    /** @type {any} */ (Object.fromEntries(names.map((name) => [name, columns[name][n]])));
  return columns.shot.map((_, n) => at(n)).reverse();
}
/** @param {() => Promise<void>} self @returns {Promise<void>} */
async function read(self) {
  const content = await get('/shots');
  if (newest && newest !== self()) return newest; // asked for again meanwhile
  lines = readLines(content.lines);
  loaded = true;
  for (const line of news ?? []) put(line);
  news = null;
}
/** @param {ListedShot} line */
function merge(line) {
  news?.push(line);
  if (loaded) put(line);
}
/** @param {ListedShot} line */
function put(line) {
  const shot = line.shot,
    at = lines.findIndex((one) => one.shot === shot);
  if (at >= 0) lines[at] = line;
  else lines.unshift(line);
}

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
  const stateBox = h(
    'select',
    { id: 'log-state' },
    ['any state', 'fired', 'missed', 'fault', 'not-released', 'outcome unknown'].map((word, n) =>
      h('option', { value: n ? word : '' }, word),
    ),
  );
  const least = h(
    'select',
    { id: 'log-rating' },
    h('option', { value: '0' }, 'any rating'),
    [1, 2, 3, 4, 5].map((n) => h('option', { value: String(n) }, `${n} or better`)),
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
  const figure = h('span', { class: 'soft', role: 'status' });
  const asTable = h('button', { type: 'button', 'aria-pressed': 'true' }, 'Table'),
    asSheet = h('button', { type: 'button', 'aria-pressed': 'false' }, 'Contact sheet');
  const compareButton = h('button', { type: 'button', disabled: true }, 'Compare two');
  const COLUMNS = [
    ['shot', 'shot'],
    ['time', 'time'],
    ['state', 'state'],
    ['flash delay', 'delay'],
    ['spacing', 'spacing'],
    ['swept', 'swept'],
    ['rating', 'rating'],
    ['note', 'note'],
    ['compare', 'mark'],
  ];
  const head = h(
    'div',
    { class: 'loghead', role: 'row', 'aria-rowindex': '1' },
    COLUMNS.map(([title, kind]) => h('div', { class: `c-${kind}`, role: 'columnheader' }, title)),
  );
  const space = h('div', { class: 'logspace', role: 'presentation' });
  const scroller = h(
    'div',
    {
      class: 'logscroll',
      tabindex: '0',
      role: 'rowgroup',
      'aria-label': 'Shots; arrow keys move, Enter opens',
    },
    space,
  );
  const grid = h(
    'div',
    { class: 'loggrid', role: 'table', 'aria-label': 'Shots' },
    h('div', { role: 'rowgroup' }, head),
    scroller,
  );
  const detail = h(
    'aside',
    { class: 'panel detail', 'aria-label': 'Chosen shot' },
    h('p', { class: 'soft' }, 'Choose a shot.'),
  );
  const root = h('div', { class: 'view logview' });
  let sheet = false,
    /** @type {LogCell[]} */
    pool = [],
    columns = 1,
    pending = false;

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
          `${line.note} ${line.rig} ${line.swept} ${line.kind} ${line.port}`.toLowerCase().includes(words)),
    );
    figure.textContent = lines.length
      ? (chosen.length === lines.length ? '' : `${chosen.length} of `) +
        `${lines.length} ${lines.length === 1 ? 'shot' : 'shots'}`
      : 'no shots yet';
    grid.setAttribute('aria-rowcount', String(chosen.length + 1));
    layout();
  }

  // -- drawing only what is in sight ------------------------------------------------------------------------------
  function layout() {
    columns = sheet ? Math.max(1, Math.floor((scroller.clientWidth - 4) / CELL_W)) : 1;
    const rows = Math.ceil(chosen.length / columns);
    space.style.height = `${rows * (sheet ? CELL_H : ROW)}px`;
    for (const one of pool) one.at = -1;
    draw();
  }
  function draw() {
    pending = false;
    const size = sheet ? CELL_H : ROW;
    const top = Math.max(0, Math.floor(scroller.scrollTop / size) - MORE);
    const end = Math.min(
      Math.ceil(chosen.length / columns),
      Math.ceil((scroller.scrollTop + scroller.clientHeight) / size) + MORE,
    );
    const from = top * columns,
      to = Math.min(chosen.length, end * columns);
    const need = Math.max(0, to - from);
    while (pool.length < need) {
      const one = sheet ? makeCell() : makeRow();
      one.at = -1;
      pool.push(one);
      space.append(one.root);
    }
    // A line keeps its element while it is in sight: element = place modulo the pool.
    for (const one of pool) one.used = false;
    for (let at = from; at < to; at++) {
      const one = pool[at % pool.length];
      one.used = true;
      if (one.at !== at) {
        one.at = at;
        one.fill(chosen[at], at);
      }
      one.root.hidden = false;
    }
    for (const one of pool)
      if (!one.used) {
        one.root.hidden = true;
        one.at = -1;
      }
    scroller.toggleAttribute('data-ready', true);
  }
  scroller.addEventListener(
    'scroll',
    () => {
      if (!pending) {
        pending = true;
        requestAnimationFrame(draw);
      }
    },
    { passive: true },
  );
  const refill = () => {
    for (const one of pool) one.at = -1;
    draw();
  };
  function restart() {
    pool = [];
    show(space);
    layout();
  }

  function makeRow() {
    const cells = Object.fromEntries(
      COLUMNS.map(([, kind]) => [kind, h('div', { class: `c-${kind}`, role: 'cell' })]),
    );
    const mark = h('input', { type: 'checkbox', tabindex: '-1' });
    cells.mark.append(mark);
    const root = h('div', { class: 'logrow', role: 'row' }, Object.values(cells));
    /** @type {LogCell} */
    const one = {
      root,
      at: -1,
      shot: 0,
      used: false,
      fill(line, at) {
        const shot = line.shot;
        root.style.transform = `translateY(${at * ROW}px)`;
        root.setAttribute('aria-rowindex', String(at + 2));
        root.classList.toggle('chosen', shot === selected);
        one.shot = shot;
        cells.shot.textContent = String(shot);
        cells.time.textContent = clock(line.time).slice(5);
        cells.state.textContent = `${SIGNS[line.state] ?? '·'} ${line.state}`;
        cells.state.dataset.state = line.state;
        cells.delay.textContent = ms(line.delay_ms);
        cells.spacing.textContent = ms(line.spacing_ms);
        cells.swept.textContent = line.swept;
        cells.rating.textContent = line.rating ? '★'.repeat(line.rating) : '–';
        cells.rating.setAttribute('aria-label', line.rating ? `${line.rating} of 5` : 'not rated');
        cells.note.textContent = line.note;
        mark.checked = marks.includes(shot);
        mark.setAttribute('aria-label', `Compare shot ${shot}`);
      },
    };
    mark.addEventListener('click', (event) => {
      event.stopPropagation();
      toggleMark(one.shot);
    });
    root.addEventListener('click', () => open(one.shot));
    return one;
  }
  function makeCell() {
    const image = h('img', { alt: '', width: 192, height: 150, decoding: 'async' }),
      blank = h('div', { class: 'blank' }, 'no picture'),
      words = h('p', {}),
      stars = h('p', { class: 'soft' });
    const root = h(
      'div',
      { class: 'cell', role: 'row' },
      h('div', { role: 'cell' }, h('div', { class: 'pic' }, image, blank), words, stars),
    );
    /** @type {LogCell} */
    const one = {
      root,
      at: -1,
      shot: 0,
      used: false,
      fill(line, at) {
        const shot = line.shot;
        one.shot = shot;
        root.style.transform = `translate(${(at % columns) * CELL_W}px, ${Math.floor(at / columns) * CELL_H}px)`;
        root.setAttribute('aria-rowindex', String(at + 2));
        root.classList.toggle('chosen', shot === selected);
        const has = Boolean(line.picture);
        image.hidden = !has;
        blank.hidden = has;
        const source = `/shots/${shot}/picture?small`;
        if (has && image.getAttribute('src') !== source) image.setAttribute('src', source);
        image.alt = `Shot ${shot}`;
        words.textContent = `${shot} · ${line.state}${line.swept ? ` · ${line.swept}` : ''}`;
        stars.textContent = `${line.rating ? '★'.repeat(line.rating) : ''} ${line.note}`.trim();
      },
    };
    root.addEventListener('click', () => open(one.shot));
    return one;
  }

  // -- choosing, comparing -----------------------------------------------------------------------------------------
  function toggleMark(/** @type {number} */ shot) {
    marks = marks.includes(shot) ? marks.filter((one) => one !== shot) : [...marks, shot].slice(-2);
    compareButton.disabled = marks.length !== 2;
    compareButton.textContent =
      marks.length === 2 ? `Compare ${Math.min(...marks)} and ${Math.max(...marks)}` : 'Compare two';
    refill();
  }
  function open(/** @type {number} */ shot, { scroll = false } = {}) {
    selected = shot;
    history.replaceState(null, '', `#log/${shot}`);
    if (scroll) bringUp(shot);
    refill();
    showDetail(shot);
  }
  function bringUp(/** @type {number} */ shot) {
    const at = chosen.findIndex((line) => line.shot === shot);
    if (at < 0) return;
    const size = sheet ? CELL_H : ROW,
      y = Math.floor(at / columns) * size;
    if (y < scroller.scrollTop || y + size > scroller.scrollTop + scroller.clientHeight)
      scroller.scrollTop = y - scroller.clientHeight / 3;
  }
  scroller.addEventListener('keydown', (event) => {
    const here = chosen.findIndex((line) => line.shot === selected);
    const page = Math.max(1, Math.floor(scroller.clientHeight / (sheet ? CELL_H : ROW)) - 1) * columns;
    const to = {
      ArrowDown: here + columns,
      ArrowUp: here - columns,
      ArrowRight: sheet ? here + 1 : null,
      ArrowLeft: sheet ? here - 1 : null,
      PageDown: here + page,
      PageUp: here - page,
      Home: 0,
      End: chosen.length - 1,
    }[event.key];
    if (event.key === ' ' || event.key === 'm') {
      if (selected !== null) {
        event.preventDefault();
        toggleMark(selected);
      }
      return;
    }
    if (to === undefined || to === null || !chosen.length) return;
    event.preventDefault();
    open(chosen[Math.min(Math.max(to, 0), chosen.length - 1)].shot, { scroll: true });
  });
  compareButton.addEventListener('click', () => attempt(showCompare(Math.min(...marks), Math.max(...marks))));

  let asked = 0;
  async function showDetail(/** @type {number} */ shot) {
    const mine = ++asked;
    root.toggleAttribute('data-comparing', false);
    try {
      const content = await get(`/shots/${shot}`);
      if (mine !== asked) return;
      // Whoever is at work in the panel must not lose the place: the next letter would be a key of the page.
      if (detail.dataset.shot === String(shot) && detail.contains(document.activeElement))
        addPicture(content);
      else fillDetail(content);
    } catch (error) {
      if (mine === asked) {
        detail.dataset.shot = '';
        show(
          detail,
          h('p', { class: 'field-problem' }, error instanceof Error ? error.message : String(error)),
        );
      }
    }
  }
  const makeShotPicture = (/** @type {ShotDetail} */ content) =>
    h(
      'div',
      { class: 'pic' },
      h('img', {
        src: `/shots/${content.line.shot}/picture`,
        alt: `Shot ${content.line.shot}${content.seen ? `, simulated: ${content.seen}` : ''}`,
      }),
    );
  function addPicture(/** @type {ShotDetail} */ content) {
    if (content.line.picture && !detail.querySelector(':scope > .pic'))
      detail.querySelector('#again')?.closest('.row')?.before(makeShotPicture(content));
  }
  function fillDetail(/** @type {ShotDetail} */ content) {
    const line = content.line,
      shot = line.shot;
    const note = h('textarea', {
      id: 'note',
      rows: 2,
      maxlength: 2000,
      value: drafts.get(shot) ?? line.note,
    });
    const said = h(
      'span',
      { class: 'soft small', role: 'status', id: 'note-state' },
      drafts.has(shot) ? 'not saved yet' : null,
    );
    note.addEventListener('input', () => {
      drafts.set(shot, note.value);
      said.textContent = 'not saved yet';
    });
    const keepNote = async () => {
      const text = note.value;
      await act('note', { shot, text });
      if ((drafts.get(shot) ?? text) === text) {
        drafts.delete(shot);
        said.textContent = 'saved';
      }
    };
    const timeline = makeChart({ label: `Timeline of shot ${shot}` });
    const times = h('input', { type: 'number', value: 1, min: 1, max: 100, 'aria-label': 'How many times' });
    const again = h(
      'button',
      {
        type: 'button',
        id: 'again',
        disabled: !ready(),
        on: { click: () => attempt(act('repeat', { shot, count: Number(times.value) || 1 })) },
      },
      'Fire it again',
    );
    const facts = [
      ['state', `${line.state}${line.cause ? ` (${line.cause})` : ''}`],
      ['time', clock(line.time)],
      ['series', `${line.series} (${line.kind}), number ${line.number}`],
      ['flash', line.delay_ms === null ? '–' : `${ms(line.delay_ms, 3)} after ${line.anchor}`],
      ['spacing', ms(line.spacing_ms, 3)],
      ['swept', line.swept || '–'],
      ['rig', line.rig ?? '–'],
      ['board', `${content.board.name}, firmware ${content.board.firmware}, ${content.board.timing}`],
      ['seed', content.seed === null ? '–' : String(content.seed)],
    ];
    detail.dataset.shot = String(shot);
    show(
      detail,
      h('div', { class: 'row spread' }, h('h2', {}, `Shot ${shot}`), makeStars(shot, line.rating)),
      content.unknown
        ? h(
            'p',
            { class: 'caution' },
            'Beamfall ended before the board reported. The shot may or may not have fired.',
          )
        : null,
      line.picture ? makeShotPicture(content) : null,
      content.picture_file ? h('p', { class: 'soft small' }, content.picture_file) : null,
      h(
        'div',
        { class: 'row' },
        again,
        times,
        h('button', { type: 'button', on: { click: () => toggleMark(shot) } }, 'Mark to compare'),
      ),
      h('label', { for: 'note' }, 'Note'),
      note,
      h(
        'div',
        { class: 'row' },
        h('button', { type: 'button', on: { click: () => attempt(keepNote()) } }, 'Save the note'),
        said,
      ),
      h(
        'dl',
        {},
        facts.map(([name, value]) => [h('dt', {}, name), h('dd', {}, value)]),
      ),
      timeline.buttons,
      timeline.box,
      timeline.legend,
      h(
        'details',
        {},
        h('summary', {}, `Every edge, planned and measured (${content.edges.length})`),
        h(
          'table',
          { class: 'plain' },
          h(
            'thead',
            {},
            h(
              'tr',
              {},
              ['signal', 'edge', 'planned', 'measured', 'difference', 'source'].map((name) =>
                h('th', { scope: 'col' }, name),
              ),
            ),
          ),
          h(
            'tbody',
            {},
            content.edges.map((/** @type {ShotEdge} */ edge) =>
              h(
                'tr',
                {},
                h('th', { scope: 'row' }, edge.what),
                h('td', {}, edge.edge),
                h('td', {}, ms(edge.planned_ms, 4)),
                h('td', {}, ms(edge.measured_ms, 4)),
                h(
                  'td',
                  {},
                  edge.planned_ms === null || edge.measured_ms === null
                    ? '–'
                    : us((edge.measured_ms - edge.planned_ms) * 1e3),
                ),
                h('td', {}, edge.measured_ms === null ? 'not seen' : edge.source),
              ),
            ),
          ),
        ),
      ),
      h('div', { id: 'repeated' }),
    );
    timeline.update(content.timeline);
    showRepeated();
  }
  function showRepeated() {
    const box = detail.querySelector('#repeated'),
      job = state.job;
    if (!box) return;
    const button = detail.querySelector('#again');
    if (button instanceof HTMLButtonElement) button.disabled = !ready();
    if (job?.kind !== 'repeat' || !job.result || job.result.of_shot !== selected) {
      show(box);
      return;
    }
    show(box, h('h3', {}, 'Fired again: then and now'), makeChanges(job.result.edges));
  }
  on(['job', 'link'], showRepeated);
  async function showCompare(/** @type {number} */ first, /** @type {number} */ second) {
    const mine = ++asked;
    const content = await get(`/compare/${first}/${second}`);
    if (mine !== asked) return;
    detail.dataset.shot = '';
    root.toggleAttribute('data-comparing', true);
    const sides = [content.first, content.second].map((one) => {
      const timeline = makeChart({ label: `Timeline of shot ${one.line.shot}` });
      return { one, timeline };
    });
    show(
      detail,
      h('h2', {}, `Shots ${first} and ${second}`),
      h(
        'div',
        { class: 'pair' },
        sides.map(({ one }) =>
          h(
            'figure',
            {},
            one.line.picture
              ? h(
                  'div',
                  { class: 'pic' },
                  h('img', {
                    src: `/shots/${one.line.shot}/picture?small`,
                    alt: `Shot ${one.line.shot}`,
                  }),
                )
              : h('div', { class: 'blank' }, 'no picture'),
            h(
              'figcaption',
              {},
              `${one.line.shot}: ${one.line.state}, flash ${ms(one.line.delay_ms)}, spacing ${ms(one.line.spacing_ms)}`,
            ),
          ),
        ),
      ),
      sides.map(({ one, timeline }) => [
        h('h3', {}, `Shot ${one.line.shot}`),
        timeline.buttons,
        timeline.box,
        timeline.legend,
      ]),
      makeChanges(content.edges),
    );
    for (const { one, timeline } of sides) timeline.update(one.timeline);
  }

  // -- life -----------------------------------------------------------------------------------------------------
  for (const one of [find, series]) one.addEventListener('input', filter);
  for (const one of [stateBox, least, pictured]) one.addEventListener('change', filter);
  const turn = (/** @type {boolean} */ is) => {
    sheet = is;
    asTable.setAttribute('aria-pressed', String(!is));
    asSheet.setAttribute('aria-pressed', String(is));
    grid.classList.toggle('sheeted', is);
    scroller.scrollTop = 0;
    restart();
  };
  asTable.addEventListener('click', () => turn(false));
  asSheet.addEventListener('click', () => turn(true));
  const shown = (/** @type {number} */ shot) => shot === selected && !root.hasAttribute('data-comparing');
  hear('line', ({ line }) => {
    merge(line);
    filter();
    if (!shown(line.shot)) return;
    if (!detail.contains(document.activeElement)) showDetail(line.shot);
    else {
      const stars = detail.querySelector('.stars');
      stars?.replaceWith(makeStars(line.shot, line.rating));
    }
  });
  hear('picture', ({ shot }) => {
    const line = lines.find((one) => one.shot === shot);
    if (line) {
      line.picture ??= 'simulated';
      refill();
    }
    if (shown(shot)) showDetail(shot);
  });
  hear('whole', () => attempt(load().then(filter))); // after a time without the server
  fit(scroller, layout);
  attempt(
    load().then(() => {
      filter();
      api = {
        open: (/** @type {number} */ shot) => {
          if (shot !== selected) open(shot, { scroll: true });
        },
      };
      if (openLater !== null) api.open(openLater);
      else if (chosen.length) open(chosen[0].shot);
    }),
  );
  root.append(
    h(
      'section',
      { class: 'panel loglist' },
      h(
        'div',
        { class: 'row filters' },
        h('div', { class: 'row', role: 'group', 'aria-label': 'How the shots are shown' }, asTable, asSheet),
        h('label', { for: 'log-find' }, 'Find'),
        find,
        h('label', { class: 'unseen', for: 'log-state' }, 'State'),
        stateBox,
        h('label', { class: 'unseen', for: 'log-rating' }, 'Rating'),
        least,
        h('label', { for: 'log-series' }, 'Series'),
        series,
        h('label', { class: 'tick' }, pictured, ' with a picture'),
        compareButton,
        figure,
      ),
      grid,
    ),
    detail,
  );
  return root;
}

/** @type {Record<string, string>} */
const SIGNS = { fired: '●', missed: '○', fault: '▲', 'not-released': '–', 'outcome unknown': '?' };

function makeChanges(/** @type {any[]} */ edges) {
  const micro = (/** @type {number | null} */ value) => ms(value === null ? null : value / 1e3, 4);
  return h(
    'table',
    { class: 'plain' },
    h(
      'thead',
      {},
      h(
        'tr',
        {},
        ['signal', 'edge', 'first', 'second', 'difference', 'scatter', ''].map((name) =>
          h('th', { scope: 'col' }, name),
        ),
      ),
    ),
    h(
      'tbody',
      {},
      edges.map((/** @type {any} */ one) =>
        h(
          'tr',
          {},
          h('th', { scope: 'row' }, one.what),
          h('td', {}, `${one.edge} ${one.ordinal}`),
          h('td', {}, micro(one.then_us)),
          h('td', {}, micro(one.now_us)),
          h('td', {}, us(one.difference_us)),
          h('td', {}, one.scatter_us === null ? '–' : `${number(one.scatter_us, 1)} µs`),
          h('td', {}, one.moved === null ? '' : one.moved ? '▲ moved' : 'same'),
        ),
      ),
    ),
  );
}
