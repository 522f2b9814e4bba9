"""Groups, strains, size classes, colonies and lots."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any, ClassVar, Literal, Optional

from pydantic import BaseModel, ConfigDict, create_model

from scheduler.farm.blocks import Block, parse_block
from scheduler.farm.rows import Row, column
from scheduler.farm.space import Flow


class Traits(BaseModel):
    """How a coral is cut, grows, settles and is racked. A group gives all of them; a strain may override any."""

    model_config = ConfigDict(frozen=True)

    unit: Literal["tips", "heads", "polyps", "cm_edge", "cm2"] = column("unit colonies are counted in", "tips")
    unit_per_piece: float = column("counted units that make one piece", "1.5", gt=0)
    method: str = column("how it is cut: cutters, saw or scalpel (a skill of people and a method of sessions)", "cutters")
    min_pieces: int = column("fewest pieces worth a cut", "4", ge=1)
    keep_pieces: int = column("pieces that must remain on the colony after a cut", "10", ge=0)
    max_share: float = column("largest share of a colony one cut may take", "0.4", gt=0, le=1)
    rest_weeks: int = column("weeks between two cuts of a colony", "8", ge=1, le=104)
    pause_weeks: int = column("weeks without growth after a cut", "1", ge=0, le=26)
    closed_months: tuple[int, ...] = column("months (1-12) in which it is not cut; separate with ;", "7;8", default=())
    growth_law: Literal["exponential", "linear", "logistic"] = column("how a colony grows", "exponential")
    growth_per_week: float = column(
        "growth per week: as a share of size (exponential, logistic) or in counted units (linear)", "0.03", gt=0
    )
    start_units: float = column("size of a freshly set out colony, counted units", "4", gt=0)
    cap_units: float = column("size at which a colony stops growing, counted units", "90", gt=0)
    early_weeks: int = column("weeks of heavier losses after mounting", "3", ge=0, le=26)
    death_early: float = column("share of frags that die in each early week", "0.015", ge=0, lt=0.5)
    death_late: float = column("share of frags that die in each later week", "0.003", ge=0, lt=0.5)
    detach_early: float = column("share of frags that come off their plug in each early week", "0.008", ge=0, lt=0.5)
    detach_late: float = column("share of frags that come off their plug in each later week", "0.001", ge=0, lt=0.5)
    par_min: float = column("dimmest PAR it is kept in, µmol m-2 s-1", "120", ge=0)
    par_max: float = column("brightest PAR it is kept in, µmol m-2 s-1", "350", gt=0)
    par_k: float = column("PAR at which growth begins to saturate (Jassby & Platt curve), µmol m-2 s-1", "110", gt=0)
    flow_settling: tuple[Flow, ...] = column("flow it may settle in: low, medium, high; separate with ;", "medium;high")
    flow_growing: tuple[Flow, ...] = column("flow it may grow out in; separate with ;", "medium;high")
    reach_mm: float = column("how far it stings or shades a neighbour of another strain, mm", "15", ge=0)
    plug_kind: str = column("kind of plug", "small")
    plug_rows: int = column("rows of positions a plug holds", "1", ge=1, le=6)
    plug_cols: int = column("columns of positions a plug holds", "1", ge=1, le=6)
    heal_weeks: int = column("weeks until the cut edge has healed and it may be sold", "2", ge=0)
    attach_weeks: int = column("weeks until it holds to its plug by itself; 0 where it need not", "4", ge=0)
    frag_mm: float = column("size of a fresh frag, mm", "25", gt=0)
    frag_mm_per_week: float = column("growth of a frag in saturating light, mm a week", "1.2", ge=0)
    good_share: float = column("share of sold frags that make grade; the rest sell at the B price", "0.95", ge=0, le=1)
    minutes_colony: float = column("fetch, set up and dip a colony, minutes", "6", ge=0)
    minutes_cut: float = column("cutting, minutes per piece", "0.6", ge=0)
    minutes_mount: float = column("gluing to a plug, minutes per piece", "0.9", ge=0)
    dip: str = column("dip used: iodine, another by its substance, or none", "iodine")
    dip_minutes_frags: float = column("time of frags in the dip, minutes", "5", ge=0)
    dip_minutes_mother: float = column("time of the mother in the dip, minutes", "0.5", ge=0)
    dip_slack_frags: float = column(
        "how much longer than dip_minutes_frags its frags may stay in the dip, minutes", "5", default=5.0, ge=0
    )
    dip_slack_mother: float = column(
        "how much longer than dip_minutes_mother the mother may stay in the dip, minutes", "1", default=1.0, ge=0
    )
    uses_putty: bool = column("yes where frags are set in putty, which sets minutes after kneading", "no", default=False)
    toxic: bool = column("yes where cutting can free palytoxin or the like: trained people, kit, last in a session", "no")
    slimy: bool = column("yes where cutting slimes the bath", "no")

    @property
    def plug_area(self) -> int:
        """Rack positions a plug fills."""
        return self.plug_rows * self.plug_cols


class Group(Row, Traits):
    """Corals worked alike; carries the defaults."""

    SHEET: ClassVar[str] = "groups"
    ABOUT: ClassVar[str] = "Groups of corals that are worked alike. Every default here can be overridden for a strain."
    KEY: ClassVar[tuple[str, ...]] = ("group",)

    group: str = column("name of the group", "branching stony")


class StrainBase(Row):
    """One clone line; overrides of traits are read through ``Farm.traits``."""

    SHEET: ClassVar[str] = "strains"
    ABOUT: ClassVar[str] = "Strains: clone lines that sell under one name. Any trait left empty is the group's."
    KEY: ClassVar[tuple[str, ...]] = ("strain",)
    LINKS: ClassVar[dict[str, str]] = {"group": "groups"}

    strain: str = column("short id of the strain", "LAN")
    name: str = column("name it sells under", "Lantern Branch")
    group: str = column("its group", "branching stony")
    code: str = column(
        "label code written on plugs, 2-4 letters or digits, kept for life; empty: a free one is proposed and taken on with its first lot",
        "LN", default="", pattern=r"^([A-Z0-9]{2,4})?$",
    )  # fmt: skip


def _override(name: str) -> tuple[Any, Any]:
    info = Traits.model_fields[name]
    limits = {k: getattr(m, k) for m in info.metadata for k in ("gt", "ge", "lt", "le") if hasattr(m, k)}
    field = column(f"overrides the group: {info.description}", (info.examples or [""])[0], default=None, **limits)
    return Optional[info.annotation], field  # noqa: UP045  built from a runtime type


if TYPE_CHECKING:

    class Strain(StrainBase):
        """A strain with its overrides."""
else:
    Strain = create_model(
        "Strain", __base__=StrainBase, __module__=__name__, **{name: _override(name) for name in Traits.model_fields}
    )
    Strain.__doc__ = "A strain with its overrides."


class TraitSource(Row):
    """Where a group's or strain's value comes from."""

    SHEET: ClassVar[str] = "sources"
    ABOUT: ClassVar[str] = "Where the traits of groups and strains come from. A trait without a row here counts as unsourced."
    KEY: ClassVar[tuple[str, ...]] = ("group", "strain", "trait")
    LINKS: ClassVar[dict[str, str]] = {"group": "groups", "strain": "strains"}

    group: str = column("group the value belongs to", "branching stony")
    strain: str | None = column("strain, if the value is a strain's own", "LAN", default=None)
    trait: str = column("column of the groups table", "growth_per_week")
    source: str = column("publication, own counts, or farm choice", "Lirman et al. 2014, PLoS ONE 9:e107253")
    evidence: Literal["published", "dataset", "hobby", "memory", "own counts", "common practice", "farm choice"] = column(
        "how good the source is", "published"
    )


class GroupPair(Row):
    """Two groups that get along, or must be kept apart."""

    SHEET: ClassVar[str] = "pairs"
    ABOUT: ClassVar[str] = (
        "Pairs of groups: those known to get along side by side, and those that must not share a tank or system."
    )
    KEY: ClassVar[tuple[str, ...]] = ("group_a", "group_b")
    LINKS: ClassVar[dict[str, str]] = {"group_a": "groups", "group_b": "groups"}

    group_a: str = column("a group", "leather")
    group_b: str = column("the other group (may be the same)", "branching stony")
    get_along: bool = column("yes: no clear positions are needed between them", "no", default=False)
    apart: Literal["tank", "system"] | None = column("they may not share a tank, or a whole system", "tank", default=None)


class SizeClass(Row):
    """What is sold: a minimum size and its prices."""

    SHEET: ClassVar[str] = "classes"
    ABOUT: ClassVar[str] = "Size classes and prices by group; a row with a strain replaces the group's row of that class."
    KEY: ClassVar[tuple[str, ...]] = ("group", "strain", "size_class")
    LINKS: ClassVar[dict[str, str]] = {"group": "groups", "strain": "strains"}

    group: str = column("group", "branching stony")
    strain: str | None = column("strain, if it has its own size or price", "LAN", default=None)
    size_class: str = column("name of the class", "small")
    min_mm: float = column("smallest size, mm", "35", gt=0)
    list_price: Decimal = column("list price, money", "24.00", ge=0)
    b_price: Decimal = column("price of a frag that does not make grade, money", "10.00", ge=0)
    discount_price: Decimal = column("price beyond the month's market, and when clearing, money", "8.00", ge=0)


class Colony(Row):
    """A mother coral that is cut again and again."""

    SHEET: ClassVar[str] = "colonies"
    ABOUT: ClassVar[str] = "Mother colonies with their newest count."
    KEY: ClassVar[tuple[str, ...]] = ("colony",)
    LINKS: ClassVar[dict[str, str]] = {"strain": "strains", "tank": "tanks", "rack": "racks"}

    colony: str = column("name or number of the colony", "LAN-02")
    strain: str = column("its strain", "LAN")
    tank: str = column("tank it stands in", "N2")
    place: str = column("where in the tank, for the person who fetches it", "left shelf", default="")
    par_umol: float = column("PAR where it stands, µmol m-2 s-1", "210", gt=0, le=2500)
    count: float = column("newest count, in the unit of its group", "48", ge=0)
    count_date: date = column("day of that count", "2026-11-09")
    estimated: bool = column("yes if that count was worked out from a cut and not counted", "no", default=False)
    condition: Literal["fit", "watch", "no cut"] = column("fit, watch, or no cut; only fit colonies are cut", "fit")
    condition_date: date = column("day the condition was judged", "2026-11-09")
    last_cut: date | None = column("day it was last cut; empty: not known, taken as rested", "2026-09-14", default=None)
    on_rock: bool = column("yes if grown onto rock: cut in the tank, slower", "no", default=False)
    rack: str | None = column("rack, if the colony stands on one", "N2-a", default=None)
    positions: str | None = column("rack positions it covers, as a block", "A1:B2", default=None)

    @property
    def block(self) -> Block | None:
        """Rack positions the colony covers, as plugs of one position."""
        return parse_block(self.positions) if self.rack and self.positions else None


class Lot(Row):
    """All frags cut from one colony in one session, now on a rack."""

    SHEET: ClassVar[str] = "lots"
    ABOUT: ClassVar[str] = "Lots now on racks."
    KEY: ClassVar[tuple[str, ...]] = ("lot",)
    LINKS: ClassVar[dict[str, str]] = {"strain": "strains", "colony": "colonies", "rack": "racks"}

    lot: str = column("label code of the lot", "LN-2639a")
    strain: str = column("its strain", "LAN")
    colony: str | None = column("mother colony, if known", "LAN-02", default=None)
    cut_date: date = column("day it was cut", "2026-09-21")
    started: int = column("plugs mounted that day", "18", ge=1)
    alive: int = column("plugs still on the rack at the newest count", "16", ge=0)
    count_date: date = column("day of that count", "2026-11-16")
    rack: str = column("rack it stands on", "N1-a")
    blocks: tuple[str, ...] = column(
        "positions, one or two blocks in reading order; A1:B8=15 says 15 plugs; separate with ;", "A1:B8=16"
    )
    moved_date: date | None = column("day it was last moved", "2026-10-26", default=None)
