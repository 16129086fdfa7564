"""The reference, built by Sphinx from docstrings, the catalogue of faults and the limits.

python -m sphinx -n -W -b html formcheck/docs build/docs
"""

from __future__ import annotations

import subprocess
import sys
from importlib import metadata
from typing import Any

import jinja2

import formcheck

project = "formcheck"
author = copyright = "the formcheck authors"
release = version = metadata.version("formcheck")
extensions = ["myst_parser", "sphinx.ext.autodoc"]
source_suffix = {".md": "markdown"}
html_theme = "furo"
html_title = "formcheck"
html_show_sourcelink = False
smartquotes = False
html_css_files: list[str] = []
html_theme_options = {
    "light_css_variables": {
        "color-brand-primary": "#1d6390",
        "color-brand-content": "#1d6390",
        "font-stack": '"Avenir Next", Avenir, "Segoe UI", Roboto, "Noto Sans", sans-serif',
    },
    "dark_css_variables": {"color-brand-primary": "#66c7f4", "color-brand-content": "#66c7f4"},
}
pygments_style = "friendly"
autodoc_member_order = "bysource"
autodoc_typehints = "signature"
autodoc_class_signature = "separated"
autodoc_default_options = {"members": True, "exclude-members": "__init__, __new__"}
myst_heading_anchors = 3
python_use_unqualified_type_names = True
nitpicky = True
# Documented elsewhere, and nothing is looked up there.
nitpick_ignore_regex = [
    ("py:.*", r"(collections|os|pathlib|matplotlib|numpy|pandas|pd)\..*"),
    ("py:class", "Figure"),
]


def public_names() -> list[dict[str, str]]:
    """Each public name with its full path and the directive that documents it."""
    found = []
    for name in formcheck.__all__:
        thing = getattr(formcheck, name)
        kind = "autoclass" if isinstance(thing, type) else "autofunction"
        found.append({"name": name, "path": f"{thing.__module__}.{name}", "kind": kind})
    return found


# What the public names take and give, and are nowhere made by hand.
GIVEN = (
    "formcheck.agree.measured.MeasuredSet",
    "formcheck.analysis.RepResult",
    "formcheck.agree.compare.Verdict",
    "formcheck.agree.compare.Agreement",
    "formcheck.agree.compare.CountAgreement",
    "formcheck.agree.sweep.Labelled",
    "formcheck.agree.sweep.Sweep",
    "formcheck.agree.suggest.Suggestion",
    "formcheck.faults.limit_sets.LimitSet",
    "formcheck.faults.catalogue.Criterion",
)


def commands() -> str:
    """What Typer's own generator says of the command line, one heading level down."""
    told = subprocess.run(
        [sys.executable, "-m", "typer", "formcheck.cli", "utils", "docs", "--name", "formcheck"],
        capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    return "\n".join(f"#{line}" if line.startswith("#") else line for line in told.splitlines())


def filled(app: Any, docname: str, source: list[str]) -> None:
    """Sources are templates over what the package knows."""
    from formcheck.asked.standards import standards
    from formcheck.faults.catalogue import fault_kinds
    from formcheck.faults.limit_sets import limit_sets
    from formcheck.faults.limits import default_limits
    from formcheck.measures.values import rep_values

    source[0] = jinja2.Template(source[0], trim_blocks=True, lstrip_blocks=True).render(
        names=public_names(),
        given=GIVEN,
        commands=commands,
        faults=fault_kinds(),
        limits=default_limits(),
        limit_sets=limit_sets(),
        standards=standards(),
        values=rep_values(),
    )


def setup(app: Any) -> None:
    app.connect("source-read", filled)
