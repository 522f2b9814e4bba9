from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from small_book import altered, has, small_farm, tables

from scheduler.book import check_farm, read_book, unsourced, write_csv
from scheduler.errors import BookError
from scheduler.farm.coral import GroupPair, Lot, TraitSource
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Pin


@pytest.mark.parametrize(
    ("sheet", "index", "values", "words"),
    [
        ("systems", 1, {"feeds": ("Nroth",)}, ("feeds", "'Nroth'", "did you mean North?")),
        ("tanks", 0, {"system": "South"}, ("system", "'South'", "a name from systems")),
        ("tanks", 0, {"closed_from": date(2027, 2, 2), "closed_to": date(2027, 2, 1)}, ("closed_to", "closed_from or later")),
        ("racks", 0, {"blocked": ("I1",)}, ("blocked", "outside the rack")),
        ("racks", 0, {"blocked": ("first",)}, ("blocked", "positions such as")),
        ("racks", 0, {"plug_kinds": ()}, ("plug_kinds", "nothing")),
        ("light", 1, {"rack": "N1-a", "from_date": date(2026, 1, 1)}, ("rack N1-b without light",)),
        ("light", 1, {"par_umol": None}, ("par_umol", "no PAR")),
        ("light", 0, {"par_last_row_last_col": None}, ("par_last_row_last_col", "3 of 4 corners")),
        ("groups", 0, {"par_min": 400.0}, ("par_min", "above par_max")),
        ("groups", 0, {"cap_units": 2.0}, ("cap_units", "below start_units")),
        ("groups", 0, {"closed_months": (13,)}, ("closed_months", "months from 1 to 12")),
        ("groups", 0, {"flow_settling": ()}, ("flow_settling", "no flow")),
        ("strains", 0, {"par_max": 50.0}, ("strains row 1, column par_max", "par_min at most par_max")),
        ("strains", 0, {"cap_units": 1.0}, ("cap_units", "at least start_units")),
        ("strains", 0, {"group": "brunching stony"}, ("group", "did you mean branching stony?")),
        ("sources", 0, {"trait": "growth_per_wek"}, ("trait", "did you mean growth_per_week?")),
        ("classes", 1, {"group": "buttons"}, ("classes row 2, column group", "it is branching stony")),
        ("classes", 2, {"group": "branching stony"}, ("no size class for group buttons",)),
        ("colonies", 0, {"count_date": date(2026, 11, 26)}, ("count_date", "after the book's date")),
        ("colonies", 0, {"last_cut": date(2027, 1, 1)}, ("last_cut", "after the book's date")),
        ("colonies", 0, {"rack": "N1-b"}, ("positions", "nothing")),
        ("colonies", 0, {"positions": "A1"}, ("column rack", "nothing")),
        ("colonies", 1, {"positions": "E5-F6"}, ("positions", "is not a block")),
        ("colonies", 1, {"positions": "E5:G6"}, ("positions", "G5, G6 outside the rack")),
        ("colonies", 1, {"rack": "Q1-a"}, ("column rack", "rack Q1-a of tank Q1")),
        ("lots", 0, {"alive": 19}, ("alive", "at most the 18 started")),
        ("lots", 0, {"alive": 14}, ("15 plugs in the blocks, 14 alive", "write A1:B8=14")),
        ("lots", 0, {"blocks": ("A1:B8=5",)}, ("do not end in its last row",)),
        ("lots", 0, {"blocks": ("A1:B9",)}, ("18 plugs in the blocks, 15 alive", "write A1:B9=15")),
        ("lots", 1, {"blocks": ("E1:G6",)}, ("whole plugs of 2 x 2",)),
        ("lots", 1, {"blocks": ("A7:B12", "G1:H4")}, ("held by lot LN-2639a already",)),
        ("lots", 1, {"blocks": ("E1:F6", "E1:F4")}, ("held by lot B7-2640a already",)),
        ("lots", 1, {"blocks": ("E1:F6", "G7:H10")}, ("H10 blocked",)),
        ("lots", 1, {"rack": "N1-b", "blocks": ("E1:F6", "A1:B4")}, ("held by colony EMB-01 already",)),
        ("lots", 0, {"colony": "EMB-01"}, ("colony EMB-01 of strain EMB",)),
        ("lots", 0, {"count_date": date(2026, 9, 1)}, ("count_date", "before cut_date")),
        ("absences", 0, {"person": "Adda"}, ("did you mean Ada?",)),
        ("absences", 0, {"to_date": date(2026, 12, 1)}, ("to_date", "before from_date")),
        ("sessions", 0, {"weekday": None}, ("weekday", "neither")),
        ("sessions", 1, {"weekday": "Sat"}, ("weekday", "weekday and date")),
        ("sessions", 1, {"to_date": date(2027, 1, 1)}, ("a single session with a period",)),
        ("sessions", 0, {"people": ("Ada", "Bne")}, ("did you mean Ben?",)),
        ("sessions", 0, {"people": ()}, ("people", "nobody")),
        ("sessions", 0, {"methods": ()}, ("methods", "nothing")),
        ("channels", 0, {"packing_days": ()}, ("packing_days",)),
        ("ship_calendar", 0, {"to_date": date(2026, 12, 20)}, ("to_date", "before from_date")),
        ("orders", 0, {"size_class": "smal"}, ("size_class", "did you mean small?")),
        ("orders", 0, {"substitutes": ("EMBB",)}, ("substitutes", "did you mean EMB?")),
        ("orders", 0, {"earliest": date(2027, 2, 1)}, ("due", "before earliest")),
        ("market", 0, {"size_class": "small"}, ("market row 1", "group and size_class")),
        ("market", 1, {"size_class": None}, ("size_class", "a strain with a size_class")),
        ("market", 1, {"size_class": "large"}, ("size_class", "a size class of LAN")),
        ("market", 0, {"group": None}, ("neither group nor strain",)),
        ("pins", 0, {"colony": None}, ("colony", "a colony for a pin 'cut'")),
        ("pins", 0, {"pieces": 5}, ("pieces", "nothing here for a pin 'cut'")),
        ("pins", 1, {"session": "Tue-morning 2026-12-02"}, ("session", "did you mean Tue-morning 2026-12-0")),
        ("pins", 2, {"tank": None}, ("a rack or a tank",)),
        ("pins", 2, {"rack": "N1-a"}, ("tank", "nothing here")),
        ("pins", 2, {"to_date": date(2026, 11, 1)}, ("to_date", "before from_date")),
        ("orders", 0, {"channel": "shiping"}, ("did you mean shipping?",)),
    ],
)  # fmt: skip
def test_faults_across_tables(sheet: str, index: int, values: dict[str, Any], words: Sequence[str]) -> None:
    faults, doubts = check_farm(altered(sheet, index, **values))
    assert has(faults, *words), faults
    assert not has(doubts, "without a good source")


