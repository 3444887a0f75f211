"""The report in a real browser: whatever the names are, the charts are drawn, and no program runs but its own."""

import json

import invented_den as den
from read_page import read_page

from monitor.tell.pages.report import render_report

NASTY = '<img src=x onerror=document.title="taken"><script>document.title="taken"</script><b>bold</b>'


def test_the_charts_are_drawn_from_the_file_alone_whatever_the_names_and_the_console_is_silent(window):
    html = render_report(
        den.page(
            assessment=den.ASSESSMENT._replace(job=NASTY),
            channels=tuple(channel._replace(sensor=NASTY) for channel in den.page().channels[:2]),
            hand_readings=(den.page().hand_readings[0]._replace(instrument=NASTY),),
        )
    )
    with window.open(html) as opened:
        assert opened.drawn() == 2
        document = opened.page.content()
        assert all(opened.page.locator(f".subplot.{panel}").count() for panel in ("xy", "xy2", "xy3"))
        traces = [len(json.loads(read_page(html).texts[name])["data"]) for name in ("figure-air", "figure-moist")]
        assert opened.page.locator(".trace.scatter").count() == sum(traces)
        assert opened.page.title() == f"{NASTY}: not ready"
        assert (opened.console, opened.requests) == ([], [])
    assert "<img" not in document


def test_a_program_that_is_not_ours_is_refused_by_the_page(window):
    forged = render_report(den.page()).replace("</main>", '</main><script>document.title="taken"</script>')
    with window.open(forged) as opened:
        assert opened.page.title() == "north wall of the den: not ready"
        assert any("Content Security Policy" in line for line in opened.console)
