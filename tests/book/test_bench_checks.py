"""Routes, dips, putty, conditioned plugs and label codes in the farm book."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from small_book import has, small_farm

from scheduler.book import read_book, write_csv
from scheduler.book.read import check_farm
from scheduler.farm.bench import USUAL_ROUTE, Dip, PlugKind
from scheduler.farm.codes import label_codes
from scheduler.farm.farm import Farm


def farm() -> Farm:
    return small_farm()


def with_route(**changes: dict[str, Any]) -> Farm:
    """The usual route as a group's own, with some values of steps changed; ``None`` leaves a step out."""
    group = farm().groups[0].group
    rows = []
    for row in USUAL_ROUTE:
        change = changes.get(row.step.replace(" ", "_"), {})
        if change is not None:
            rows.append(row.model_copy(update={"group": group} | change))
    return replace(farm(), routes=tuple(rows))


def test_the_usual_route_shares_out_every_minute() -> None:
    faults, _ = check_farm(with_route())
    assert faults == ()


@pytest.mark.parametrize("step", ["label", "dip", "dunk"])
def test_steps_may_be_absent(step: str) -> None:
    changes: dict[str, Any] = {step: None}
    if step == "dunk":
        changes["rack"] = {"of_mount": 0.15}
    faults, _ = check_farm(with_route(**changes))
    assert faults == ()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"rinse": {"of_colony": 0.3}}, ("1.1 over the steps", "add up to 1")),
        ({"rinse": None}, ("0.8 over the steps",)),
        ({"cut": None}, ("no step cut",)),
        ({"mount": None}, ("no step mount",)),
        ({"dip": {"of_colony": 0.1}}, ("minutes for dip",)),
        ({"cut": {"worker": "mounter"}}, ("cutter for the step cut",)),
        ({"mount": {"worker": "either"}}, ("mounter for the step mount",)),
        ({"label": {"worker": "either"}}, ("cutter or mounter",)),
        ({"rack": {"place": 7}}, ("a place of", "twice")),
        ({"dip": {"place": 0 + 2}, "fetch": {"place": 5}}, ("dip before cut",)),
        ({"mother_back": {"place": 2}, "fetch": {"place": 4}}, ("mother back before cut",)),
    ],
    ids=str,
)
def test_routes_that_do_not_work_out(changes: dict[str, Any], words: tuple[str, ...]) -> None:
    faults, _ = check_farm(with_route(**changes))
    assert has(faults, *words), faults


def test_dips_need_a_dose() -> None:
    base = farm()
    strains = tuple(s.model_copy(update={"dip": "kelp"}) for s in base.strains)
    _, doubts = check_farm(replace(base, strains=strains))
    assert has(doubts, "'kelp' without a dose")
    _, doubts = check_farm(replace(base, strains=strains, dips=(Dip(dip="kelp", dose_per_litre=1.0, unit="mL"),)))
    assert not has(doubts, "without a dose")


def test_putty_must_outlast_a_piece() -> None:
    base = farm()
    slow = tuple(s.model_copy(update={"uses_putty": True, "minutes_mount": 6.0}) for s in base.strains)
    _, doubts = check_farm(replace(base, strains=slow))
    assert has(doubts, "6 minutes to mount a piece")


def test_conditioned_plugs_say_since_when() -> None:
    kind = farm().traits(farm().strains[0].strain).plug_kind
    faults, _ = check_farm(replace(farm(), plugs=(PlugKind(plug_kind=kind, condition_days=14, in_water=10),)))
    assert has(faults, "the day these plugs went into water")
    faults, doubts = check_farm(
        replace(farm(), plugs=(PlugKind(plug_kind="odd", condition_days=14, in_water=1, in_water_from=date(2026, 11, 1)),))
    )
    assert faults == ()
    assert has(doubts, "'odd'", "a kind of plug in use")


def test_a_strain_without_a_code_is_a_doubt_with_the_one_its_plugs_will_carry(tmp_path: Path) -> None:
    base = replace(farm(), strains=tuple(s.model_copy(update={"code": ""}) for s in farm().strains))
    faults, doubts = check_farm(base)
    assert faults == ()
    for strain, code in label_codes(base).items():
        assert has(doubts, f"no label code for {strain}", f"{code} is free")
    write_csv(base, tmp_path / "book")
    assert read_book(tmp_path / "book").farm.strains == base.strains


def test_codes_that_a_smudge_confuses_are_a_doubt_with_a_free_code() -> None:
    base = farm()
    first, second, *rest = base.strains
    strains = (first.model_copy(update={"code": "S0"}), second.model_copy(update={"code": "5O"}), *rest)
    _, doubts = check_farm(replace(base, strains=strains))
    assert has(doubts, "like S0", "is free")
