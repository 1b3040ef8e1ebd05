"""fmt: keys in order and aligned; no comment lost, no value changed, a second time nothing; the old file whole whenever it is killed."""

from __future__ import annotations

import json
import os
import random
import re
import signal
import subprocess
import sys
import time
import tomllib
from collections import Counter
from pathlib import Path

import pytest
from cli.door import FOLDER, dosecheck
from formulary.lint_folder import folder
from hypothesis import given
from hypothesis import strategies as st

from dosecheck.errors import DosecheckError, FormularyError
from dosecheck.formulary.models import Regimen
from dosecheck.saving import save
from dosecheck.workshop import tidy
from dosecheck.workshop.tidy import name_of, tidied

REFUSED = 2
ROOT = Path(__file__).parents[2]
SHIPPED = sorted(FOLDER.rglob("*.toml"))
KEYS = [field.alias or name for name, field in Regimen.model_fields.items()]

BEFORE = """\
# About exampol.
status = "draft"   # not yet
id = "exampol"
aliases = ["b", "a"]
name   = "exampol" # the name

# a line of its own

[[regimen]] # the first
source = { place = "p", id = "s" }
# four hours apart
# in every source
min_gap      = "4 hours"       # printed
"route" = 'oral'
id = "oral-child"
note = \"\"\"
# no comment
id = "x"
\"\"\"   # behind
unknown = 1
# at the end

dose = "15 mg/kg"
age = { below = "1 year" }
[regimen.max_daily]
none = "r"
"""
AFTER = """\
id      = "exampol"
name    = "exampol"  # the name
aliases = ["b", "a"]
# About exampol.
status  = "draft"  # not yet

# a line of its own

[[regimen]] # the first
id      = "oral-child"
"route" = 'oral'
# four hours apart
# in every source
min_gap = "4 hours"            # printed
note    = \"\"\"
# no comment
id = "x"
\"\"\"   # behind
source  = { place = "p", id = "s" }
unknown = 1
# at the end

age  = { below = "1 year" }
dose = "15 mg/kg"
[regimen.max_daily]
none = "r"
"""


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_a_file_by_hand(end: str, mark: str) -> None:
    """Line ends and the mark of byte order stay as they were."""
    before, after = ((mark + text.replace("\n", end)).encode() for text in (BEFORE, AFTER))
    assert tidied("medicines/exampol.toml", before) == after
    assert tidied("medicines/exampol.toml", after) == after


def test_a_comment_that_no_longer_fits_keeps_its_distance() -> None:
    before = b'aliases = ["a"]\nid = "exampol" # c\n'
    assert tidied("medicines/exampol.toml", before) == b'id      = "exampol"  # c\naliases = ["a"]\n'


def test_the_last_line_gets_its_end() -> None:
    assert tidied("medicines/x.toml", b'name = "x"\nid = "x"') == b'id   = "x"\nname = "x"\n'
    assert tidied("medicines/x.toml", b"") == b""


def comments(text: str) -> Counter[str]:
    return Counter(re.findall(r"#.*", text.replace('"a # b"', "")))


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_shipped_files_are_in_order(path: Path) -> None:
    """Shuffled within their paragraphs they come back to the same."""
    content = path.read_bytes()
    assert tidied(name_of(str(path)), content) == content, "run: dosecheck formulary fmt formulary"
    rows = re.split(r"(?m)^(?=\[\[|\n)", content.decode())
    shuffled = "".join(_shuffled(row) for row in rows)
    assert tidied(name_of(str(path)), shuffled.encode()) == content


def _shuffled(row: str) -> str:
    """The keys of a paragraph of plain lines, in another order and not aligned."""
    head, *lines = row.splitlines(keepends=True)
    if not head.startswith("[[regimen]]") or not all(re.match(r"[a-z_]+ += [^\n#]*\n", line) for line in lines):
        return row
    random.Random(row).shuffle(lines)
    return head + "".join(re.sub(r"^([a-z_]+) +=", r"\1 =", line) for line in lines)


LINE = st.one_of(
    st.sampled_from(["", "# c", "   # d", "[[regimen]]", "[[regimen.band]]  # e", "[regimen.max_daily]", "[odd.table]"]),
    st.builds(
        "{}{}{}{}".format,
        st.sampled_from([*KEYS, "none", '"quoted key"', "source.id", "odd"]),
        st.sampled_from([" = ", "=", "    =\t"]),
        st.sampled_from(
            ['"a # b"', "[1,\n\n  2, # in a list\n]", '"""\nid = 1\n\n"""', "{ low = '1', high = \"2\" }", "2024-05-01", "''' x '''"]
        ),
        st.sampled_from(["", " # t", "      # far", "#near"]),
    ),
)


