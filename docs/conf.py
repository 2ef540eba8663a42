"""How the documentation is built: ``sphinx-build -W docs build/site``."""

import importlib.metadata

project = "countersign"
author = "The countersign developers"
release = importlib.metadata.version("countersign")
language = "en"

extensions = ["sphinx.ext.autodoc", "myst_parser"]
exclude_patterns = ["conftest.py", "build.py"]
html_theme = "furo"
html_title = f"countersign {release}"
html_copy_source = False
html_show_sphinx = False
html_show_copyright = False
# Nothing is fetched when a page is viewed: fonts are those of the system, and no address of an
# edit button or an icon leads outside.
html_theme_options = {"top_of_page_buttons": []}

autodoc_default_options = {"members": True, "imported-members": True, "show-inheritance": False}
autodoc_typehints = "description"
autodoc_typehints_format = "short"
autodoc_member_order = "groupwise"
autodoc_class_signature = "separated"
python_use_unqualified_type_names = True
suppress_warnings = ["ref.python"]  # some names are in two rooms, as a Finding is

man_pages = [("commands", "countersign", "spoken surgical counting into a confirmed record", "", 1)]
man_show_urls = False


def setup(app: object) -> None:
    """Leave out what pydantic adds to every model; it is described nowhere but in pydantic."""

    def skip(app: object, what: str, name: str, obj: object, skip: bool, options: object) -> bool:
        return skip or name.startswith("model_")

    app.connect("autodoc-skip-member", skip)  # type: ignore[attr-defined]
