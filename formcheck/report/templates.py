"""Where pages come from: one kind of template for every page that is written."""

from __future__ import annotations

from functools import cache

import jinja2

from formcheck.plain import plain


@cache
def templates_of(package: str) -> jinja2.Environment:
    """The templates in a package, each compiled once. Whatever is put into a page is text, and
    what a page asks for and is not given is an error."""
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader(package),
        autoescape=lambda name: name is None or ".css" not in name,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["plain"] = plain
    return environment
