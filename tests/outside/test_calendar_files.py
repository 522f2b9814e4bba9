"""Calendars against RFC 5545 and two readers of it; ISO weeks over year ends. Examples of the RFC are carried from memory."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
import vobject
from icalendar import Calendar

from scheduler.errors import OutputError
from scheduler.farm.farm import Farm
from scheduler.farm.weeks import iso_label, monday_of
from scheduler.plan.model import Plan
from scheduler.plan.view import PlanView
from scheduler.reporting.calendar import calendar_bytes, entries
from tests.audit.small_farm import changed, finished
from tests.reporting.example import farm, plan

NOW = datetime(2026, 11, 27, 16, 30, tzinfo=UTC)
LATER = datetime(2026, 12, 4, 16, 30, tzinfo=UTC)


def made(of: Plan | None = None, book: Farm | None = None, now: datetime = NOW, previous: bytes | None = None) -> bytes:
    return calendar_bytes(PlanView(book or farm(), of or plan()), now, previous)


def events(data: bytes) -> dict[str, dict[str, str]]:
    """By UID: summary, status, sequence, stamp, as the first reader has them."""
    return {
        str(e["UID"]): {
            n: e[n].to_ical().decode() if hasattr(e[n], "to_ical") else str(e[n])
            for n in ("SUMMARY", "STATUS", "SEQUENCE", "DTSTAMP")
        }
        for e in Calendar.from_ical(data).walk("VEVENT")
    }


def test_two_readers_see_the_same_events() -> None:
    data = made()
    one = {str(e["UID"]): e for e in Calendar.from_ical(data).walk("VEVENT")}
    two = {e.uid.value: e for e in vobject.readOne(data.decode()).vevent_list}
    assert one.keys() == two.keys() == {e.uid for e in entries(PlanView(farm(), plan()))}
    for entry in entries(PlanView(farm(), plan())):
        first, second = one[entry.uid], two[entry.uid]
        assert (first.decoded("dtstart"), first.decoded("dtend")) == (entry.start, entry.end)
        assert (second.dtstart.value, second.dtend.value) == (entry.start, entry.end)
        assert str(first["SUMMARY"]) == second.summary.value == entry.summary
        assert str(first["DESCRIPTION"]) == second.description.value == entry.description


def test_the_cut_list_is_in_the_description() -> None:
    session = next(e for e in entries(PlanView(farm(), plan())) if e.summary.startswith("Tue-morning"))
    assert (session.start, session.end) == (datetime(2026, 12, 1, 8, 30), datetime(2026, 12, 1, 11, 30))
    assert session.summary == "Tue-morning: cut 4, 28 pieces"
    for cut in plan().cuts[:4]:
        assert f"{cut.colony} " in session.description
        assert f"label {cut.lot}," in session.description
    assert "(toxic: kit)" in session.description


def test_moves_fill_their_week() -> None:
    move = next(e for e in entries(PlanView(farm(), plan())) if e.summary.startswith("Move"))
    assert (move.start, move.end) == (date(2026, 11, 30), date(2026, 12, 7))
    assert move.summary == "Move 1 lot"
    assert "LN-2641a" in move.description


def test_content_lines_are_as_rfc_5545_wants_them() -> None:
    """Section 3.1: lines end in CRLF and hold at most 75 octets; 3.6: VERSION 2.0 and a PRODID; 3.6.1: UID and DTSTAMP."""
    data = made()
    assert data.endswith(b"END:VCALENDAR\r\n")
    assert b"\n" not in data.replace(b"\r\n", b"")
    assert all(len(line) <= 75 for line in data.split(b"\r\n"))
    assert b"\r\nVERSION:2.0\r\n" in data
    assert b"PRODID:" in data
    body = data.split(b"BEGIN:VEVENT")[1:]
    assert all(e.count(b"\r\nUID:") == 1 and e.count(b"\r\nDTSTAMP:20261127T163000Z\r\n") == 1 for e in body)


def test_times_are_those_of_the_wall_clock() -> None:
    """Section 3.3.5, form 1: local time without zone or Z is the same wall clock everywhere; 3.3.4: DATE for whole days."""
    data = made()
    assert b"\r\nDTSTART:20261201T083000\r\n" in data
    assert b"\r\nDTSTART;VALUE=DATE:20261130\r\n" in data


def test_text_is_escaped() -> None:
    """Section 3.3.11: backslash, semicolon and comma are escaped, line breaks are written as a backslash and n."""
    odd = changed(farm(), "strains", "LAN", name="a;b,c\\d")
    data = made(finished(odd, plan()), odd).replace(b"\r\n ", b"")
    assert rb"a\;b\,c\\d" in data
    assert rb"\n1. LAN-01" in data
    session = next(
        e for e in Calendar.from_ical(made(finished(odd, plan()), odd)).walk("VEVENT") if "LAN-01" in str(e["DESCRIPTION"])
    )
    assert "a;b,c\\d" in str(session["DESCRIPTION"])


RFC_EXAMPLE = (
    "BEGIN:VCALENDAR\r\nPRODID:-//xyz Corp//NONSGML PDA Calendar Version 1.0//EN\r\nVERSION:2.0\r\nBEGIN:VEVENT\r\n"
    "DTSTAMP:19960704T120000Z\r\nUID:uid1@example.com\r\nORGANIZER:mailto:jsmith@example.com\r\nDTSTART:19960918T143000Z\r\n"
    "DTEND:19960920T220000Z\r\nSTATUS:CONFIRMED\r\nCATEGORIES:CONFERENCE\r\nSUMMARY:Networld+Interop Conference\r\n"
    "DESCRIPTION:Networld+Interop Conference\r\n  and Exhibit\\nAtlanta World Congress Center\\n\r\n Atlanta\\, Georgia\r\n"
    "END:VEVENT\r\nEND:VCALENDAR\r\n"
)
"""The three-day conference of RFC 5545, section 4 (from memory)."""


def test_the_readers_agree_on_the_example_of_the_rfc() -> None:
    one = Calendar.from_ical(RFC_EXAMPLE).walk("VEVENT")[0]
    two = vobject.readOne(RFC_EXAMPLE).vevent
    wanted = "Networld+Interop Conference and Exhibit\nAtlanta World Congress Center\nAtlanta, Georgia"
    assert str(one["DESCRIPTION"]) == two.description.value == wanted
    assert one.decoded("dtstart") == two.dtstart.value == datetime(1996, 9, 18, 14, 30, tzinfo=UTC)


def test_events_of_others_are_left_out_of_an_update() -> None:
    assert events(made(previous=RFC_EXAMPLE.encode())).keys() == events(made()).keys()


# ---- re-plans ---------------------------------------------------------------------------------------------------------


def test_the_same_plan_again_changes_nothing() -> None:
    first = made()
    assert made(now=LATER, previous=first) == first


def test_a_changed_session_is_a_revision_and_the_rest_stays() -> None:
    """Section 3.8.7.4: SEQUENCE grows with each significant revision; 3.8.4.7: the UID stays."""
    first = made()
    other = plan().model_copy(
        update={"cuts": tuple(c.model_copy(update={"pieces": 11}) if c.lot == "LN-2649a" else c for c in plan().cuts)}
    )
    before, then = events(first), events(made(other, now=LATER, previous=first))
    assert before.keys() == then.keys()
    differing = {uid for uid in before if before[uid] != then[uid]}
    assert len(differing) == 1
    changed_event = then[differing.pop()]
    assert (changed_event["SEQUENCE"], changed_event["STATUS"]) == ("1", "CONFIRMED")
    assert changed_event["DTSTAMP"] == "20261204T163000Z"


def without_thursday() -> Plan:
    return plan().model_copy(update={"cuts": tuple(c for c in plan().cuts if not (c.session or "").startswith("Thu"))})


def test_a_session_that_is_gone_is_cancelled_and_may_come_back() -> None:
    """Section 3.8.1.11: STATUS CANCELLED."""
    first = made()
    second = made(without_thursday(), now=LATER, previous=first)
    gone = [e for e in events(second).values() if e["STATUS"] == "CANCELLED"]
    assert [e["SEQUENCE"] for e in gone] == ["1"]
    assert gone[0]["SUMMARY"].startswith("Thu/late")
    assert events(made(without_thursday(), now=LATER, previous=second)) == events(second)
    third = events(made(now=LATER, previous=second))
    assert sorted(e["SEQUENCE"] for e in third.values()) == ["0", "0", "2"]
    assert {e["STATUS"] for e in third.values()} == {"CONFIRMED"}


def test_the_past_is_not_cancelled() -> None:
    """A week on the book knows nothing of last week's sessions; they took place."""
    settings = farm().settings.model_copy(update={"plan_monday": date(2026, 12, 7), "book_date": date(2026, 12, 6)})
    later = replace(farm(), settings=settings)
    bare = plan().model_copy(update={"cuts": (), "stands": (), "sales": ()})
    kept = events(made(finished(later, bare), later, LATER, made()))
    assert [e["STATUS"] for e in kept.values()] == ["CANCELLED"]
    assert next(iter(kept.values()))["SUMMARY"].startswith("Thu/late")


