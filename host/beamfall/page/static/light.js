// Dark or red, and how dim. The contrast that is shown is measured from the colours in use (WCAG 2.2's formula).
import { h, show } from './dom.js';
import { keep, kept } from './kept.js';

const LOWEST = 0.72; // of red at full: below it the contrast would fall under 3 : 1
/** @param {number} v */
const linear = (v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
/** @param {number[]} rgb @param {number} level */
const luminance = (rgb, level) =>
  rgb.reduce((sum, v, i) => sum + [0.2126, 0.7152, 0.0722][i] * linear((v / 255) * level), 0);
/** @param {string} text */
const parse = (text) => (text.match(/[\d.]+/g) ?? ['0', '0', '0']).slice(0, 3).map(Number);

/** @param {number} level */
function measureContrast(level) {
  const style = getComputedStyle(document.body);
  const [one, other] = [
    luminance(parse(style.color), level),
    luminance(parse(style.backgroundColor), level),
  ].sort((a, b) => b - a);
  return (one + 0.05) / (other + 0.05);
}

/** Give the page the light that this device has chosen; returns its brightness. */
export function applyLight() {
  const root = document.documentElement;
  const level = 1 - ((1 - LOWEST) * Number(kept('dim', '0'))) / 100;
  root.dataset.light = kept('light', 'dark') === 'red' ? 'red' : 'dark';
  root.style.filter = level < 1 ? `brightness(${level})` : '';
  return level;
}

export function makeLight() {
  const mode = h('button', { type: 'button', id: 'light' });
  const dim = h('input', {
    type: 'range',
    min: 0,
    max: 100,
    step: 1,
    id: 'dim',
    'aria-label': 'Dim the page',
  });
  const figure = h('span', { id: 'contrast' });
  const apply = () => {
    const level = applyLight();
    mode.setAttribute('aria-pressed', String(kept('light', 'dark') === 'red'));
    show(mode, 'Red light');
    dim.value = kept('dim', '0');
    figure.textContent = `contrast ${measureContrast(level).toFixed(1)} : 1`;
  };
  mode.addEventListener('click', () => {
    keep('light', kept('light', 'dark') === 'red' ? 'dark' : 'red');
    apply();
  });
  dim.addEventListener('input', () => {
    keep('dim', dim.value);
    apply();
  });
  apply();
  return [mode, h('span.dim', 'dim', dim, figure)];
}