@pytest.mark.parametrize(
    ("sheet", "index", "values", "words"),
    [
        ("settings", 0, {"par_bands": (100.0, 60.0)}, ("par_bands", "higher than the last")),
        ("settings", 0, {"plan_monday": date(2026, 12, 1)}, ("plan_monday", "a Monday")),
        ("settings", 0, {"plan_monday": date(9999, 12, 27)}, ("plan_monday", "2000 to 2199")),
        ("settings", 0, {"book_date": date(9999, 12, 31)}, ("book_date", "2000 to 2199")),
    ],
)
def test_settings_that_do_not_fit(sheet: str, index: int, values: dict[str, Any], words: Sequence[str]) -> None:
    assert index == 0
    farm = small_farm(**{sheet: tables()[sheet].model_copy(update=values)})
    assert has(check_farm(farm)[0], *words)


def test_a_plan_that_begins_before_the_book_is_a_doubt() -> None:
    farm = small_farm(settings=tables()["settings"].model_copy(update={"plan_monday": date(2026, 11, 23)}), pins=())
    faults, doubts = check_farm(farm)
    assert faults == ()
    assert has(doubts, "plan_monday", "before the book's date")


def test_keys_that_repeat_name_both_places() -> None:
    rows = tables()
    farm = small_farm(
        colonies=(*rows["colonies"], rows["colonies"][0]),
        pairs=(*rows["pairs"], GroupPair(group_a="branching stony", group_b="buttons")),
    )
    faults = check_farm(farm)[0]
    assert has(faults, "colonies row 4, column colony", "'LAN-01' again", "colonies row 1")
    assert has(faults, "pairs row 2", "again", "pairs row 1")
    assert len(faults) == 2


def test_one_weekly_session_may_repeat_on_several_days() -> None:
    rows = tables()["sessions"]
    assert check_farm(small_farm(sessions=(*rows, rows[0].model_copy(update={"weekday": "Thu"}))))[0] == ()
    assert has(check_farm(small_farm(sessions=(*rows, rows[0])))[0], "sessions row 3", "again")


def test_what_leans_on_a_faulty_row_is_not_blamed_for_it() -> None:
    faults = check_farm(altered("racks", 0, blocked=("Z99",)))[0]
    assert len(faults) == 1


