// Repeatability of a series: the library's figures and findings, with control charts.

import { makeChart } from './chart.js';
import { clock, h, items, makeOptions, number, sayError, show, us } from './dom.js';
import { get, hear, on, state } from './net.js';
import { makeButton } from './press.js';

export function makeRepeatability() {
  const choose = h('select', { id: 'series' });
  const box = h('div.charts');
  const row = h(
    'div.row',
    h('label', { for: 'series' }, 'Series'),
    choose,
    makeButton('Reload', () => refresh()),
  );
  let list = [];
  async function load(/** @type {string | number} */ series) {
    row.hidden = !series;
    if (!series) {
      show(box, h('p.soft', 'No series has been fired yet.'));
      return;
    }
    show(box, h('p.soft', 'Calculating …'));
    try {
      draw(await get(`/series/${series}`));
    } catch (error) {
      show(box, h('p.field-problem', sayError(error)));
    }
  }
  async function refresh() {
    const before = choose.value;
    try {
      list = await get('/series');
    } catch {
      list = [];
    }
    show(
      choose,
      makeOptions(
        list.map((/** @type {any} */ one) => [
          String(one.series),
          `${one.series}: ${one.kind}, ${countShots(one.shots)}, ${clock(one.time).slice(0, 16)}`,
        ]),
      ),
    );
    if (list.some((/** @type {any} */ one) => String(one.series) === before)) choose.value = before;
    else {
      const most = list.find((/** @type {any} */ one) => one.shots >= 5) ?? list[0];
      if (most) choose.value = String(most.series);
    }
    await load(choose.value);
  }
  choose.addEventListener('change', () => load(choose.value));
  function draw(/** @type {any} */ data) {
    const flash = data.flash;
    show(
      box,
      h(
        'section.panel',
        h('h2', 'Findings'),
        data.findings.length
          ? h(
              'ul',
              data.findings.map((/** @type {any} */ one) =>
                h(
                  'li',
                  h('b', one.name.replaceAll('-', ' ')),
                  ': ',
                  one.text,
                  one.shots.length && one.shots.length <= 12
                    ? [
                        ' (shots ',
                        one.shots.map((/** @type {number} */ shot, /** @type {number} */ n) => [
                          n ? ', ' : '',
                          h('a', { href: `#log/${shot}` }, String(shot)),
                        ]),
                        ')',
                      ]
                    : '',
                ),
              ),
            )
          : h(
              'p',
              'No drift found, nothing missing',
              data.outside.length ? ', but some shots were unusual.' : '.',
            ),
        data.outside.length
          ? [h('p', `Beyond the control limits. ${data.by_chance}`), h('ul', items(data.outside))]
          : null,
        h(
          'p.soft',
          `${countShots(data.shots)}, seen by ${data.beam}. `,
          flash.count
            ? [
                `Flash contact: ${flash.count} measured, `,
                flash.scatter_us === null ? '' : `scatter ${number(flash.scatter_us, 3)} µs, `,
                `worst ${number(flash.worst_us, 3)} µs from its plan `,
                `(${flash.said_timing}, ticks of ${number(flash.tick_us, 3)} µs`,
                flash.stamped ? ').' : ', calculated from the command, not measured).',
              ]
            : null,
        ),
      ),
      data.quantities.every((/** @type {any} */ one) => one.scatter_us === undefined)
        ? h(
            'section.panel',
            'These are too few shots to say how repeatable the rig is. Release a series of ten or more on the Bench.',
          )
        : null,
      data.quantities
        .filter((/** @type {any} */ one) => one.scatter_us !== undefined)
        .map((/** @type {any} */ one) =>
          h(
            'section.panel',
            h('h2', `${one.name} of ${one.of}`),
            h('p.lead', one.said),
            makeDetails(
              `${one.name} of ${one.of}`,
              h('p', [
                h('b', `scatter ${number(one.scatter_us, 1)} µs`),
                ` (95 %: ${sayRange(one.scatter_95_us)}); mean ${number(one.mean_us / 1000, 3)} ms`,
                one.scatter_scene_mm === null ? '' : `; ${number(one.scatter_scene_mm, 3)} mm in the scene`,
                one.trend_us_per_100_shots === undefined
                  ? ''
                  : `; trend ${us(one.trend_us_per_100_shots, 1)} in 100 shots` +
                    ` (95 %: ${sayRange(one.trend_95_us_per_100_shots)})`,
              ]),
              one.panels.length ? drawQuantity(one) : null,
            ),
          ),
        ),
    );
  }
  const root = h('div.view', h('section.panel.row', h('h2', 'How repeatable the rig is'), row), box);
  hear('line', () => {
    if (root.isConnected && state.job?.state !== 'running') refresh();
  });
  let last = '';
  on('job', () => {
    const now = `${state.job?.id} ${state.job?.state}`;
    if (now !== last) {
      last = now;
      if (root.isConnected && state.job?.state !== 'running') refresh();
    }
  });
  refresh();
  return root;
}

const countShots = (/** @type {number} */ count) => `${count} ${count === 1 ? 'shot' : 'shots'}`;
/** @param {number[]} ends */
const sayRange = ([low, high]) => `${number(low, 1)} to ${number(high, 1)} µs`;

/** Which figures somebody has opened: they stay open when more shots come. @type {Set<string>} */
const opened = new Set();

/** @param {string} name @param {Child[]} content */
function makeDetails(name, ...content) {
  const root = h('details', { open: opened.has(name) }, h('summary', 'Figures and chart'), ...content);
  root.addEventListener('toggle', () => (root.open ? opened.add(name) : opened.delete(name)));
  return root;
}

/** The values of one quantity and their moving ranges. */
function drawQuantity(/** @type {any} */ one) {
  const charts = one.panels.map((/** @type {any} */ panel) => {
    const chart = makeChart({ label: panel.title });
    chart.update(panel);
    return chart;
  });
  return h(
    'div.chartpair',
    charts.map((/** @type {any} */ chart, /** @type {number} */ n) =>
      h('div', h('p.small', one.panels[n].title), chart.box, chart.legend),
    ),
  );
}
