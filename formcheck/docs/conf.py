"""The reference, built by Sphinx from docstrings, the catalogue of faults and the limits.

python -m sphinx -nW -b html formcheck/docs build/docs
"""

from __future__ import annotations

from importlib import metadata
from inspect import cleandoc
from math import isinf
from pathlib import Path
from typing import Any

import jinja2

import formcheck
from formcheck.advice.ladder import ladder
from formcheck.cli import COMMANDS, command_of
from formcheck.cli.examples import EXAMPLES
from formcheck.docs import drawings, messages, rooms
from formcheck.measures.values import rep_values

ROOT = Path(__file__).parents[2]

project = "formcheck"
author = copyright = "the formcheck authors"
release = version = metadata.version("formcheck")
extensions = ["myst_parser", "sphinx.ext.autodoc"]
source_suffix = {".md": "markdown"}
html_theme = "furo"
html_title = "formcheck"
html_show_sourcelink = False
smartquotes = False
highlight_language = "text"  # of examples that name none
html_static_path = ["static"]
html_css_files = ["docs.css"]
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
# Types of other libraries, whose documents are not at hand when these are built.
nitpick_ignore_regex = [
    ("py:.*", r"(collections|Figure|matplotlib|np|numpy|os|pandas|pathlib|pd)(\..*)?")
]

# Types of the package that the public names take and give.
GIVEN = (
    "agree.compare.Agreement", "agree.compare.CountAgreement", "agree.compare.Verdict",
    "agree.measured.MeasuredSet", "agree.suggest.Suggestion", "agree.sweep.Labelled",
    "agree.sweep.Sweep", "analysis.RepResult", "faults.catalogue.Criterion",
    "faults.limit_sets.LimitSet", "report.page.curves.Drawing",
)  # fmt: skip


def public_names() -> list[dict[str, str]]:
    """Each public name with its full path and the directive that documents it."""
    found = []
    for name in formcheck.__all__:
        thing = getattr(formcheck, name)
        kind = "autoclass" if isinstance(thing, type) else "autofunction"
        found.append({"name": name, "path": f"{thing.__module__}.{name}", "kind": kind})
    return found


def commands() -> list[dict[str, Any]]:
    """Every command: its words, its help, its examples, and its options by what they are about."""
    told = []
    for name in COMMANDS:
        command = command_of(name)
        told.append(command_told(name, command))
        for word, one in getattr(command, "commands", {}).items():
            told.append(command_told(f"{name} {word}", one))
    return told


def command_told(words: str, command: Any) -> dict[str, Any]:
    with command.make_context(f"formcheck {words}", [], resilient_parsing=True) as context:
        return {
            "words": words,
            "help": cleandoc(command.help or ""),
            "examples": EXAMPLES[words],
            "usage": command.get_usage(context).removeprefix("Usage: "),
            "panels": command.records(context),
        }


def in_a_table(text: str) -> str:
    return " ".join(text.split()).replace("|", r"\|").replace("<", r"\<")


def limit_words(value: float, unit: str = "") -> str:
    """A limit with its unit; an infinite one limits nothing."""
    return "no limit" if isinf(value) else f"{value:g} {unit}".rstrip()


def of_readme(part: str) -> str:
    """A part of the README, which stands there and nowhere else."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    return text.split(f"<!-- part: {part} -->")[1].split(f"<!-- end of part: {part} -->")[0]


def filming_reasons() -> dict[str, list[str]]:
    """Each reason why a view does not show something, and the values it is about."""
    found: dict[str, list[str]] = {}
    for value in rep_values().values():
        for reason in value.hidden.values():
            names = found.setdefault(reason, [])
            if value.label not in names:
                names.append(value.label)
    return found


def filled(app: Any, docname: str, source: list[str]) -> None:
    """Sources are templates over what the package knows."""
    from formcheck.asked.standards import standards
    from formcheck.faults.catalogue import fault_kinds
    from formcheck.faults.limit_sets import limit_sets
    from formcheck.faults.limits import default_limits

    source[0] = jinja2.Template(source[0], trim_blocks=True, lstrip_blocks=True).render(
        names=public_names(),
        commands=commands,
        cell=in_a_table,
        drawings=drawings,
        given=[f"formcheck.{name}" for name in GIVEN],
        kinds=messages.kinds,
        rooms=rooms,
        rungs=ladder,
        readme=of_readme,
        reasons=filming_reasons,
        faults=fault_kinds(),
        limits=default_limits(),
        limited=limit_words,
        limit_sets=limit_sets(),
        standards=standards(),
        values=rep_values(),
    )


def setup(app: Any) -> None:
    app.connect("source-read", filled)
