// The table by hand: each row a bar that is dragged, stepped or typed, with undo. The server keeps it and says what the
// board's limits allow; nothing is judged here.

import { makeChart } from './chart.js';
import { h, select, show, write } from './dom.js';
import { field, fill, text, watchField } from './forms.js';
import { act, on, state } from './net.js';
import { attempt, makeButton } from './press.js';
import { makeChosen } from './tablerow.js';

const UNDO_HELP =
  'Drag a bar to move it, or its right end to change how long it lasts. Pinch, or press + and −, to zoom. In ' +
  'the fields, the arrow keys add or subtract one step. Ctrl+Z undoes.';

/** @param {number} ms */
const inMs = (ms) => `${Number(ms.toFixed(6))} ms`;

export function makeTable() {
  const chosen = makeChosen();
  const chart = makeChart({
    label: 'The table by hand',
    empty: 'The table starts from the plan, which is still being calculated.',
    grab: makeGrab(chosen.choose, showTable),
  });
  const problems = h('div.problems', { role: 'status', 'aria-live': 'polite' });
  const rows = h('ol.tablerows', { 'aria-label': 'Rows' });
  const undo = makeButton('Undo', () => act('table_undo'));
  const redo = makeButton('Redo', () => act('table_redo'));
  const use = makeButton('Use this table', () => act('table_use', { on: !state.table?.in_use }));
  const used = h('span.soft');

  /** Show the table, or what it would be while a bar is dragged. @param {TableState | null | undefined} table */
  function showTable(table) {
    chart.update(table?.chart);
    show(
      problems,
      table?.problems.map((one) => h('p.field-problem', one.text)),
      table?.caution ? h('p.caution', `Caution: ${table.caution}.`) : null,
    );
    if (table) chosen.update(table);
    chart.mark(chosen.row() - 1);
  }
  function showRows() {
    const table = state.table;
    const wrong = new Set(table?.problems.map((one) => one.row));
    show(
      rows,
      table?.rows.map((row, n) =>
        h(
          'li',
          h(
            'button',
            {
              type: 'button',
              class: wrong.has(n + 1) ? 'wrong' : '',
              'aria-pressed': String(chosen.row() === n + 1),
              on: { click: () => chosen.choose(n + 1) },
            },
            h('b', row.label),
            ` ${row.where} + ${row.delay}, for ${row.width}`,
            wrong.has(n + 1) ? ' – not allowed' : '',
          ),
        ),
      ),
    );
  }
  chosen.hear(() => {
    showRows();
    showTable(state.table);
  });
  on('table', () => {
    const table = state.table;
    undo.disabled = !table?.can_undo;
    redo.disabled = !table?.can_redo;
    use.disabled = !table;
    use.setAttribute('aria-pressed', String(table?.in_use ?? false));
    used.textContent = table?.in_use ? 'Arm uses this table.' : 'Arm uses the plan.';
    showTable(table);
    showRows();
  });
  const root = h(
    'div.view.by-hand',
    h(
      'section.panel.p-table',
      h('div.row.spread', h('div.row', undo, redo, use, used), chart.buttons),
      chart.box,
      problems,
      chosen.root,
      chart.legend,
    ),
    h('section.panel', h('h2', 'Rows'), rows, makeAdd()),
    h('section.panel', h('h2', 'The whole table'), makeWhole(), makeSources()),
    h('p.small.soft', UNDO_HELP),
  );
  listenForUndo(root);
  return root;
}

/**
 * What dragging does: the server is asked what the table would be, the newest value first, and told at the end.
 * @param {(row: number) => void} choose
 * @param {(table: TableState | null | undefined) => void} show
 */
