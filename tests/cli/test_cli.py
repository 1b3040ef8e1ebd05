"""The command line's fixed names: options, exit statuses, the shape of the JSON; and what stays true around them."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import click
import pytest
from cli.door import BASE, FOLDER, REPO, dosecheck, flat, options, order, spawn
from hypothesis import given
from relations.kit import orders, runs

from dosecheck.cli import _COMMANDS, cli
from dosecheck.rules.codes import CATALOGUE
from dosecheck.sums.listing import SUMS, find

REFUSED = 2
STATUSES = [
    ({}, 0, "within"),
    ({"dose": "230 mg"}, 1, "query"),
    ({"dose": "2 g"}, 3, "stop"),
    ({"weight": None}, 4, "not-checked"),
    ({"dose": "15"}, 2, ""),
]


@pytest.mark.parametrize(("changes", "status", "outcome"), STATUSES)
def test_exit_statuses(changes: dict, status: int, outcome: str) -> None:
    """0 within, 1 query, 3 stop, 4 not-checked, 2 bad input; text and JSON alike."""
    said, told = order(**changes), order("--json", **changes)
    assert said.status == told.status == status
    answer = json.loads(told.out)
    assert answer.get("outcome", "") == outcome and ("errors" in answer) == (status == 2)
    assert not outcome or said.out.startswith(outcome.upper().replace("-", " "))


OPTIONS = {
    "order": "--medicine --route --for --step --condition --dose --every --times-a-day --at-most --over --made-up-to --course --product --once --as-needed "
    "--given --none-given --now --weight --weighed --weight-is --age --born --on --gestation --height --sex --creatinine --as-of --formulary --json --help",
    "dose": "--medicine --route --for --step --condition --every --times-a-day --at-most --over --made-up-to --course --product --once --as-needed "
    "--given --none-given --now --weight --weighed --weight-is --age --born --on --gestation --height --sex --creatinine --as-of --formulary --json --help",
    "chart": "--now --svg --as-of --formulary --json --help",
    "child": "--weight --weighed --weight-is --age --born --on --gestation --height --sex --creatinine --formulary --json --help",
    "sheet": "--child --weight --weighed --weight-is --age --born --on --gestation --height --sex --creatinine --out --formulary --json --help",
    "batch check": "--out --columns --delimiter --form --sheet --query --spark --fail-on --refused --resume --ledger --as-of --formulary --json --help",
    "batch charts": "--out --spark --zone --columns --delimiter --form --sheet --query --fail-on --as-of --formulary --json --help",
    "batch columns": "--columns --out --delimiter --form --sheet --query --formulary --json --help",
    "batch report": "--out --before --columns --by --first --charts --on --formulary --json --help",
    "batch verify": "--orders --json --help",
    "formulary lint": "--json --help",
    "formulary show": "--formulary --json --help",
    "formulary copy": "--help",
    "formulary new": "--formulary --json --help",
    "formulary schema": "--help",
    "formulary fmt": "--check --json --help",
    "formulary advice": "--json --help",
    "formulary prove": "--medicine --json --help",
    "formulary stress": "--medicine --orders --seed --svg --png --json --help",
    "formulary diff": "--out --json --help",
    "formulary replay": "--out --columns --json --help",
    "formulary approve": "--by --only --on --yes --formulary --json --help",
    "formulary approvals": "--formulary --json --help",
    "formulary to-sheet": "--out --json --help",
    "formulary from-sheet": "--into --check --remove --force --json --help",
    "formulary book": "--out --medicine --on --json --help",
    "drill kinds": "--json --help",
    "drill practise": "--kind --level --questions --seed --overlook --learner --record --own --formulary --json --help",
    "drill record": "--learner --record --export --svg --png --delete --yes --json --help",
    "drill class": "--paper --seed --out --formulary --json --help",
    "drill paper": "--out --key --version --learners --seed --formulary --json --help",
    "drill question": "--level --seed --hints --own --formulary --json --help",
    "drill mark": "--answer --overlook --own --formulary --json --help",
    "serve": "--host --port --name --journal --certificate --key --formulary --help",
    "journal verify": "--head --json --help",
    "journal head": "--help",
    "journal export": "--out --help",
    "journal remove": "--older-than --yes --help",
    "codes": "--json --help",
    "demo": "--formulary --help",
}
for sum_name in SUMS:  # a sum's options are its fields
    asked = find(sum_name)
    flags = [f"--{field.name.replace('_', '-')}" for field in asked.fields] + ["--formulary"] * asked.by_formulary
    OPTIONS[f"sum {sum_name}"] = " ".join([*flags, "--json", "--help"])


def commands(group: click.Group = cli, path: str = "") -> dict[str, click.Command]:
    found: dict[str, click.Command] = {}
    for name in group.list_commands(None):
        command = group.get_command(None, name)
        found |= commands(command, f"{path}{name} ") if isinstance(command, click.Group) else {f"{path}{name}": command}
    return found


def test_option_names_are_fixed() -> None:
    """Scripts rely on these names; a new one is added here as well."""
    for name, command in commands().items():
        context = click.Context(command, info_name=name, help_option_names=["--help"])
        flags = [flag for parameter in command.get_params(context) for flag in parameter.opts if flag.startswith("--")]
        assert sorted(flags) == sorted(OPTIONS[name].split()), name
    assert set(commands()) == set(OPTIONS)


@pytest.mark.parametrize("name", ["", *OPTIONS, "formulary", "sum"])
def test_every_command_has_help(name: str) -> None:
    """In words, within 80 columns; every option says what it is."""
    said = dosecheck(*name.split(), "--help")
    assert said.status == 0 and said.err == "" and "Usage:" in said.out
    assert max(map(len, said.out.splitlines())) <= 80
    for command in commands().values():
        assert command.help and all(parameter.help for parameter in command.params if isinstance(parameter, click.Option))


def test_the_list_of_commands() -> None:
    """Each has a line in the first help, and exists."""
    said = dosecheck("--help")
    assert all(name in said.out and text in said.out for name, text in _COMMANDS.items())
    assert dosecheck("nosuch").status == REFUSED
    assert dosecheck("--version").out.startswith("dosecheck ")


def test_every_finding_code_has_a_meaning() -> None:
    """`dosecheck codes` explains each, and one by name; an unknown one is refused."""
    said = json.loads(dosecheck("codes", "--json").out)
    assert set(said) == set(CATALOGUE) and all(len(meaning) > 20 and meaning.endswith((".", "?")) for meaning in said.values())
    assert all(entry.sentence and entry.brief for entry in CATALOGUE.values())
    assert "spread evenly" in flat(dosecheck("codes", "gap-too-short").out)
    assert dosecheck("codes", "nosuch").status == REFUSED
    assert max(map(len, dosecheck("codes").out.splitlines())) <= 80


ANSWER = {
    "outcome",
    "headline",
    "findings",
    "working",
    "one_dose",
    "limits",
    "not_checked",
    "to_observe",
    "ask_first",
    "slips",
    "understood",
    "suggestion",
    "next_dose",
    "next_dose_withheld",
    "counts",
    "formulary",
    "caution",
}


@pytest.mark.parametrize(
    "changes", [{}, {"dose": "2 g"}, {"weight": None}, {"medicine": "nosuch"}, {"dose": "5 mL", "product": "oral-liquid-120-in-5"}], ids=str
)
def test_the_shape_of_the_json(changes: dict) -> None:
    """The same keys in every answer, and amounts as text with their unit."""
    answer = json.loads(order("--json", **changes).out)
    assert set(answer) == ANSWER
    for finding in answer["findings"]:
        assert set(finding) == {"code", "outcome", "message", "value", "limit", "regimen", "source"} and finding["code"] in CATALOGUE
        assert finding["outcome"] in ("query", "stop", "not-checked", "note") and all(isinstance(text, str) for text in finding.values())
    assert {"name", "status", "fingerprint"} <= set(answer["formulary"]) and len(answer["formulary"]["fingerprint"]) == 16
    assert all(isinstance(line, str) for name in ("working", "not_checked", "to_observe", "ask_first", "slips") for line in answer[name])
    assert answer["suggestion"] is None or set(answer["suggestion"]) == {"product", "dose", "measured", "working", "note"}
    for limit in answer["limits"]:
        assert set(limit) == {"name", "limit", "comes_to", "state", "binding", "regimen", "source"} and limit["state"] in (
            "met",
            "broken",
            "not-checked",
            "to observe",
        )
    assert set(answer["counts"]) == {"due", "met", "broken", "not-checked"} and "prescriber" in answer["caution"]


def test_the_json_holds_no_number_but_counts() -> None:
    """No dose, weight or limit is ever a JSON number, which another program would read as a float."""

    def floats(value: object) -> bool:
        if isinstance(value, dict):
            return any(floats(inner) for key, inner in value.items() if key != "counts")
        return any(map(floats, value)) if isinstance(value, list) else isinstance(value, (int, float)) and not isinstance(value, bool)

    assert not floats(json.loads(order("--json", dose="2 g", product="oral-liquid-120-in-5").out))


@runs(250)
@given(orders())
def test_answers_fit_80_columns(texts: dict) -> None:
    """Whatever the answer: no line is longer than 80 columns, and the outcome stands in the first words."""
    said = dosecheck(
        "order", "--formulary", str(FOLDER), *options({**texts, **{flag: True for flag in ("once", "as_needed") if flag in texts}})
    )
    lines = said.out.splitlines()
    assert max(map(len, lines)) <= 80, max(lines, key=len)
    assert lines[0].split(":")[0].split(" the")[0] in ("WITHIN", "QUERY", "STOP", "NOT CHECKED")


def test_dose_shows_figures_and_its_statuses() -> None:
    """0 with figures, 4 where nothing fits, 2 for bad input; within 80 columns; no order is judged."""
    child = ("--weight", "14.2 kg", "--age", "3 years", "--formulary", str(FOLDER))
    said = dosecheck("dose", "--medicine", "paracetamol", "--route", "oral", *child)
    assert said.status == 0 and "213 mg" in said.out and max(map(len, said.out.splitlines())) <= 80
    assert "No order was checked" in flat(said.out)
    told = json.loads(dosecheck("dose", "--medicine", "paracetamol", "--route", "oral", "--json", *child).out)
    assert told["figures"][0]["high"] == "213 mg" and set(told) == {"medicine", "figures", "findings", "understood", "formulary", "caution"}
    assert dosecheck("dose", "--medicine", "paracetamol", "--route", "topical", *child).status == 4
    assert dosecheck("dose", "--medicine", "nosuch", *child).status == 4
    assert dosecheck("dose", "--medicine", "paracetamol", "--weight", "12", "--formulary", str(FOLDER)).status == REFUSED


def test_demo_runs() -> None:
    """A newcomer's first look ends well, within 80 columns but for the command that it shows."""
    said = dosecheck("demo", "--formulary", str(FOLDER))
    assert said.status == 0 and "invented" in said.out and "STOP" in said.out
    assert max(len(line) for line in said.out.splitlines() if not line.startswith("$")) <= 80


