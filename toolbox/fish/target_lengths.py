"""Target lengths: how long, and how heavy, the fish are that answered."""

from typing import Annotated

import numpy as np

from toolbox.errors import ParameterError
from toolbox.fish.target_strength import RELATIONS, Relation, RelationName, mean_strength
from toolbox.fish.weights import Growth, weighed
from toolbox.layers import Table
from toolbox.tool import Range, tool
from toolbox.words import counted

__all__ = ["target_lengths"]


@tool("Lengths of fish by their echoes")
def target_lengths(
    echoes: Table,
    *,
    relation: RelationName = "love",
    frequency: Annotated[float, Range("kHz", min=10, max=1000)] = 200.0,
    weight_a: Annotated[float, Range("", above=0)] | None = None,
    weight_b: Annotated[float, Range("", min=2, max=4)] | None = None,
    weight_source: str = "",
    scatter: Annotated[float, Range("dB", min=0, max=10)] = 0.0,
) -> Table:
    """Turn the target strength of each echo into the length, and the weight, of a fish.

    Parameters
    ----------
    echoes : Table
        One row an echo, with a column ``ts_db``: target strength, dB re 1 m2.
    relation : str
        ``love`` for fish of many kinds at any frequency; ``foote-physoclist`` and
        ``foote-clupeoid`` at 38 kHz; ``warner-alewife``; ``rudstam-smelt``.
    frequency : float
        Of the sounder. Only Love's relation follows it; for the others it is compared with the
        frequency they were measured at.
    weight_a : float, optional
        Of weight = a length^b, in g with the length in cm.
    weight_b : float, optional
        Of the same.
    weight_source : str
        Where the two come from: no weights without it.
    scatter : float
        Standard deviation of the strength of one and the same fish from echo to echo. Weights are
        lessened by the factor it raises their mean by; lengths stay as they are.

    Returns
    -------
    Table
        The rows given, in their order, with ``length_cm`` and, if weights can be had, ``weight_g``
        (with ``warner-alewife`` from its own line of strength by weight unless a and b are given).
        An echo without a strength has neither. Lengths outside the range for which the relation
        holds stay and are counted in the notes.

    Raises
    ------
    ParameterError
        If of a, b and their source one is missing.

    Notes
    -----
    An echo whose place in the beam is unknown (one beam, no phases) is weaker than the fish: so are
    its length and weight.

    Weight rises steeply with strength, so that echoes which scatter by s dB make it too great on
    average by exp((ln(10) b s / slope)^2 / 2), 1.8 for 3 dB (derived, for a normal scatter). The
    lines of Foote are of mean power, as echo integration needs, which lies ln(10) s^2 / 20 dB above
    the middle of the decibels: by them the mean is too great by less, 1.2 for 3 dB.

    References
    ----------
    Love 1977, J. Acoust. Soc. Am. 62:1397, "Target strength of an individual fish at any aspect".

    Foote 1987, J. Acoust. Soc. Am. 82:981, "Fish target strengths for use in echo integrator
    surveys".

    Warner, Rudstam & Klumb 2002, Trans. Am. Fish. Soc. 131:212, on alewives in fresh water.

    Rudstam et al. 2003, ICES J. Mar. Sci. 60, on rainbow smelt.
    """
    growth = Growth.of(weight_a, weight_b, weight_source)
    line, strength = RELATIONS[relation], echoes.column("ts_db")
    _check_strengths(strength)
    length = line.length(strength, frequency)
    own = line.weigh(strength)
    frame, notes = weighed(
        echoes.frame.assign(length_cm=length),
        own,
        line.source,
        growth,
        line.excess(scatter, growth),
    )
    told = (_origin(line), *_range_notes(line, frequency, length))
    told += (_mean_note(line, frequency, strength),) if len(strength) else ()
    return Table(frame, "Echoes with lengths of fish", (*echoes.notes, *told, *notes))


def _check_strengths(strength: np.ndarray) -> None:
    wrong = (strength > 0) | (strength < -150)
    if wrong.any():
        raise ParameterError(
            f"ts_db must be a target strength, -150 to 0 dB, got {strength[wrong][0]:g}"
            f" in row {int(wrong.argmax()) + 1}"
        )


def _origin(line: Relation) -> str:
    per = f" {line.per_frequency:+g} log10 f" if line.per_frequency else ""
    form = f"{line.slope:g} log10 L{per} {line.level:+g}"
    return f"lengths of {line.group} by target strength = {form} ({line.source})"


def _range_notes(line: Relation, frequency: float, length: np.ndarray) -> tuple[str, ...]:
    notes: list[str] = []
    if line.frequency is not None and abs(frequency / line.frequency - 1) > 0.05:
        notes.append(
            f"measured at {line.frequency:g} kHz, used at {frequency:g} kHz: lengths may be off"
        )
    if line.frequency is None and not line.per_frequency:
        notes.append("the frequency it was measured at is not on record here: look it up")
    if (valid := line.valid(frequency)) is None:
        notes.append("the lengths it was measured on are not on record here: look them up")
        return tuple(notes)
    outside = int(((length < valid[0]) | (length > valid[1])).sum())
    if outside:
        what = counted(outside, "length lies", "lengths lie")
        notes.append(f"{what} outside {valid[0]:.3g} to {valid[1]:.3g} cm, where it holds")
    if missing := int(np.isnan(length).sum()):
        notes.append(f"{counted(missing, 'echo has', 'echoes have')} no strength and no length")
    return tuple(notes)


def _mean_note(line: Relation, frequency: float, strength: np.ndarray) -> str:
    mean = mean_strength(strength)
    return (
        f"mean target strength {mean:.1f} dB (mean of powers), as of a fish of"
        f" {float(line.length(mean, frequency)):.1f} cm; single echoes spread more than the fish do"
    )