@pytest.mark.parametrize("data", [b"no calendar", b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\n", b"\xff\xfe\x00"])
def test_a_file_that_is_no_calendar_is_not_updated(data: bytes) -> None:
    with pytest.raises(OutputError, match="no calendar"):
        made(previous=data)


def test_uids_are_one_a_thing_and_safe_to_write() -> None:
    uids = [e.uid for e in entries(PlanView(farm(), plan()))]
    assert len(set(uids)) == len(uids)
    assert all(re.fullmatch(r"[0-9a-f]{24}@[0-9a-f]{12}\.frag-scheduler", uid) for uid in uids)
    other = changed(farm(), "settings", farm_name="another farm")
    assert {e.uid for e in entries(PlanView(other, plan()))}.isdisjoint(uids)


# ---- ISO weeks over year ends -----------------------------------------------------------------------------------------

YEAR_ENDS = [
    # ISO 8601: the week with the year's first Thursday is week 01; cases widely printed, here from memory
    (date(2005, 1, 1), "2004-W53"), (date(2005, 1, 2), "2004-W53"), (date(2005, 12, 31), "2005-W52"), (date(2007, 1, 1), "2007-W01"),
    (date(2007, 12, 31), "2008-W01"), (date(2008, 12, 29), "2009-W01"), (date(2010, 1, 3), "2009-W53"), (date(2020, 12, 31), "2020-W53"),
    (date(2026, 12, 31), "2026-W53"), (date(2027, 1, 3), "2026-W53"), (date(2027, 1, 4), "2027-W01"),
]  # fmt: skip


@pytest.mark.parametrize(("day", "label"), YEAR_ENDS)
def test_weeks_at_year_ends(day: date, label: str) -> None:
    assert iso_label(day) == label


def test_weeks_follow_each_other_through_four_centuries() -> None:
    """The calendar repeats after 400 years, 20,871 weeks, with a week 53 in 71 of them (ISO 8601; counted)."""
    monday = monday_of(date(2000, 1, 3))
    labels = [iso_label(monday + timedelta(weeks=i)) for i in range(20_871)]
    assert len(set(labels)) == len(labels)
    assert labels == sorted(labels)
    assert sum(x.endswith("W53") for x in labels) == 71
