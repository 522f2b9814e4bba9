"""Settings of the farm: each with its unit, its default and where the default comes from."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any, ClassVar, Literal

from pydantic import Field

from scheduler.farm.rows import Row

FARM_CHOICE = "farm choice, no published source"
COMMON = "common practice, no source"


def setting(default: Any, description: str, source: str = FARM_CHOICE, **kwargs: Any) -> Any:
    """A setting with its default, meaning (unit included) and the source of the default."""
    return Field(default=default, description=description, json_schema_extra={"source": source}, **kwargs)


class Settings(Row):
    """One value per setting; on the sheet each setting is a row of its own."""

    SHEET: ClassVar[str] = "settings"
    ABOUT: ClassVar[str] = "How this farm works: one setting a row. Leave a value empty to keep the default."
    KEY: ClassVar[tuple[str, ...]] = ()

    farm_name: str = setting("Farm", "name printed on the sheets")
    book_date: date = setting(date(2026, 1, 1), "day this book was last brought up to date")
    plan_monday: date | None = setting(None, "Monday of week 1; empty: the first Monday after book_date")
    horizon_weeks: int = setting(26, "weeks planned", ge=4, le=104)
    near_weeks: int = setting(2, "weeks planned to session, person and rack position", ge=1, le=4)
    currency: str = setting("USD", "currency of all prices (ISO 4217 code)")
    measures: str = setting("metric", "volumes on the sheets: metric (L, mL) or us (gallons, drops)", pattern="^(metric|us)$")

    par_bands: tuple[float, ...] = setting(
        (60.0, 100.0, 140.0, 190.0, 250.0, 320.0), "edges between light bands, PAR in µmol m-2 s-1, rising; separate with ;"
    )
    dim: float = setting(0.30, "how much less PAR than its mother a settling frag may get, as a share", ge=0, lt=1)
    bright: float = setting(0.15, "how much more PAR than its mother a settling frag may get, as a share", ge=0, le=1)
    max_step_up: float = setting(0.50, "most a move may raise PAR, as a share of the lowest PAR the lot has now", ge=0)
    adapt_weeks: int = setting(
        3,
        "weeks a lot stays put after a move",
        "photoacclimation up to 21 days in Acropora muricata: Lohr et al. 2019, J Exp Biol 222:jeb195982 (abstract)",
        ge=0,
    )
    stress_factor: float = setting(2.0, "deaths are this many times as frequent outside a strain's light range", ge=1)
    settle_weeks: int = setting(2, "weeks a fresh frag settles before it may be moved", COMMON, ge=0, le=12)
    max_rack_weeks: int = setting(52, "age in weeks after which a lot can only be cleared at the discount price", ge=1)
    count_weeks: int = setting(4, "every lot is counted each time it has stood this many weeks", ge=1)
    max_blocks: int = setting(2, "most blocks a lot may stand in", ge=1, le=4)
    usable_share: float = setting(0.90, "share of a light zone's positions that later weeks may fill", gt=0, le=1)
    keep_free_share: float = setting(0.05, "share of each water system's positions that stays empty", ge=0, lt=1)

    bench_fill: float = setting(0.85, "share of a person's time at the bench that can be planned as work", gt=0, le=1)
    session_minutes: float = setting(20, "set-up and clean-down of a bench session, minutes", ge=0)
    changeover_minutes: float = setting(15, "new baths and clean tools when a session changes water system, minutes", ge=0)
    label_minutes: float = setting(0.15, "writing the code on a plug, minutes per plug", ge=0)
    labelling: Literal["plug", "block"] = setting(
        "plug", "what carries a code: every plug, or one tag for each block, told apart by the rack map"
    )
    labels_written: Literal["before", "session"] = setting(
        "before", "when labels are written: before the session, with the preparation, or by the mounter in the session"
    )
    allowance_share: float = setting(
        0.0,
        "allowance for rest and needs on top of the standard minutes, as a share; 0 where they are counted with it",
        "personal needs 5 % of a shift, fatigue 4 %: handbook figures (Konz; ILO 1992 from memory); the default is a farm choice",
        ge=0,
        lt=0.5,
    )
    allowance_base: Literal["work", "shift"] = setting(
        "work",
        "what the allowance is a share of: work gives minutes x (1 + share), shift gives minutes / (1 - share)",
        "both in use, so the base is stated: Konz, handbook text",
    )
    setup_share: float = setting(
        0.5, "share of session_minutes that comes before the first cut; the rest is clean-down", ge=0, le=1
    )
    break_after_minutes: float = setting(120, "nobody works longer than this without a break, minutes", COMMON, ge=30)
    break_minutes: float = setting(10, "length of a break, minutes; 0 for none", COMMON, ge=0, le=60)
    soak_minutes: float = setting(20, "dry plugs soak at least this long before mounting, minutes", COMMON, ge=0)
    batch_minutes: float = setting(
        6, "longest stretch of mounting before the mounter may turn to a bath, minutes (putty: what one kneading covers)", gt=0
    )
    putty_set_minutes: float = setting(5, "putty can be worked this long after kneading, minutes", COMMON, gt=0)
    kneading_pieces: int = setting(8, "most pieces one kneading of putty holds", ge=1)
    stand_by_minutes: float = setting(
        3, "a mother's dip up to this long is waited out beside the bath, minutes; through a longer one other work goes on", ge=0
    )
    baths: int = setting(3, "dip baths side by side, each for one lot at a time", ge=1, le=20)
    bath_pieces: int = setting(30, "most pieces in a dip bath at a time", ge=1)
    mix_pieces: int = setting(100, "pieces after which all dip baths are mixed anew", COMMON, ge=1)
    mix_minutes: float = setting(3, "mixing the dip baths anew, minutes", ge=0)
    rinse_litres: float = setting(4, "volume of a rinse bath, litres", gt=0)
    on_rock_factor: float = setting(1.5, "cutting takes this many times as long for a colony grown onto rock", COMMON, ge=1)
    move_lot_minutes: float = setting(3, "moving a lot: set-up, minutes per move", ge=0)
    move_frag_minutes: float = setting(0.2, "moving a lot: minutes per frag", ge=0)
    pack_frag_minutes: float = setting(1.5, "packing, minutes per frag", ge=0)
    pack_box_minutes: float = setting(4, "packing, minutes per box", ge=0)
    rack_clean_minutes: float = setting(10, "cleaning, minutes per rack and week", ge=0)
    count_lot_minutes: float = setting(2, "counting a lot, minutes", ge=0)
    wage_per_hour: Decimal = setting(Decimal("22.00"), "wage, money per hour", ge=0)
    overtime_wage_per_hour: Decimal = setting(Decimal("33.00"), "wage for overtime, money per hour", ge=0)

    late_cost: Decimal = setting(
        Decimal("2.50"), "cost of a frag delivered late, money per frag and week; about a tenth of its price", ge=0
    )
    short_cost: Decimal = setting(
        Decimal("25.00"), "cost of an ordered frag not delivered by the horizon, money per frag; about its price", ge=0
    )
    service_level: float = setting(0.90, "chance with which an order should be covered", gt=0, lt=1)
    service_cost: Decimal = setting(Decimal("2.00"), "cost of a frag missing from that cover, money per frag", ge=0)
    end_frag_share: float = setting(0.80, "share of its sale value that a frag still growing at the horizon keeps", ge=0, le=1)
    end_months: int = setting(6, "months of market that frags and colonies left at the horizon may count on", ge=0, le=36)
    end_colony_share: float = setting(0.50, "share of a fresh piece's value that a colony's spare size keeps", ge=0, le=1)
    uneven_cost: Decimal = setting(
        Decimal("0.00"), "cost per percentage point between the fullest and emptiest tank of like light", ge=0
    )
    change_cost: Decimal = setting(
        Decimal("60.00"),
        "cost per announced cut changed, money per week of nearness; plugs, labels and people are ready for it",
        ge=0,
    )
    interest_percent_per_year: float = setting(0, "interest by which later money counts less, percent per year", ge=0)

    default_counts: float = setting(
        10, "independent counts a default of growth, pieces or minutes weighs as much as when own counts are blended in", gt=0
    )
    default_loss_spread: float = setting(
        0.4, "how far a strain's true losses may lie from their default: standard deviation as a share of it", gt=0, le=2
    )
    default_growth_spread: float = setting(
        0.2, "how far a strain's true growth may lie from its default: standard deviation as a share of it", gt=0, le=2
    )
    lot_growth_spread: float = setting(
        0.12, "how much the growth of lots of a strain differs: standard deviation of its logarithm", ge=0, le=2
    )
    frag_growth_spread: float = setting(
        0.20, "how much the growth of frags of a lot differs: standard deviation of its logarithm", ge=0, le=2
    )
    pieces_share: float = setting(
        0.9, "pieces a cut really gives on average, as a share of those planned, until past cuts tell better", gt=0, le=1
    )
    pieces_spread: float = setting(
        0.15, "how much the pieces a cut gives differ from those planned: standard deviation as a share of them", ge=0, le=1
    )
    shock_spread: float = setting(
        0.5,
        "good and bad months of a tank: standard deviation of the logarithm of its losses; 0: every frag fares alone",
        ge=0,
        le=2,
    )
    forecast_draws: int = setting(2000, "random draws of a forecast", ge=100, le=100_000)
    glut_months: int = setting(3, "more frags on hand than orders and market take in so many months are a glut", ge=1, le=24)

    stale_count_days: int = setting(60, "a colony or lot not counted for longer is a doubt, days", ge=1)
    stale_par_days: int = setting(120, "a light reading older than this is a doubt, days", ge=1)
    iodine_stock_percent: float = setting(5, "strength of the iodine stock, g I2 per 100 mL", gt=0, le=10)
    iodine_mg_per_litre: float = setting(
        26.4,
        "iodine dip strength, mg I2 per litre",
        "about 40 drops of 5 % stock per US gallon: common practice, no source; composition of the stock from memory",
        ge=0,
    )
    drops_per_ml: float = setting(
        20, "drops of the farm's dropper per mL", "USP 32 <1101>: 20 drops per mL of water, ±10 %", gt=0
    )
    dip_litres: float = setting(4, "volume of a dip bath, litres", gt=0)
