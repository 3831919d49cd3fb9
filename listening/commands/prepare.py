"""`listening prepare`: aligned, matched, verified stimuli of a study."""

import argparse
import os
from pathlib import Path

from listening.commands import progress, show
from listening.design import trial
from listening.errors import StudyError
from listening.intake import check
from listening.planning import covariates
from listening.planning.covariates import Preview
from listening.records import protocol
from listening.records.manifest import Manifest
from listening.records.problem import listing
from listening.records.protocol import MATCHED
from listening.records.study import Study, open_study
from listening.stimuli import match, prepare, residuals


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder")
    parser.add_argument(
        "--jobs", type=int, default=os.cpu_count() or 1, help="processes (default: all cores)"
    )
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Check, prepare, and print what the matching left over in every metric."""
    study = open_study(args.folder)
    refuse_problems(study)
    with progress.bar("preparing stimuli") as on_progress:
        manifest = prepare.run(study, on_progress=on_progress, jobs=max(1, args.jobs))
    spreads = residuals.spreads(manifest)
    previews = _previews(study, manifest)
    lines = [*_summary(study, manifest), *_table(spreads), *_moved(manifest)]
    lines += [line for found, warnings in previews for line in _pairs(found, warnings)]
    data = {
        "stimuli": len(manifest.stimuli),
        "headroom_offset_db": manifest.headroom_offset_db,
        "matching_metric": manifest.matching_metric,
        "target": manifest.target,
        "spreads": [{**vars(s), "spread": s.spread} for s in spreads],
        "pairs": [_pairs_as_json(found, warnings) for found, warnings in previews],
    }
    show.result(args, lines, data)
    return 0


def refuse_problems(study: Study) -> None:
    """Stop a study that `check` would stop.

    Raises
    ------
    StudyError
        With every error that was found.
    """
    found = [problem for problem in check.problems(study.protocol) if problem.severity == "error"]
    if found:
        raise StudyError(f"the study has {len(found)} errors:\n{listing(found)}")


def _summary(study: Study, manifest: Manifest) -> list[str]:
    lines = [
        f"prepared {len(manifest.stimuli)} stimuli in {study.stimuli}, "
        f"common headroom offset {manifest.headroom_offset_db:+.2f} dB"
    ]
    left = [abs(s.residual_db) for s in manifest.stimuli if s.residual_db is not None]
    if left and manifest.matching_metric and manifest.target is not None:
        unit = match.UNIT[manifest.matching_metric]
        lines.append(
            f"matched to {manifest.target:.2f} {unit}, {manifest.matching_label}; "
            f"largest residual {max(left):.3f}, tolerance {manifest.tolerance_db:g}"
        )
    return lines


def _table(spreads: list[residuals.Spread]) -> list[str]:
    names = list(dict.fromkeys(s.presentation for s in spreads))
    lines = ["largest minus smallest over the set", f"  {'metric':<22}" + "".join(f"{n:>14}" for n in names)]
    for metric in dict.fromkeys(s.metric for s in spreads):
        by_name = {s.presentation: s.spread for s in spreads if s.metric == metric}
        cells = "".join(f"{by_name[n]:>14.2f}" if n in by_name else f"{'':>14}" for n in names)
        lines.append(f"  {metric:<22}{cells}")
    if MATCHED in names:
        lines.append(
            f"what `{MATCHED}` still spreads in other metrics is what the choice of metric leaves open"
        )
    return lines


def _moved(manifest: Manifest) -> list[str]:
    """What moved and what stayed in each isolated stimulus, against its own base strike."""
    isolated = [(s, s.isolated) for s in manifest.stimuli if s.isolated is not None]
    if not isolated:
        return []
    lines = [
        "what was moved, as ratios to the untouched strike at the matched level",
        f"  {'stimulus':<34}{'brightness':>11}{'decay':>8}{'T60':>8}{'T60 miss':>10}{'colour':>16}",
    ]
    for stimulus, moved in isolated:
        t60 = moved.partials[0].t60_wanted_s / moved.partials[0].t60_before_s
        miss = max(abs(p.t60_after_s / p.t60_wanted_s - 1) for p in moved.partials)
        lines.append(
            f"  {stimulus.stimulus:<34}{moved.brightness_ratio or 0:>11.3f}{moved.decay_ratio or 0:>8.3f}"
            f"{t60:>8.3f}{100 * miss:>8.2f} %{moved.tilt_db_per_octave:>+9.2f} dB/oct"
        )
    return lines


def _previews(study: Study, manifest: Manifest) -> list[tuple[Preview, list[str]]]:
    """How the pairs differ in what may be heard; nothing when a metric of [covariates] cannot be had."""
    try:
        found = covariates.of_study(protocol.load(study.protocol), manifest)
    except StudyError:
        return []
    return [(one, covariates.advice(one, trial.strikes(manifest, one.presentation))) for one in found]


def _pairs(found: Preview, warnings: list[str]) -> list[str]:
    level, brightness, decay = found.metrics
    lines = [
        f"pairs of `{found.presentation}`, without listening (first against second)",
        f"  {'pair':<34}{level:>20}{brightness + ' ratio':>22}{decay + ' ratio':>18}  dominant",
    ]
    lines += [
        f"  {f'{p.first} - {p.second}':<34}{p.level_db:>+20.2f}{p.brightness_ratio:>22.3f}"
        f"{p.decay_ratio:>18.3f}  {p.dominant}"
        for p in found.pairs
    ]
    lines.append(
        f"  varying: {', '.join(found.varying) or 'nothing'}; inflation {found.largest_inflation:.2f}"
    )
    return lines + [f"caution: {line.strip()}" for line in warnings]


def _pairs_as_json(found: Preview, warnings: list[str]) -> dict[str, object]:
    return {
        "presentation": found.presentation,
        "metrics": found.metrics,
        "pairs": [vars(p) for p in found.pairs],
        "varying": found.varying,
        "correlation": found.correlation.tolist(),
        "inflation": [v if v < float("inf") else None for v in found.inflation.tolist()],
        "cautions": warnings,
    }
