"""The columns of the sheet ``record``: the same for every section, headed in the words of each."""

from __future__ import annotations

from scheduler.record.planned import Group, PlannedWork, Section, Thing

COLUMNS = (
    "name", "lot", "detail", "planned", "place", "mark", "pieces", "lost", "counted", "rack", "blocks", "minutes_cutting",
    "minutes_mounting", "note", "key",
)  # fmt: skip
"""What each column holds; columns from ``mark`` to ``note`` are the crew's."""

CREW = COLUMNS[5:14]
KEY_COLUMN = len(COLUMNS)

AS_PLANNED, EXCEPT, NOT_DONE = "as planned", "except", "not done"
MARKS = (AS_PLANNED, EXCEPT, NOT_DONE)
CONDITIONS = ("fit", "watch", "no cut")

HEADS: dict[Section, tuple[str, ...]] = {
    "session": (
        "colony", "lot", "strain, counted in", "pieces", "to rack and blocks", "done", "pieces cut", "not mounted",
        "left on colony", "rack", "blocks", "min cutting", "min mounting", "note",
    ),
    "packing": (
        "order, market or clear", "lot", "strain, class", "plugs", "from, about so many frags", "done", "plugs taken", "",
        "frags sold", "", "", "", "", "note",
    ),
    "moves": ("", "lot", "strain", "plugs", "to rack and blocks", "done", "", "", "", "rack", "blocks", "", "", "note"),
    "counts": (
        "", "lot", "strain", "plugs", "on rack", "", "", "came off plug", "alive", "", "blocks now", "", "", "note",
    ),
    "colonies": ("colony", "", "", "", "", "condition", "", "", "counted", "", "", "", "", "note"),
    "light": (
        "rack", "", "", "", "", "", "PAR, or at A1", "row A, end", "last row, start", "", "", "last row, end", "lamp %", "note",
    ),
    "plugs": ("kind", "", "", "plugs", "in water at the start", "", "put in", "", "", "", "", "", "", "note"),
}  # fmt: skip

USED: dict[Section, frozenset[str]] = {
    "session": frozenset(CREW),
    "packing": frozenset({"mark", "pieces", "counted", "note"}),
    "moves": frozenset({"mark", "rack", "blocks", "note"}),
    "counts": frozenset({"lost", "counted", "blocks", "note"}),
    "colonies": frozenset({"mark", "counted", "note"}),
    "light": frozenset({"pieces", "lost", "counted", "minutes_cutting", "minutes_mounting", "note"}),
    "plugs": frozenset({"pieces", "note"}),
}
"""The crew's columns each section uses."""

HOW_TO = (
    "Mark every session, packing and move list in the column done: as planned, except, or not done.",
    "With except, write only what differed; a cell left empty was as planned. Rows below each list are for work nobody planned.",
    "not mounted: of the pieces cut, those that came to nothing. plugs taken: plugs off the rack, sold or empty.",
    "alive: frags living on the rack at the end of the week. Dead plugs are taken off and the gap is closed from the end.",
    "Light: PAR of the whole rack in one number, or at its four corners; lamp % only where the lamp was set anew.",
    "Blocks as on the rack maps: A1:C4, or A1:C4=10 for ten plugs; two blocks are separated by ;",
)


def head_key(section: Section) -> str:
    """Key of the row that heads a section."""
    return f"head {section}"


def shown(group: Group, thing: Thing) -> tuple[str | int, ...]:
    """The planned cells of a thing: name, lot, detail, planned, place."""
    place = thing.place
    if group.section == "packing":
        name = f"order {thing.order}" if thing.route == "order" else str(thing.route)
        place = f"{thing.rack}, {thing.frags}"
    elif group.section == "light":
        return thing.rack or "", "", thing.detail, "", ""
    elif group.section == "plugs":
        name = thing.plug_kind or ""
    elif group.section == "session":
        name = thing.colony or ""
    else:
        name = ""
    return name, thing.lot, thing.detail, thing.pieces, place


def things_by_key(work: PlannedWork) -> dict[str, tuple[Group, Thing | None]]:
    """Every row the sheet has: its group, and the thing planned, if it is one."""
    found: dict[str, tuple[Group, Thing | None]] = {}
    for group in work.groups:
        planned = {t.key: t for t in group.things}
        found |= {key: (group, planned.get(key)) for key in group.rows}
    return found
