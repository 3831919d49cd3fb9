"""A terminal screen as an SVG picture in a frame of our own: system fonts, no address of anything outside."""

import textwrap
from html import escape
from typing import Any

CELL_W, CELL_H, FONT_PX = 9.0, 20.0, 15
MARGIN = 14.0
INK, PAPER = "#e8e4da", "#20242b"
FONTS = "'DejaVu Sans Mono', 'Liberation Mono', monospace"


def svg(app: Any) -> str:
    """What the program's screen shows now.

    Parameters
    ----------
    app : a textual App that runs in a test of its own, its screen drawn
    """
    columns, rows = app.size
    strips = app.screen._compositor.render_strips()
    lines = [_line(strip, MARGIN + row * CELL_H) for row, strip in enumerate(strips)]
    return _framed(lines, columns, rows)


def of_lines(texts: list[str], columns: int) -> str:
    """Plain lines of a terminal as a picture in the same frame."""
    texts = [
        part for text in texts for part in (textwrap.wrap(text, columns, subsequent_indent="  ") or [""])
    ]
    lines = [[_text(text, MARGIN, MARGIN + row * CELL_H, "")] for row, text in enumerate(texts)]
    return _framed(lines, columns, len(texts))


def _framed(lines: list[list[str]], columns: int, rows: int) -> str:
    width, height = columns * CELL_W + 2 * MARGIN, rows * CELL_H + 2 * MARGIN
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" font-family="{FONTS}" '
        f'font-size="{FONT_PX}" fill="{INK}">',
        f'<rect width="{width:g}" height="{height:g}" rx="6" fill="{PAPER}"/>',
    ]
    return "\n".join([*parts, *(part for line in lines for part in line if part), "</svg>", ""])


def _line(strip: Any, y: float) -> list[str]:
    made, column = [], 0
    for segment in strip:
        cells = segment.cell_length
        x = MARGIN + column * CELL_W
        column += cells
        style = segment.style
        is_reverse = bool(style and style.reverse)
        if is_reverse:
            made.append(
                f'<rect x="{x:g}" y="{y:g}" width="{cells * CELL_W:g}" height="{CELL_H:g}" fill="{INK}"/>'
            )
        made.append(_text(segment.text, x, y, _looks(style, is_reverse)))
    return made


def _text(text: str, x: float, y: float, looks: str) -> str:
    """One piece of text at its cell, or nothing where it is blank."""
    text = text.replace("\u00a0", " ").rstrip()
    own = text.lstrip()
    if not own:
        return ""
    x += (len(text) - len(own)) * CELL_W
    return (
        f'<text x="{x:g}" y="{y + 15:g}" textLength="{len(own) * CELL_W:g}" '
        f'lengthAdjust="spacingAndGlyphs"{looks} xml:space="preserve">{escape(own)}</text>'
    )


def _looks(style: Any, is_reverse: bool) -> str:
    looks = ' font-weight="bold"' if style and style.bold else ""
    if is_reverse:
        return f'{looks} fill="{PAPER}"'
    if style and style.dim:
        return f'{looks} opacity="0.6"'
    if style and style.color is not None and "cyan" in str(style.color.name):
        return f'{looks} fill="#7fd6e0"'
    return looks