@given(
    st.lists(LINE, max_size=14),
    st.sampled_from(["\n", "\r\n"]),
    st.sampled_from(["medicines/x.toml", "local/x.toml", "sources.toml", "policy.toml"]),
)
def test_whatever_is_toml_keeps_its_meaning_and_its_comments(lines: list[str], end: str, name: str) -> None:
    content = end.join(lines).encode()
    try:
        meant = tomllib.loads(content.decode())
    except tomllib.TOMLDecodeError:
        with pytest.raises(FormularyError):
            tidied(name, content)
        return
    once = tidied(name, content)
    assert tomllib.loads(once.decode()) == meant
    assert tidied(name, once) == once
    assert comments(once.decode().replace("\r", "")) == comments(content.decode().replace("\r", ""))


def test_what_would_change_the_meaning_is_not_written(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tidy._Order, "lines", lambda self: iter(["id = 2\n"]))
    with pytest.raises(DosecheckError, match="Nothing was written"):
        tidied("medicines/x.toml", b"id = 1\n")


# ---- the command ----


def placed(path: Path, text: str = BEFORE) -> Path:
    for name, content in folder(medicines_exampol=text).items():
        (path / name).parent.mkdir(parents=True, exist_ok=True)
        (path / name).write_bytes(content)
    return path


def test_check_tells_and_leaves_and_fmt_writes(tmp_path: Path) -> None:
    file = placed(tmp_path) / "medicines/exampol.toml"
    file.chmod(0o640)
    said = dosecheck("formulary", "fmt", "--check", str(file))
    assert said.status == 1 and "not in order" in said.out and file.read_text("utf-8") == BEFORE
    assert dosecheck("formulary", "fmt", str(file)).status == 0
    assert file.read_text("utf-8") == AFTER and file.stat().st_mode & 0o777 == 0o640
    told = json.loads(dosecheck("formulary", "fmt", "--check", "--json", str(file)).out)
    assert told == {"files": 1, "written": False, "not_in_order": []}
    whole = json.loads(dosecheck("formulary", "fmt", "--json", str(tmp_path)).out)
    assert whole["files"] == 3 and whole["written"] and [Path(one).name for one in whole["not_in_order"]] == ["policy.toml", "sources.toml"]
    assert dosecheck("formulary", "fmt", "--check", str(tmp_path)).status == 0


def test_one_file_that_is_not_toml_and_nothing_is_written(tmp_path: Path) -> None:
    placed(tmp_path)
    (tmp_path / "medicines/half.toml").write_text('id = "half"\nname = "', "utf-8")
    (tmp_path / "medicines/latin.toml").write_bytes(b'id = "caf\xe9"')
    said = dosecheck("formulary", "fmt", str(tmp_path))
    assert said.status == REFUSED and "half.toml:2:" in said.err and "latin.toml:1:" in said.err and "Nothing was written." in said.err
    assert (tmp_path / "medicines/exampol.toml").read_text("utf-8") == BEFORE


def test_what_is_no_file_of_a_formulary(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.toml")
    large = tmp_path / "large.toml"
    with large.open("wb") as file:
        file.truncate(100_000_000)
    for path in (tmp_path / "pipe.toml", large, tmp_path / "nosuch.toml", tmp_path):
        said = dosecheck("formulary", "fmt", str(path))
        assert said.status == REFUSED and path.name in said.err and "Traceback" not in said.err


# ---- MR41: killed at any moment, the file is the old one or the new one ----

WRITES = """
import sys
from dosecheck.saving import save
print("ready", flush=True)
for n in range(100000):
    save(sys.argv[1], (b"# %d\\n" % n) * 20000)
"""


@pytest.mark.parametrize("delay", [0.0, 0.003, 0.011, 0.023, 0.041])
def test_killed_while_writing_the_file_is_whole(tmp_path: Path, delay: float) -> None:
    file = tmp_path / "exampol.toml"
    save(file, b"# old\n" * 20000)
    with subprocess.Popen([sys.executable, "-c", WRITES, str(file)], cwd=ROOT, stdout=subprocess.PIPE) as process:
        assert process.stdout.readline() == b"ready\n"
        time.sleep(delay)
        process.send_signal(signal.SIGKILL)
    lines = file.read_bytes().splitlines()
    assert len(lines) == 20000 and len(set(lines)) == 1
    save(file, b"# next\n")
    assert file.read_bytes() == b"# next\n"
