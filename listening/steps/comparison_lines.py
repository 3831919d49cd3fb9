"""A comparison as `listening compare` prints it."""

from listening.records.found.comparison import Comparison
from listening.report.sentences import sayings
from listening.report.tables import comparison_tables
from listening.steps import text_table

SHORT = {comparison_tables.SAME: "≈", comparison_tables.ONE_STRIKE: ""}


def lines(found: Comparison) -> list[str]:
    """The comparison for people: tables of at most 80 columns, then the words."""
    unit = "dB" if found.calibrated else "dB re full scale"
    above = "" if found.above_db is None else f"; time above is above {found.above_db:.1f} {unit}"
    made = [
        f"a: {found.a}; b: {found.b}; difference is b less a, with 95 % limits over strikes",
        *text_table.wrapped(f"energies over {found.length_s:.2f} s from the strike{above}"),
        "",
        *text_table.lines(comparison_tables.rows(found), leave_out=(6,), short=SHORT),
        "",
        *text_table.lines(comparison_tables.bands(found, 1), short=SHORT),
        "",
        *text_table.lines(comparison_tables.partials(found), leave_out=(3,), short=SHORT),
        f"{SHORT[comparison_tables.SAME]} {comparison_tables.SAME}: strikes alone may differ as much",
        "",
        *(line for one in sayings.of_comparison(found) for line in text_table.wrapped(one)),
    ]
    if found.elsewhere:
        made += ["", *text_table.lines(comparison_tables.elsewhere(found), short=SHORT), ""]
        made += [line for one in sayings.of_elsewhere(found) for line in text_table.wrapped(one)]
    for metric, why in found.not_known.items():
        made += text_table.wrapped(f"not known: {comparison_tables.NAMES[metric][0]}: {why}")
    return [*made, "third-octaves and strikes of each row: --json"]
