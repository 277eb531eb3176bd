"""The handbook as web pages: Markdown to HTML, with a list of its pages. Nothing is loaded from the network."""

from __future__ import annotations

from html import escape

from beamfall.handbook import TOPICS, find_title, read_topic

_PAGE = """<!doctype html>
<html lang="en" data-light="dark">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title} – Beamfall handbook</title>
<link rel="icon" href="/static/icon.svg" type="image/svg+xml">
<link rel="stylesheet" href="/static/page.css">
<link rel="stylesheet" href="/static/parts.css">
<script type="module" src="/static/handbook.js"></script>
</head>
<body class="handbook">
<nav aria-label="Pages of the handbook"><a href="/">Back to the rig</a>{links}</nav>
<main>{content}</main>
</body>
</html>
"""


def make_page(topic: str) -> str:
    """Return a page of the handbook as HTML. Raises UserError for one that does not exist."""
    from markdown_it import MarkdownIt

    text = read_topic(topic)
    return _PAGE.format(
        title=escape(find_title(text)),
        links="".join(_link(name, topic) for name in TOPICS),
        content=MarkdownIt("commonmark", {"html": False}).enable("table").render(text),
    )


def _link(name: str, current: str) -> str:
    mark = ' aria-current="page"' if name == current else ""
    return f'<a href="/handbook/{name}"{mark}>{escape(find_title(read_topic(name)))}</a>'
