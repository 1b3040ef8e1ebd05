"""A map of columns: linted whole, applied exactly; and what is proposed of a file with odd names."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import polars as pl
import pytest
from cli.door import FOLDER, dosecheck

from dosecheck.batch.colmap import KNOWN, read_map
from dosecheck.batch.propose import Proposal, map_of, map_text, propose
from dosecheck.errors import FileError

RIGHT = """
[columns]
medicine = "Drug Name"
dose = { column = "Dose (mg)", unit = "mg" }
every = "Frequency"
weight = { column = "Weight_kg", unit = "kg" }
born = "DOB"

[codes.every]
"TDS" = "3 times a day"
"QDS" = "4 times a day"

[constants]
route = "oral"
"""
ORDERS = """Patient ID;Drug Name;Dose (mg);Frequency;Weight_kg;DOB;Ward
SM-1;Paracetamol;210;QDS;14.2;2023-05-04;A
SM-2;Ibuprofen;100;TDS;14.2;2023-05-04;B
SM-3;Ibuprofen;100;TDS;;2023-05-04;B
"""


@pytest.fixture
def place(tmp_path: Path) -> Path:
    (tmp_path / "map.toml").write_text(RIGHT, "utf-8")
    (tmp_path / "orders.csv").write_text(ORDERS, "utf-8")
    return tmp_path


def faults(tmp_path: Path, text: str) -> list[str]:
    (tmp_path / "bad.toml").write_text(text, "utf-8")
    with pytest.raises(FileError) as found:
        read_map(tmp_path / "bad.toml")
    return str(found.value).splitlines()


@pytest.mark.parametrize(
    ("text", "line", "why"),
    [
        ('[colums]\nmedicine = "x"', 1, 'Did you mean "columns"?'),
        ('columns = "medicine"', 1, "It is not a table."),
        ('[columns]\nwieght = "x"', 2, 'Did you mean "weight"?'),
        ("[columns]\nweight = 7", 2, "neither a column's name nor a table"),
        ('[columns]\nweight = { column = "x", units = "kg" }', 2, "neither a column's name nor a table"),
        ('[columns]\nweight = { column = "x", unit = "mg" }', 2, 'The unit "mg" does not fit'),
        ('[columns]\nmedicine = { column = "x", unit = "kg" }', 2, "It takes no unit."),
        ('[columns]\nroute = { column = "x", unit = "mg" }', 2, "It takes no unit."),
        ('[columns]\nchild_id = { column = "x", unit = "kg" }', 2, "It takes no unit."),
        ('[columns]\non = { column = "x", date = "DD.MM.YYYY" }', 2, 'No date is written "DD.MM.YYYY" here. Write one of dd.mm.yyyy, '),
        ('[columns]\nborn = { column = "x", date = "dd.mm.yy" }', 2, 'No date is written "dd.mm.yy" here.'),
        ('[columns]\nborn = { column = "x", date = true }', 2, "each a text"),
        ('[columns]\nweight = { column = "x", date = "dd.mm.yyyy" }', 2, "It takes no date; these do: born, "),
        ('[columns]\nweight = { column = "x", decimal = "." }', 2, "a point needs no key"),
        ('[columns]\nweight = { column = "x", decimal = "" }', 2, 'Write decimal = ","'),
        ('[columns]\nage = { column = "x", decimal = "," }', 2, "It takes no decimal; these do: weight, dose, "),
        ('[columns]\ntimes_a_day = { column = "x", decimal = "," }', 2, "It takes no decimal"),
        ('[columns]\nweight = "x"\nage = "x"', 3, '"x" is "weight" already'),
        ('[codes.rout]\nPO = "oral"', 1, 'Did you mean "route"?'),
        ('[codes]\nroute = "oral"', 2, "It is not a table."),
        ("[codes.route]\nPO = 7", 2, "It is no text."),
        ('[codes.every]\nTDS = "3 times a dayy"', 2, '"3 times a dayy" cannot be read as every'),
        ('[codes.weight_is]\nM = "weighed"', 2, "none of measured, stated, estimated"),
        ('[constants]\nroute = "oral"\nstep = "last"', 3, "none of first, repeat"),
        ('[constants]\nward = "A"', 2, "dosecheck reads no column of this name"),
        ('[columns]\nroute = "x"\n[constants]\nroute = "oral"', 4, "fills it from a column too"),
    ],
)
def test_each_fault_with_its_line(tmp_path: Path, text: str, line: int, why: str) -> None:
    """B049, H24: a slip in the map is refused before a row is read, where it stands."""
    said = faults(tmp_path, text)
    assert any(f"line {line}, " in each and why in each for each in said), said


def test_all_faults_at_once(tmp_path: Path) -> None:
    text = '[columns]\nwieght = "x"\ndose = { column = "d", unit = "kg" }\n[codes.every]\nTDS = "often"\n[constants]\nsex = "boy"\n[more]\n'
    assert len(faults(tmp_path, text)) == 1 + 5


def test_no_map_and_no_toml(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="cannot be read"):
        read_map(tmp_path / "nosuch.toml")
    assert "well-formed TOML" in faults(tmp_path, "[columns")[0]


def test_units_codes_and_constants_are_applied(place: Path) -> None:
    rows = pl.DataFrame(
        {"Drug Name": ["Paracetamol"], "Dose (mg)": ["210"], "Frequency": ["QDS"], "Weight_kg": [None], "DOB": ["2023-05-04"]}
    )
    mapping = read_map(place / "map.toml")
    assert mapping.apply(rows.cast(pl.String)).to_dicts() == [
        {"medicine": "Paracetamol", "dose": "210 mg", "every": "4 times a day", "weight": None, "born": "2023-05-04", "route": "oral"}
    ]


@pytest.mark.parametrize(
    ("names", "why"),
    [
        (["Drug Name", "Dose (mg)", "Frequency", "DOB"], 'names the column "Weight_kg"'),
        (["Drug Name", "Dose (mg)", "Frequency", "DOB", "Weight_kg", "dose"], 'a column "dose" of its own'),
        (["Drug Name", "Dose (mg)", "Frequency", "DOB", "Weight_kg", "route"], 'a column "route" of its own'),
    ],
)
def test_a_map_that_does_not_fit_the_file(place: Path, names: list[str], why: str) -> None:
    with pytest.raises(FileError, match=why):
        read_map(place / "map.toml").mapped_names(names, "orders.csv")


def test_codes_of_a_field_that_never_comes(place: Path) -> None:
    (place / "map.toml").write_text('[codes.route]\nPO = "oral"\n', "utf-8")
    with pytest.raises(FileError, match='codes for "route"'):
        read_map(place / "map.toml").mapped_names(["medicine", "dose"], "orders.csv")


def test_a_file_by_its_map(place: Path) -> None:
    """The whole way: semicolons, units in headers, codes, a constant; a blank weight gets no unit."""
    said = dosecheck(
        "batch",
        str(place / "orders.csv"),
        "--out",
        str(place / "out.csv"),
        "--delimiter",
        "semicolon",
        "--columns",
        str(place / "map.toml"),
        "--formulary",
        str(FOLDER),
    )
    assert said.status == 0, said.err
    results = pl.read_csv(place / "out.csv", infer_schema=False)
    assert results["outcome"].to_list()[2] == "not-checked" and "weight" in results["sentence"].to_list()[2]
    assert results["one_dose"].to_list()[:2] == ["210 mg", "100 mg"]


def test_what_is_proposed() -> None:
    """Names of common exports; a unit in the header is proposed with a question; two that could be one field are left to decide."""
    guesses = propose(
        ["PatientID", "drug_name", "Dose_mg", "dose_value", "WEIGHT (KG)", "dob", "Ward", "weight_date", "Age_months", "Admin time"]
    )
    assert {guess.field: guess.columns for guess in guesses} == {
        "child_id": (("PatientID", ""),),
        "medicine": (("drug_name", ""),),
        "dose": (("Dose_mg", "mg"), ("dose_value", "")),
        "weight": (("WEIGHT (KG)", "kg"),),
        "born": (("dob", ""),),
        "weighed": (("weight_date", ""),),
        "age": (("Age_months", "months"),),
        "given_at": (("Admin time", ""),),
    }
    assert "dose" not in map_of(guesses).columns and map_of(guesses).columns["weight"] == ("WEIGHT (KG)", "kg")
    text = map_text(Proposal(tuple(guesses)))
    assert text.count("# decide: dose") == 2 and tomllib.loads(text)["columns"]["weight"] == {"column": "WEIGHT (KG)", "unit": "kg"}


def test_our_own_names_need_no_map() -> None:
    assert propose(list(KNOWN)) == []


@pytest.mark.parametrize("name", ['weight "kg"', "weight\u202ekg", "Weight\tkg", "dose\\mg", "weight\nkg"])
def test_odd_headers_make_a_map_that_can_be_read(name: str) -> None:
    text = map_text(Proposal(tuple(propose([name]))))
    ((told),) = tomllib.loads(text)["columns"].values()
    assert told["column"] == name


def test_the_command(place: Path) -> None:
    """It shows the proposal and what was understood; the proposal written is a map that reads."""
    words = ["batch", "columns", str(place / "orders.csv"), "--delimiter", "semicolon", "--formulary", str(FOLDER)]
    said = dosecheck(*words, "--out", str(place / "proposed.toml"))
    assert (
        said.status == 1 and '"QDS": NOT READ' in said.out and '"14.2 kg": 14.2 kg' in said.out and '"Paracetamol": paracetamol' in said.out
    )
    assert max(map(len, said.out.splitlines())) < 90 and "Check" in said.out
    assert read_map(place / "proposed.toml").columns["weight"] == ("Weight_kg", "kg")
    by_map = dosecheck(*words, "--columns", str(place / "map.toml"), "--json")
    told = json.loads(by_map.out)
    assert by_map.status == 0 and told["proposed"] == [] and {c["field"]: c["blank"] for c in told["seen"]}["weight"] == 1


def test_nothing_known(tmp_path: Path) -> None:
    (tmp_path / "odd.csv").write_text("a,b\n1,2\n", "utf-8")
    said = dosecheck("batch", "columns", str(tmp_path / "odd.csv"), "--formulary", str(FOLDER))
    assert said.status == 1 and "No column is known: write a map" in said.out
    assert "No file can be checked without medicine and dose" in said.out


ODD = """Auftrag;Pat.-Nr.;Geb.-Datum;Gew (kg);Wirkstoff / drug;Weg;Dosis;Indikation (for);Freq.;Erstellt;Anmerkung
A1;SM-1;2023-05-04;14.2;Paracetamol;PO;210 mg;pain;QDS;2026-05-04;x1
A2;SM-2;2022-05-04;15.2;Ibuprofen;PR;0.1 g;fever;Q6H;2026-05-05;x2
A3;SM-3;2021-05-04;16.2;Nixilon;PO;15 mg/kg;;n/a;2026-05-06;x3
"""


def test_odd_names_are_known_by_what_is_in_the_columns(tmp_path: Path) -> None:
    """The contents tell medicine, dose and weight; dates are left to decide, codes are listed to be filled in, the rest is named."""
    (tmp_path / "odd.csv").write_text(ODD + "".join(f"B{n};SM-{n + 9};2020-05-04;20;;PO;;;;;y{n}\n" for n in range(20)), "utf-8")
    words = ["batch", "columns", str(tmp_path / "odd.csv"), "--delimiter", "semicolon", "--formulary", str(FOLDER)]
    said = dosecheck(*words, "--out", str(tmp_path / "map.toml"))
    text = (tmp_path / "map.toml").read_text("utf-8")
    assert said.status == 1 and "".join(said.out.split()).count("".join(text.splitlines()[2].split())) == 1
    assert tomllib.loads(text)["columns"] == {
        "child_id": "Pat.-Nr.",
        "medicine": "Wirkstoff / drug",
        "dose": "Dosis",
        "for": "Indikation (for)",
        "every": "Freq.",
        "weight": {"column": "Gew (kg)", "unit": "kg"},
    }
    assert '# decide: born, weighed or on = "Geb.-Datum"' in text and '# decide: born, weighed or on = "Erstellt"' in text
    assert '# not known, carried through: "Weg", with "PO", "PR"\n' in text and '"Anmerkung"\n' in text
    assert '# [codes.every]\n# "QDS" = "(what it means)"\n# "Q6H" = "(what it means)"\n' in text and '# "Nixilon" = ' in text
    filled = text.replace("# [", "[").replace('# "', '"')
    (tmp_path / "filled.toml").write_text(filled, "utf-8")
    with pytest.raises(FileError, match="cannot be read as every"):
        read_map(tmp_path / "filled.toml")


def test_a_text_that_is_not_read_is_shown_however_late_it_comes(tmp_path: Path) -> None:
    rows = [*(f"paracetamol,{n} mg,oral" for n in range(1, 5000)), "paracetamol,often,po", *["paracetamol,5 mg,n/a"] * 2]
    (tmp_path / "late.csv").write_text("medicine,dose,route\n" + "\n".join(rows) + "\n", "utf-8")
    said = dosecheck("batch", "columns", str(tmp_path / "late.csv"), "--formulary", str(FOLDER))
    assert said.status == 1 and '"po": NOT READ' in said.out and '"often": NOT READ' in said.out and "2 rows tell nothing" in said.out
    assert "How the first 5,002 rows are understood" in said.out


@pytest.mark.parametrize("column", ["1234", "2026-05-04", "SM-0001", "a word of the ward", "14.2"])
def test_what_could_be_anything_is_proposed_as_nothing(tmp_path: Path, column: str) -> None:
    (tmp_path / "odd.csv").write_text(f"medicine,dose,Spalte 7\nparacetamol,5 mg,{column}\n", "utf-8")
    said = dosecheck("batch", "columns", str(tmp_path / "odd.csv"), "--formulary", str(FOLDER), "--json")
    told = json.loads(said.out)
    assert told["proposed"] == [] and [*told["not_known"], *told["dates_to_decide"]] == ["Spalte 7"]


def test_a_map_of_json_lines(tmp_path: Path) -> None:
    """Its lines may leave out what is not given, also a column that the map reads; what is misspelt is refused all the same."""
    (tmp_path / "map.toml").write_text(
        '[columns]\nmedicine = "drug"\nweight = { column = "kilos", unit = "kg" }\n[constants]\nroute = "oral"\n'
    )
    order = {"drug": "paracetamol", "for": "pain", "dose": "210 mg", "every": "6 hours", "age": "3 years"}
    lines = [order, {**order, "kilos": "14.2"}, {**order, "kilos": "14.2", "dose": "2100 mg", "child_id": "SM-1"}]
    orders, out = tmp_path / "orders.jsonl", tmp_path / "results.csv"
    call = ["batch", str(orders), "--out", str(out), "--columns", str(tmp_path / "map.toml"), "--formulary", str(FOLDER)]
    orders.write_text("\n".join(map(json.dumps, lines)), "utf-8")
    assert dosecheck(*call).status == 0
    assert pl.read_csv(out)["outcome"].to_list() == ["not-checked", "within", "stop"]
    orders.write_text("\n".join(map(json.dumps, lines)).replace("kilos", "kilo"), "utf-8")
    assert 'The map names the column "kilos", which is not in the file' in dosecheck(*call).err
    orders.write_text("\n".join(map(json.dumps, lines)).replace("age", "agee"), "utf-8")
    assert 'The column "agee" looks like "age"' in dosecheck(*call).err


@pytest.mark.parametrize(
    ("name", "field"),
    [("Gew (kg)", "weight"), ("Gewicht_kg", "weight"), ("Poids [kg]", "weight"), ("Länge cm", "height"), ("KG", "weight")]
    + [
        (name, "")
        for name in ("Dosis (mg/kg)", "Dosis mg per kg", "Menge mmol / kg", "Menge_mg_kg", "ug/kg", "Dosis µg/kg", "Folge pro kg")
    ],
)
def test_a_unit_in_a_header_is_a_weight_only_where_it_stands_alone(tmp_path: Path, name: str, field: str) -> None:
    """A dose by weight under a name nobody knows must never be proposed as the weight."""
    (tmp_path / "odd.csv").write_text(f"medicine,dose,{name}\nparacetamol,5 mg,15\nparacetamol,5 mg,14.5\n", "utf-8")
    told = json.loads(dosecheck("batch", "columns", str(tmp_path / "odd.csv"), "--formulary", str(FOLDER), "--json").out)
    assert [guess["field"] for guess in told["proposed"]] == [field] * bool(field)
