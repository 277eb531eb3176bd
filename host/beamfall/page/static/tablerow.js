// The chosen row of the table by hand: its output, what it follows, its times typed or stepped, and a sweep of one.

import { h, select, watchTyping, write } from './dom.js';
import { field, fill, makeBegin, text } from './forms.js';
import { act } from './net.js';
import { attempt, makeButton } from './press.js';
import { makeProblem } from './problem.js';

const STEPS = ['0.01 ms', '0.1 ms', '0.5 ms', '1 ms', '10 ms'];

export function makeChosen() {
  let row = 0, // 0: none yet; then the first flash
    /** @type {() => void} */
    told = () => {};
  const title = h('h2');
  const output = h('select');
  const anchor = h('select');
  const step = select(STEPS);
  step.value = '0.5 ms';
  const set = (/** @type {string} */ name, /** @type {string} */ value) =>
    act('table_set', { row, field: name, text: value });
  output.addEventListener('change', () => attempt(set('output', output.value)));
  anchor.addEventListener('change', () => attempt(set('anchor', anchor.value)));
  const times = ['delay', 'width'].map((name) => makeTime(name, () => row, step, set));
  const remove = makeButton('Remove this row', () => act('table_remove', { row }));
  const copy = makeButton('Add one after it', async () => {
    await act('table_copy', { row });
    choose(row + 1);
  });
  const root = h(
    'fieldset.onerow',
    title,
    h('div.steps', times),
    h('div.fields', field('Step', step), field('Output', output), field('Follows', anchor)),
    h('div.row', copy, remove),
    makeRowSweep(() => row),
  );

  /** @param {number} next */
  function choose(next) {
    row = next;
    told();
  }
  /** @param {TableState} table */
  function update(table) {
    if (!row) row = table.rows.findIndex((one) => one.kind === 'flash') + 1;
    row = Math.max(1, Math.min(row, table.rows.length));
    const now = table.rows[row - 1];
    title.textContent = `Row ${row}: ${now.label}`;
    fill(
      output,
      table.outputs.map((one) => [one.name, one.label]),
      now.output,
    );
    fill(
      anchor,
      listAnchors(table, now),
      now.anchor === 'release' ? 'release' : `${now.anchor} ${now.count}`,
    );
    for (const time of times) time.dispatchEvent(new CustomEvent('fresh', { detail: now }));
  }
  return {
    root,
    choose,
    update,
    row: () => row,
    /** @param {() => void} f */
    hear: (f) => {
      told = f;
    },
  };
}

/**
 * What a row may follow: the release, and edges of each beam, one more than there are openings.
 * @param {TableState} table
 * @param {TableRow} now
 * @returns {[string, string][]}
 */
function listAnchors(table, now) {
  const openings = table.rows.filter((row) => row.kind === 'valve').length;
  return [
    ['release', 'the release'],
    ...table.beams.flatMap((beam) => {
      const most = Math.max(openings, now.anchor === beam ? now.count : 0) + 1;
      return Array.from(
        { length: most },
        (_, n) =>
          /** @type {[string, string]} */ ([
            `${beam} ${n + 1}`,
            `edge ${n + 1} of ${beam.replace('beam', 'beam ')}`,
          ]),
      );
    }),
  ];
}

/**
 * A delay or a width: typed, or stepped by buttons and arrow keys.
 * @param {string} name
 * @param {() => number} row
 * @param {HTMLSelectElement} step
 * @param {(name: string, value: string) => Promise<unknown>} set
 */
function makeTime(name, row, step, set) {
  const label = name === 'delay' ? 'Delay' : 'Width';
  const input = text('190 ms');
  input.inputMode = 'decimal';
  input.setAttribute('aria-label', label);
  const problem = makeProblem(input);
  let shown = '';
  const typing = watchTyping(input, () => write(input, shown));
  const by = (/** @type {string} */ sign) =>
    problem.watch(act('table_step', { row: row(), field: name, by: `${sign}${step.value}` }));
  input.addEventListener('change', () => problem.watch(set(name, input.value)));
  input.addEventListener('keydown', (event) => {
    if (event.key !== 'ArrowUp' && event.key !== 'ArrowDown') return;
    event.preventDefault();
    if (typing()) input.dispatchEvent(new Event('change')); // a step from what has been typed
    by(event.key === 'ArrowUp' ? '' : '-');
  });
  const stepper = (/** @type {string} */ sign, /** @type {string} */ words, /** @type {string} */ more) =>
    makeButton(words, () => by(sign), { 'aria-label': `${label}: one step ${more}` });
  const root = h(
    'div.timing',
    h('span', label),
    h('div.value', stepper('-', '−', 'less'), input, stepper('', '+', 'more')),
    problem.root,
  );
  root.addEventListener('fresh', (event) => {
    if (!(event instanceof CustomEvent)) return;
    shown = event.detail[name];
    if (!typing()) write(input, shown);
  });
  return root;
}

/** A sweep of one value of the chosen row. @param {() => number} row */
function makeRowSweep(row) {
  const of = select([
    ['delay', 'Delay'],
    ['width', 'Width'],
  ]);
  const [first, last, step] = [text('180 ms'), text('200 ms'), text('1 ms')];
  const sweep = async () => {
    const more = { first: first.value, last: last.value, step: step.value };
    await act('sweep', { of: `row${row()}.${of.value}`, ...more });
    location.hash = '#sweep';
  };
  const begin = makeBegin('Start the sweep', sweep, { from: first, to: last, step });
  return h(
    'details',
    h('summary', 'Sweep a value of this row'),
    h('div.fields', field('Sweep', of), field('From', first), field('To', last), field('Step', step)),
    h('div.row', begin),
  );
}
