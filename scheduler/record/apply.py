"""The next book's rows: the old ones with what was done entered, week by week: packing, moves, cuts, then counts."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable
from dataclasses import dataclass, field

from scheduler.biology.growth import after_cut, curve, level_of, levels
from scheduler.biology.light import par_of_rack
from scheduler.errors import Finding
from scheduler.farm.blocks import Block, Position, parse_block, position_name, trim
from scheduler.farm.coral import Colony, Lot, Traits
from scheduler.farm.counts import Count, PastCut, PastLot
from scheduler.farm.farm import Farm
from scheduler.farm.recorded import SaleDone
from scheduler.farm.space import LightReading
from scheduler.farm.trade import Order
from scheduler.record.done import DoneColony, DoneCount, DoneCut, DoneMove, DoneReading, DoneSale, Happened
from scheduler.record.readings import is_wild, last_reading, reading


@dataclass(frozen=True)
class Question:
    """A contradiction that may be true all the same: it stops the record until its cell is accepted."""

    cell: str
    finding: Finding


@dataclass
class NextBook:
    """The tables that change, by key, and what was noticed on the way."""

    farm: Farm
    lots: dict[str, Lot]
    colonies: dict[str, Colony]
    orders: dict[str, Order]
    sales: list[SaleDone]
    counts: list[Count]
    past_lots: list[PastLot]
    past_cuts: list[PastCut]
    light: list[LightReading]
    faults: list[Finding] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    cut: set[str] = field(default_factory=set)
    _cells: dict[str, str] = field(default_factory=dict)
    """Where the crew, or the plan, says where a lot stands."""

    @classmethod
    def of(cls, farm: Farm) -> NextBook:
        """The book as it is."""
        return cls(
            farm, dict(farm.lot), dict(farm.colony), dict(farm.order), list(farm.sales_done), list(farm.counts),
            list(farm.past_lots), list(farm.past_cuts), list(farm.light),
        )  # fmt: skip

    def enter(self, happened: Happened) -> None:
        """Enter everything done, and look at the places last."""
        for week in sorted({d.week for d in happened.done}):
            done = happened.of(week)
            for sale in (d for d in done if isinstance(d, DoneSale)):
                self._sale(sale)
            for move in (d for d in done if isinstance(d, DoneMove)):
                self._move(move)
            for cut in (d for d in done if isinstance(d, DoneCut)):
                self._cut(cut)
            for count in (d for d in done if isinstance(d, DoneCount)):
                self._count(count)
            for colony in (d for d in done if isinstance(d, DoneColony)):
                self._colony(colony)
            for measured in (d for d in done if isinstance(d, DoneReading)):
                self._reading(measured)
        self._check_places()
        self._retire()

    def fault(self, where: str, found: str, expected: str, hint: str = "") -> None:
        """A fault: it has to be settled in the workbook."""
        self.faults.append(Finding(where, found, expected, hint))

    def ask(self, where: str, found: str, expected: str) -> None:
        """A contradiction that can be accepted."""
        self.questions.append(Question(where, Finding(where, found, expected, f"or accept it: --accept {where}")))

    def _known_lot(self, name: str, where: str) -> Lot | None:
        lot = self.lots.get(name)
        if lot is None:
            self.fault(where, f"lot {name!r}", "the label code of a lot on the racks", _near(name, self.lots))
        return lot

    def _traits(self, lot: Lot) -> Traits:
        return self.farm.traits(lot.strain)

    def _blocks(self, traits: Traits, texts: Iterable[str], where: str) -> tuple[Block, ...] | None:
        try:
            return tuple(parse_block(text, traits.plug_rows, traits.plug_cols) for text in texts)
        except ValueError as error:
            self.fault(where, str(error), "blocks such as A1:C4 or A1:C4=10")
            return None

    def _shrunk(self, lot: Lot, plugs: int) -> tuple[str, ...]:
        traits = self._traits(lot)
        blocks = tuple(parse_block(t, traits.plug_rows, traits.plug_cols) for t in lot.blocks)
        return tuple(b.text(traits.plug_rows, traits.plug_cols) for b in trim(blocks, plugs))

    # ---- packing --------------------------------------------------------------------------------------------------

    def _sale(self, done: DoneSale) -> None:
        lot = self._known_lot(done.lot, done.where)
        if lot is None:
            return
        if done.plugs > lot.alive:
            self.fault(
                done.where, f"{done.plugs} plugs taken of lot {lot.lot}", f"at most the {lot.alive} that stand on {lot.rack}"
            )
            return
        size_class = done.size_class
        if done.route == "order":
            order = self.orders.get(done.order or "")
            known = self.farm.order.get(done.order or "")
            if known is None:
                self.fault(
                    done.where,
                    f"order {done.order!r}",
                    "an order of the book, market or clear",
                    _near(done.order or "", self.orders),
                )
                return
            size_class = size_class or known.size_class
            self._deliver(done, order, known)
        if self.farm.size_class(lot.strain, size_class) is None:
            names = ", ".join(c.size_class for c in self.farm.size_classes(lot.strain))
            self.fault(done.where, f"class {size_class!r} of {lot.strain}", f"one of {names}")
            return
        left = lot.alive - done.plugs
        self.lots[lot.lot] = lot.model_copy(update={"alive": left, "blocks": self._shrunk(lot, left)})
        row = SaleDone(
            lot=lot.lot, strain=lot.strain, date=done.day, route=done.route, order=done.order, size_class=size_class,
            channel=done.channel, plugs=done.plugs, frags=done.frags,
        )  # fmt: skip
        same = next((i for i, r in enumerate(self.sales) if r.key == row.key), None)
        if same is None:
            self.sales.append(row)
        else:
            before = self.sales[same]
            self.sales[same] = before.model_copy(update={"plugs": before.plugs + row.plugs, "frags": before.frags + row.frags})

    def _deliver(self, done: DoneSale, order: Order | None, known: Order) -> None:
        if order is None:
            self.notes.append(f"order {known.order} was filled already; {done.frags} frags more went to it")
            return
        left = order.quantity - done.frags
        if left < 0:
            self.notes.append(f"order {order.order} got {-left} frags more than it asked for")
        if left > 0:
            self.orders[order.order] = order.model_copy(update={"quantity": left})
        else:
            del self.orders[order.order]
            self.notes.append(f"order {order.order} is filled and leaves the book")

    # ---- moves and cuts -------------------------------------------------------------------------------------------

    def _move(self, done: DoneMove) -> None:
        lot = self._known_lot(done.lot, done.where)
        if lot is None or not self._known_rack(done.rack, done.where):
            return
        traits = self._traits(lot)
        blocks = self._blocks(traits, done.blocks, done.where)
        if blocks is None:
            return
        blocks = self._fitted(blocks, lot.alive, f"lot {lot.lot}", done.where)
        if blocks is None:
            return
        texts = tuple(b.text(traits.plug_rows, traits.plug_cols) for b in blocks)
        self.lots[lot.lot] = lot.model_copy(update={"rack": done.rack, "blocks": texts, "moved_date": done.day})
        self._cells[lot.lot] = done.where

    def _known_rack(self, rack: str, where: str) -> bool:
        if rack in self.farm.rack:
            return True
        self.fault(where, f"rack {rack!r}", "a rack of the book", _near(rack, self.farm.rack))
        return False

    def _fitted(self, blocks: tuple[Block, ...], plugs: int, who: str, where: str) -> tuple[Block, ...] | None:
        """Blocks trimmed to the plugs there are; a fault if they hold fewer."""
        room = sum(b.plugs for b in blocks)
        if room < plugs:
            self.fault(where, f"blocks for {room} plugs of {who}", f"blocks that hold its {plugs} plugs")
            return None
        return trim(blocks, plugs)

    def _cut(self, done: DoneCut) -> None:
        colony = self.colonies.get(done.colony)
        if colony is None:
            self.fault(done.where, f"colony {done.colony!r}", "a colony of the book", _near(done.colony, self.colonies))
            return
        if done.planned:
            self.past_cuts.append(
                PastCut(
                    colony=colony.colony, date=done.day, strain=colony.strain, pieces_planned=done.planned, pieces_got=done.mounted,
                    minutes_cutting=done.minutes_cutting, minutes_mounting=done.minutes_mounting, on_rock=colony.on_rock,
                )
            )  # fmt: skip
        if not done.pieces:
            if done.left is not None:
                news = {"count": done.left, "count_date": done.day, "estimated": False}
                self.colonies[colony.colony] = colony.model_copy(update=news)
            return
        if colony.colony in self.cut:
            self.fault(done.where, f"colony {colony.colony} cut twice", "one cut of a colony in the weeks recorded")
            return
        self._shrink_colony(done, colony)
        if done.mounted:
            self._new_lot(done, colony)

    def _shrink_colony(self, done: DoneCut, colony: Colony) -> None:
        """Size after the cut: the crew's count, else the size by the curve less the pieces taken."""
        farm, traits = self.farm, self.farm.traits(colony.strain)
        sizes = curve(traits)
        level = levels(farm, farm.colony[colony.colony], {}, until=done.week)[done.week]
        left = sizes[level] - done.pieces
        if done.left is not None:
            count = done.left
        else:
            if left < 0:
                self.ask(done.where, f"{done.pieces} pieces cut from {colony.colony}, which had about {sizes[level]:.0f}",
                         "what is left on the colony, counted")  # fmt: skip
            count = _as_count(sizes, after_cut(sizes, level, done.pieces), max(0.0, left), traits.unit_per_piece)
        if count / traits.unit_per_piece < traits.keep_pieces:
            self.notes.append(
                f"{colony.colony} was cut below keep_pieces: about {count / traits.unit_per_piece:.0f} of {traits.keep_pieces} pieces are left"
            )
        self.cut.add(colony.colony)
        news = {"count": count, "count_date": done.day, "last_cut": done.day, "estimated": done.left is None}
        self.colonies[colony.colony] = colony.model_copy(update=news)

    def _new_lot(self, done: DoneCut, colony: Colony) -> None:
        if done.lot in self.lots or any(p.lot == done.lot for p in self.past_lots):
            self.fault(done.where, f"lot {done.lot!r} for new frags", "a label code nothing else carries")
            return
        if done.rack is None or not self._known_rack(done.rack, done.where):
            if done.rack is None:
                self.fault(done.where, f"lot {done.lot} without a place", "the rack and the blocks its frags went to")
            return
        traits = self.farm.traits(colony.strain)
        blocks = self._blocks(traits, done.blocks, done.where)
        if blocks is None:
            return
        blocks = self._fitted(blocks, done.mounted, f"lot {done.lot}", done.where)
        if blocks is None:
            return
        self.lots[done.lot] = Lot(
            lot=done.lot, strain=colony.strain, colony=colony.colony, cut_date=done.day, started=done.mounted, alive=done.mounted,
            count_date=done.day, rack=done.rack, blocks=tuple(b.text(traits.plug_rows, traits.plug_cols) for b in blocks),
        )  # fmt: skip
        self._cells[done.lot] = done.where

    # ---- counts ---------------------------------------------------------------------------------------------------

    def _count(self, done: DoneCount) -> None:
        lot = self._known_lot(done.lot, done.where)
        if lot is None:
            return
        if done.alive > lot.alive:
            self.fault(done.where, f"{done.alive} alive of lot {lot.lot}", f"at most the {lot.alive} plugs it has left")
            return
        if done.alive + done.detached > lot.alive:
            found = f"{done.alive} alive and {done.detached} came off of lot {lot.lot}"
            self.fault(done.where, found, f"together at most the {lot.alive} plugs it has left")
            return
        texts = self._shrunk(lot, done.alive)
        if done.blocks:
            traits = self._traits(lot)
            blocks = self._blocks(traits, done.blocks, done.where)
            if blocks is None:
                return
            if sum(b.plugs for b in blocks) != done.alive:
                self.fault(done.where, f"blocks for {sum(b.plugs for b in blocks)} plugs", f"blocks for the {done.alive} alive")
                return
            texts = tuple(b.text(traits.plug_rows, traits.plug_cols) for b in blocks)
            self._cells[lot.lot] = done.where
        if any(c.lot == lot.lot and c.date == done.day for c in self.counts):
            self.fault(done.where, f"lot {lot.lot} counted twice", "one count a week")
            return
        since = max((c.date for c in self.counts if c.lot == lot.lot), default=None)
        sold = sum(s.frags for s in self.sales if s.lot == lot.lot and (since is None or s.date > since))
        self.counts.append(Count(lot=lot.lot, date=done.day, alive=done.alive, detached=done.detached, sold=sold))
        self.lots[lot.lot] = lot.model_copy(update={"alive": done.alive, "count_date": done.day, "blocks": texts})

    def _colony(self, done: DoneColony) -> None:
        colony = self.colonies.get(done.colony)
        if colony is None:
            self.fault(done.where, f"colony {done.colony!r}", "a colony of the book", _near(done.colony, self.colonies))
            return
        news: dict[str, object] = {}
        if done.count is not None:
            news |= {"count": done.count, "count_date": done.day, "estimated": False}
        if done.condition is not None:
            news |= {"condition": done.condition, "condition_date": done.day}
        self.colonies[colony.colony] = colony.model_copy(update=news)

    def _reading(self, done: DoneReading) -> None:
        if not self._known_rack(done.rack, done.where):
            return
        last = last_reading(self.light, done)
        if last is not None and last.from_date == done.day and not last.planned:
            self.fault(done.where, f"light of {done.rack} measured twice on {done.day}", "one reading a rack and week")
            return
        if last is not None and is_wild(done, last):
            was = ", ".join(f"{x:g}" for x in dict.fromkeys(last.corners or ()))
            self.ask(
                done.where,
                f"PAR {', '.join(f'{x:g}' for x in done.par)} on {done.rack}",
                f"something like the {was} of {last.from_date}",
            )
        new = reading(done, last)
        self.light = [row for row in self.light if row.key != new.key] + [new]

    # ---- the end --------------------------------------------------------------------------------------------------

    def _check_places(self) -> None:
        """L1: every plug on a position of its rack that is open and nobody else's."""
        taken: dict[tuple[str, Position], str] = {}
        for colony in self.colonies.values():
            if colony.rack and colony.block:
                taken |= {(colony.rack, p): f"colony {colony.colony}" for p in colony.block.positions()}
        for name in sorted(self.lots, key=lambda n: n in self._cells):  # those put somewhere now come last and are named
            lot = self.lots[name]
            where, rack = self._cells.get(name), self.farm.rack[lot.rack]
            traits = self._traits(lot)
            held = [
                p
                for t in lot.blocks
                for p in parse_block(t, traits.plug_rows, traits.plug_cols).positions(traits.plug_rows, traits.plug_cols)
            ]
            clash: dict[str, list[Position]] = {}
            for position in held:
                if position[0] >= rack.rows or position[1] >= rack.cols:
                    clash.setdefault("outside the rack", []).append(position)
                elif position in rack.blocked_positions:
                    clash.setdefault("blocked", []).append(position)
                other = taken.setdefault((lot.rack, position), f"lot {name}")
                if other != f"lot {name}":
                    clash.setdefault(f"held by {other}", []).append(position)
            for what, positions in clash.items():
                if where is not None:
                    names = ", ".join(position_name(p) for p in positions[:4]) + (" ..." if len(positions) > 4 else "")
                    self.fault(where, f"lot {name} on {names} of {lot.rack}, {what}", "open positions nothing else holds")

    def _retire(self) -> None:
        """Lots with nothing left leave the racks; their counts are kept."""
        for name in [n for n, lot in self.lots.items() if not lot.alive]:
            lot = self.lots[name]
            was = self.farm.lot.get(name)
            if was is not None and not was.alive:
                continue  # the book keeps it so
            del self.lots[name]
            self.past_lots.append(
                PastLot(lot=name, strain=lot.strain, cut_date=lot.cut_date, started=lot.started, tank=self.farm.rack[lot.rack].tank,
                        par_umol=_mean_par(self.farm, was))
            )  # fmt: skip


def _mean_par(farm: Farm, lot: Lot | None) -> float | None:
    """Mean PAR where a lot stood, whole µmol m-2 s-1."""
    if lot is None or not lot.blocks:
        return None
    traits = farm.traits(lot.strain)
    par = par_of_rack(farm, lot.rack, 1)
    held = [p for b in farm.lot_blocks(lot) for p in b.positions(traits.plug_rows, traits.plug_cols)]
    return float(round(sum(float(par[p]) for p in held) / len(held))) if held else None


def _near(name: str, known: Iterable[str]) -> str:
    found = difflib.get_close_matches(name, list(known), n=1, cutoff=0.5)
    return f"did you mean {found[0]}?" if found else ""


def _as_count(sizes: tuple[float, ...], level: int, pieces: float, unit: float) -> float:
    """A size in counted units, to a thousandth, that reads back as the same level of growth."""
    for places in (3, 6, 9):
        for value in (round(pieces * unit, places), math.ceil(pieces * unit * 10**places) / 10**places):
            if level_of(sizes, value / unit) == level:
                return value
    return pieces * unit
