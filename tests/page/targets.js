// Everything that can be pressed and is smaller than `least` pixels high, or than 24 in either direction (WCAG 2.2,
// 2.5.8: but for links within a sentence). A box with a label is pressed by its label.
(/** @type {number} */ least) => {
  const found = new Set();
  for (const element of document.querySelectorAll(
    'a, button, input, select, textarea, summary, [role="slider"]',
  )) {
    if (!element.checkVisibility({ visibilityProperty: true }) || element.closest('.unseen, .skip')) continue;
    if (element.matches('a') && element.closest('p, li, dd, figcaption')) continue;
    const { width, height } = (element.closest('label') ?? element).getBoundingClientRect();
    // What is dragged or ticked beside a large row is no button.
    const high =
      element.matches('input[type="range"], input[type="checkbox"], [role="slider"]') &&
      !element.closest('label')
        ? 24
        : least;
    if (width < 24 || height < high - 0.5)
      found.add(
        `too small to press: ${element.tagName.toLowerCase()}.${element.className} ` +
          `'${element.textContent.slice(0, 30)}' ${width.toFixed(0)} x ${height.toFixed(0)}`,
      );
  }
  return [...found];
};
