"""Label codes: short, telling, never mistaken for one another."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import combinations
from random import Random

import pytest
from farms import random_farm

from scheduler.farm.codes import LOOK_ALIKE, code_clashes, distance, label_codes, likeness, propose, reused_codes, smudged


@pytest.mark.parametrize(
    ("a", "b"), [("A0", "AO"), ("1A", "lA"), ("1A", "IA"), ("5B", "SB"), ("A8", "AB"), ("U2", "VZ"), ("DQ", "00"), ("6K", "GK")]
)
def test_codes_that_a_smudge_confuses(a: str, b: str) -> None:
    assert likeness(a, b) == "look-alike"


def test_look_alike_families_do_not_overlap() -> None:
    signs = "".join(LOOK_ALIKE)
    assert len(signs) == len(set(signs))


# Levenshtein VI (1966) Binary codes capable of correcting deletions, insertions, and reversals, Sov Phys Dokl 10:707-710; the
# pair kitten and sitting is the usual textbook example (3).
@pytest.mark.parametrize(
    ("a", "b", "steps"),
    [("KITTEN", "SITTING", 3), ("", "AB", 2), ("AB", "AB", 0), ("AB", "BA", 2), ("LN", "LNT", 1), ("LN", "LB", 1)],
)
def test_distance_between_codes(a: str, b: str, steps: int) -> None:
    assert distance(a, b) == distance(b, a) == steps


def test_a_proposal_recalls_the_name() -> None:
    assert propose("Lantern Branch", ()) == "LB"
    assert propose("Fog", ()) == "FG"
    assert propose("Lantern Branch", ("LB",)) != "LB"


@pytest.mark.parametrize("seed", range(3))
def test_three_hundred_strains_get_codes_that_cannot_be_confused(seed: int) -> None:
    chance = Random(seed)
    codes: list[str] = []
    for _ in range(300):
        word = "".join(chance.choice("abcdefghijklmnoprstuw") for _ in range(6))
        other = "".join(chance.choice("abcdefghijklmnoprstuw") for _ in range(7))
        codes.append(propose(f"{word} {other}", codes))
    assert all(2 <= len(c) <= 4 and c.isalnum() and c.isupper() for c in codes)
    assert all(distance(smudged(a), smudged(b)) >= 2 for a, b in combinations(codes, 2))


@pytest.mark.parametrize("seed", range(3))
def test_strains_without_a_code_get_one_unlike_all_others(seed: int) -> None:
    """Codes of the book stay; the proposals are unlike them, unlike each other, and unlike codes still on racks."""
    farm = random_farm(seed, 60, weeks=8)
    bare = replace(farm, strains=tuple(s.model_copy(update={"code": ""}) if i % 2 else s for i, s in enumerate(farm.strains)))
    codes = label_codes(bare)
    assert all(codes[s.strain] == s.code for s in bare.strains if s.code)
    fresh = {codes[s.strain] for s in bare.strains if not s.code}
    others = {s.code for s in bare.strains if s.code} | {lot.lot.split("-")[0] for lot in bare.lots if lot.alive}
    assert len(fresh) == sum(not s.code for s in bare.strains)
    assert not [(a, b) for a in fresh for b in (others | fresh) - {a} if likeness(a, b) in ("same", "look-alike")]
    assert not [c for c in code_clashes(bare) if not farm.strain[c.strain].code]


def test_names_that_leave_nothing_free_still_get_a_code() -> None:
    farm = random_farm(1, 40, weeks=8)
    alike = replace(farm, strains=tuple(s.model_copy(update={"name": "Ab", "code": ""}) for s in farm.strains))
    codes = list(label_codes(alike).values())
    assert len({smudged(c) for c in codes}) == len(farm.strains)
    assert all(2 <= len(c) <= 4 for c in codes)


def test_one_sign_apart_where_nothing_better_is_free_and_an_error_where_nothing_is() -> None:
    shapes = ("AB", "A3", "A4", "A7", "A9")  # all that recalls so short a name
    assert propose("Ab", [f"X{c[1]}" for c in shapes]) == "AB"
    with pytest.raises(ValueError, match="no free code"):
        propose("Ab", shapes)


def test_codes_of_the_book_are_kept_and_clashes_reported_with_a_free_code() -> None:
    farm = random_farm(1, 8)
    first, second, *rest = farm.strains
    same = replace(farm, strains=(first.model_copy(update={"code": "AO"}), second.model_copy(update={"code": "A0"}), *rest))
    clash = next(c for c in code_clashes(same) if c.how == "look-alike")
    assert {clash.strain, clash.other} == {first.strain, second.strain}
    assert clash.proposal
    assert not likeness(clash.proposal, "AO")


def test_a_strain_that_no_longer_lives_frees_its_code() -> None:
    farm = random_farm(1, 8)
    first, second, *rest = farm.strains
    twice = replace(farm, strains=(first.model_copy(update={"code": "XW"}), second.model_copy(update={"code": "XW"}), *rest))
    assert any(c.how == "same" for c in code_clashes(twice))
    gone = replace(
        twice,
        colonies=tuple(c for c in farm.colonies if c.strain != second.strain),
        lots=tuple(x for x in farm.lots if x.strain != second.strain),
    )
    assert not any(c.how == "same" for c in code_clashes(gone))


def test_a_code_given_anew_while_frags_of_the_old_meaning_live_is_found() -> None:
    farm = random_farm(2, 8)
    lot = farm.lots[0].model_copy(
        update={"lot": f"{farm.strains[1].code}-2601a", "strain": farm.strains[0].strain, "cut_date": date(2026, 1, 5)}
    )
    assert (lot.lot, farm.strains[1].strain) in reused_codes(replace(farm, lots=(lot,)))
    dead = lot.model_copy(update={"alive": 0})
    assert reused_codes(replace(farm, lots=(dead,))) == ()