@pytest.mark.parametrize(
    ("sheet", "index", "values", "words"),
    [
        ("systems", 1, {"release_date": None}, ("in quarantine without a release date",)),
        ("colonies", 0, {"count_date": date(2026, 9, 20)}, ("not counted for 66 days",)),
        ("colonies", 0, {"last_cut": date(2026, 11, 20)}, ("not counted since its last cut",)),
        ("colonies", 0, {"condition": "watch"}, ("LAN-01 on watch",)),
        ("colonies", 0, {"par_umol": 500.0}, ("no position of PAR 350 to 575",)),
        ("colonies", 2, {"condition": "fit", "par_umol": 30.0}, ("no position of PAR 21 to 3",)),
        ("lots", 0, {"count_date": date(2026, 9, 15)}, ("not counted for 71 days",)),
        ("lots", 1, {"blocks": ("E1:F6", "G1:H2", "G3:H4")}, ("3 blocks", "at most max_blocks 2")),
        ("lots", 1, {"blocks": ("C1:D6", "G1:H4")}, ("lots LN-2639a and B7-2640a 0 clear", "at least 2 (reach)")),
        ("light", 1, {"from_date": date(2026, 7, 1)}, ("rack N1-b measured 147 days ago",)),
        ("light", 1, {"from_date": date(2026, 12, 1)}, ("first reading of N1-b",)),
        ("light", 1, {"planned": True}, ("rack N1-b never measured",)),
        ("racks", 0, {"flow": "low"}, ("low flow on N1-a", "medium or high flow")),
        ("racks", 0, {"plug_kinds": ("large",)}, ("takes large plugs",)),
        ("groups", 1, {"par_max": 150.0}, ("lot B7-2640a in PAR",)),
        ("groups", 1, {"plug_kind": "disc"}, ("no rack takes disc plugs",)),
        ("groups", 1, {"flow_settling": ("low",)}, ("no rack with large plugs and low flow",)),
        ("groups", 1, {"method": "laser"}, ("no session offers laser",)),
        ("people", 1, {"skills": ("scalpel", "mount", "pack")}, ("nobody is trained",)),
        ("people", 1, {"skills": ("scalpel", "toxic", "mount")}, ("nobody has the skill pack",)),
        ("people", 1, {"hours_per_week": 2}, ("h in sessions", "h paid")),
        ("standing", 0, {"minutes_per_week": 2400}, ("h of care work", "left outside sessions")),
        ("supplies", 1, {"only_for": "small"}, ("no supply for large plugs",)),
        ("supplies", 1, {"only_for": "lrage"}, ("did you mean large?",)),
        ("orders", 0, {"due": date(2026, 11, 1)}, ("past already", "late from week 1")),
        ("orders", 0, {"substitutes": ("007",)}, ("substitute 007 without size class small",)),
        ("strains", 1, {"code": "LN"}, ("code LN for EMB, as LN for LAN",)),
        ("strains", 0, {"rest_weeks": 9}, ("LAN: own values without a good source (rest_weeks)",)),
        ("classes", 0, {"b_price": 99}, ("above the list price",)),
        ("sources", 0, {"evidence": "memory"}, ("1 of 43 traits of branching stony",)),
        ("channels", 0, {"market": False}, ("no channel takes frags without an order",)),
        ("pairs", 0, {"apart": "tank"}, ("branching stony and buttons together in tank N1",)),
        ("absences", 0, {"person": "Ben", "from_date": date(2026, 12, 5), "to_date": date(2026, 12, 5)}, ("nobody present in session Extra",)),
        ("pins", 2, {"from_date": None, "to_date": date(2026, 11, 27)}, ("the pin holds nothing",)),
    ],
)  # fmt: skip
def test_doubts_do_not_stop_a_plan(sheet: str, index: int, values: dict[str, Any], words: Sequence[str]) -> None:
    faults, doubts = check_farm(altered(sheet, index, **values))
    assert faults == ()
    assert has(doubts, *words), doubts


def test_a_book_without_sessions_is_one_doubt_and_not_one_a_strain() -> None:
    faults, doubts = check_farm(replace(small_farm(), sessions=(), pins=()))
    assert faults == ()
    assert [d.found for d in doubts if "session" in d.found] == ["no bench sessions"]
    assert has(doubts, "no bench sessions", "nothing can be cut")


def test_a_crowded_system_is_a_doubt() -> None:
    rows = tables()
    full = Lot(
        lot="LN-full", strain="LAN", cut_date=date(2026, 9, 14), started=36, alive=36, count_date=date(2026, 11, 16),
        rack="N1-b", blocks=("A1:F6",),
    )  # fmt: skip
    colonies = (
        rows["colonies"][0],
        rows["colonies"][1].model_copy(update={"rack": None, "positions": None}),
        rows["colonies"][2],
    )
    settings = rows["settings"].model_copy(update={"keep_free_share": 0.5})
    doubts = check_farm(small_farm(settings=settings, lots=(*rows["lots"], full), colonies=colonies))[1]
    assert has(doubts, "71 of 115 positions of North held", "at most 57")


