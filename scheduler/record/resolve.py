"""From marks and deviations to what was done. A list half filled, or marked against its own rows, is a fault."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import cast

from scheduler.errors import Finding
from scheduler.record.cells import Entry, as_text, take_number, take_text, take_whole
from scheduler.record.done import (
    Done,
    DoneColony,
    DoneCount,
    DoneCut,
    DoneMove,
    DonePlugs,
    DoneReading,
    DoneSale,
    Happened,
    Route,
)
from scheduler.record.layout import AS_PLANNED, CONDITIONS, CREW, EXCEPT, HEADS, MARKS, NOT_DONE, USED
from scheduler.record.planned import Group, Thing
from scheduler.record.read import Filled

_CORNERS = ("pieces", "lost", "counted", "minutes_cutting")
"""Columns of a light reading: the whole rack or A1, end of row A, start and end of the last row."""


@dataclass(frozen=True)
class OpenGroup:
    """A list nobody marked; somebody has to say what became of it."""

    key: str
    title: str
    where: str


@dataclass
class Resolved:
    """What was done, what is wrong, and the lists still open."""

    happened: Happened
    faults: list[Finding] = field(default_factory=list)
    open: list[OpenGroup] = field(default_factory=list)


def resolve(filled: Filled, weeks: int, marks: Mapping[str, str]) -> Resolved:
    """What was done in weeks 1..``weeks``. ``marks`` answers for lists without a mark, by key (``*`` for all of them)."""
    reader = _Reader(filled, marks)
    for group in filled.work.groups:
        if group.week <= weeks:
            reader.group(group)
        else:
            reader.too_early(group)
    return Resolved(Happened(tuple(reader.done), tuple(reader.sessions)), reader.faults, reader.open)


class _Reader:
    def __init__(self, filled: Filled, marks: Mapping[str, str]) -> None:
        self.filled, self.marks = filled, marks
        self.faults = list(filled.faults)
        self.open: list[OpenGroup] = []
        self.done: list[Done] = []
        self.sessions: list[str] = []

    def entry(self, key: str) -> Entry:
        return self.filled.entries.get(key) or Entry(key, 0)

    def fault(self, where: str, found: str, expected: str, hint: str = "") -> None:
        self.faults.append(Finding(where, found, expected, hint))

    def too_early(self, group: Group) -> None:
        """Weeks that are not recorded now must be empty, or what was written there would be lost."""
        for key in group.rows:
            cells = [c for name, c in self.entry(key).cells.items() if name in CREW]
            if cells:
                hint = f"record it too: --weeks {group.week}"
                self.fault(cells[0].where, repr(as_text(cells[0].value)), f"nothing yet for week {group.week} of the plan", hint)

    # ---- groups ---------------------------------------------------------------------------------------------------

    def group(self, group: Group) -> None:
        """One list: its mark, then its rows."""
        head = self.entry(group.key)
        self._unused(group, head, {"mark", "note"} if group.marked else {"note"})
        spare = [k for k in group.rows[1 + len(group.things) :] if self.entry(k).cells]
        differing = [self.entry(t.key) for t in group.things if set(self.entry(t.key).cells) - {"note"}]
        differing += [self.entry(k) for k in spare]
        for entry in differing:
            self._unused(group, entry, USED[group.section])
        if group.marked:
            mark = self._mark(group, head, differing)
            if mark is None or mark == NOT_DONE:
                return
            if group.session and group.things:
                self.sessions.append(group.session)
        for thing in group.things:
            self._planned(group, thing, self.entry(thing.key))
        for key in spare:
            self._extra(group, self.entry(key))

    def _unused(self, group: Group, entry: Entry, used: set[str] | frozenset[str]) -> None:
        for name, cell in entry.cells.items():
            if name in CREW and name not in used:
                words = [h for n, h in zip(CREW, HEADS[group.section][5:], strict=True) if n in used and h]
                self.fault(cell.where, repr(as_text(cell.value)), f"nothing in this column; there are {', '.join(words)}")

    def _mark(self, group: Group, head: Entry, differing: list[Entry]) -> str | None:
        text = take_text(head, "mark", self.faults)
        mark = text.casefold() if text else None
        where = head.place("mark") if "mark" in head.cells else f"record!F{head.row}"
        if text and mark not in MARKS:
            near = difflib.get_close_matches(text.casefold(), MARKS, n=1, cutoff=0.4)
            self.fault(where, repr(text), f"one of {', '.join(MARKS)}", f"did you mean {near[0]}?" if near else "")
            return None
        first = next(iter(differing), None)
        cell = next((c for n, c in first.cells.items() if n != "note"), None) if first else None
        if mark is None and cell:
            self.fault(
                where, f"no mark for {group.title}, though {cell.where} is filled", f"{EXCEPT!r}, with every difference below"
            )
            return None
        if mark in (AS_PLANNED, NOT_DONE) and cell:
            self.fault(
                cell.where,
                repr(as_text(cell.value)),
                f"nothing, since {group.title} is marked {mark!r} in {where}",
                f"mark it {EXCEPT!r}",
            )
            return None
        if mark == EXCEPT and not cell:
            self.fault(where, f"{EXCEPT!r}, and no row below differs", f"a difference, or {AS_PLANNED!r}")
            return None
        if mark is None and group.things:
            mark = self.marks.get(group.key) or self.marks.get("*")
            if mark is None:
                self.open.append(OpenGroup(group.key, group.title, where))
        return mark or (None if group.things else AS_PLANNED)

    # ---- rows -----------------------------------------------------------------------------------------------------

    def _planned(self, group: Group, thing: Thing, entry: Entry) -> None:
        if group.section == "session":
            self._cut(group, thing, entry)
        elif group.section == "packing":
            self._sale(group, thing, entry)
        elif group.section == "moves":
            if not self._skipped(entry):
                rack, blocks, _ = self._place(entry, thing)
                self._move(group, thing.lot, rack, blocks, entry)
        elif group.section == "light":
            self._reading(group, thing.rack or "", entry)
        elif group.section == "plugs":
            plugs = take_whole(entry, "pieces", self.faults)
            if plugs:
                self.done.append(DonePlugs(thing.plug_kind or "", group.week, group.day, plugs))
        elif entry.cells:
            self._count(group, thing.lot, entry)

    def _skipped(self, entry: Entry) -> bool:
        """A single row may be marked ``not done``."""
        text = take_text(entry, "mark", self.faults)
        if text is None or text.casefold() in (AS_PLANNED, EXCEPT):
            return False
        if text.casefold() != NOT_DONE:
            self.fault(entry.place("mark"), repr(text), f"{NOT_DONE!r}, or nothing")
        return True

    def _place(self, entry: Entry, thing: Thing | None) -> tuple[str | None, tuple[str, ...], bool]:
        """Rack and blocks, the plan's where nothing else is written; and whether the blocks are the crew's."""
        rack, text = take_text(entry, "rack", self.faults), take_text(entry, "blocks", self.faults)
        blocks = tuple(part.strip() for part in text.split(";") if part.strip()) if text else ()
        if rack and not blocks and (thing is None or rack != thing.rack):
            self.fault(entry.place("rack"), f"rack {rack} without blocks", "the blocks it stands in, such as A1:C4")
        if thing is None:
            return rack, blocks, True
        return rack or thing.rack, blocks or thing.blocks, bool(blocks)

    def _cut(self, group: Group, thing: Thing, entry: Entry) -> None:
        skipped = self._skipped(entry)
        pieces = take_whole(entry, "pieces", self.faults)
        pieces = 0 if skipped else thing.pieces if pieces is None else pieces
        self._add_cut(group, entry, thing, thing.lot, thing.colony or "", pieces)

    def _add_cut(self, group: Group, entry: Entry, thing: Thing | None, lot: str, colony: str, pieces: int) -> None:
        lost = take_whole(entry, "lost", self.faults) or 0
        if lost > pieces:
            self.fault(entry.place("lost"), f"{lost} not mounted", f"at most the {pieces} pieces cut")
            return
        rack, blocks, own = self._place(entry, thing)
        self.done.append(
            DoneCut(
                lot=lot, colony=colony, strain=thing.strain if thing else None, week=group.week, day=group.day,
                planned=thing.pieces if thing else 0, pieces=pieces, mounted=pieces - lost,
                left=take_number(entry, "counted", self.faults), rack=rack, blocks=blocks, own_blocks=own,
                cutter=thing.cutter if thing else None, mounter=thing.mounter if thing else None,
                minutes_cutting=take_number(entry, "minutes_cutting", self.faults, most=720),
                minutes_mounting=take_number(entry, "minutes_mounting", self.faults, most=720), where=entry.place("pieces"),
            )
        )  # fmt: skip

    def _sale(self, group: Group, thing: Thing, entry: Entry) -> None:
        if self._skipped(entry):
            return
        plugs, frags = take_whole(entry, "pieces", self.faults), take_whole(entry, "counted", self.faults)
        if plugs is not None and plugs not in (0, thing.pieces) and frags is None:
            self.fault(
                entry.place("pieces"), f"{plugs} plugs instead of {thing.pieces}, and no frags", "how many of them were sold"
            )
            return
        plugs = thing.pieces if plugs is None else plugs
        frags = (min(thing.frags or 0, plugs)) if frags is None else frags
        assert thing.route is not None
        assert thing.size_class is not None
        self._add_sale(group, entry, thing.lot, thing.route, thing.order, thing.size_class, plugs, frags)

    def _add_sale(
        self, group: Group, entry: Entry, lot: str, route: Route, order: str | None, size_class: str, plugs: int, frags: int
    ) -> None:
        if frags > plugs:
            self.fault(entry.place("counted"), f"{frags} frags sold", f"at most the {plugs} plugs taken")
        elif plugs:
            self.done.append(
                DoneSale(
                    lot, group.week, group.day, route, order, size_class, group.channel or "", plugs, frags, entry.place("pieces")
                )
            )

    def _move(self, group: Group, lot: str, rack: str | None, blocks: tuple[str, ...], entry: Entry) -> None:
        if rack and blocks:
            self.done.append(DoneMove(lot, group.week, group.day, rack, blocks, entry.place("rack")))

    def _count(self, group: Group, lot: str, entry: Entry) -> None:
        alive, lost = take_whole(entry, "counted", self.faults), take_whole(entry, "lost", self.faults)
        text = take_text(entry, "blocks", self.faults)
        blocks = tuple(part.strip() for part in text.split(";") if part.strip()) if text else ()
        if alive is None:
            if lost is not None or blocks:
                self.fault(
                    entry.place("lost" if lost is not None else "blocks"),
                    "a count without the frags alive",
                    "how many live on the rack",
                )
            return
        self.done.append(DoneCount(lot, group.week, group.day, alive, lost or 0, blocks, entry.place("counted")))

    # ---- what nobody planned --------------------------------------------------------------------------------------

    def _extra(self, group: Group, entry: Entry) -> None:
        name, lot = take_text(entry, "name", self.faults), take_text(entry, "lot", self.faults)
        if group.section == "colonies":
            self._colony(group, name, entry)
        elif group.section == "light":
            if name is None:
                self.fault(entry.place(), "a reading without a rack", "the rack it was taken on")
            else:
                self._reading(group, name, entry)
        elif lot is None:
            self.fault(entry.place(), "a row without a lot", "the label code of the lot it is about")
        elif group.section == "session":
            pieces = take_whole(entry, "pieces", self.faults)
            if name is None or not pieces:
                self.fault(
                    entry.place("pieces"),
                    f"a cut of {name or 'no colony'} without {'pieces' if name else 'a colony'}",
                    "the colony and the pieces cut",
                )
            else:
                self._add_cut(group, entry, None, lot, name, pieces)
        elif group.section == "packing":
            self._extra_sale(group, name, lot, entry)
        elif group.section == "moves":
            rack, blocks, _ = self._place(entry, None)
            if rack is None:
                self.fault(entry.place("blocks"), f"a move of {lot} without a rack", "the rack it went to, and the blocks")
            self._move(group, lot, rack, blocks, entry)
        else:
            self._count(group, lot, entry)

    def _extra_sale(self, group: Group, name: str | None, lot: str, entry: Entry) -> None:
        plugs, frags = take_whole(entry, "pieces", self.faults), take_whole(entry, "counted", self.faults)
        size_class = take_text(entry, "detail", self.faults)
        if name is None or plugs is None or frags is None:
            self.fault(
                entry.place("pieces"),
                f"a sale of {lot} half filled",
                "where it went (an order, market or clear), plugs taken, frags sold",
            )
            return
        word = name.casefold()
        if word in ("market", "clear"):
            if size_class is None:
                self.fault(
                    entry.place("detail"),
                    f"a sale of {lot} without its class",
                    "the size class it was sold as, in the third column",
                )
                return
            self._add_sale(group, entry, lot, cast("Route", word), None, size_class, plugs, frags)
        else:
            order = name[6:].strip() if word.startswith("order ") else name
            self._add_sale(group, entry, lot, "order", order, size_class or "", plugs, frags)

    def _colony(self, group: Group, name: str | None, entry: Entry) -> None:
        count, condition = take_number(entry, "counted", self.faults), take_text(entry, "mark", self.faults)
        if name is None or (count is None and condition is None):
            self.fault(entry.place(), "a row half filled", "a colony, with its count or its condition")
        elif condition is not None and condition.casefold() not in CONDITIONS:
            self.fault(entry.place("mark"), repr(condition), f"one of {', '.join(CONDITIONS)}")
        else:
            word = condition.casefold() if condition else None
            self.done.append(DoneColony(name, group.week, group.day, count, word, entry.place("counted")))  # type: ignore[arg-type]

    def _reading(self, group: Group, rack: str, entry: Entry) -> None:
        """One number for the whole rack, or all four corners; a row with a note alone was not measured."""
        corners = [c for c in _CORNERS if c in entry.cells]
        lamp = take_number(entry, "minutes_mounting", self.faults, most=100)
        if corners not in ([], [_CORNERS[0]], list(_CORNERS)) or (lamp is not None and not corners):
            expected = f"PAR of the whole rack in {HEADS['light'][6]!r}, or at all four corners"
            self.fault(entry.place(corners[0] if corners else "minutes_mounting"), f"light of {rack} half filled", expected)
            return
        par = [take_number(entry, c, self.faults, most=2500) for c in corners]
        for column, value in zip(corners, par, strict=True):
            if value == 0:
                self.fault(entry.place(column), "0", "PAR above 0")
        if par and all(par):
            known = tuple(value for value in par if value is not None)
            self.done.append(DoneReading(rack, group.week, group.day, known, lamp, entry.place(corners[0])))
