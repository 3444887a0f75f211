"""An invented wall: put up in December, silent for days in January, and asked about by a lawyer two years later."""

from __future__ import annotations

from pathlib import Path

from invented_wall import House, ms

from monitor.basis.times import MINUTE, rfc3339

JOB = "stair wall"
GAPS = (("2027-01-06T00:00", "2027-01-09T00:00"), ("2027-01-18T00:00", "2027-01-20T00:00"))  # nothing was heard
DRY = ("2027-01-04T00:00", "2027-01-23T00:00")  # the heating dried the air, around and between the two silences
ASKED = "2028-12-12T10:00"
COLUMNS = ("--time", "when", "--temperature", "temp", "--humidity", "rh")
ODA, VERA = ("--by", "Oda"), ("--by", "Vera")  # who puts walls up, and whose house it is


def air(t: int) -> tuple[float, float] | None:
    """What the sensor in the stairs says at `t` (UTC ms): degC and %RH; None in a silence."""
    if any(ms(start) <= t < ms(end) for start, end in GAPS):
        return None
    k = t // (10 * MINUTE)
    dry = ms(DRY[0]) <= t < ms(DRY[1])
    return 20.5 + 0.1 * (k % 7), (29.0 if dry else 46.0) + 0.2 * (k % 5)


def file_of(house: House, name: str, start: str, end: str, minutes: int) -> str:
    """The file of the sensor for [start, end), a row every so many minutes."""
    rows = []
    for t in range(ms(start), ms(end), minutes * MINUTE):
        said = air(t)
        if said is not None:
            rows.append(f"{rfc3339(t)},{said[0]:.1f},{said[1]:.1f}\n")
    house.file(name, "".join(["when,temp,rh\n", *rows]))
    return name


def lived(folder: Path) -> tuple[House, dict[str, str]]:
    """The house, and the codes that others hold by what they were sent for."""
    house, codes = House(folder), {}
    house.at("2026-12-07T08:00")
    opened = ("--zone", "America/New_York", "--length", "14 ft", "--height", "8 ft")
    house.done("job", "open", JOB, *opened, *ODA)
    delivered = house.done("log", "deliver", JOB, "--lot", "A7", "--boxes", 8, "--flat", "--unopened", *ODA).err
    codes["delivery"] = delivered.partition(", code ")[2].split()[0]
    house.at("2026-12-10T09:00")
    sensor = ("--sensor", "stairs", *COLUMNS, "--hold", "4 h", *ODA)
    house.done("import", JOB, file_of(house, "one.csv", "2026-12-07T08:00", "2026-12-10T09:00", 60), *sensor)
    house.done("log", "witness", JOB, "--code", codes["delivery"], *VERA)
    house.done("log", "install", JOB, "--start", "2026-12-10T09:00", "--not-ready", "--reason", "Vera asks", *ODA)
    house.at("2026-12-11T15:00")
    house.done("log", "install", JOB, "--start", "2026-12-10T09:00", "--finish", "2026-12-11T15:00", *ODA)
    house.at("2027-02-10T10:00")
    house.done("import", JOB, file_of(house, "two.csv", "2026-12-10T09:00", "2027-02-10T10:00", 120), *sensor)
    at = ("--at", "2026-12-31T09:00")
    house.done("log", "event", JOB, "other", "the humidifier ran all of December", *at, *VERA)
    house.at(ASKED)
    return house, codes