def test_unsourced_traits_follow_group_and_strain_rows() -> None:
    assert unsourced(small_farm()) == []
    bare: Farm = replace(small_farm(), sources=())
    found = dict(unsourced(bare))
    assert set(found) == {"LAN", "EMB", "007"}
    own = TraitSource(group="branching stony", trait="rest_weeks", source="book", evidence="published")
    found = dict(unsourced(replace(small_farm(), sources=(own,))))
    assert "rest_weeks" not in found["LAN"]
    assert "rest_weeks" in found["EMB"]


def test_every_kind_of_pin_can_be_written() -> None:
    pins = (
        Pin(pin="1", kind="cut", colony="LAN-01"), Pin(pin="2", kind="no cut", colony="EMB-01"),
        Pin(pin="3", kind="at least", colony="LAN-01", pieces=4), Pin(pin="4", kind="at most", colony="LAN-01", pieces=9),
        Pin(pin="5", kind="session", colony="LAN-01", session="Extra 2026-12-05"), Pin(pin="6", kind="rack", colony="LAN-01", rack="N1-b"),
        Pin(pin="7", kind="keep free", rack="N1-b"), Pin(pin="8", kind="no sale", lot="LN-2639a"), Pin(pin="9", kind="hold lot", lot="LN-2639a"),
    )  # fmt: skip
    assert check_farm(small_farm(pins=pins)) == ((), ())


def test_a_table_without_rows_is_one_fault_however_many_names_lead_there() -> None:
    faults, _ = check_farm(small_farm(people=()))
    (fault,) = [f for f in faults if "people" in f.where or "people" in f.expected]
    assert (fault.where, fault.found) == ("people row 1, column person", "no rows")
    assert fault.expected == "a row for each of Ada, Ben, named in absences, sessions"


def test_a_name_is_looked_up_in_a_row_that_has_another_fault_too(tmp_path: Path) -> None:
    write_csv(small_farm(), tmp_path / "book")
    colonies = tmp_path / "book" / "colonies.csv"
    colonies.write_text(
        colonies.read_text(encoding="utf-8").replace("LAN-01,LAN,N1", "LAN-01,LNA,N1").replace("48.5", "many"), encoding="utf-8"
    )
    with pytest.raises(BookError) as caught:
        read_book(tmp_path / "book")
    assert {(f.where, f.found) for f in caught.value.faults} == {
        ("colonies.csv line 2, column count", "'many'"), ("colonies.csv line 2, column strain", "'LNA'"),
    }  # fmt: skip
    assert has(tuple(caught.value.faults), "column strain", "did you mean LAN?")


def test_a_colony_whose_lots_are_all_of_another_strain_is_told_itself() -> None:
    rows = tables()
    lot = rows["lots"][0]
    other = lot.model_copy(update={"lot": "LN-2640a", "started": 0, "alive": 0, "blocks": ()})
    colonies = (rows["colonies"][0].model_copy(update={"strain": "EMB"}), *rows["colonies"][1:])
    (fault,) = check_farm(small_farm(colonies=colonies, lots=(*rows["lots"], other), past_cuts=(), counts=()))[0]
    assert (fault.where, fault.found) == ("colonies row 1, column strain", "'EMB', with 2 lots of LAN")
    assert fault.hint == "did you mean LAN?"


def test_one_lot_of_another_strain_than_its_colony_may_be_wrong_itself_or_the_colony() -> None:
    rows = tables()
    colonies = (rows["colonies"][0].model_copy(update={"strain": "EMB"}), *rows["colonies"][1:])
    (fault,) = check_farm(small_farm(colonies=colonies, past_cuts=(), counts=()))[0]
    assert (fault.where, fault.found) == ("lots row 1, column colony", "colony LAN-01 of strain EMB")
    assert fault.hint == "or colonies row 1, column strain is wrong"


def test_a_table_without_rows_is_told_with_its_first_free_line(tmp_path: Path) -> None:
    write_csv(small_farm(), tmp_path / "book")
    people = tmp_path / "book" / "people.csv"
    people.write_text(people.read_text(encoding="utf-8").splitlines()[0] + "\n", encoding="utf-8")
    with pytest.raises(BookError) as caught:
        read_book(tmp_path / "book")
    assert [f.where for f in caught.value.faults] == ["people.csv line 2, column person"]
