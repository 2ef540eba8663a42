"""What people see of the account, on the screen and in exports."""

import csv
import io
import json
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import pytest
from rich.console import Console

from countersign.cli import main
from countersign.kit import demo_kit_path, read_kit
from countersign.ledger import append_decision, append_event, open_case, open_ledger, read_case
from countersign.medication import published_doses
from countersign.medication.published import DOSES_CAUTION, DOSES_VARIABLE, FIGURE_CAUTION
from countersign.medication.view import medications_view, published_text, published_texts
from countersign.problems import BadInput
from countersign.tally import build_record

from .scenes import KIT, account, decide, draw, label, receipt

WITH_EPINEPHRINE = {"additive": "epinephrine", "additive_strength": "ratio 200000"}
EVENTS = [
    receipt("lidocaine", "1 %", 30, container="cup", **WITH_EPINEPHRINE),
    label("lidocaine", "1 %", 30, container="cup", **WITH_EPINEPHRINE),
    draw("lidocaine", 10),
    draw("lidocaine", Decimal("0.50")),
]


def shown(decided: int = 0) -> str:
    found = account(EVENTS, [decide(n) for n in range(1, decided + 1)])
    out = io.StringIO()
    Console(file=out, width=80, highlight=False, markup=False).print(medications_view(found, KIT))
    assert max(map(len, out.getvalue().splitlines())) <= 80
    return " ".join(out.getvalue().split())


def test_a_table_for_people() -> None:
    text = shown()
    for part in ("30 mL", "10.5 mL", "19.5 mL", "300 mg", "195 mg", "52.5 micrograms"):
        assert part in text
    assert "label complete" in text and "no label heard; verify again" in text
    assert "NOT CONFIRMED" in text and " CONFIRMED" not in text.replace("NOT CONFIRMED", "")
    assert "verified aloud and by sight by two people" in text
    assert "0.50" not in text and "µg" not in text


def test_what_a_person_confirmed_is_marked_so() -> None:
    assert "NOT CONFIRMED" not in shown(decided=4)
    assert "NOT CONFIRMED (100 mg confirmed)" in shown(decided=3)


def test_a_draw_from_an_unconfirmed_strength_is_not_confirmed() -> None:
    found = account(EVENTS, [decide(3)])
    assert not any(each.confirmed for each in (*found.draws, *found.totals, *found.preparations))


def test_published_figures_are_information_with_their_source() -> None:
    text = shown()
    assert DOSES_CAUTION in text
    # US prescribing information of lidocaine (from memory): 4.5 mg/kg, not over 300 mg; with
    # epinephrine 7 mg/kg, not over 500 mg.
    assert "Published maximum, Lidocaine with epinephrine: 500 mg, 7 mg per kilogram (US" in text
    assert text.count("figure from memory, check it") == 1
    plain = account([receipt("lidocaine", "1 %", 30), receipt("lidocaine", "1 %", 9, additive="x")])
    (alone,) = published_texts(plain, published_doses(), KIT)
    assert alone.startswith("Published maximum, Lidocaine alone: 300 mg, 4.5 mg per kilogram (US")


def test_no_dose_is_ever_a_question() -> None:
    far_too_much = [
        receipt("lidocaine", "2 %", 1000, container="cup"),
        label("lidocaine", "2 %", 1000, container="cup"),
        draw("lidocaine", 900, read_back=True),
    ]
    assert account(far_too_much).questions == ()


def test_every_shipped_figure_names_its_source() -> None:
    doses = published_doses()
    assert doses
    for dose in doses:
        assert "section" in dose.source
        assert dose.recalled
        shown_as = published_text(dose, KIT)
        for beside in (dose.source, "figure from memory, check it", dose.caution, "not advice"):
            assert beside in shown_as
        assert {dose.medication, dose.additive or "epinephrine"} <= {m.id for m in KIT.medications}