# ---- formularies ----


def test_formulary_lint_show_copy(tmp_path: Path) -> None:
    """A copy lints without a fault and has the same fingerprint; a fault is told with file, entry, key and what to write."""
    mine = tmp_path / "mine"
    assert dosecheck("formulary", "copy", str(mine)).status == 0
    assert dosecheck("formulary", "copy", str(mine)).status == REFUSED
    assert dosecheck("formulary", "lint", str(mine)).status == 0
    same = [
        json.loads(dosecheck("formulary", "show", "paracetamol", "--json", "--formulary", str(folder)).out)["formulary"]["fingerprint"]
        for folder in (mine, FOLDER)
    ]
    assert same[0] == same[1]
    file = mine / "medicines" / "ibuprofen.toml"
    file.write_text(file.read_text("utf-8").replace("max_single", "max_sinlge", 1), "utf-8")
    said = dosecheck("formulary", "lint", str(mine))
    assert said.status == REFUSED and "medicines/ibuprofen.toml" in said.out and "max_sinlge" in said.out and "max_single" in said.out
    (fault, *_) = json.loads(dosecheck("formulary", "lint", "--json", str(mine)).out)["faults"]
    assert (
        set(fault) == {"file", "entry", "key", "why", "write", "line", "column"}
        and fault["line"] > 1
        and fault["file"] == "medicines/ibuprofen.toml"
    )
    assert dosecheck("formulary", "lint", str(tmp_path / "nosuch")).status == REFUSED


