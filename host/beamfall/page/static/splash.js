// The newest picture, or what the next one will show, large, beside what is planned; below it those of the series.

import { h, show } from './dom.js';
import { lines, load } from './loglines.js';
import { makeMoment } from './moment.js';
import { hear, on, state } from './net.js';
import { makePredicted } from './predicted.js';
import { makeButton } from './press.js';
import { makeStars } from './stars.js';

const STRIP_MOST = 12;

export function makeSplash() {
  const picture = h('div.splash-picture');
  const words = h('div.splash-words');
  const strip = h('div.filmstrip', { role: 'group', 'aria-label': 'Pictures of this series' });
  const drawing = makeMoment()[0];
  /** Shots of the series that have a picture, oldest first. @type {number[]} */
  let shots = [];
  let series = -1,
    shown = '',
    plan = -1;
  /** What somebody has chosen to see large; null: what comes next or was last. @type {number | 'next' | null} */
  let chosen = null;

  // Before a shot, or once its timings have changed, what the next one will show; otherwise the newest.
  const isNext = () =>
    !state.shot || (state.job?.state !== 'running' && state.shot.plan !== state.asked?.number);
  const target = () => chosen ?? (isNext() ? 'next' : (state.shot?.shot ?? 'next'));
  const predicted = makePredicted(
    () => target() === 'next',
    () => draw(),
  );

  /** @param {number | 'next'} one @param {string} label @param {Child[]} content */
  const makeFrame = (one, label, ...content) =>
    makeButton(content, () => choose(one), {
      class: 'pic',
      'aria-label': label,
      'aria-pressed': String(one === target()),
    });
  const drawStrip = () =>
    show(
      strip,
      shots
        .slice(-STRIP_MOST)
        .map((shot) =>
          makeFrame(
            shot,
            `Show shot ${shot}`,
            h('img', { src: `/shots/${shot}/picture?small`, alt: '', loading: 'lazy' }),
            h('span', String(shot)),
          ),
        ),
      shots.length ? makeFrame('next', 'Show what the next shot will most likely show', 'Next') : null,
    );
  const choose = (/** @type {number | 'next'} */ one) => {
    chosen = one;
    draw();
    drawStrip();
  };
  const add = (/** @type {number} */ shot) => {
    if (shots.includes(shot)) return;
    shots = [...shots, shot].sort((a, b) => a - b);
    drawStrip();
  };
  const drawNext = () => {
    predicted.ask();
    const image = predicted.image;
    show(picture, image ? h('div.pic', image) : drawing);
    show(
      words,
      h('h3', 'Next shot, predicted'),
      h('p.soft.small', 'Predicted from the rig file and the shots so far. Press Arm (A), then Release (R).'),
    );
  };
  const drawShot = (/** @type {number} */ number) => {
    const shot = state.shot?.shot === number ? state.shot : null;
    show(
      picture,
      !shot || shot.picture
        ? h(
            'a.pic',
            { href: `#log/${number}` },
            h('img', {
              src: `/shots/${number}/picture`,
              alt: `Shot ${number}${shot?.seen ? `, simulated: ${shot.seen}` : ''}`,
            }),
          )
        : h('p.soft', shot.seen ? 'Drawing the simulated picture …' : 'The picture is in the camera.'),
    );
    show(
      words,
      h(
        'div.row.spread',
        h('h3', shot ? `Shot ${number}: ${shot.state}` : `Shot ${number}`),
        shot?.seen ? h('span', `shows: ${shot.seen}`) : null,
        shot ? makeStars(number, shot.rating) : null,
        h('a.button', { href: `#log/${number}` }, 'Details'),
      ),
      shot?.note ? h('p.soft.small', shot.note) : null,
    );
  };
  const draw = () => {
    const shot = state.shot,
      one = target();
    const key = JSON.stringify(
      one === 'next'
        ? [one, predicted.image?.src]
        : [one, shot?.shot, shot?.picture, shot?.rating, shot?.note, shot?.state],
    );
    if (key === shown) return;
    shown = key;
    if (one === 'next') drawNext();
    else drawShot(one);
  };
  on('shot', () => {
    const shot = state.shot;
    if (shot && shot.series !== series) {
      series = shot.series;
      shots = [];
      load()
        .then(() => {
          for (const line of lines) if (line.series === series && line.picture) add(line.shot);
        })
        .catch(() => {}); // the log says in its own view what is wrong with it
    }
    if (shot?.picture) add(shot.shot);
    if (shot && !shot.picture) chosen = null; // a new shot: show it
    draw();
    drawStrip();
  });
  on(['asked', 'job'], () => {
    const number = state.asked?.number ?? -1;
    if (number !== plan) chosen = null; // other timings: show what they do
    plan = number;
    draw();
    drawStrip();
  });
  hear('picture', ({ shot }) => {
    if (state.shot && shot <= state.shot.shot) add(shot);
  });
  return [
    h(
      'div.splash',
      h('div.splash-shot', picture, words),
      h('div.splash-planned', h('h3', 'Planned'), makeMoment()),
    ),
    strip,
  ];
}
