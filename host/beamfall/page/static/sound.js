// Sounds for hands that are busy: off until asked for.
import { isOn } from './kept.js';
import { hear } from './net.js';
import { makeToggle } from './press.js';

/** @type {Record<string, [number, number][]>} */
const TONES = {
  'armed-for-sensor': [[440, 0.09]],
  fired: [
    [660, 0.08],
    [990, 0.14],
  ],
  missed: [
    [330, 0.16],
    [262, 0.22],
  ],
  fault: [
    [196, 0.3],
    [196, 0.3],
  ],
  abort: [
    [523, 0.08],
    [392, 0.08],
    [262, 0.16],
  ],
};
/** @type {AudioContext | null} */
let context = null;

/** @param {string} name */
function play(name) {
  if (!isOn('sound') || !TONES[name]) return;
  context ??= new AudioContext();
  let when = context.currentTime + 0.005;
  for (const [hertz, seconds] of TONES[name]) {
    const tone = context.createOscillator(),
      volume = context.createGain();
    tone.frequency.value = hertz;
    tone.type = 'triangle';
    volume.gain.setValueAtTime(0.0001, when);
    volume.gain.exponentialRampToValueAtTime(0.2, when + 0.012);
    volume.gain.exponentialRampToValueAtTime(0.0001, when + seconds);
    tone.connect(volume).connect(context.destination);
    tone.start(when);
    tone.stop(when + seconds + 0.02);
    when += seconds * 0.9;
  }
}

export function makeSound() {
  hear('state', (event) => play(event.state));
  hear('abort', () => play('abort'));
  return makeToggle('sound', 'Sound', () => play('fired'));
}
