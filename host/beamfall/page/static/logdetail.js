// One shot of the log with its picture, note and edges; or two shots side by side.

import { ready } from './bar.js';
import { makeChart } from './chart.js';
import { clock, definitions, h, joined, ms, number, sayError, show, table, tableRow, us } from './dom.js';
import { makeMarked } from './marks.js';
import { act, get, on, state } from './net.js';
import { makeButton } from './press.js';
import { makeKeep } from './recipes.js';
import { makeStars } from './stars.js';
import { makeEdit } from './table.js';

/** Notes by shot, as typed and not saved yet; they outlive news and another view. @type {Map<number, string>} */
const drafts = new Map();
addEventListener('beforeunload', (event) => {
  if (drafts.size) event.preventDefault();
});

/**
 * The panel beside the list.
 * @param {{ toggleMark: (shot: number) => void, comparing: (is: boolean) => void }} how
 */
export function makeDetail({ toggleMark, comparing }) {
  const detail = h('aside.panel.detail', { 'aria-label': 'Chosen shot' }, h('p.soft', 'Choose a shot.'));
  /** @type {number | null} */
  let selected = null;
  let asked = 0;
  async function showDetail(/** @type {number} */ shot) {
    const mine = ++asked;
    comparing(false);
    selected = shot;
    try {
      const content = await get(`/shots/${shot}`);
      if (mine !== asked) return;
      // While somebody uses the panel the focus must stay: else the next letter would be a key of the page.
      if (detail.dataset.shot === String(shot) && detail.contains(document.activeElement))
        addPicture(content.line, content.seen);
      else fillDetail(content);
    } catch (error) {
      if (mine === asked) {
        detail.dataset.shot = '';
        show(detail, h('p.field-problem', sayError(error)));
      }
    }
  }
  const makeShotPicture = (/** @type {number} */ shot, /** @type {string | null} */ seen) =>
    h(
      'div.pic',
      h('img', { src: `/shots/${shot}/picture`, alt: `Shot ${shot}${seen ? `, simulated: ${seen}` : ''}` }),
    );
  function addPicture(/** @type {ListedShot} */ line, /** @type {string | null} */ seen) {
    if (line.picture && !detail.querySelector(':scope > .pic'))
      detail.querySelector('#again')?.closest('.row')?.before(makeShotPicture(line.shot, seen));
  }
  // A press measures; then marks can be dragged, and each new place is measured and kept at once.
  function makeMeasuring(/** @type {ShotDetail} */ content) {
    const shot = content.line.shot,
      known = content.measured;
    const box = h('div'),
      said = h('p.soft.small', { role: 'status' }, content.measured_words);
    const measure = async (marks = '') => {
      said.textContent = 'Measuring …';
      try {
        const found = await act('measure', { shot, marks });
        said.textContent = found.said;
        place(found.measured);
      } catch (error) {
        said.textContent = '';
        throw error;
      }
    };
    const place = (/** @type {MeasuredPicture} */ measured) => {
      detail.querySelector(':scope > .pic')?.remove();
      show(box, makeMarked(shot, measured, { name: 'Measure with these marks', use: measure }));
    };
    const button = makeButton(known ? 'Measure again' : 'Measure the picture', () => measure());
    if (known) queueMicrotask(() => place(known));
    return h('div.measuring', box, h('div.row', button, said));
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
      'span.soft.small',
      { role: 'status', id: 'note-state' },
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
    const times = h('input', { type: 'number', value: 1, min: 1, 'aria-label': 'How many times' });
    const again = makeButton(
      'Fire it again',
      () => act('repeat', { shot, count: Number(times.value) || 1 }),
      { id: 'again', disabled: !ready() },
    );
    const facts = [
      ['state', `${line.state}${line.cause ? ` (${line.cause})` : ''}`],
      ['time', clock(line.time)],
      ['series', `${line.series} (${line.kind}), number ${line.number}`],
      ['flash', line.delay_ms === null ? '–' : `${ms(line.delay_ms, 3)} after ${line.anchor}`],
      ['spacing', ms(line.spacing_ms, 3)],
      ['fired for', line.purpose || '–'],
      ['rig', line.rig ?? '–'],
      ['board', `${content.board.name}, firmware ${content.board.firmware}, timing ${content.board.timing}`],
      ['seed', content.seed === null ? '–' : String(content.seed)],
    ];
    detail.dataset.shot = String(shot);
    show(
      detail,
      h('div.row.spread', h('h2', `Shot ${shot}`), makeStars(shot, line.rating)),
      content.unknown
        ? h('p.caution', 'Beamfall ended before the board reported. The shot may or may not have fired.')
        : null,
      line.picture ? makeShotPicture(content.line.shot, content.seen) : null,
      content.picture_file ? makeMeasuring(content) : null,
      content.picture_file
        ? h('p.soft.small', joined(content.picture_file, content.exposure, content.keywords.join(', ')))
        : null,
      h(
        'div.row',
        again,
        times,
        makeButton('Mark to compare', () => toggleMark(shot)),
      ),
      h('p.soft.small', 'Fire it again: drops fall and the flash fires at once, without Arm.'),
      line.state === 'fired' ? makeKeep(shot) : null,
      makeEdit(shot),
      h('label', { for: 'note' }, 'Note'),
      note,
      h(
        'div.row',
        makeButton('Save the note', () => keepNote()),
        said,
      ),
      definitions(/** @type {[string, string][]} */ (facts)),
      timeline.buttons,
      timeline.box,
      timeline.legend,
      h(
        'details',
        h('summary', `Every edge, planned and measured (${content.edges.length})`),
        table(
          ['signal', 'edge', 'planned', 'measured', 'difference', 'source'],
          content.edges.map((/** @type {ShotEdge} */ edge) =>
            tableRow(
              edge.what,
              edge.edge,
              ms(edge.planned_ms, 4),
              ms(edge.measured_ms, 4),
              edge.planned_ms === null || edge.measured_ms === null
                ? '–'
                : us((edge.measured_ms - edge.planned_ms) * 1e3),
              edge.measured_ms === null ? 'not seen' : edge.source,
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
    const done = job?.kind === 'repeat' ? /** @type {Repeated | null} */ (job.result) : null;
    if (done?.of_shot !== selected) {
      show(box);
      return;
    }
    show(box, h('h3', 'Fired again: then and now'), makeChanges(done.edges));
  }
  on(['job', 'link'], showRepeated);
  async function showCompare(/** @type {number} */ first, /** @type {number} */ second) {
    const mine = ++asked;
    const content = await get(`/compare/${first}/${second}`);
    if (mine !== asked) return;
    detail.dataset.shot = '';
    comparing(true);
    const sides = [content.first, content.second].map((one) => {
      const timeline = makeChart({ label: `Timeline of shot ${one.line.shot}` });
      return { one, timeline };
    });
    show(
      detail,
      h('h2', `Shots ${first} and ${second}`),
      h(
        'div.pair',
        sides.map(({ one }) =>
          h(
            'figure',
            one.line.picture
              ? h(
                  'div.pic',
                  h('img', { src: `/shots/${one.line.shot}/picture?small`, alt: `Shot ${one.line.shot}` }),
                )
              : h('div.blank', 'no picture'),
            h(
              'figcaption',
              `${one.line.shot}: ${one.line.state}, flash ${ms(one.line.delay_ms)}, spacing ${ms(one.line.spacing_ms)}`,
            ),
          ),
        ),
      ),
      sides.map(({ one, timeline }) => [
        h('h3', `Shot ${one.line.shot}`),
        timeline.buttons,
        timeline.box,
        timeline.legend,
      ]),
      makeChanges(content.edges),
    );
    for (const { one, timeline } of sides) timeline.update(one.timeline);
  }

  /** Show news of this shot. While somebody uses the panel, only its stars change, and its picture comes. */
  function takeNews(/** @type {ListedShot} */ line) {
    if (!detail.contains(document.activeElement)) {
      showDetail(line.shot);
      return;
    }
    detail.querySelector('.stars')?.replaceWith(makeStars(line.shot, line.rating));
    addPicture(line, null);
  }
  return { root: detail, showDetail, showCompare, takeNews };
}

function makeChanges(/** @type {EdgeChange[]} */ edges) {
  const micro = (/** @type {number | null} */ value) => ms(value === null ? null : value / 1e3, 4);
  return table(
    ['signal', 'edge', 'first', 'second', 'difference', 'scatter', ''],
    edges.map((one) =>
      tableRow(
        one.what,
        `${one.edge} ${one.ordinal}`,
        micro(one.then_us),
        micro(one.now_us),
        us(one.difference_us),
        one.scatter_us === null ? '–' : `${number(one.scatter_us, 1)} µs`,
        one.moved === null ? '' : one.moved ? '▲ moved' : 'same',
      ),
    ),
  );
}
