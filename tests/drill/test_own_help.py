"""The grammar of a teacher's own questions as `drill kinds --help` prints it is one that is read."""

from click.testing import CliRunner

from dosecheck.cli.drill.kinds import command
from dosecheck.drill.mark import mark
from dosecheck.drill.own import read_own


def test_the_example_of_the_help_is_read_and_marked(tmp_path):
    lines = CliRunner().invoke(command, ["--help"]).output.splitlines()
    start = next(at for at, line in enumerate(lines) if line.strip() == "[[question]]")
    file = tmp_path / "own.toml"
    file.write_text("\n".join(line.strip() for line in lines[start : lines.index("", start)]), encoding="utf-8")
    (asked,) = read_own(str(file))
    assert mark(asked, "213 mg").right
    assert "ten times" in " ".join(mark(asked, "2130 mg").said)
    assert max(map(len, lines)) <= 80
