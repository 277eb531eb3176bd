"""The handbook as web pages: Markdown to HTML, with a list of its pages. Nothing is loaded from the network."""

from __future__ import annotations

import re
from collections.abc import Mapping
from html import escape

from beamfall.guide.drawing import HEIGHT, WIDTH, list_shapes
from beamfall.handbook import DRAWINGS, TOPICS, find_title, read_topic

_PAGE = """<!doctype html>
<html lang="en" data-light="dark">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title} – Beamfall handbook</title>
<link rel="icon" href="/static/icon.svg" type="image/svg+xml">
<link rel="stylesheet" href="/static/base.css">
<link rel="stylesheet" href="/static/frame.css">
<link rel="stylesheet" href="/static/guide.css">
<link rel="stylesheet" href="/static/handbook.css">
<script type="module" src="/static/handbook.js"></script>
</head>
<body class="handbook">
<nav aria-label="Pages of the handbook"><a href="/">Back to the rig</a>
<details id="topics" open><summary>All pages</summary>{links}</details></nav>
<main>{content}</main>
</body>
</html>
"""


def make_page(topic: str) -> str:
    """Return a page of the handbook as HTML. Raises UserError for one that does not exist."""
    from markdown_it import MarkdownIt

    text = read_topic(topic)
    content = MarkdownIt("commonmark", {"html": False}).enable("table").render(text)
    content = _DRAWING.sub(lambda found: _draw(found[1], found[2]), content)
    return _PAGE.format(
        title=escape(find_title(text)),
        links="".join(_link(name, topic) for name in TOPICS),
        content=_PICTURE.sub(r'<a href="\1">\g<0></a>', content),
    )


_PICTURE = re.compile('<img src="([^"]*)"[^>]*>')  # alone, it can be enlarged
# Within the page, so that it takes on the page's light.
_DRAWING = re.compile(f'<img src="({"|".join(map(re.escape, DRAWINGS))})" alt="([^"]*)" />')


def _draw(name: str, alt: str) -> str:
    shapes = "".join(_write_shape(*shape) for shape in list_shapes(DRAWINGS[name]))
    view = f'viewBox="0 0 {WIDTH} {HEIGHT}"'
    return f'<svg class="rig-drawing" role="img" aria-label="{alt}" {view}>{shapes}</svg>'


def _write_shape(tag: str, attributes: Mapping[str, float | str], text: str) -> str:
    written = " ".join(f'{key}="{value}"' for key, value in attributes.items())
    return f"<{tag} {written}>{escape(text)}</{tag}>"


def _link(name: str, current: str) -> str:
    mark = ' aria-current="page"' if name == current else ""
    return f'<a href="/handbook/{name}"{mark}>{escape(find_title(read_topic(name)))}</a>'
