"""What-if changes in words, each turning a farm into another one. The book itself is never changed."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, time
from decimal import Decimal, InvalidOperation
from typing import TypeVar

from scheduler.book import canonical, check_farm
from scheduler.errors import ChangeError
from scheduler.farm.farm import Farm
from scheduler.farm.people import WEEKDAYS, Absence, Session
from scheduler.farm.rows import Row
from scheduler.farm.space import LightReading, Rack
from scheduler.farm.trade import Order

R = TypeVar("R", bound=Row)

_DAY = r"\d{4}-\d{2}-\d{2}"
_NUMBER = r"\d+(?:\.\d+)?"


@dataclass(frozen=True)
class Form:
    """One kind of change: how it is said, an example, what it does to a farm, and what is taken for granted with it."""

    pattern: re.Pattern[str]
    example: str
    apply: Callable[[Farm, dict[str, str]], Farm]
    note: str = ""


def note_of(words: str) -> str:
    """What is taken for granted with a change in words; empty where it says everything."""
    text = " ".join(words.split())
    return next((form.note for form in FORMS if form.pattern.fullmatch(text)), "")


def apply_changes(farm: Farm, changes: Sequence[str]) -> Farm:
    """The farm after every change in turn. Raises ``ChangeError`` with everything that cannot be read or does not fit."""
    wrong: list[str] = []
    for words in changes:
        try:
            farm = apply_change(farm, words)
        except ChangeError as error:
            wrong.append(str(error))
    if not wrong:
        faults, _ = check_farm(farm)
        wrong = [f"after the changes, {fault}" for fault in faults]
    if wrong:
        raise ChangeError("\n".join(wrong))
    return canonical(farm)


def apply_change(farm: Farm, words: str) -> Farm:
    """The farm after one change in words, such as ``tank N1 out from 2027-01-04 to 2027-02-14``. Raises ``ChangeError``."""
    text = " ".join(words.split())
    for form in FORMS:
        match = form.pattern.fullmatch(text)
        if match:
            try:
                return form.apply(farm, {k: v for k, v in match.groupdict().items() if v is not None})
            except ChangeError as error:
                raise ChangeError(f"--change {words!r}: {error}") from error
            except (ValueError, InvalidOperation) as error:
                raise ChangeError(f"--change {words!r}: {error}") from error
    examples = "\n".join(f"  {form.example}" for form in FORMS)
    raise ChangeError(f"--change {words!r} is no change; changes are such as:\n{examples}")


def _known(name: str, names: Iterable[str], what: str) -> str:
    known = list(names)
    if name in known:
        return name
    near = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
    raise ChangeError(
        f"there is no {what} {name!r}" + (f"; did you mean {near[0]}?" if near else f"; there are {', '.join(known[:8])}")
    )


def _with(rows: Sequence[R], index: int, **values: object) -> tuple[R, ...]:
    """The rows with some values of one of them changed, checked like typed ones."""
    old = rows[index]
    new = type(old).model_validate({n: getattr(old, n) for n in type(old).model_fields} | values)
    return (*rows[:index], new, *rows[index + 1 :])


def _index(rows: Sequence[Row], name: str) -> int:
    return next(i for i, row in enumerate(rows) if row.key[0] == name)


def _tank(farm: Farm, x: dict[str, str]) -> Farm:
    """A closed tank takes nothing new; what stands in it stays (L9)."""
    _known(x["tank"], farm.tank, "tank")
    days = {"closed_from": date.fromisoformat(x["first"]), "closed_to": date.fromisoformat(x["last"]) if "last" in x else None}
    return replace(farm, tanks=_with(farm.tanks, _index(farm.tanks, x["tank"]), **days))


def _rack(farm: Farm, x: dict[str, str]) -> Farm:
    """A rack like the first one of its tank, or of the farm, in even light."""
    _known(x["tank"], farm.tank, "tank")
    like = next((r for r in farm.racks if r.tank == x["tank"]), farm.racks[0])
    number = next(i for i in range(1, 1000) if f"what-if {i}" not in farm.rack)
    rack = Rack(rack=f"what-if {number}", tank=x["tank"], rows=int(x["rows"]), cols=int(x["cols"]), pitch_mm=like.pitch_mm,
                flow=like.flow, plug_kinds=like.plug_kinds)  # fmt: skip
    light = LightReading(rack=rack.rack, from_date=farm.settings.book_date, par_umol=float(x["par"]))
    return replace(farm, racks=(*farm.racks, rack), light=(*farm.light, light))


def _away(farm: Farm, x: dict[str, str]) -> Farm:
    _known(x["person"], farm.person, "person")
    first, last = date.fromisoformat(x["first"]), date.fromisoformat(x["last"])
    # One row a person and first day: days already away stay away.
    same = [a for a in farm.absences if a.person == x["person"] and a.from_date == first]
    row = Absence(person=x["person"], from_date=first, to_date=max([last, *(a.to_date for a in same)]))
    return replace(farm, absences=(*(a for a in farm.absences if a not in same), row))


def _hours(farm: Farm, x: dict[str, str]) -> Farm:
    _known(x["person"], farm.person, "person")
    at = _index(farm.people, x["person"])
    hours = farm.people[at].hours_per_week + float(x["hours"]) * (-1 if x["sign"] == "-" else 1)
    return replace(farm, people=_with(farm.people, at, hours_per_week=hours))


def _longer(farm: Farm, x: dict[str, str]) -> Farm:
    """Every session of that name becomes longer or shorter; cancelled ones stay cancelled."""
    _known(x["session"], (s.session for s in farm.sessions), "session")
    more = float(x["minutes"]) * (-1 if x["sign"] == "-" else 1)
    rows = farm.sessions
    for at, row in enumerate(rows):
        if row.session == x["session"] and row.minutes > 0:
            rows = _with(rows, at, minutes=max(0.0, row.minutes + more))
    return replace(farm, sessions=rows)


def _session(farm: Farm, x: dict[str, str]) -> Farm:
    people = tuple(_known(p.strip(), farm.person, "person") for p in x["people"].split(","))
    methods = tuple(dict.fromkeys(m for s in farm.sessions for m in s.methods))
    number = next(i for i in range(1, 1000) if all(s.session != f"what-if {i}" for s in farm.sessions))
    weekday = next(d for d in WEEKDAYS if d.casefold() == x["weekday"].casefold())
    row = Session(session=f"what-if {number}", weekday=weekday, start=time.fromisoformat(x["start"]), minutes=float(x["minutes"]),
                  people=people, methods=methods)  # fmt: skip
    return replace(farm, sessions=(*farm.sessions, row))


def _price(farm: Farm, x: dict[str, str]) -> Farm:
    """A strain's list price: its own row, made from the group's if it has none."""
    _known(x["strain"], farm.strain, "strain")
    row = farm.size_class(x["strain"], _known(x["size"], (c.size_class for c in farm.size_classes(x["strain"])), "size class"))
    assert row is not None
    price = Decimal(x["price"])
    if row.strain is None:
        return replace(farm, classes=(*farm.classes, row.model_copy(update={"strain": x["strain"], "list_price": price})))
    at = next(i for i, c in enumerate(farm.classes) if c is row)
    return replace(farm, classes=_with(farm.classes, at, list_price=price))


def _drop(farm: Farm, x: dict[str, str]) -> Farm:
    """The strain's mothers leave the farm; its lots on the racks are still sold."""
    _known(x["strain"], farm.strain, "strain")
    gone = {c.colony for c in farm.colonies if c.strain == x["strain"]}
    return replace(
        farm, colonies=tuple(c for c in farm.colonies if c.colony not in gone),
        lots=tuple(row.model_copy(update={"colony": None}) if row.colony in gone else row for row in farm.lots),
        pins=tuple(p for p in farm.pins if p.colony not in gone),
    )  # fmt: skip


