"""What is shipped with the program may be shipped with it."""

from tests.abuse.licences import EXCEPTIONS, Dependency, run_time


def test_no_run_time_dependency_has_a_licence_that_forbids_it() -> None:
    dependencies, missing = run_time()
    names = {each.name for each in dependencies}
    assert {"vosk", "spacy", "pydantic", "fastapi", "starlette", "reportlab"} <= names
    assert "pytest" not in names
    wrong = [each for each in dependencies if each.verdict in ("copyleft", "no licence is named")]
    assert wrong == []
    assert set(EXCEPTIONS) <= names | set(missing), "an exception that nobody needs any more"


def test_the_judgement_can_tell() -> None:
    verdicts = {
        "GPL-3.0-or-later": "copyleft",
        "GNU Affero General Public License v3": "copyleft",
        "GPLv2": "copyleft",
        "MIT OR GPL-2.0": "ok",
        "LGPL-2.1-or-later": "lesser",
        "MPL-2.0": "ok",
        "": "no licence is named",
    }
    for licence, verdict in verdicts.items():
        assert Dependency("x", "1", licence).verdict == verdict, licence
