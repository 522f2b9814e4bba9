"""Doubts about hands: sessions, skills, hours and supplies. Nothing here stops a plan."""

from __future__ import annotations

from scheduler.book.checks.ledger import Ledger
from scheduler.farm.farm import Farm
from scheduler.farm.people import CARE, MOUNT, PACK, TOXIC
from scheduler.farm.work import paid_minutes, presence_minutes, sessions_in, standing_minutes


def check_methods(farm: Farm, ledger: Ledger) -> None:
    """Every strain with colonies finds a session and somebody to cut, mount and, if toxic, to be trusted with it."""
    grown = {c.strain for c in farm.colonies}
    offered = {m for s in farm.sessions for m in s.methods}
    skills = {skill for person in farm.people for skill in person.skills}
    if grown and not farm.sessions:
        ledger.doubt("sessions", 0, "session", "no bench sessions", "one at least", "nothing can be cut")
    for index, strain in enumerate(farm.strains):
        if strain.strain not in grown:
            continue
        traits = farm.traits(strain.strain)
        if farm.sessions and traits.method not in offered:
            found = f"no session offers {traits.method} for {strain.strain}"
            ledger.doubt("strains", index, "method", found, "the method in sessions", "it cannot be cut")
        if traits.method not in skills:
            found = f"nobody has the skill {traits.method} for {strain.strain}"
            ledger.doubt("strains", index, "method", found, "the skill in people", "it cannot be cut")
        if traits.toxic and TOXIC not in skills:
            found = f"{strain.strain} is toxic and nobody is trained for it"
            ledger.doubt("strains", index, "toxic", found, "the skill toxic in people", "it cannot be cut")
    wanted = [(MOUNT, bool(farm.colonies)), (PACK, bool(farm.orders or farm.market)), (CARE, bool(farm.lots or farm.standing))]
    for skill, needed in wanted:
        if needed and skill not in skills:
            ledger.doubt("people", 0, "skills", f"nobody has the skill {skill}", f"{skill} for one person at least")


def check_hours(farm: Farm, ledger: Ledger) -> None:
    """Time in sessions and standing work against paid hours, in the near weeks."""
    told: set[str] = set()
    for week in farm.weeks.near_weeks:
        for index, person in enumerate(farm.people):
            presence, paid = presence_minutes(farm, person.person, week), paid_minutes(farm, person.person, week)
            if presence > paid + 1e-9 and person.person not in told:
                told.add(person.person)
                found = f"{person.person} {presence / 60:g} h in sessions of {farm.weeks.label(week)}"
                ledger.doubt("people", index, "hours_per_week", found, f"at most the {paid / 60:g} h paid")
        for skill, need in standing_minutes(farm, week).items():
            able = [p.person for p in farm.people if skill in p.skills]
            paid = sum(max(0.0, paid_minutes(farm, p, week) - presence_minutes(farm, p, week)) for p in able)
            if need > paid + 1e-9 and skill not in told:
                told.add(skill)
                found = f"{need / 60:.1f} h of {skill} work in {farm.weeks.label(week)}"
                expected = f"at most the {paid / 60:.1f} h left outside sessions"
                ledger.doubt("standing", 0, "minutes_per_week", found, expected, "racks to clean are in it")
        for session in sessions_in(farm, week):
            if not session.people:
                found = f"nobody present in session {session.id}"
                index = next(i for i, s in enumerate(farm.sessions) if s.session == session.name)
                ledger.doubt("sessions", index, "people", found, "somebody, or minutes 0 that day")


def check_plugs(farm: Farm, ledger: Ledger) -> None:
    """Every kind of plug in use has racks that take it and a supply."""
    taken = {kind for rack in farm.racks for kind in rack.plug_kinds}
    supplied = {s.only_for for s in farm.supplies if s.per == "piece"}
    told: set[str] = set()
    for index, strain in enumerate(farm.strains):
        kind = farm.traits(strain.strain).plug_kind
        if kind in told:
            continue
        told.add(kind)
        if kind not in taken:
            ledger.doubt("strains", index, "plug_kind", f"no rack takes {kind} plugs", "the kind in racks", "it cannot be cut")
        if farm.supplies and kind not in supplied and None not in supplied:
            found = f"no supply for {kind} plugs"
            ledger.doubt("strains", index, "plug_kind", found, "a row in supplies per piece", "its cost is not counted")
