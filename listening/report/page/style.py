"""Colours and sizes of page and figures: our own, calm, readable in grey."""

from typing import Any

PAPER = "#fbfaf6"
INK = "#1c2530"
SOFT = "#59636f"  # 5.9:1 on paper
LINE = "#d8d4c8"
ACCENT = "#0d5c63"
SECOND = "#a4561b"

VERDICT = {
    "supported": ("#14532f", "#e6efe7", "●"),
    "contradicted": ("#7d2323", "#f6e8e4", "✕"),
    "undecided": ("#5a4708", "#f4eeda", "◑"),
    "no verdict": ("#414750", "#ebebe8", "○"),
}
"""Ink, ground and mark of each verdict; the word always stands beside the mark."""

PANEL = "#ffffff"
BANNER = {"banner-ink": "#4e2609", "banner-ground": "#fbeee2", "banner-line": "#8a4312"}
LIGHT = {
    "paper": PAPER,
    "panel": PANEL,
    "ink": INK,
    "soft": SOFT,
    "line": LINE,
    "accent": ACCENT,
    "second": SECOND,
    **BANNER,
    **{f"{word.replace(' ', '-')}-ink": ink for word, (ink, _, _) in VERDICT.items()},
    **{f"{word.replace(' ', '-')}-ground": ground for word, (_, ground, _) in VERDICT.items()},
}
"""Every colour of the page by its name in the style sheet."""

DARK = {
    "paper": "#14181d",
    "panel": "#1c2229",
    "ink": "#e8e6df",
    "soft": "#a9b2bc",
    "line": "#3a424c",
    "accent": "#6cc5cd",
    "second": "#e0a06a",
    "banner-ink": "#f6d9bf",
    "banner-ground": "#33231a",
    "banner-line": "#e0a06a",
    "supported-ink": "#8fd6ae",
    "supported-ground": "#16301f",
    "contradicted-ink": "#f0a8a0",
    "contradicted-ground": "#3a1c1a",
    "undecided-ink": "#e6cf8b",
    "undecided-ground": "#362d12",
    "no-verdict-ink": "#c3c9d1",
    "no-verdict-ground": "#2b3036",
}
"""The same for a dark screen."""


def variables() -> str:
    """The colours as the style sheet declares them, dark ones for screens that ask for them."""
    light, dark = (" ".join(f"--{name}: {colour};" for name, colour in one.items()) for one in (LIGHT, DARK))
    return (
        f":root {{ color-scheme: light; {light} }}\n"
        f"@media screen and (prefers-color-scheme: dark) {{ :root {{ color-scheme: dark; {dark} }} }}\n"
    )


def followed(drawing: str) -> str:
    """A drawing whose colours follow the page's, light or dark; alone it keeps its own."""
    inks = {name: colour for name, colour in LIGHT.items() if not name.endswith(("ground", "paper", "panel"))}
    for name, colour in inks.items():
        drawing = drawing.replace(f": {colour}", f": var(--{name}, {colour})")
    return drawing


FIGURE: dict[Any, Any] = {
    "font.family": "sans-serif",
    "font.size": 11,
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.edgecolor": SOFT,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.color": SOFT,
    "ytick.color": INK,
    "axes.facecolor": "none",
    "figure.facecolor": "none",
    "savefig.facecolor": "none",
    "svg.fonttype": "none",
    "svg.hashsalt": "listening",
    "text.parse_math": False,  # a name with two $ in it is a name
}