def test_formulary_show() -> None:
    """Products, regimens and sources; an unknown name is refused with the near one as a question."""
    said = dosecheck("formulary", "show", "paracetamol", "--formulary", str(FOLDER))
    assert said.status == 0 and all(
        word in said.out for word in ("Products", "Regimens", "oral-pain-child", "in force from", "fingerprint")
    )
    assert dosecheck("formulary", "show", "acetaminophen", "--formulary", str(FOLDER)).out == said.out
    near = dosecheck("formulary", "show", "paracetmol", "--formulary", str(FOLDER))
    assert near.status == REFUSED and "Did you mean paracetamol" in near.err


def test_which_formulary_is_used(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Option, then DOSECHECK_FORMULARY, then ./formulary, then the one inside; each answer says which; none falls back."""
    dosecheck("formulary", "copy", str(tmp_path / "mine"))
    (tmp_path / "work").mkdir()
    dosecheck("formulary", "copy", str(tmp_path / "work" / "formulary"))
    monkeypatch.chdir(tmp_path / "work")
    found = []
    for option, env in ((str(tmp_path / "mine"), "nosuch"), (None, str(tmp_path / "mine")), (None, None)):
        monkeypatch.setenv("DOSECHECK_FORMULARY", env) if env else monkeypatch.delenv("DOSECHECK_FORMULARY")
        found.append(json.loads(dosecheck("order", "--json", *options({**BASE, "formulary": option})).out)["formulary"])
    assert [f["found"] for f in found] == ["named by option", "named by DOSECHECK_FORMULARY", "found in this folder"]
    monkeypatch.chdir(tmp_path)
    assert json.loads(dosecheck("order", "--json", *options(BASE)).out)["formulary"]["found"] == "the example inside dosecheck"
    monkeypatch.setenv("DOSECHECK_FORMULARY", str(tmp_path / "nosuch"))
    said = dosecheck("order", *options(BASE))
    assert said.status == REFUSED and "nosuch" in said.err and said.out == ""


@pytest.mark.parametrize(
    "env",
    [
        {"HOME": "/nonexistent", "XDG_CACHE_HOME": ""},
        {"XDG_CACHE_HOME": "/dev/null/cache"},
        {"XDG_CACHE_HOME": "/proc/nosuch"},
        {"HOME": "/dev/null", "XDG_CACHE_HOME": ""},
    ],
)
def test_without_a_writable_cache(env: dict[str, str]) -> None:
    """All still works, only more slowly, and nothing is said about it."""
    said = spawn("order", "--json", "--formulary", str(FOLDER), *options(BASE), **env)
    assert (said.status, said.err) == (0, "") and said.out == order("--json").out


def test_a_damaged_cache(tmp_path: Path) -> None:
    """A stamp that is no stamp, or names files that are not there, is not trusted."""
    cache = tmp_path / "dosecheck"
    assert spawn("order", *options(BASE), XDG_CACHE_HOME=str(tmp_path)).status == 0
    (stamp,) = cache.iterdir()
    right = json.loads(stamp.read_text("utf-8"))
    for content in (
        json.dumps({**right, "paracetamol": "medicines/ibuprofen.toml"}),
        "",
        "[]",
        "{",
        '{"paracetamol": "medicines/nosuch.toml"}',
        '{"paracetamol": 3}',
        '{"paracetamol": ["x"]}',
        "{}",
        '{"paracetamol": "policy.toml"}',
        '{"paracetamol": "medicines/ibuprofen.toml"}',
    ):
        stamp.write_text(content, "utf-8")
        said = spawn("order", "--json", *options(BASE), XDG_CACHE_HOME=str(tmp_path))
        assert (said.status, said.err) == (0, "") and json.loads(said.out)["understood"]["medicine"] == "paracetamol", content


# ---- files of orders ----

ROWS = "order_id,medicine,route,for,dose,every,weight,age\n" + "".join(
    f"{n},paracetamol,oral,pain,{dose} mg,6 hours,14.2 kg,3 years\n" for n, dose in enumerate((210, 230, 2000, 100))
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "orders.csv").write_text(ROWS, "utf-8")
    return tmp_path


def batch(folder: Path, *more: str, orders: str = "orders.csv", out: str = "out.csv"):
    return dosecheck("batch", str(folder / orders), "--out", str(folder / out), "--formulary", str(FOLDER), *more)


@pytest.mark.parametrize(
    ("fail_on", "status"),
    [((), 0), (("stop",), 1), (("not-checked",), 0), (("not-checked", "query"), 1), (("within",), 1), (("never",), 2)],
)
def test_fail_on(folder: Path, fail_on: tuple[str, ...], status: int) -> None:
    """Exit 1 when a named outcome comes up; the result is written all the same."""
    said = batch(folder, *(part for name in fail_on for part in ("--fail-on", name)))
    assert said.status == status and (folder / "out.csv").exists() == (status != 2)


def test_batch_json_and_no_rows(folder: Path) -> None:
    """The summary as JSON; a file without rows is no all-clear, nor is one with a row that cannot be read."""
    told = json.loads(batch(folder, "--json").out)
    assert (
        told["rows"] == 4 and told["outcomes"] == {"within": 1, "query": 2, "stop": 1, "not-checked": 0} and len(told["fingerprint"]) == 16
    )
    (folder / "orders.csv").write_text(ROWS.splitlines()[0] + "\n", "utf-8")
    said = batch(folder)
    assert said.status == REFUSED and "0 orders checked" in said.out and "not an all-clear" in said.out
    (folder / "orders.csv").write_text("", "utf-8")
    assert batch(folder).status == REFUSED


@pytest.mark.parametrize(
    ("orders", "out"),
    [
        ("nosuch.csv", "out.csv"),
        ("orders.csv", "nosuch/out.csv"),
        ("orders.csv", "orders.csv"),
        ("orders.csv", "out.xls"),
        ("orders.txt", "out.csv"),
    ],
)
def test_batch_bad_places(folder: Path, orders: str, out: str) -> None:
    """A plain message that names the file; nothing written, nothing lost."""
    said = batch(folder, orders=orders, out=out)
    assert said.status == REFUSED and said.err and "Traceback" not in said.err
    assert (folder / "orders.csv").read_text("utf-8") == ROWS and sorted(p.name for p in folder.iterdir()) == ["orders.csv"]


def test_batch_missing_options(folder: Path) -> None:
    """--out is needed, and each option may be given once."""
    assert dosecheck("batch", str(folder / "orders.csv")).status == REFUSED
    said = batch(folder, "--out", str(folder / "other.csv"))
    assert said.status == REFUSED and "--out is given twice" in said.err and not (folder / "other.csv").exists()


@pytest.mark.parametrize("earlier", [None, "an earlier result\n"])
def test_b104_interrupted_between_two_chunks(folder: Path, earlier: str | None, monkeypatch: pytest.MonkeyPatch) -> None:
    """B104: Ctrl-C in the middle of a file leaves no result, and an earlier one as it was; what was done is kept apart."""
    if earlier:
        (folder / "out.csv").write_text(earlier, "utf-8")

    def stop(self: object, rows: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("dosecheck.cli.batch.check._Progress.show", stop)
    said = batch(folder)
    assert said.status == 130 and "Stopped" in said.err and said.out.strip() == ""
    assert sorted(p.name for p in folder.iterdir()) == (
        ["orders.csv", "out.csv", "out.csv.unfinished"] if earlier else ["orders.csv", "out.csv.unfinished"]
    )
    assert not earlier or (folder / "out.csv").read_text("utf-8") == earlier


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs a named pipe")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_b104_stopped_while_it_reads(folder: Path, number: int) -> None:
    """B104: a run that is stopped while more rows are to come leaves no result and does not say that all is well."""
    os.mkfifo(folder / "slow.csv")
    args = [
        sys.executable,
        "-m",
        "dosecheck",
        "batch",
        str(folder / "slow.csv"),
        "--out",
        str(folder / "out.csv"),
        "--formulary",
        str(FOLDER),
    ]
    process = subprocess.Popen(args, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=REPO)
    with open(folder / "slow.csv", "w", encoding="utf-8") as pipe:
        pipe.write(ROWS)
        pipe.flush()
        time.sleep(1)
        process.send_signal(number)
        time.sleep(0.2)  # Ctrl-C is answered when the read that is under way comes back
    output, error = process.communicate(timeout=60)
    assert process.returncode not in (0, 1) and b"Traceback" not in error and b"within" not in output
    assert sorted(p.name for p in folder.iterdir()) == ["orders.csv", "slow.csv"]
