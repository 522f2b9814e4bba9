"""The sessions of the near weeks for the page: who does what by the clock, and a card for every lot cut."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from scheduler.bench.dose import dose_of, dose_text
from scheduler.bench.prep import Preparation
from scheduler.biology.light import par_of_rack
from scheduler.farm.people import WEEKDAYS
from scheduler.plan.model import BenchTask, Cut
from scheduler.plan.view import PlanView
from scheduler.reporting.cautions import TOXIC_KIT, Caution, table_cautions
from scheduler.reporting.tables.bench import SessionView, blocks_text, colony_place, session_views
from scheduler.reporting.tables.clock import lot_clock, person_entries, rounded_up, session_clock, session_tasks
from scheduler.reporting.tables.prep import preparations


def bench_payload(view: PlanView) -> dict[str, Any]:
    """Sessions in order of time, and the cautions their cards point to."""
    sessions = session_views(view.farm, view.plan)
    preps = preparations(view, tuple(s.session for s in sessions))
    notes: dict[Caution, int] = {}
    found = [_session(view, session, prep, notes) for session, prep in zip(sessions, preps, strict=True)]
    return {"sessions": found, "cautions": [[c.about, c.text, c.source] for c in notes], "kit": TOXIC_KIT}


def _minute(moment: datetime, begin: datetime) -> float:
    """Minutes after a session's start."""
    return round((moment - begin).total_seconds() / 60, 2)


def _clock(moment: datetime | None) -> str:
    return "" if moment is None else f"{moment:%H:%M}"


def _session(view: PlanView, session: SessionView, prep: Preparation, notes: dict[Caution, int]) -> dict[str, Any]:
    farm, s = view.farm, session.session
    begin = datetime.combine(s.day, s.start)
    tasks = session_tasks(view.plan, s.id)
    clock = session_clock(view.plan, s.id)
    people = []
    for person, work in session.work.items():
        entries = [
            [_minute(e.start, begin), _minute(e.end, begin), _clock(e.start), _clock(e.end), e.what, e.lot or "", int(e.alarm),
             _clock(e.finish_by)]
            for e in person_entries(farm, view.plan, s.id, person)
        ]  # fmt: skip
        people.append({"name": person, "work": round(float(work)), "offered": round(float(session.offered)), "entries": entries})
    dips = [
        [_minute(t.start, begin), _minute(t.end, begin), _clock(t.start), _clock(t.end), t.lot or "", t.pieces or 0, t.mix or 0,
         "mother" if t.steps == ("mother dip",) else "frags"]
        for t in tasks if t.person is None
    ]  # fmt: skip
    return {
        "id": s.id, "name": s.name, "week": s.week, "day": s.day.isoformat(), "weekday": WEEKDAYS[s.day.weekday()],
        "clock": session.clock, "start": f"{s.start:%H:%M}", "minutes": float(s.minutes), "methods": list(s.methods),
        "systems": [[name, int(farm.in_quarantine(name, s.week))] for name in session.systems],
        "colonies": len(session.cuts), "pieces": session.pieces, "people": people, "dips": dips,
        "finish": rounded_up(clock.finish) if clock else "", "latest": _clock(clock.latest) if clock else "",
        "baths": [
            [b.system, b.dose.dip, f"{b.dose.litres:g}", dose_text(b.dose), b.baths, b.mixes, f"{b.frags[0]:g}-{b.frags[1]:g}",
             f"{b.mothers[0]:g}-{b.mothers[1]:g}" if b.mothers else ""]
            for b in prep.baths
        ],
        "plugs": [
            [p.plug_kind, p.plugs, f"{p.soak_from:%H:%M}", str(p.in_water_by or "")] for p in prep.plugs
        ],
        "kneadings": prep.kneadings,
        "toxic": list(prep.toxic),
        "standby": [
            [x.colony, farm.strain[farm.colony[x.colony].strain].name, farm.colony[x.colony].tank, colony_place(farm, x.colony), x.pieces]
            for x in view.plan.stand_by if x.session == s.id
        ],
        "cards": [_card(view, cut, prep, tasks, notes) for cut in session.cuts],
    }  # fmt: skip


def _card(view: PlanView, cut: Cut, prep: Preparation, tasks: Sequence[BenchTask], notes: dict[Caution, int]) -> dict[str, Any]:
    """What stands on the card of one lot."""
    farm = view.farm
    colony, traits = farm.colony[cut.colony], farm.traits(cut.strain)
    stand = view.lots[cut.lot].stands[0]
    label = next(x for x in prep.labels if x.lot == cut.lot)
    times = lot_clock(farm, cut, tasks)
    dipped = traits.dip != "none" and traits.dip_minutes_frags > 0
    found = table_cautions((traits,), glue=True, putty=traits.uses_putty)
    place: dict[str, Any] = {"rack": stand.rack or "", "blocks": blocks_text(stand, traits), "zone": stand.zone}
    if stand.rack is not None:
        par = par_of_rack(farm, stand.rack, cut.week)
        held = [p for b in stand.blocks for p in b.positions(traits.plug_rows, traits.plug_cols)]
        place["par"] = round(sum(float(par[p]) for p in held) / len(held))
    return {
        "lot": cut.lot, "order": cut.run_order or 0, "colony": cut.colony, "strain": farm.strain[cut.strain].name,
        "group": farm.strain[cut.strain].group, "system": farm.system_of_tank(colony.tank), "tank": colony.tank,
        "stands": colony_place(farm, cut.colony), "onRock": int(colony.on_rock), "par": round(colony.par_umol), "pieces": cut.pieces,
        "method": traits.method, "cutter": cut.cutter or "", "mounter": cut.mounter or "", "toxic": int(traits.toxic),
        "slimy": int(traits.slimy),
        "dip": [traits.dip, dose_text(dose_of(farm, traits.dip)), traits.dip_minutes_frags, traits.dip_minutes_mother] if dipped else [],
        "mount": "putty" if traits.uses_putty else "glue", "plug": traits.plug_kind, "code": label.code, "labels": label.labels,
        "proposed": int(label.proposed), "place": place,
        "times": {
            "cut": _clock(times.cut), "cutEnd": _clock(times.cut_end), "out": _clock(times.out), "outBy": _clock(times.out_by),
            "mount": _clock(times.mount), "racked": rounded_up(times.racked) if times.racked else "",
        } if times else {},
        "cautions": [notes.setdefault(c, len(notes)) for c in found],
    }  # fmt: skip
