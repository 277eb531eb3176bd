// The newest picture, large, beside what was planned; below it the pictures of its series.

import { h, show } from './dom.js';
import { lines, load } from './loglines.js';
import { makeMoment } from './moment.js';
import { hear, on, state } from './net.js';
import { makeStars } from './stars.js';

const STRIP_MOST = 12;

export function makeSplash() {
  const picture = h('div', { class: 'splash-picture' });
  const words = h('div', { class: 'splash-words' });
  const strip = h('div', { class: 'filmstrip', role: 'group', 'aria-label': 'Pictures of this series' });
  /** Shots of the series that have a picture, oldest first. @type {number[]} */
  let shots = [];
  let series = -1,
    shown = '';
  /** The shot that is shown large; null: the newest. @type {number | null} */
  let chosen = null;

  const drawStrip = () =>
    show(
      strip,
      shots.slice(-STRIP_MOST).map((shot) =>
        h(
          'button',
          {
            type: 'button',
            class: 'pic',
            'aria-label': `Show shot ${shot}`,
            'aria-pressed': String(shot === (chosen ?? state.shot?.shot)),
            on: { click: () => choose(shot) },
          },
          h('img', { src: `/shots/${shot}/picture?small`, alt: '', loading: 'lazy' }),
          h('span', {}, String(shot)),
        ),
      ),
    );
  const choose = (/** @type {number} */ shot) => {
    chosen = shot === state.shot?.shot ? null : shot;
    shown = '';
    draw();
    drawStrip();
  };
  const add = (/** @type {number} */ shot) => {
    if (shots.includes(shot)) return;
    shots = [...shots, shot].sort((a, b) => a - b);
    drawStrip();
  };
  const draw = () => {
    const shot = state.shot;
    const key = JSON.stringify([shot?.shot, shot?.picture, shot?.rating, shot?.note, shot?.state, chosen]);
    if (key === shown) return;
    shown = key;
    if (!shot) {
      show(picture, h('p', { class: 'soft' }, 'No picture yet. Press A to arm, then R to release.'));
      show(words);
      return;
    }
    const number = chosen ?? shot.shot;
    const arrived = number !== shot.shot || shot.picture;
    show(
      picture,
      arrived
        ? h(
            'a',
            { class: 'pic', href: `#log/${number}` },
            h('img', {
              src: `/shots/${number}/picture`,
              alt: `Shot ${number}${number === shot.shot && shot.seen ? `, simulated: ${shot.seen}` : ''}`,
            }),
          )
        : h(
            'p',
            { class: 'soft' },
            shot.seen ? 'Drawing the simulated picture …' : 'The picture is in the camera.',
          ),
    );
    show(
      words,
      h(
        'div',
        { class: 'row spread' },
        h('h3', {}, number === shot.shot ? `Shot ${number}: ${shot.state}` : `Shot ${number}`),
        number === shot.shot && shot.seen ? h('span', {}, `shows: ${shot.seen}`) : null,
        number === shot.shot ? makeStars(number, shot.rating) : null,
        h('a', { href: `#log/${number}` }, 'Details'),
      ),
      number === shot.shot && shot.note ? h('p', { class: 'soft small' }, shot.note) : null,
    );
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
  hear('picture', ({ shot }) => {
    if (state.shot && shot <= state.shot.shot) add(shot);
  });
  return [
    h(
      'div',
      { class: 'splash' },
      h('div', { class: 'splash-shot' }, picture, words),
      h('div', { class: 'splash-planned' }, h('h3', {}, 'Planned'), makeMoment()),
    ),
    strip,
  ];
}
