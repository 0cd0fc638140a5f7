"""Lengths and weights by echoes: rows kept, ranges told, scatter undone."""

from typing import Any

import numpy as np
import pandas as pd
import pytest

from toolbox.errors import LayerError, ParameterError
from toolbox.fish.target_lengths import target_lengths
from toolbox.fish.target_strength import RELATIONS, RelationName
from toolbox.layers import Table


def heard(*strengths: float, **columns: Any) -> Table:
    return Table(pd.DataFrame({"ts_db": strengths} | columns), notes=("from the boat",))


def test_rows_stay_and_lengths_join() -> None:
    echoes = heard(-43.72, np.nan, ping=[4, 5])
    found = target_lengths(echoes, relation="warner-alewife", frequency=70)
    assert list(found.frame) == ["ts_db", "ping", "length_cm", "weight_g"]
    assert found.frame["length_cm"][0] == pytest.approx(10, abs=0.005)
    assert np.isnan(found.frame.loc[1, ["length_cm", "weight_g"]].to_numpy(float)).all()
    assert found.notes[0] == "from the boat"
    assert "1 echo has no strength and no length" in found.notes


def test_weights_of_alewife_by_strength() -> None:
    # Warner et al. 2002, abstract: 6.98 log10 W - 50.07; 8.14 g at 10 cm is derived
    found = target_lengths(heard(-50.07, -43.72), relation="warner-alewife").frame["weight_g"]
    assert found.tolist() == pytest.approx([1.0, 10 ** (6.35 / 6.98)])


def test_weights_by_length() -> None:
    given_weights = {"weight_a": 0.01, "weight_b": 3.0, "weight_source": "own catch, 60 perch"}
    found = target_lengths(heard(-47.4), relation="foote-physoclist", frequency=38, **given_weights)
    assert found.frame["weight_g"][0] == pytest.approx(10.0)
    assert any("own catch, 60 perch" in note for note in found.notes)
    assert any("too great on average" in note for note in found.notes)


@pytest.mark.parametrize("relation", ["love", "warner-alewife"])
def test_scatter_of_echoes_leaves_the_mean_weight(relation: RelationName) -> None:
    # derived; fish of one length whose echoes scatter by 3 dB, to the error of 400,000 of them
    strength = np.random.default_rng(5).normal(-44, 3, 400_000)
    growth: dict[str, Any] = {}
    if relation == "love":
        growth = {"weight_a": 0.01, "weight_b": 3.0, "weight_source": "invented"}
    one = target_lengths(heard(-44.0), relation=relation, **growth).frame["weight_g"][0]
    many = target_lengths(heard(*strength), relation=relation, scatter=3.0, **growth)
    assert many.frame["weight_g"].mean() == pytest.approx(one, rel=0.02)
    raw = target_lengths(heard(*strength), relation=relation, **growth)
    assert raw.frame["weight_g"].mean() > 1.5 * one


def test_scatter_by_a_line_of_mean_power() -> None:
    # Foote 1987 gives the mean power of fish of a length (for echo integration; that the mean is of
    # powers is from memory): 20 cm are -41.38 dB. Derived: the mean power of a normal scatter
    growth: dict[str, Any] = {"weight_a": 0.01, "weight_b": 3.0, "weight_source": "invented"}
    spread = np.random.default_rng(6).normal(0, 3, 400_000)
    strength = -41.38 + spread - 10 * np.log10((10 ** (spread / 10)).mean())
    echoes = heard(*strength)
    found = target_lengths(
        echoes, relation="foote-physoclist", frequency=38, scatter=3.0, **growth
    ).frame["weight_g"]
    assert found.mean() == pytest.approx(0.01 * 20**3, rel=0.02)


def test_what_lies_outside_is_told() -> None:
    # Warner et al. 2002: valid from 2.5 to 15.2 cm; a fish of 30 cm answers with -33.9 dB
    notes = target_lengths(heard(-33.9, -44.0), relation="warner-alewife").notes
    assert any("1 length lies outside 2.5 to 15.2 cm" in note for note in notes)
    # Love, from memory: 1 to 100 wavelengths, 0.725 to 72.5 cm at 200 kHz and 1450 m/s
    assert RELATIONS["love"].valid(200.0) == pytest.approx((0.725, 72.5))
    notes = target_lengths(heard(-25.0, -75.0), frequency=200).notes
    assert any("2 lengths lie outside 0.725 to 72.5 cm" in note for note in notes)


def test_another_frequency_is_told() -> None:
    notes = target_lengths(heard(-40.0), relation="foote-clupeoid", frequency=200).notes
    assert any("measured at 38 kHz, used at 200 kHz" in note for note in notes)
    notes = target_lengths(heard(-40.0), relation="foote-clupeoid", frequency=38).notes
    assert not any("measured at" in note for note in notes)
    notes = target_lengths(heard(-40.0), relation="rudstam-smelt").notes
    assert sum("not on record here" in note for note in notes) == 2


def test_bad_input() -> None:
    with pytest.raises(LayerError, match="no column 'ts_db'"):
        target_lengths(Table(pd.DataFrame({"db": [1.0]})))
    with pytest.raises(ParameterError, match=r"ts_db must be .* got 41 in row 2"):
        target_lengths(heard(-40.0, 41.0))
    with pytest.raises(ParameterError, match=r"go together, got 0.01, 3.0 and ''"):
        target_lengths(heard(-40.0), weight_a=0.01, weight_b=3.0)
    with pytest.raises(ParameterError, match="go together"):
        target_lengths(heard(-40.0), weight_source="a book")
    with pytest.raises(ParameterError, match="relation must be one of"):
        target_lengths(heard(-40.0), relation="loud")  # type: ignore[arg-type]


def test_cut_off_of_a_great_lake() -> None:
    # dnr.cornell.edu/acoustics, separating groups of interest: in Lake Superior echoes louder than
    # -35.6 dB are cisco longer than 25 cm; Love's line is of fish of many kinds, hence the width
    found = target_lengths(heard(-35.6), relation="love", frequency=120).frame["length_cm"][0]
    assert found == pytest.approx(25, rel=0.25)
