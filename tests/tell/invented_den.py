"""An invented wall in an invented den: five days of minutes by a formula, two sensors, a humid hour, a silent night."""

from __future__ import annotations

import numpy as np

from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import Entry, Kind, OriginKind, Quantity
from monitor.climate.wood import Range
from monitor.config.profile import Acclimation, Band, Quality, ReadinessRule, Wall, load_profile
from monitor.rules.assessment import (
    Assessment,
    ClockReading,
    Condition,
    Coverage,
    Episode,
    Excursion,
    Gap,
    Lot,
    Now,
    Restart,
)
from monitor.rules.board.consequences import Effect, Season
from monitor.rules.board.cores import Evening
from monitor.rules.board.estimates import DAYS, FIGURES, BoardReading, Bounds, CoreReading, Extreme, SkinReading
from monitor.rules.board.movement import Movement, Row
from monitor.rules.frame import Stack
from monitor.tell.pages.views import ChannelLine, HandReading, Head, ReportPage, SensorLine, Stay
from monitor.tell.views import BoardView, JobFacts, Lying

T, RH = Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY
DELIVERED = 1_767_620_400_000  # 2026-01-05T13:40Z, 08:40 in New York
WET = (DELIVERED + 25 * HOUR + 20 * MINUTE, DELIVERED + 27 * HOUR + 30 * MINUTE)  # humid air: 2 h 10 min on 6 January
SILENT = (DELIVERED + 56 * HOUR + 25 * MINUTE, DELIVERED + 70 * HOUR + 30 * MINUTE)  # both sensors say nothing
HOLD = 30 * MINUTE
AS_OF = DELIVERED + 108 * HOUR  # 2026-01-10T01:40Z
STUCK = (DELIVERED + 92 * HOUR, DELIVERED + 102 * HOUR)  # den-2 says the same number
PRACTICE = "common practice, no published source; the maker's own instructions and local code come first"