def _order(farm: Farm, x: dict[str, str]) -> Farm:
    _known(x["strain"], farm.strain, "strain")
    _known(x["size"], (c.size_class for c in farm.size_classes(x["strain"])), "size class")
    if not farm.channels:
        raise ChangeError("the farm has no channel to send it by")
    channel = _known(x["channel"], farm.channel, "channel") if "channel" in x else farm.channels[0].channel
    number = next(i for i in range(1, 1000) if f"what-if {i}" not in farm.order)
    row = Order(order=f"what-if {number}", channel=channel, strain=x["strain"], size_class=x["size"], quantity=int(x["quantity"]),
                price=Decimal(x["price"]), due=date.fromisoformat(x["due"]))  # fmt: skip
    return replace(farm, orders=(*farm.orders, row))


def _light(farm: Farm, x: dict[str, str]) -> Farm:
    """A planned lamp change: every rack of the tank, or the rack, brighter or dimmer from a day on."""
    name = x["where"]
    racks = [r.rack for r in farm.racks if name in (r.rack, r.tank)]
    if not racks:
        _known(name, (*farm.rack, *farm.tank), "rack or tank")
    day = date.fromisoformat(x["first"]) if "first" in x else farm.weeks.plan_monday
    factor = 1 + float(x["percent"]) / 100 * (-1 if x["sign"] == "-" else 1)
    if factor <= 0:
        raise ChangeError(f"light cannot fall by {x['percent']} %")
    names = [n for n in LightReading.model_fields if n.startswith("par_")]
    made = []
    for rack in racks:
        now = farm.reading(rack, day)
        assert now is not None
        later = [r for r in farm.light if r.rack == rack and r.from_date > day]
        for old in (now.model_copy(update={"from_date": day, "planned": True}), *later):
            values = {n: round(v * factor, 1) for n in names if (v := getattr(old, n)) is not None}
            made.append(old.model_copy(update={**values, "lamp_percent": None}))
    replaced = {r.key for r in made}
    return replace(farm, light=(*(r for r in farm.light if r.key not in replaced), *made))


