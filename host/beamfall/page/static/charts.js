// Repeatability of a series: the library's figures and findings, with control charts.
import { h, s, show, fit, number, clock } from './dom.js';
import { state, on, hear, get } from './net.js';
import { attempt } from './bar.js';

export function makeRepeatability() {
  const choose = h('select', { id: 'series' });
  const box = h('div', { class: 'charts' });
  let list = [];
  async function load(series) {
    if (!series) {
      show(box, h('p', { class: 'soft' }, 'No series has been fired yet.'));
      return;
    }
    show(box, h('p', { class: 'soft' }, 'Reckoning …'));
    try {
      draw(await get(`/series/${series}`));
    } catch (error) {
      show(box, h('p', { class: 'field-problem' }, error.message));
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
      list.map((one) =>
        h(
          'option',
          { value: String(one.series) },
          `${one.series}: ${one.kind}, ${one.shots} ${one.shots === 1 ? 'shot' : 'shots'}, ${clock(one.time).slice(0, 16)}`,
        ),
      ),
    );
    if (list.some((one) => String(one.series) === before)) choose.value = before;
    else {
      const most = list.find((one) => one.shots >= 5) ?? list[0];
      if (most) choose.value = String(most.series);
    }
    await load(choose.value);
  }
  choose.addEventListener('change', () => load(choose.value));
  function draw(data) {
    const flash = data.flash;
    show(
      box,
      h(
        'section',
        { class: 'panel' },
        h('h2', {}, 'What it points to'),
        data.findings.length
          ? h(
              'ul',
              {},
              data.findings.map((one) =>
                h(
                  'li',
                  {},
                  h('b', {}, one.name.replaceAll('-', ' ')),
                  ': ',
                  one.text,
                  one.shots.length && one.shots.length <= 12
                    ? [
                        ' (shots ',
                        one.shots.map((shot, n) => [
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
              {},
              `Nothing drifts and nothing is missing, as far as so many shots can show${data.outside.length ? '; but points lie beyond their limits.' : '.'}`,
            ),
        data.outside.length
          ? [
              h('p', {}, `Beyond the limits of the charts: ${data.by_chance}`),
              h(
                'ul',
                {},
                data.outside.map((one) => h('li', {}, one)),
              ),
            ]
          : null,
        h(
          'p',
          { class: 'soft' },
          `${data.shots} shots, beam ${data.beam}. Flash contact: ${flash.count} measured, scatter ${number(flash.scatter_us, 3)} µs, worst ${number(flash.worst_us, 3)} µs from its plan (${flash.said_timing}, ticks of ${number(flash.tick_us, 3)} µs${flash.stamped ? '' : ', derived from the command: that proves nothing'}).`,
        ),
      ),
      data.quantities
        .filter((one) => one.at_shots.length)
        .map((one) =>
          h(
            'section',
            { class: 'panel' },
            h('h2', {}, `${one.name} of ${one.of}`),
            h(
              'p',
              {},
              one.scatter_us === undefined
                ? 'too few shots'
                : [
                    h('b', {}, `scatter ${number(one.scatter_us, 1)} µs`),
                    ` (95 %: ${number(one.scatter_95_us[0], 1)} to ${number(one.scatter_95_us[1], 1)} µs); mean ${number(one.mean_us / 1000, 3)} ms`,
                    one.scatter_scene_mm === null
                      ? ''
                      : `; ${number(one.scatter_scene_mm, 3)} mm in the scene`,
                    one.trend_us_per_100_shots === undefined
                      ? ''
                      : `; trend ${one.trend_us_per_100_shots > 0 ? '+' : ''}${number(one.trend_us_per_100_shots, 1)} µs in 100 shots (95 %: ${number(one.trend_95_us_per_100_shots[0], 1)} to ${number(one.trend_95_us_per_100_shots[1], 1)} µs)`,
                  ],
            ),
            one.chart ? makeChart(one) : null,
          ),
        ),
    );
  }
  const root = h(
    'div',
    { class: 'view' },
    h(
      'section',
      { class: 'panel row' },
      h('h2', {}, 'How repeatable the rig is'),
      h('label', { for: 'series' }, 'Series'),
      choose,
      h('button', { type: 'button', on: { click: () => attempt(refresh()) } }, 'Read again'),
    ),
    box,
  );
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

function makeChart(one) {
  const box = h('div', { class: 'chart' });
  const [low, high] = one.chart.limits_us,
    centre = one.chart.centre_us;
  const all = [...one.values_us, low, high];
  const [bottom, top] = [Math.min(...all), Math.max(...all)],
    pad = (top - bottom) * 0.08 || 1;
  const outside = new Set([...one.chart.outside_shots, ...one.chart.ewma_outside_shots]);
  fit(box, (width) => {
    const height = 190,
      left = 66,
      right = 92,
      base = 24;
    const x = (n) =>
      left + (one.values_us.length < 2 ? 0.5 : n / (one.values_us.length - 1)) * (width - left - right);
    const y = (v) => 8 + ((top + pad - v) / (top - bottom + 2 * pad)) * (height - 8 - base);
    const g = s('svg', {
      viewBox: `0 0 ${width} ${height}`,
      height,
      role: 'img',
      'aria-label': `Control chart of ${one.name} of ${one.of}: ${one.values_us.length} values, ${one.chart.outside_shots.length} beyond the limits`,
    });
    for (const [v, text, kind] of [
      [high, 'upper limit', 'limit'],
      [centre, 'centre', 'centre'],
      [low, 'lower limit', 'limit'],
    ])
      g.append(
        s('line', { x1: left, x2: width - right, y1: y(v), y2: y(v), class: `chart-${kind}` }),
        s('text', { x: width - right + 6, y: y(v) + 4, class: 'ticktext' }, text),
        s(
          'text',
          { x: left - 6, y: y(v) + 4, class: 'ticktext', 'text-anchor': 'end' },
          number(v - centre, 1),
        ),
      );
    g.append(
      s('text', { x: 2, y: height - 6, class: 'ticktext' }, 'µs from the centre'),
      s(
        'text',
        { x: width - right, y: height - 6, class: 'ticktext', 'text-anchor': 'end' },
        `shots ${one.at_shots[0]} to ${one.at_shots.at(-1)}`,
      ),
    );
    if (one.average_us.length)
      g.append(
        s('path', {
          class: 'chart-average',
          d: one.average_us.map((v, n) => `${n ? 'L' : 'M'}${x(n).toFixed(1)} ${y(v).toFixed(1)}`).join(''),
        }),
      );
    one.values_us.forEach((v, n) => {
      const out = outside.has(one.at_shots[n]);
      const mark = out
        ? s('rect', { x: x(n) - 5, y: y(v) - 5, width: 10, height: 10, class: 'chart-out' })
        : s('circle', { cx: x(n), cy: y(v), r: one.values_us.length > 300 ? 1.6 : 3, class: 'chart-dot' });
      mark.append(
        s('title', {}, `shot ${one.at_shots[n]}: ${number(v, 1)} µs${out ? ', beyond the limits' : ''}`),
      );
      g.append(mark);
    });
    show(box, g);
  });
  return [
    box,
    h('p', { class: 'small soft' }, 'Dots: shots. Squares: beyond a limit. Line: moving average (EWMA).'),
  ];
}
