// A shot on one time axis: planned as outlines, measured as bars, the series' scatter as fine marks behind.
import { s, h, show, fit, ms, us, number } from './dom.js';

const LANE = 30,
  LABEL = 118,
  RIGHT = 96,
  AXIS = 26;

export function makeTimeline({ source, label = 'Timeline of the shot' }) {
  const box = h('div', {
    class: 'timebox',
    tabindex: '0',
    role: 'group',
    'aria-label': `${label}. Arrow keys move it, plus and minus scale it, 0 shows it whole.`,
  });
  const words = h('p', { class: 'small soft' });
  const buttons = h('div', { class: 'row small' });
  let window_ = null,
    data = null,
    scatter = null;

  const whole = () => [data.low, data.high];
  const limit = ([low, high]) => {
    const [a, b] = whole(),
      span = Math.min(Math.max(high - low, 0.02), b - a);
    const start = Math.min(Math.max(low, a), b - span);
    return [start, start + span];
  };
  const zoom = (factor, at) => {
    const [low, high] = window_;
    const m = at ?? (low + high) / 2;
    window_ = limit([m - (m - low) * factor, m + (high - m) * factor]);
    redraw();
  };
  const pan = (share) => {
    const [low, high] = window_;
    const d = (high - low) * share;
    window_ = limit([low + d, high + d]);
    redraw();
  };
  const light = () =>
    data.lanes.find((lane) => lane.kind === 'flash')?.measured[0]?.[0] ??
    data.lanes.find((lane) => lane.kind === 'flash')?.planned[0]?.[0] ??
    null;
  const around = (span) => {
    const t = light();
    if (t !== null) {
      window_ = limit([t - span / 2, t + span / 2]);
      redraw();
    }
  };
  for (const [text, f] of [
    [
      'Whole shot',
      () => {
        window_ = whole();
        redraw();
      },
    ],
    ['±20 ms at the flash', () => around(40)],
    ['±0.2 ms', () => around(0.4)],
    ['+', () => zoom(0.5)],
    ['−', () => zoom(2)],
  ])
    buttons.append(
      h(
        'button',
        {
          type: 'button',
          on: { click: () => data && f() },
          'aria-label': text === '+' ? 'Closer' : text === '−' ? 'Wider' : null,
        },
        text,
      ),
    );
  box.addEventListener('keydown', (event) => {
    if (!data) return;
    const f = {
      ArrowLeft: () => pan(-0.2),
      ArrowRight: () => pan(0.2),
      '+': () => zoom(0.5),
      '=': () => zoom(0.5),
      '-': () => zoom(2),
      0: () => {
        window_ = whole();
        redraw();
      },
    }[event.key];
    if (f) {
      event.preventDefault();
      event.stopPropagation();
      f();
    }
  });
  box.addEventListener(
    'wheel',
    (event) => {
      if (!data || !event.ctrlKey) return;
      event.preventDefault();
      const share = (event.offsetX - LABEL) / Math.max(1, box.clientWidth - LABEL - RIGHT);
      zoom(event.deltaY > 0 ? 1.25 : 0.8, window_[0] + share * (window_[1] - window_[0]));
    },
    { passive: false },
  );

  const redraw = fit(box, (width) => {
    if (!data) {
      show(box, h('p', { class: 'soft' }, 'No shot yet: plan, arm, release.'));
      return;
    }
    const [low, high] = window_;
    const rows = data.lanes.length + (data.marks.length ? 1 : 0);
    const height = rows * LANE + AXIS;
    const x = (t) => LABEL + ((t - low) / (high - low)) * (width - LABEL - RIGHT);
    const inside = (t) => Math.min(Math.max(x(t), LABEL), width - RIGHT);
    const svg = s('svg', { viewBox: `0 0 ${width} ${height}`, height, role: 'img', 'aria-label': say(data) });
    const step = nice((high - low) / Math.max(2, Math.floor((width - LABEL - RIGHT) / 90)));
    for (let t = Math.ceil(low / step) * step; t <= high; t += step) {
      svg.append(
        s('line', { x1: x(t), x2: x(t), y1: 0, y2: height - AXIS, class: 'grid' }),
        s(
          'text',
          { x: x(t), y: height - 8, class: 'ticktext', 'text-anchor': 'middle' },
          number(t, step < 0.1 ? 2 : step < 1 ? 1 : 0),
        ),
      );
    }
    svg.append(
      s('text', { x: width - 2, y: height - 8, class: 'ticktext', 'text-anchor': 'end' }, 'ms from release'),
    );
    data.lanes.forEach((lane, index) => {
      const y = index * LANE,
        mid = y + LANE / 2;
      svg.append(
        s('line', { x1: LABEL, x2: width - RIGHT, y1: mid, y2: mid, class: 'lane' }),
        s('text', { x: LABEL - 10, y: mid + 5, class: 'label', 'text-anchor': 'end' }, lane.name),
      );
      let d = '';
      for (const t of scatter?.lines[lane.what] ?? [])
        if (t >= low && t <= high) d += `M${x(t).toFixed(1)} ${y + 2}V${y + LANE - 2}`;
      if (d) svg.append(s('path', { d, class: `scatter of-${lane.kind}` }));
      for (const [start, end] of lane.measured) {
        const a = start ?? low,
          b = end ?? high;
        if (b < low || a > high) continue;
        const bar = s('rect', {
          x: inside(a),
          y: mid - 7,
          width: Math.max(3, inside(b) - inside(a)),
          height: 14,
          rx: 2,
          class: `measured-bar of-${lane.kind}${start === null || end === null ? ' open' : ''}`,
        });
        bar.append(
          s(
            'title',
            {},
            `${lane.name}: ${start === null ? 'before' : ms(start, 4)} to ${end === null ? 'unknown' : ms(end, 4)}, measured`,
          ),
        );
        svg.append(bar);
      }
      for (const [start, end] of lane.planned) {
        const a = start ?? low,
          b = end ?? high;
        if (b < low || a > high) continue;
        svg.append(
          s('rect', {
            x: inside(a) - 1,
            y: mid - 11,
            width: Math.max(5, inside(b) - inside(a) + 2),
            height: 22,
            rx: 3,
            class: 'planned-bar',
          }),
        );
      }
      const text = lane.never_due
        ? 'never due'
        : lane.worst_us === null
          ? ''
          : Math.abs(lane.worst_us) < 0.0005
            ? 'exact'
            : us(lane.worst_us);
      svg.append(
        s('text', { x: width - RIGHT + 8, y: mid + 5, class: `label${lane.never_due ? ' warn' : ''}` }, text),
      );
    });
    if (data.marks.length) {
      const y = data.lanes.length * LANE + LANE / 2;
      svg.append(
        s('text', { x: LABEL - 10, y: y + 5, class: 'label', 'text-anchor': 'end' }, 'simulated truth'),
      );
      const seen = data.marks.filter((mark) => mark.ms >= low && mark.ms <= high);
      seen.forEach((mark, n) => {
        svg.append(
          s('path', {
            d: mark.contact ? star(x(mark.ms), y, 3, 8) : `M${x(mark.ms)} ${y - 8}l6 8l-6 8l-6 -8z`,
            class: 'mark',
          }),
        );
        // Words where there is room for them: the first mark's stand left of it, the last one's right.
        const wide = mark.text.length * 7 + 14;
        const before = n ? x(seen[n - 1].ms) : LABEL,
          after = n + 1 < seen.length ? x(seen[n + 1].ms) : width - RIGHT + 90;
        if (n === 0 && x(mark.ms) - before > wide)
          svg.append(
            s('text', { x: x(mark.ms) - 11, y: y + 5, class: 'ticktext', 'text-anchor': 'end' }, mark.text),
          );
        else if (after - x(mark.ms) > wide)
          svg.append(s('text', { x: x(mark.ms) + 11, y: y + 5, class: 'ticktext' }, mark.text));
      });
    }
    show(box, svg);
  });

  function update() {
    const shot = source();
    const fresh = shot?.timeline ?? null;
    if (fresh !== data) {
      data = fresh;
      window_ = data && window_ && data.high > window_[0] ? limit(window_) : data ? whole() : null;
      if (data && !window_) window_ = whole();
    }
    scatter = shot?.scatter ?? null;
    show(
      words,
      !data
        ? ''
        : `Outline planned, bar measured, figure the largest difference${scatter?.shots ? `; fine marks: ${scatter.shots} more of series ${scatter.series}` : ''}.`,
    );
    redraw();
  }
  return { box, words, buttons, update };
}

function nice(rough) {
  const p = 10 ** Math.floor(Math.log10(rough));
  return p * [1, 2, 5, 10].find((m) => m * p >= rough);
}
function star(cx, cy, inner, outer) {
  let d = '';
  for (let i = 0; i < 16; i++) {
    const r = i % 2 ? inner : outer,
      a = (Math.PI * i) / 8;
    d += `${i ? 'L' : 'M'}${cx + r * Math.cos(a)} ${cy + r * Math.sin(a)}`;
  }
  return `${d}z`;
}
const say = (data) =>
  data.lanes
    .map(
      (lane) =>
        `${lane.name}: ${lane.measured.length ? lane.measured.map(([a]) => ms(a, 2)).join(', ') : lane.never_due ? 'never due' : 'not seen'}`,
    )
    .join('; ');
