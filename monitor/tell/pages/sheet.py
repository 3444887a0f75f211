"""The paper sheet: what the form asks, with lines to write on and to sign, for a printer and a clipboard."""

from __future__ import annotations

from markupsafe import Markup

from monitor.tell.pages.form import POLICY, FormView, environment_of, hashed, shared, source

WIDE = ("text", "rows", "pairs")  # what takes the whole width of the sheet


def render_sheet(view: FormView) -> str:
    """The sheet as HTML to print, the same for the same values."""
    environment = environment_of()
    style = source(environment, "paper.css")
    return environment.get_template("paper.html").render(
        policy=POLICY.format(script="'none'", style=hashed(style)),
        style=Markup(style),
        wide=WIDE,
        **shared(view),
    )