BAND = Band(humidity=(35.0, 65.0), temperature=((60 - 32) / 1.8, (85 - 32) / 1.8))
PROFILE = load_profile("laminate-planks")._replace(
    name="laminate planks, interior wall",
    band=BAND,
    life=BAND,
    acclimation=Acclimation(48 * HOUR, 60 * MINUTE, 120 * MINUTE, 30 * MINUTE),
    quality=Quality(3.0, 10.0, 1.0, 10.0, 8 * HOUR, 8, 24 * HOUR),
    wall=Wall(40 * 0.3048, 10 * 0.3048, 0.0254 * 3 / 16, 0.0254 * 3 / 16, 0.10, 0.2032, (0.2032, 0.3048)),
    readiness=ReadinessRule("maker", 3 / 1.8),
    boxes="unopened and lying flat",
    place="indoors with a controlled climate",
    text="",
    sha256="ab" * 32,
    sources={
        **dict.fromkeys(("band.humidity", "band.temperature", "wall.max_length"), PRACTICE),
        "acclimation.hours": PRACTICE,
        "quality.flat_alone": "ours, no published source",
    },
)
FACTS = JobFacts(
    length=16 * 0.3048,
    height=8 * 0.3048,
    units="us",
    boxes_place="den",
    wall_place="den",
    outdoor_place="porch",
    opened_at=DELIVERED - HOUR,
    opened_by="R. Example",
)
CLOCK = ClockReading(
    required=48 * HOUR,
    counted=37 * HOUR + 30 * MINUTE,
    started_at=SILENT[1],
    projected_at=AS_OF + 10 * HOUR + 30 * MINUTE,
    restarts=(Restart(WET[0] + HOUR, "out"), Restart(SILENT[0] + HOLD + 2 * HOUR, "unproven")),
)
LOT = Lot(
    "A",
    "den",
    DELIVERED,
    24,
    CLOCK,
    CLOCK,
    CLOCK._replace(counted=30 * HOUR, started_at=SILENT[1] + 7 * HOUR + HOUR // 2),
)
UNKNOWN = SILENT[1] - SILENT[0] - HOLD
SPAN = Coverage(elapsed=108 * HOUR, known=108 * HOUR - UNKNOWN, in_band=108 * HOUR - UNKNOWN - (WET[1] - WET[0]))
EXCURSION = Excursion(
    RH, "high", *WET, ended_by="return", peak=71.3, dose=6.4, phase="before", quality="good", beyond_uncertainty=True
)
GAP = Gap(SILENT[0] + HOLD, SILENT[1], (T, RH))
READINESS = (
    Condition("boxes delivered", "pass", "1 delivery recorded"),
    Condition("acclimation complete", "fail", "37.5 of 48 h counted"),
    Condition("air in band now", "pass", "in band for 37 h 30 min"),
    Condition("sensors fresh", "pass", "heard from den-1, den-2"),
    Condition("sensors agree", "pass", "within uncertainty"),
    Condition("instrument check", "pass", "humidity backed by: maker; temperature backed by: maker"),
    Condition("site check", "unknown", "no site check is recorded"),
    Condition("wall moisture", "unknown", "no wall moisture is recorded"),
    Condition("wall size", "pass", "inside the limits for one unbroken run"),
)
ASSESSMENT = Assessment(
    job="north wall of the den",
    zone="America/New_York",
    as_of=AS_OF,
    begin=DELIVERED,
    phase="before",
    profile=PROFILE.name,
    profile_sha256=PROFILE.sha256,
    conflicts=0,
    origin_share={OriginKind.LIVE: 0.9, OriginKind.BACK_FILL: 0.1},
    span=SPAN,
    before=SPAN,
    during=None,
    after=None,
    lots=(LOT,),
    governing=0,
    excursions=(EXCURSION,),
    episodes=(Episode(*WET, (0,)),),
    gaps=(GAP,),
    now=Now("in", SILENT[1], {"den-1": {T: 20.4, RH: 46.2}, "den-2": {T: 20.6, RH: 46.6}}, AS_OF - MINUTE),
    readiness=READINESS,
)


def entry(number: int, kind: Kind, at: int, body: dict, *, later: int = 0, corrects: int | None = None) -> Entry:
    return Entry(ASSESSMENT.job, number, kind, at, at + later, "R. Example", body, corrects, bytes(16), bytes(32))


ENTRIES = (
    entry(1, Kind.JOB, DELIVERED - HOUR, {"zone": "America/New_York", "length_m": 4.8768, "height_m": 2.4384}),
    entry(2, Kind.DELIVER, DELIVERED, {"lot": "A", "boxes": 24, "place": "den"}, later=2 * DAY + HOUR),
    entry(3, Kind.NOTE, DELIVERED + 26 * HOUR, {"text": "plasterers next door, door left open"}),
    entry(4, Kind.CORRECTION, DELIVERED + 30 * HOUR, {"instead": {"boxes": 26}}, corrects=2),
)
SENSORS = tuple(
    SensorLine(
        name=name,
        stream=f"home/{name}",
        hold=HOLD,
        uncertainty={RH: 5.0, T: 1.0},
        stays=(Stay("den", DELIVERED, None, "1.2 m high, inside wall"),),
        check="maker",
    )
    for name in ("den-1", "den-2")
)


def minutes(length: int, phase: float = 0.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times, temperature and humidity, a reading a minute for `length` from the delivery on, by a formula."""
    t = DELIVERED + np.arange(0, length, MINUTE, dtype=np.int64)
    h = (t - DELIVERED) / HOUR
    wiggle = 0.3 * np.sin(h * 7.3 + phase) + 0.15 * np.sin(h * 31.7 + 2 * phase)
    temperature = 20.5 + 1.1 * np.sin(2 * np.pi * (h - 3) / 24) + 0.4 * wiggle + 0.2 * phase
    humidity = 46.0 - 3.0 * np.sin(2 * np.pi * (h - 2) / 24) + wiggle + 0.4 * phase
    return t, np.round(temperature, 1), np.round(humidity, 1)


def channels(name: str, length: int, phase: float) -> tuple[ChannelLine, ChannelLine]:
    """Both air channels of one sensor of the invented den."""
    t, temperature, humidity = minutes(length, phase)
    wet = (t >= WET[0]) & (t < WET[1])
    humidity[wet] = np.round(65.3 + 6.0 * np.sin(np.pi * (t[wet] - WET[0]) / (WET[1] - WET[0])), 1)
    stuck = (t >= STUCK[0]) & (t < STUCK[1]) & (name == "den-2")
    temperature[stuck], humidity[stuck] = 20.5, 46.0
    heard = (t < SILENT[0]) | (t >= SILENT[1])
    t, temperature, humidity, stuck = t[heard], temperature[heard], humidity[heard], stuck[heard]
    return (
        ChannelLine(name, "den", T, t, temperature, stuck),
        ChannelLine(name, "den", RH, t, humidity, stuck),
    )


def page(length: int = 108 * HOUR, **changes) -> ReportPage:
    """The report of the invented den."""
    a, b = SILENT[0] + HOLD, SILENT[1]
    found = ReportPage(
        assessment=ASSESSMENT,
        facts=FACTS,
        profile=PROFILE,
        channels=(*channels("den-1", length, 0.0), *channels("den-2", length, 1.0)),
        hand_readings=(HandReading(RH, DELIVERED + 50 * HOUR, 47.0, "R. Example", "whirled psychrometer"),),
        runs=((DELIVERED, WET[0], "in"), (*WET, "out"), (WET[1], a, "in"), (a, b, "unknown"), (b, AS_OF, "in")),
        entries=ENTRIES,
        sensors=SENSORS,
        written_at=AS_OF + 5 * MINUTE,
        software="wallclime 0.1.0",
        head=Head(4, "cd" * 32),
    )
    return found._replace(**changes)


# --- boards on the wall -----------------------------------------------------------------------------------------------

ALONG, ACROSS = Row(False, 4.8768, (0.0047625, 0.003), 3), Row(True, 2.4384, (0.0047625, 0.0047625), 12)
INSTALLED = DELIVERED + 72 * HOUR
BOARD = BoardReading(
    since=INSTALLED,
    came=Bounds(7.4, 8.4, 9.4),
    now=Bounds(6.9, 7.9, 8.9),
    gained=Bounds(-0.6, -0.5, -0.4),
    measured=False,
    sensor=0.4,
    driest=Extreme(INSTALLED // DAY * DAY, Bounds(-1.6, -1.5, -1.4)),
    dampest=Extreme(INSTALLED // DAY * DAY + DAY, Bounds(0.8, 1.2, 1.4)),
)
SKIN = SkinReading(coldest=12.25, humid=78.2, month=82.4, damp_h=246, wet_h=1, mould=1.42, unknown_h=3)
CORE = CoreReading(20.0, 21.0, None, 20.5, DELIVERED + 20 * HOUR)
BOARD_VIEW = BoardView(
    rows=(ALONG, ACROSS),
    movements=(
        Movement(ALONG, "now", Range(-1.7, 0.1)),
        Movement(ALONG, "dampest so far", Range(0.5, 3.4)),
        Movement(ACROSS, "now", Range(-0.7, 0.0)),
    ),
    closing=({"pinned": Range(66.0, 72.0), "free": Range(81.0, 87.0)},) * 2,
    pinned="a heavy shelf",
    lying=(Lying(Stack(height=0.4064), Evening(4 * DAY, 5 * DAY, 6 * DAY)),),
    effects=(Effect(0, Bounds(0.1, 0.2, 0.3)),),
    season=Season(INSTALLED // DAY * DAY, INSTALLED // DAY * DAY + 90 * DAY, 28.4, 61.6, None, None),
)


def days(length: int = 6, *, board: bool = True, skin: bool = True, silent: int | None = 3) -> bytes:
    """Rows of days from the delivery on by a formula; of day `silent` nothing was heard."""
    found = np.zeros(length, DAYS)
    for name in FIGURES:
        found[name] = np.nan
    k = np.arange(length)
    found["day"] = DELIVERED // DAY + k
    found["rh_mean"] = 50.0
    if board:
        for name, moisture in (("board_low", 7.0), ("board", 8.0), ("board_high", 9.0)):
            found[name] = moisture + 0.1 * k
    if skin:
        found["skin_t_low"], found["skin_rh_mean"], found["mould"] = 12.0 + k, 76.0 + 2.0 * k, 0.3 * k
    if silent is not None and silent < length:
        for name in ("rh_mean", "skin_t_low", "skin_rh_mean", "mould"):
            found[name][silent] = np.nan
    return found.tobytes()


def board_page(packed: bytes | None = None, view: BoardView = BOARD_VIEW, **changes) -> ReportPage:
    """The report of the den with its planks up: boards, rows and the wall's surface."""
    found = {"board": BOARD, "skin": SKIN, "lots": (LOT._replace(core=CORE),), **changes}
    assessment = ASSESSMENT._replace(phase="after", packed_days=days() if packed is None else packed, **found)
    return page(assessment=assessment, facts=FACTS._replace(install_start=INSTALLED), board=view)
