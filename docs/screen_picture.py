"""A terminal screen as an SVG picture in a frame of our own: system fonts, no address of anything outside."""

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
    strips = app.screen._compositor.render_strips()
    columns, rows = app.size
    width, height = columns * CELL_W + 2 * MARGIN, rows * CELL_H + 2 * MARGIN
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" font-family="{FONTS}" '
        f'font-size="{FONT_PX}" fill="{INK}">',
        f'<rect width="{width:g}" height="{height:g}" rx="6" fill="{PAPER}"/>',
    ]
    for row, strip in enumerate(strips):
        parts += _line(strip, MARGIN + row * CELL_H)
    return "\n".join([*parts, "</svg>", ""])


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
        if text := segment.text.replace("\u00a0", " ").rstrip():
            own = text.lstrip()
            x += (len(text) - len(own)) * CELL_W
            made.append(
                f'<text x="{x:g}" y="{y + 15:g}" textLength="{len(own) * CELL_W:g}" '
                f'lengthAdjust="spacingAndGlyphs"{_looks(style, is_reverse)} xml:space="preserve">'
                f"{escape(own)}</text>"
            )
    return made


def _looks(style: Any, is_reverse: bool) -> str:
    looks = ' font-weight="bold"' if style and style.bold else ""
    if is_reverse:
        return f'{looks} fill="{PAPER}"'
    if style and style.dim:
        return f'{looks} opacity="0.6"'
    if style and style.color is not None and "cyan" in str(style.color.name):
        return f'{looks} fill="#7fd6e0"'
    return looks
