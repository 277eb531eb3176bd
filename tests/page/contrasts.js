// The contrast (WCAG 2.2) of every element that shows text, against what lies behind it.
() => {
  const parse = (/** @type {string} */ text) => {
    const v = (text.match(/[\d.]+/g) ?? []).map(Number);
    return { rgb: v.slice(0, 3), a: v[3] ?? 1 };
  };
  const linear = (/** @type {number} */ v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
  const luminance = (/** @type {{ rgb: number[] }} */ { rgb }) =>
    rgb.reduce((sum, v, i) => sum + [0.2126, 0.7152, 0.0722][i] * linear(v / 255), 0);
  const found = [];
  for (const element of document.querySelectorAll('body *')) {
    if (!element.checkVisibility() || element.closest('svg, :disabled, .unseen, .skip, select, option'))
      continue;
    if (![...element.childNodes].some((node) => node.nodeType === 3 && node.textContent?.trim())) continue;
    let behind = element,
      ground = parse(getComputedStyle(element).backgroundColor);
    while (ground.a === 0 && behind.parentElement) {
      behind = behind.parentElement;
      ground = parse(getComputedStyle(behind).backgroundColor);
    }
    const style = getComputedStyle(element),
      [a, b] = [luminance(parse(style.color)), luminance(ground)].sort((x, y) => y - x);
    found.push({
      ratio: (a + 0.05) / (b + 0.05),
      text: element.textContent.trim().slice(0, 40),
      size: parseFloat(style.fontSize),
      weight: Number(style.fontWeight),
    });
  }
  return found;
};
