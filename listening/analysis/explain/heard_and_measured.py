"""What heard and measured have in common, over all that was asked: shares, lines, the joint model."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from listening.analysis.collect import played
from listening.analysis.decide.level_slope import Slope
from listening.analysis.explain import decomposition, heard_lines, stimulus_covariates
from listening.analysis.explain.strength_sets import Fitted
from listening.records.found.findings_explained import Decomposition, HeardMeasured, JointModel, PlayedMeasure
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest
from listening.records.sounds.measured import Measures


@dataclass(frozen=True)
class Explained:
    """All of it, as the findings hold it."""

    decompositions: tuple[Decomposition, ...]
    heard_measured: tuple[HeardMeasured, ...]
    joint_models: tuple[JointModel, ...]
    played: tuple[PlayedMeasure, ...]


def of_study(
    sets: Sequence[Fitted],
    slopes: Mapping[str, Slope | None],
    protocol: Protocol,
    *,
    manifest: Manifest,
    measures: Measures | None,
) -> Explained:
    """Every set of conditions explained by what was measured of it as played.

    Parameters
    ----------
    slopes : what a decibel does to each attribute's answers
    measures : tells strikes of one specimen from strikes of several; None takes all as one specimen's
    """
    table = played.table(manifest, measures)
    metrics = stimulus_covariates.metrics(protocol.covariates)
    shared: list[Decomposition] = []
    lines: list[HeardMeasured] = []
    joint: list[JointModel] = []
    for one in sets:
        if one.found is None:
            continue
        slope = slopes.get(one.attribute)
        shared.append(decomposition.of_set(one.key, one.found, table, metrics=metrics, slope=slope))
        tried = heard_lines.axes(one.presentation, one.found, table)
        best = heard_lines.the_best(tried) if tried else None
        lines += heard_lines.over_metrics(one.key, one.found, tried)
        joint.append(heard_lines.joint(one.key, one.found, table, metrics=metrics, slope=slope, best=best))
    return Explained(tuple(shared), tuple(lines), tuple(joint), played.findings(table, protocol))
