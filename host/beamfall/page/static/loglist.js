// The list of the shot log, as a table or a contact sheet. Only what is in sight is drawn.

import { clock, fit, h, ms, plain, show } from './dom.js';

const ROW = 38,
  NOTED = 62, // where shots have notes: these stand in a second line, with the width of the list
  CELL_W = 208,
  CELL_H = 214,
  MORE = 6;
/** @type {Record<string, string>} */
const SIGNS = { fired: '●', missed: '○', fault: '▲', 'not-released': '–', 'outcome unknown': '?' };

/**
 * The list. `show` takes the shots to list, `refill` draws them again, `bringUp` scrolls to one.
 * @param {{ selected: number | null, marks: number[] }} picked
 * @param {{
 *   open: (shot: number, how?: { scroll?: boolean, wanted?: boolean }) => void,
 *   toggleMark: (shot: number) => void,
 * }} act
 */
export function makeList(picked, { open, toggleMark }) {
  const COLUMNS = [
    ['shot', 'shot'],
    ['time', 'time'],
    ['state', 'state'],
    ['flash delay', 'delay'],
    ['spacing', 'spacing'],
    ['fired for', 'purpose'],
    ['rating', 'rating'],
    ['note', 'note'],
    ['compare', 'mark'],
  ];
  const head = h(
    'div.loghead',
    { role: 'row', 'aria-rowindex': '1' },
    COLUMNS.map(([title, kind]) =>
      h('div', { class: kind === 'note' ? 'unseen' : `c-${kind}`, role: 'columnheader' }, title),
    ),
  );
  const space = h('div.logspace', { role: 'presentation' });
  const scroller = h(
    'div.logscroll',
    { tabindex: '0', role: 'rowgroup', 'aria-label': 'Shots; arrow keys move, Enter opens' },
    space,
  );
  const grid = h(
    'div.loggrid',
    { role: 'table', 'aria-label': 'Shots' },
    h('div', { role: 'rowgroup' }, head),
    scroller,
  );
  let sheet = false,
    /** @type {ListedShot[]} */
    chosen = [],
    /** @type {LogCell[]} */
    pool = [],
    row = ROW,
    columns = 1,
    pending = false;

  function layout() {
    columns = sheet ? Math.max(1, Math.floor((scroller.clientWidth - 4) / CELL_W)) : 1;
    const rows = Math.ceil(chosen.length / columns);
    space.style.height = `${rows * (sheet ? CELL_H : row)}px`;
    for (const one of pool) one.at = -1;
    draw();
  }
  function draw() {
    pending = false;
    const size = sheet ? CELL_H : row;
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
    const root = h('div.logrow', { role: 'row' }, Object.values(cells));
    /** @type {LogCell} */
    const one = {
      root,
      at: -1,
      shot: 0,
      used: false,
      fill(line, at) {
        const shot = line.shot;
        root.style.transform = `translateY(${at * row}px)`;
        root.setAttribute('aria-rowindex', String(at + 2));
        root.classList.toggle('chosen', shot === picked.selected);
        one.shot = shot;
        cells.shot.textContent = String(shot);
        cells.time.textContent = clock(line.time).slice(5);
        cells.state.textContent = `${SIGNS[line.state] ?? '·'} ${line.state}`;
        cells.state.dataset.state = line.state;
        cells.delay.textContent = ms(line.delay_ms);
        cells.spacing.textContent = ms(line.spacing_ms);
        cells.purpose.textContent = plain(line.purpose);
        cells.rating.textContent = line.rating ? '★'.repeat(line.rating) : '–';
        cells.rating.setAttribute('aria-label', line.rating ? `${line.rating} of 5` : 'not rated');
        cells.note.textContent = cells.note.title = plain(line.note);
        mark.checked = picked.marks.includes(shot);
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
      blank = h('div.blank', 'no picture'),
      words = h('p'),
      stars = h('p.soft');
    const root = h(
      'div.cell',
      { role: 'row' },
      h('div', { role: 'cell' }, h('div.pic', image, blank), words, stars),
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
        root.classList.toggle('chosen', shot === picked.selected);
        const has = Boolean(line.picture);
        image.hidden = !has;
        blank.hidden = has;
        const source = `/shots/${shot}/picture?small`;
        if (has && image.getAttribute('src') !== source) image.setAttribute('src', source);
        image.alt = `Shot ${shot}`;
        words.textContent = plain(`${shot} · ${line.state}${line.purpose ? ` · ${line.purpose}` : ''}`);
        stars.textContent = plain(`${line.rating ? '★'.repeat(line.rating) : ''} ${line.note}`.trim());
      },
    };
    root.addEventListener('click', () => open(one.shot));
    return one;
  }

  function bringUp(/** @type {number} */ shot) {
    const at = chosen.findIndex((line) => line.shot === shot);
    if (at < 0) return;
    const size = sheet ? CELL_H : row,
      y = Math.floor(at / columns) * size;
    if (y < scroller.scrollTop || y + size > scroller.scrollTop + scroller.clientHeight)
      scroller.scrollTop = y - scroller.clientHeight / 3;
  }
  scroller.addEventListener('keydown', (event) => {
    const here = chosen.findIndex((line) => line.shot === picked.selected);
    const page = Math.max(1, Math.floor(scroller.clientHeight / (sheet ? CELL_H : row)) - 1) * columns;
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
      if (picked.selected !== null) {
        event.preventDefault();
        toggleMark(picked.selected);
      }
      return;
    }
    if (to === undefined || to === null || !chosen.length) return;
    event.preventDefault();
    open(chosen[Math.min(Math.max(to, 0), chosen.length - 1)].shot, { scroll: true, wanted: false });
  });
  fit(scroller, layout);
  return {
    root: grid,
    refill,
    bringUp,
    show(/** @type {ListedShot[]} */ fresh) {
      chosen = fresh;
      const noted = chosen.some((line) => line.note);
      row = noted ? NOTED : ROW;
      grid.classList.toggle('noted', noted);
      grid.setAttribute('aria-rowcount', String(chosen.length + 1));
      layout();
    },
    turn(/** @type {boolean} */ is) {
      sheet = is;
      grid.classList.toggle('sheeted', is);
      scroller.scrollTop = 0;
      restart();
    },
  };
}
