"""A space at which no line ends, and which no picture of a screen drops."""

FIRM_SPACE = "\u00a0"
