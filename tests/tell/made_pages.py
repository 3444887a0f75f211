"""One page of every kind that people are handed, made from the invented den; a new kind is one line of MAKERS.

How many sheets a page takes on A4 and on Letter stands beside it: looked at by eye, then frozen.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import invented_den as den

from monitor.tell.pages.report import render_report


@dataclass(frozen=True)
class Made:
    """How a page is made, on how many sheets it is printed (None: never), whether it is for a phone and has charts."""

    make: Callable[[], str]
    sheets: range | None
    phone: bool = True
    charts: int = 0


def _handover() -> str:
    from test_tell_handover import full

    return full()


def _not_ready() -> str:
    from test_tell_notready import page

    return page()


def _form() -> str:
    from test_tell_form import DEN

    from monitor.tell.pages.form import render_form

    return render_form(DEN)


def _paper() -> str:
    from test_tell_form import DEN

    from monitor.tell.pages.sheet import render_sheet

    return render_sheet(DEN)


def _board() -> str:
    from test_tell_walls import FOUND, alarm, page, wall

    return page(*FOUND, wall("hall", alarms=(alarm(),)), house=(alarm(),))


def _summary() -> str:
    from test_tell_summary import WET, page, wall

    return page(wall(), wall("b", "gate house", WET), wall("c", watched=False))


def _record() -> str:
    from test_tell_record import page

    from monitor.tell.pages.record import render_record

    return render_record(page())


def _dispute() -> str:
    from test_tell_dispute import page

    return page()


MAKERS = {
    "report before": Made(lambda: render_report(den.page()), range(8, 13), charts=2),
    "report after": Made(lambda: render_report(den.board_page()), range(9, 15), charts=3),
    "report still": Made(lambda: render_report(den.board_page(), still=True), None),
    "handover": Made(_handover, range(1, 2)),
    "not ready": Made(_not_ready, range(1, 2)),
    "board": Made(_board, range(2, 4)),
    "record": Made(_record, range(1, 2)),
    "dispute": Made(_dispute, range(3, 6)),
    "summary": Made(_summary, range(1, 3)),
    "form": Made(_form, None),
    "paper": Made(_paper, range(5, 7), phone=False),
}
