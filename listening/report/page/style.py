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

FIGURE: dict[Any, Any] = {
    "font.family": "sans-serif",
    "font.size": 10,
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
}
