"""A figure of one replication: what was published beside ours, with one standard error, as plain SVG."""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

ROW_PX, LEFT_PX, WIDTH_PX, EDGE_PX = 26, 130, 420, 30
TICKS = (-2, -1, 0, 1, 2, 3)


@dataclass(frozen=True)
class Row:
    """One value, published and ours, and the standard error of ours."""

    what: str
    published: float
    ours: float
    se: float


def svg(rows: Sequence[Row], *, axis: str) -> str:
    """The figure; places are whole pixels of rounded numbers, so that it is the same text everywhere."""
    ends = [round(row.ours + sign * row.se, 2) for row in rows for sign in (-1, 1)]
    low, high = min(*ends, 0.0), max(*ends, 0.0)
    height = ROW_PX * (len(rows) + 2)

    def x(value: float) -> int:
        return LEFT_PX + round(WIDTH_PX * (round(value, 2) - low) / (high - low))

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{LEFT_PX + WIDTH_PX + EDGE_PX}" height="{height}" '
        'font-family="sans-serif" font-size="13" role="img">',
        '<rect width="100%" height="100%" fill="white"/>',
    ]
    bottom = ROW_PX * len(rows) + 8
    for tick in (t for t in TICKS if low <= t <= high):
        parts.append(f'<line x1="{x(tick)}" x2="{x(tick)}" y1="4" y2="{bottom}" stroke="#ddd"/>')
        parts.append(f'<text x="{x(tick)}" y="{bottom + 16}" text-anchor="middle">{tick}</text>')
    for n, row in enumerate(rows):
        y = ROW_PX * n + 20
        parts += [
            f'<text x="{LEFT_PX - 12}" y="{y + 4}" text-anchor="end">{escape(row.what)}</text>',
            f'<path d="M {x(row.ours - row.se)} {y} H {x(row.ours + row.se)}" stroke="gray"/>',
            f'<circle cx="{x(row.ours)}" cy="{y}" r="3" fill="#1f4e79"/>',
            f'<circle cx="{x(row.published)}" cy="{y}" r="7" fill="none" stroke="#b35900"/>',
        ]
    parts.append(f'<text x="{LEFT_PX}" y="{height - 4}">{escape(axis)}</text>')
    return "\n".join([*parts, "</svg>"]) + "\n"