def test_a_table_of_the_site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "doses.toml"
    path.write_text(
        '[[dose]]\nmedication = "lidocaine"\ntotal = "200 mg"\nsource = "Our formulary, page 3"\n'
        "recalled = false\n",
        encoding="utf-8",
    )
    monkeypatch.setenv(DOSES_VARIABLE, str(path))
    texts = published_texts(account(EVENTS), published_doses(), KIT)
    figure = "Published maximum, Lidocaine alone: 200 mg (Our formulary, page 3)."
    assert texts == [f"{figure} {FIGURE_CAUTION}"]
    with path.open("a", encoding="utf-8") as file:
        file.write('caution = "Ask the pharmacy."\n')
    assert published_texts(account(EVENTS), published_doses(), KIT) == [
        f"{figure} Ask the pharmacy."
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[[dose", "is not TOML"),
        ("a = 1", "only entries written"),
        ("dose = 1", "only entries written"),
        ("[[dose]]\nmedication = 1", "medication"),
        ('[[dose]]\nmedication = "a"\nsource = "b"\nrecalled = true', "neither a total"),
        ('[[dose]]\nmedication = "a"\nsource = "b"\nrecalled = true\ntotal = "much"', "300 mg"),
        (
            '[[dose]]\nmedication = "a"\nsource = "b"\nrecalled = true\nper_kilogram = "4.5 mg"',
            "4.5 mg/kg",
        ),
    ],
)
def test_a_table_that_cannot_be_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str, said: str
) -> None:
    path = tmp_path / "doses.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadInput, match=said) as caught:
        published_doses(path)
    assert "\n" not in str(caught.value)
    monkeypatch.setenv(DOSES_VARIABLE, str(path))
    assert "table of doses" in shown()  # the account itself is still shown


def test_a_table_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="cannot be read"):
        published_doses(tmp_path / "none.toml")


def test_through_the_command(capsys: pytest.CaptureFixture[str]) -> None:
    words = "lidocaine one percent thirty milliliters\ndrawing ten milliliters of lidocaine"
    assert main(["read", words]) == 0
    assert "medications on the field" in capsys.readouterr().out
    assert main(["read", words, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["record"]["medications"]["preparations"][0]["remaining_ml"] == "20"
    asked = {(question["line"], question["code"]) for question in found["questions"]}
    assert {(2, "container_unlabelled"), (2, "verification_due")} <= asked


def test_units_are_loaded_only_when_they_are_needed() -> None:
    code = "import countersign.cli, countersign.chain, sys; sys.exit('pint' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def exported(tmp_path: Path, form: str) -> str:
    from countersign import export

    ledger = open_ledger(tmp_path / "ledger.sqlite3")
    name = open_case(ledger, read_kit(demo_kit_path()), "written words")
    for event in EVENTS:
        append_event(ledger, name, event)
    for line in (1, 3):
        append_decision(ledger, name, decide(line))
    history = read_case(ledger, name)
    ledger.close()
    record = build_record(history.kit, history.events, history.decisions)
    write = export.case_json if form == "json" else export.case_csv
    return write(history, record)


def test_json(tmp_path: Path) -> None:
    def no_floats(text: str) -> object:
        raise AssertionError(f"a binary fraction was written: {text}")

    found = json.loads(exported(tmp_path, "json"), parse_float=no_floats)["medications"]
    cup, syringe = found["on_the_field"]
    assert cup["status"] == syringe["status"] == "NOT CONFIRMED"
    assert cup["remaining"] == {"value": "195", "unit": "mg", "text": "195 mg"}
    assert cup["additive_remaining"]["unit"] == "ug"
    assert [each["status"] for each in found["draws"]] == ["CONFIRMED", "NOT CONFIRMED"]
    assert found["totals"][0]["confirmed_drawn"]["text"] == "100 mg"
    assert found["caution"] and found["doses_caution"]


def test_csv(tmp_path: Path) -> None:
    rows = list(csv.DictReader(io.StringIO(exported(tmp_path, "csv"))))
    assert [row["status"] for row in rows] == [
        *("CONFIRMED", "NOT CONFIRMED", "CONFIRMED", "NOT CONFIRMED"),
    ]
    assert [row["running_dose"] for row in rows] == ["", "", "100 mg", "105 mg"]
    assert [row["additive_dose"] for row in rows][2:] == ["50 micrograms", "2.5 micrograms"]
    assert [row["label"] for row in rows] == ["label complete", "label complete", "", ""]
    assert {row["medication_strength"] for row in rows} == {"1 %"}
