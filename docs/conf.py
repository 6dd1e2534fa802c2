"""How Sphinx builds these pages: `make docs`."""

from sphinx.application import Sphinx

from evenfield import __version__

project = "evenfield"
copyright = "evenfield contributors, MIT licence"
version = release = __version__

extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.apidoc"]
source_suffix = {".md": "markdown", ".rst": "restructuredtext"}
myst_heading_anchors = 3  # links to a heading, as they work on a forge

apidoc_modules = [
    {
        "path": "../src/evenfield",
        "destination": "code",
        "exclude_patterns": ["**/clinic/**"],  # pages and rows, which nobody calls from Python
        "separate_modules": True,
    }
]
autodoc_default_options = {"ignore-module-all": True}  # each thing once, where it is written
autodoc_member_order = "bysource"

html_theme = "alabaster"
html_theme_options = {
    "description": "Where the heat of a contactless 27.12 MHz field goes. Controls no device.",
    "font_family": "sans-serif",
    "font_size": "16px",
    "page_width": "1300px",
    "sidebar_width": "260px",
}
html_static_path = ["_static"]
html_css_files = ["docstring.css"]
html_show_sourcelink = False
html_copy_source = False


def _as_written(app: Sphinx, what: str, name: str, thing: object, options: object, lines: list[str]) -> None:
    """Show a docstring line by line: in a formula such as |E|² or a*b* no character is markup."""
    if any(lines):
        lines[:] = [".. code-block:: text", "", *(f"   {line}" for line in lines), ""]


def setup(app: Sphinx) -> None:
    app.connect("autodoc-process-docstring", _as_written)