def _form(pattern: str, example: str, apply: Callable[[Farm, dict[str, str]], Farm], note: str = "") -> Form:
    return Form(re.compile(pattern), example, apply, note)


FORMS = (
    _form(rf"tank (?P<tank>.+) out from (?P<first>{_DAY})(?: to (?P<last>{_DAY}))?", "tank N1 out from 2027-01-04 to 2027-02-14", _tank,
          "nothing new is put there in that time; what stands there stays"),
    _form(rf"rack of (?P<rows>\d+) x (?P<cols>\d+) in (?P<tank>.+) at (?P<par>{_NUMBER}) PAR", "rack of 8 x 10 in N1 at 250 PAR", _rack,
          "even light; pitch, flow and plugs as on the tank's first rack"),
    _form(rf"away (?P<person>.+) from (?P<first>{_DAY}) to (?P<last>{_DAY})", "away Ada from 2026-12-07 to 2026-12-20", _away),
    _form(rf"hours (?P<person>.+) (?P<sign>[+-])(?P<hours>{_NUMBER})", "hours Ada +4", _hours,
          "every week, for work outside sessions; sessions stay as long as they are"),
    _form(rf"session (?P<session>.+) (?P<sign>[+-])(?P<minutes>{_NUMBER}) min", "session Thu-morning +60 min", _longer),
    _form(
        rf"new session (?P<weekday>(?i:{'|'.join(WEEKDAYS)})) (?P<start>\d\d:\d\d) (?P<minutes>{_NUMBER}) min with (?P<people>.+)",
        "new session Fri 13:00 120 min with Ada, Ben", _session, "every week; the hours at the bench come out of those paid already",
    ),
    _form(rf"price (?P<strain>\S+) (?P<size>.+) (?P<price>{_NUMBER})", "price LAN small 27.50", _price),
    _form(r"drop (?P<strain>\S+)", "drop LAN", _drop, "its mothers leave at once and are not paid for; its lots are still sold"),
    _form(
        rf"order (?P<quantity>[1-9]\d*) (?P<strain>\S+) (?P<size>.+) at (?P<price>{_NUMBER}) due (?P<due>{_DAY})(?: by (?P<channel>.+))?",
        "order 40 LAN small at 18 due 2027-01-15 by shipping", _order, "may be sent late and in parts, as the cost of that allows",
    ),
    _form(rf"light (?P<where>.+) (?P<sign>[+-])(?P<percent>{_NUMBER}) ?%(?: from (?P<first>{_DAY}))?", "light N1 +15 % from 2027-01-04", _light),
)  # fmt: skip
"""Every kind of change that can be tried."""