function makeGrab(choose, show) {
  let row = 0,
    part = '',
    first = 0,
    /** @type {string | null} */
    wanted = null,
    asked = '',
    sending = false;
  async function look() {
    if (sending) return;
    sending = true;
    while (row && wanted !== null && wanted !== asked) {
      asked = wanted;
      try {
        const would = await act('table_look', { row, field: part, text: asked });
        if (row) show(would);
      } catch {
        break; // the end of the drag says what is wrong
      }
    }
    sending = false;
  }
  return {
    start: (/** @type {number} */ handle, /** @type {string} */ which) => {
      const held = state.table?.rows[handle];
      if (!held) return;
      row = handle + 1;
      part = which;
      first = which === 'width' ? held.width_ms : held.delay_ms;
      wanted = null;
      asked = '';
      choose(row);
    },
    move: (/** @type {number} */ ms, /** @type {number} */ pixel) => {
      const grid = 10 ** Math.floor(Math.log10(Math.max(pixel, 1e-5)));
      wanted = inMs(Math.max(0, Math.round((first + ms) / grid) * grid));
      look();
    },
    end: (/** @type {boolean} */ kept) => {
      const change = { row, field: part, text: wanted };
      row = 0;
      if (kept && wanted !== null) attempt(act('table_set', change)).then(() => show(state.table));
      else show(state.table);
    },
  };
}

// -- the whole table -----------------------------------------------------------------------------------------------
function makeAdd() {
  const output = h('select');
  on('table', () =>
    fill(output, state.table?.outputs.map((one) => [one.name, one.label]) ?? [], output.value || 'valve1'),
  );
  const add = makeButton('Add a row', () => act('table_add', { output: output.value }));
  return h('div.row', field('Output of a new row', output), add);
}

function makeWhole() {
  const box = h('div.fields');
  /** @type {Map<string, HTMLInputElement | HTMLSelectElement>} */
  let inputs = new Map();
  on('table', () => {
    const whole = state.table?.whole ?? [];
    if (whole.map((one) => one.key).join() !== [...inputs.keys()].join()) {
      inputs = new Map(
        whole.map(({ key, options }) => {
          const input = options ? select(options) : text('');
          input.addEventListener('change', () =>
            watchField(input, act('table_set', { row: 0, field: key, text: input.value })),
          );
          return [key, input];
        }),
      );
      show(
        box,
        [...inputs].map(([key, input]) => {
          const labelled = field(key[0].toUpperCase() + key.slice(1), input);
          labelled.classList.toggle('wide', key === 'name');
          return labelled;
        }),
      );
    }
    for (const { key, value } of whole) {
      const input = inputs.get(key);
      if (input && document.activeElement !== input) write(input, value);
    }
  });
  return box;
}

function makeSources() {
  const file = h('input', { type: 'file', accept: '.toml', hidden: true, 'aria-label': 'Sequence file' });
  file.addEventListener('change', () => {
    const [chosen] = file.files ?? [];
    if (chosen) attempt(chosen.text().then((content) => act('table_read', { text: content })));
    file.value = '';
  });
  const shot = makeButton('Start from the last shot', () =>
    act('table_from_shot', { shot: state.shot?.shot }),
  );
  on('shot', () => {
    shot.disabled = !state.shot;
  });
  return h(
    'div.row',
    makeButton('Start from the plan', () => act('table_from_plan')),
    shot,
    makeButton('Open a sequence file', () => file.click()),
    file,
    h('a.button', { href: '/sequence.toml', download: '' }, 'Save as a sequence file'),
  );
}

/** The button under a shot that puts its sequence into the table. @param {number} shot */
export function makeEdit(shot) {
  const edit = async () => {
    await act('table_from_shot', { shot });
    location.hash = '#table';
  };
  return h('div.row', makeButton('Edit as a table', edit));
}

/** @param {Element} root */
function listenForUndo(root) {
  addEventListener('keydown', (event) => {
    if (!root.isConnected || !(event.ctrlKey || event.metaKey) || event.altKey) return;
    if (event.target instanceof HTMLInputElement) return; // it undoes its own typing
    const key = event.key.toLowerCase();
    const redo = key === 'y' || (key === 'z' && event.shiftKey);
    if (!redo && key !== 'z') return;
    event.preventDefault();
    if (redo ? state.table?.can_redo : state.table?.can_undo)
      attempt(act(redo ? 'table_redo' : 'table_undo'));
  });
}
