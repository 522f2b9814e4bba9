"""Cautions for the work of the near weeks, with their sources, and the checks due. The workbook and the page show the same ones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from scheduler.farm.coral import Traits
from scheduler.farm.settings import COMMON
from scheduler.plan.view import PlanView

_MMWR = "Hamade AK et al. 2015, MMWR 64(31):852-855"
_SCHULZ = "Schulz M et al. 2019, Arh Hig Rada Toksikol 70:14-17"
_REACH = "ECHA REACH dossier 16286, first aid"


@dataclass(frozen=True)
class Caution:
    """A hazard, what to do about it, and where that comes from."""

    about: str
    text: str
    source: str


PALYTOXIN = (
    Caution(
        "palytoxin",
        "Three people of a household fell ill 7-8 hours after a zoanthid was brought in: bitter or metallic taste, fever, "
        "weakness, cough, muscle pain; shop staff were exposed too. Such signs after cutting: leave the room, get medical "
        "help at once, name the coral.",
        _MMWR,
    ),
    Caution("palytoxin", "Gloves, mask, eyewear and covering clothes; never brush, scrape dry, heat or let it spray: it is breathed in.",
            _SCHULZ),
    Caution("palytoxin", "Tools, bench and spills: 1 part 5 % household bleach to 9 parts water; never mixed with other cleaners; air the room.",
            "trade-association leaflet made with Health Protection Scotland"),
)  # fmt: skip
CYANOACRYLATE = (
    Caution("cyanoacrylate glue", "Bonded skin: do not pull; warm soapy water and a blunt edge. Eyes: wash, cover with damp gauze, do not force "
            "open, get medical attention. Curing heat can burn.", _REACH),
    Caution("cyanoacrylate glue", "Keep it off clothes, fabric, rags and tissue: it cures at once, smokes and burns. Air the bench.",
            "safety data sheet, first-aid supplement"),
)  # fmt: skip
IODINE = Caution(
    "iodine",
    "Stains and irritates; keep from eyes; air the room; occupational ceiling 0.1 ppm in air.",
    "from memory, not verified",
)
BLADES = {
    "saw": Caution("saw", "Eye shield, cut-resistant glove on the holding hand, hair and sleeves tied; wet blade; spray carries slime: mask.", COMMON),
    "cutters": Caution("cutters", "Chips fly: eye shield; cut away from the other hand.", COMMON),
    "scalpel": Caution("scalpel", "Cut away from the hand; used blades into the sharps box.", COMMON),
}  # fmt: skip
PUTTY = Caution(
    "putty", "Two-part putty irritates and can make skin allergic: gloves while kneading; follow its safety data sheet.", COMMON
)
ALWAYS = (
    Caution("electricity", "Residual-current protection, drip loops, sockets above and away from salt water, dry hands; pumps off before reaching into a "
            "tank with a damaged lead.", COMMON),
    Caution("wounds", "Cover cuts before work; wash hands and arms after; a wound from coral or tank water that reddens needs a doctor.", COMMON),
)  # fmt: skip
CITES = Caution(
    "papers",
    "All stony corals (Scleractinia), with black, blue, organ-pipe, fire and lace corals, are regulated by CITES, Appendix II: crossing a border "
    "needs a permit, and papers of origin travel with the lot. Ask the national Management Authority, also about captive-bred codes.",
    "CITES AC22 Inf. 8; CoP11 Doc. 11.37",
)
CHECKS = (
    "undersides and plug bases looked at for flatworms, nudibranchs and their eggs, before the dip and again a week later",
    "racks swapped, scrubbed and dried by rota; shaded edges and lamp lenses wiped",
    "no cutting on the day of a large water change, or with salinity, alkalinity or temperature off",
    "standby power started, low-temperature and power-cut alarm tried",
    "papers of origin copied for every lot packed; label codes on plugs still readable",
)
TOXIC_KIT = (
    "Kit for toxic corals: nitrile gloves (two pairs), eye shield, mask, long sleeves; cut wet or under water, never dry, brush or "
    "heat; own tubs and tools; bleach solution ready for tools and bench (1 part 5 % household bleach to 9 parts water, never mixed "
    "with other cleaners, window open); nobody works alone."
)
DEFER = (
    "These notes do not replace local law, building and electrical codes, safety data sheets, or the judgement of licensed "
    "practitioners and doctors; where they differ, those hold."
)


def table_cautions(traits: Sequence[Traits], *, glue: bool, putty: bool = False) -> tuple[Caution, ...]:
    """The cautions for a bench with corals of these traits on it; ``glue`` and ``putty`` if frags are mounted."""
    found: list[Caution] = []
    if any(t.toxic for t in traits):
        found += PALYTOXIN
    for method in sorted({t.method for t in traits}):
        found.append(BLADES.get(method, Caution(method, "Follow the instructions of the tool; eye shield and gloves.", COMMON)))
    if glue:
        found += CYANOACRYLATE
    if putty:
        found.append(PUTTY)
    if any(t.dip == "iodine" for t in traits):
        found.append(IODINE)
    for dip in sorted({t.dip for t in traits} - {"iodine", "none"}):
        found.append(
            Caution(dip, "Read and follow the safety data sheet of the substance; gloves, eye shield, aired room.", COMMON)
        )
    return (*found, *ALWAYS)


def cautions(view: PlanView) -> tuple[Caution, ...]:
    """The cautions for what the near weeks hold."""
    farm, near = view.farm, set(view.farm.weeks.near_weeks)
    cuts = [c for c in view.plan.cuts if c.week in near]
    lifted = {c.colony for c in cuts} | {s.colony for s in view.plan.stand_by}
    traits = [farm.traits(farm.colony[name].strain) for name in sorted(lifted)]
    putty = any(farm.traits(c.strain).uses_putty for c in cuts)
    found = table_cautions(traits, glue=bool(cuts), putty=putty)
    return (*found, CITES) if any(s.week in near for s in view.plan.sales) else found
